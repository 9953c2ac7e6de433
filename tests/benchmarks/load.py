"""A department at work: people who are signed in click, each in a tab of their own, while an export is brought in.

python -m tests.benchmarks.load [--people N --seconds N]. Real websocket clients on this machine, the demo's store, the real
server. For a soak: --seconds 1200. A person looks for some seconds between two clicks, as people do.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import psutil
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

from pipelines.store.store import Store
from tests.browser import EXPORTS, demo_copy
from tests.department import admit, department, make_accounts, sign_in
from tests.serving import ROOT, Server, tab
from tests.stores import set_programme

# Seconds between two clicks of one person.
LOOKS = (10.0, 30.0)
# Within so many seconds everybody has opened the dashboard.
ARRIVAL_SECONDS = 20.0
SCREENS = {
    "director": ("cohort", "trainee", "cases", "summary", "methods"),
    "committee_member": ("cohort", "trainee", "cases"),
    "coordinator": ("cohort", "intake", "trainee"),
    "reviewer": ("reviews", "methods"),
    "trainee": ("trainee", "cases", "methods"),
}
STAFF = [
    *({"role": "director"},) * 2,
    *({"role": "committee_member"},) * 4,
    *({"role": "coordinator"},) * 2,
    *({"role": "reviewer", "reviewer": "S01"},) * 2,
]


@dataclass
class Figures:
    """What was measured, by seconds since everybody had signed in.

    Of each click when it was made and how long it took, what went wrong, the server's memory, and from when to when the
    export was brought in.
    """

    began: float = field(default_factory=time.monotonic)
    clicks: list[tuple[float, float]] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    memory: list[tuple[float, float]] = field(default_factory=list)
    snapshots: set[int] = field(default_factory=set)
    bringing_in: tuple[float, float] = (0.0, 0.0)
    processor: float = 0.0

    @property
    def now(self) -> float:
        return time.monotonic() - self.began

    @property
    def by_time(self) -> dict[str, list[float]]:
        """The clicks while people arrive, while the export is brought in, in the minute after it, and of other times."""
        begins, ends = self.bringing_in
        parts: dict[str, list[float]] = {
            name: [] for name in ("arriving", "bringing in", "the minute after", "else")
        }
        for at, seconds in self.clicks:
            if begins <= at < ends + 60:
                name = "bringing in" if at < ends else "the minute after"
            else:
                name = "arriving" if at < ARRIVAL_SECONDS + LOOKS[0] else "else"
            parts[name].append(seconds)
        return {name: sorted(clicks) for name, clicks in parts.items() if clicks}


def main() -> None:
    """Run it, and print the figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.load")
    parser.add_argument("--people", type=int, default=40)
    parser.add_argument("--seconds", type=float, default=120)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        root = demo_copy(Path(scratch))
        set_programme(root, demo=False)
        people = _people(root, arguments.people)
        with department(root) as server:
            figures = work(server, root, people, arguments.seconds)
    print(_summary(figures, len(people), arguments.seconds))
    sys.exit(1 if figures.errors else 0)


def _people(root: Path, count: int) -> dict[str, str]:
    """Account → role, of so many people; written into access.yaml."""
    refs = sorted(
        {line.trainee_ref for line in Store(root).current().live if line.trainee_ref.startswith("T")}
    )
    trainees = [{"role": "trainee", "trainee": ref} for ref in refs]
    entries = [{**entry, "account": f"p{number}"} for number, entry in enumerate([*STAFF, *trainees][:count])]
    admit(root, entries)
    make_accounts(root, *(entry["account"] for entry in entries))
    return {entry["account"]: entry["role"] for entry in entries}


def work(server: Server, root: Path, people: dict[str, str], seconds: float) -> Figures:
    """Everybody signs in and clicks for so long; in the middle of it an export is brought in."""
    cookies = {account: sign_in(server.address, account) for account in people}
    figures, ends = Figures(), time.monotonic() + seconds
    watching = threading.Thread(target=_watch, args=(server, figures, ends))
    watching.start()
    with ThreadPoolExecutor(len(people) + 1) as pool:
        clicking = [
            pool.submit(_click, server.address, cookies[account], role, ends, figures)
            for account, role in people.items()
        ]
        time.sleep(seconds / 3)
        bringing_in = pool.submit(_bring_in, root, figures)
        for each in (*clicking, bringing_in):
            each.result()
    watching.join()
    return figures


def _click(address: str, cookie: str, role: str, ends: float, figures: Figures) -> None:
    chance = random.Random(cookie)
    time.sleep(chance.uniform(0, ARRIVAL_SECONDS))
    try:
        with tab(address, cookie) as own:
            own.rerun()
            while time.monotonic() < ends:
                time.sleep(chance.uniform(*LOOKS))
                started = figures.now
                came = own.open(chance.choice(SCREENS[role]))
                figures.clicks.append((started, figures.now - started))
                figures.errors += [f"{role}: {text}" for text in _faults(came)]
                own.messages.clear()
    except Exception as error:  # noqa: BLE001 - whatever it is, it is an error of the run
        figures.errors.append(f"{role}: {type(error).__name__} {error}")


def _faults(came: list[ForwardMsg]) -> Iterator[str]:
    for message in came:
        if message.delta.new_element.WhichOneof("type") == "exception":
            yield message.delta.new_element.exception.message
        body = message.delta.new_element.html.body
        if "built by another version" in body or "not there" in body:
            yield body


def _bring_in(root: Path, figures: Figures) -> None:
    """The newest log of one trainee again, with one case more: a new snapshot is published while everybody clicks."""
    before = Store(root).current().snapshot
    name = max(EXPORTS.glob("*-cases.csv"))
    lines = name.read_text(encoding="utf-8").splitlines()
    more = root.parent / name.name
    more.write_text("\n".join([*lines, "ZZ99" + lines[-1][lines[-1].index(",") :]]) + "\n", encoding="utf-8")
    # As a coordinator types it: a process of its own.
    command = [sys.executable, "-P", "-m", "pipelines", "intake", str(more), "--store", str(root)]
    began = figures.now
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)
    figures.bringing_in = (began, figures.now)
    after = Store(root).current().snapshot
    figures.snapshots |= {before, after}
    if done.returncode or after == before:
        figures.errors.append(f"intake ended with {done.returncode}: {done.stderr}")


def _watch(server: Server, figures: Figures, ends: float) -> None:
    process = psutil.Process(server.process.pid)
    used = sum(process.cpu_times()[:2])
    while time.monotonic() < ends:
        figures.memory.append((figures.now, process.memory_info().rss / 1e6))
        time.sleep(2)
    figures.processor = sum(process.cpu_times()[:2]) - used


def opened_snapshots(server: Server) -> list[str]:
    """The databases that the server holds open, one for each time."""
    links = (
        each.readlink().name for each in Path(f"/proc/{server.process.pid}/fd").iterdir() if each.is_symlink()
    )
    return sorted(name for name in links if name.endswith(".duckdb"))


def _summary(figures: Figures, people: int, seconds: float) -> str:
    clicks = sorted(seconds for _, seconds in figures.clicks)
    half = [size for at, size in figures.memory if at > seconds / 2]
    began, ended = figures.bringing_in
    return "\n".join(
        [
            f"{people} people, {seconds:.0f} s, {len(clicks)} clicks, an export brought in from {began:.0f} to {ended:.0f} s"
            f" (snapshots {sorted(figures.snapshots)})",
            f"errors: {len(figures.errors)} {figures.errors[:3]}",
            f"from click to the end of the run: {_spread(clicks)} (target 1.5), longest {clicks[-1]:.2f} s",
            *(f"  {name}: {len(part)} clicks, {_spread(part)}" for name, part in figures.by_time.items()),
            f"processor of the server: {figures.processor:.0f} s, {figures.processor / len(clicks):.2f} s a click",
            f"memory of the server: {figures.memory[0][1]:.0f} MB at first, {half[0]:.0f} at half time, {half[-1]:.0f} at the"
            f" end, {max(size for _, size in figures.memory):.0f} at most",
        ]
    )


def _spread(clicks: list[float]) -> str:
    return (
        f"median {statistics.median(clicks):.2f} s, 95th percentile {clicks[int(0.95 * len(clicks))]:.2f} s"
    )


if __name__ == "__main__":
    main()

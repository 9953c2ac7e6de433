"""Not one byte to the wrong person: every frame and every download of every role, read for what was planted.

Each of them opens every screen there is, by navigation and by address, and repeats what only others' pages could tell
them: the names of others' screens, buttons, choices and parts. The director looks first, so that whatever is kept in
memory for everybody has been filled. Source of what each may see: the project's own rule (DEVELOPERS.md, Privacy rules).
"""

from __future__ import annotations

import io
import time
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import yaml
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

from pipelines.store import access_log
from tests.department import PASSPHRASE, department, department_store, post, sign_in
from tests.serving import Answer, Tab, everything, tab

SCREENS = (
    "",
    "cohort",
    "trainee",
    "cases",
    "reviews",
    "intake",
    "summary",
    "log",
    "methods",
    "no-such-screen",
)
OFFERED = (
    "Download the workbook",
    "Download the lines",
    "Download the receipt",
    "Download the list of rows to mend",
)
# Planted where nobody at all may read it in the dashboard: ways to sign in, secrets, what stands in the log of others.
NOBODYS = ("planted-address@example.org", "planted-subject", "$argon2", PASSPHRASE, "Planted-Stranger")
# Of each marker, who may receive it: trainees and their cases, a reviewer's comment, the other programme.
# Who repeats what only the director's pages could tell them: one of each who may not see everybody.
BORROWERS = {"reviewer", "t01", "elsewhere"}
VISITORS = ("director", "committee", "office", "reviewer", "t01", "elsewhere")
MAY_SEE = {
    "T01": "director committee office reviewer t01",
    "T02": "director committee office t02",
    "C001": "director committee office reviewer t01",
    "C002": "director committee office t01",
    "C003": "director committee office t02",
    "C004": "director committee office t02",
    "![seen][a]": "director committee reviewer t01",
    "own_procedure": "director committee office t01",
    "own_role": "director committee office t02",
    "ZYX1": "elsewhere",
    "ZYX-00": "elsewhere",
    "ZYXS": "",
    "zyx comment": "elsewhere",
    "zyx_procedure": "elsewhere",
}


@dataclass
class Seen:
    """All that somebody received, and the names by which their pages ask for more."""

    received: list[bytes] = field(default_factory=list)
    pages: set[str] = field(default_factory=set)
    buttons: set[str] = field(default_factory=set)
    choices: set[str] = field(default_factory=set)
    fragments: set[str] = field(default_factory=set)

    def take(self, messages: list[ForwardMsg]) -> None:
        self.received.append(everything(messages))
        for message in messages:
            self.pages |= {page.page_script_hash for page in message.navigation.app_pages}
            element = message.delta.new_element
            self.buttons |= {element.button.id} - {""}
            self.choices |= {element.selectbox.id} - {""}
            self.fragments |= {message.delta.fragment_id} - {""}


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = department_store(tmp_path_factory.mktemp("leaks"))
    path = root / "access.yaml"
    access = yaml.safe_load(path.read_text(encoding="utf-8"))
    access["people"][0] |= {"email": NOBODYS[0]}
    access["people"][1] |= {"issuer": "https://login.example", "subject": NOBODYS[1]}
    path.write_text(yaml.safe_dump(access), encoding="utf-8")
    access_log.begin(root)
    stranger = access_log.Record(
        "Planted-Stranger", "director", "a-third-programme", "opened", "trainee", "T77"
    )
    access_log.write(root, stranger)
    return root


@pytest.fixture(scope="module")
def address(root: Path) -> Iterator[str]:
    with department(root) as served:
        yield served.address


@pytest.fixture(scope="module")
def seen(address: str) -> dict[str, Seen]:
    """Everybody's visit, the director's first: the others know every name of it."""
    visits: dict[str, Seen] = {}
    for account in VISITORS:
        others = visits.get("director", Seen()) if account in BORROWERS else Seen()
        visits[account] = _visit(address, account, others)
    return visits


def _visit(address: str, account: str, others: Seen) -> Seen:
    seen, cookie = Seen(), sign_in(address, account)
    with tab(address, cookie) as own:
        seen.take(own.rerun())
        for screen in SCREENS:
            seen.take(own.open(screen))
            if any(each.delta.new_element.button.label == "Make the files" for each in own.messages[-60:]):
                seen.take(own.press("Make the files"))
            _fetch(address, cookie, own, seen)
        for page in sorted(others.pages):
            message = BackMsg()
            message.rerun_script.page_script_hash = page
            own.socket.send(message.SerializeToString())
            seen.take(own._until_it_ends())
        # Some of this makes the library run nothing: whatever comes is read at the end.
        for message in _borrowed(others):
            own.socket.send(message.SerializeToString())
            time.sleep(0.05)
        seen.take(own.left_over())
    for path in ("/", "/_stcore/health", "/_stcore/host-config", "/_stcore/metrics", "/media/made-up.csv"):
        seen.received.append(Answer(address, path, cookie=cookie).body)
    return seen


def _fetch(address: str, cookie: str, own: Tab, seen: Seen) -> None:
    """Every file that the screen offers."""
    latest = {each.delta.new_element.download_button.label for each in own.messages[-60:]}
    for label in OFFERED:
        if label in latest:
            answer = Answer(address, own.make_file(label), cookie=cookie)
            assert answer.status == 200, (label, answer.body)
            seen.received.append(_unpacked(answer.body))


def _unpacked(body: bytes) -> bytes:
    if not zipfile.is_zipfile(io.BytesIO(body)):
        return body
    with zipfile.ZipFile(io.BytesIO(body)) as book:
        return b"\n".join(book.read(name) for name in book.namelist())


def _borrowed(others: Seen) -> Iterator[BackMsg]:
    """What somebody might ask who knows every name of the director's pages."""
    message = BackMsg()
    message.rerun_script.query_string = "opened_trainee=T02&trainee=T02"
    for name in sorted(others.buttons):
        state = message.rerun_script.widget_states.widgets.add()
        state.id, state.trigger_value = name, True
    for name in sorted(others.choices):
        state = message.rerun_script.widget_states.widgets.add()
        state.id, state.string_value = name, "T02"
    yield message
    for wrong in (b"\xff", b"T02"):  # not what the library expects there: what it says of it is read too
        message = BackMsg()
        for name in sorted(others.choices):
            state = message.rerun_script.widget_states.widgets.add()
            state.id, state.bytes_value = name, wrong
        yield message
    for fragment in sorted(others.fragments):
        message = BackMsg()
        message.rerun_script.fragment_id = fragment
        yield message


@pytest.mark.parametrize("account", VISITORS)
def test_nobody_receives_what_is_not_theirs(seen: dict[str, Seen], account: str) -> None:
    received = b"\n".join(seen[account].received)
    forbidden = [marker for marker, whose in MAY_SEE.items() if account not in whose.split()]
    assert [marker for marker in (*forbidden, *NOBODYS) if marker.encode() in received] == []


@pytest.mark.parametrize("account", VISITORS)
def test_the_same_reading_finds_what_is_theirs(seen: dict[str, Seen], account: str) -> None:
    received = b"\n".join(seen[account].received)
    expected = {
        "director": ["T01", "T02", "C001"],
        "committee": ["T01", "T02", "C001"],
        "office": ["T01", "T02", "C001"],
        "reviewer": ["T01", "![seen][a]"],
        "t01": ["T01", "C001"],
        "elsewhere": ["ZYX1"],
    }[account]
    assert [marker for marker in expected if marker.encode() not in received] == []


def test_what_was_borrowed_was_there_to_be_borrowed(seen: dict[str, Seen]) -> None:
    director = seen["director"]
    assert len(director.pages) == 7
    assert director.buttons and director.choices and len(director.fragments) >= 5


def test_the_log_says_who_opened_whose_page_and_a_trainee_reads_who_opened_theirs(
    seen: dict[str, Seen], address: str, root: Path
) -> None:
    assert seen
    lines = [line.record for line in access_log.read(root)]
    opened = {(each.person, each.what, each.about) for each in lines if each.did == "opened"}
    of_one = {("director", "trainee", "T01"), ("director", "cases", "T01")}
    assert {("director", "cohort", ""), *of_one, ("office", "intake", "")} <= opened
    assert not {each.person for each in lines if each.did == "opened"} & {"T01", "T02"}
    exported = {(each.person, each.what) for each in lines if each.did == "exported"}
    assert ("director", "volume-2027.xlsx") in exported
    with tab(address, sign_in(address, "t01")) as own:
        own.rerun()
        shown = everything(own.open("log"))
    for words in (b"Who opened my page", b"committee", b"opened trainee", b"exported volume-2027.csv"):
        assert words in shown
    for words in (b"<td>signed in", b"T02", b"elsewhere", b"Planted"):
        assert words not in shown
    with tab(address, sign_in(address, "director")) as own:
        own.rerun()
        shown = everything(own.open("log"))
    assert b"each fits the one before it" in shown and b"<td>signed in" in shown and b"T01" in shown
    assert b"elsewhere" not in shown
    (root / access_log.FILE).write_bytes((root / access_log.FILE).read_bytes().replace(b"T77", b"T78"))
    with tab(address, sign_in(address, "director")) as own:
        own.rerun()
        assert b"From line 2 on the log is not as it was written" in everything(own.open("log"))


def test_too_many_failures_make_everybody_at_the_address_wait(address: str) -> None:
    # The last test of the file: after it nobody signs in here for a while.
    statuses = [
        post(address, "/sign-in/account", account=f"nobody-{number}", passphrase="wrong").status
        for number in range(21)
    ]
    assert statuses == [403] * 20 + [429]
    waiting = post(address, "/sign-in/account", account="director", passphrase=PASSPHRASE)
    assert (waiting.status, waiting.headers["set-cookie"]) == (429, None)
    assert 0 < int(waiting.headers["retry-after"]) <= 30

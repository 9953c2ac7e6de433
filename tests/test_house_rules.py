"""The house rules that matter, as tests: each guards a promise that a reader of the code relies on."""

from __future__ import annotations

import ast
import hashlib
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from graphlib import TopologicalSorter
from importlib import metadata
from pathlib import Path

import pytest

from pipelines.version import VERSION

ROOT = Path(__file__).parent.parent
NOT_OURS = {".venv", ".git", ".demo", ".hypothesis", ".coverage", ".shots", ".work", "__pycache__"}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))

# What the dashboard may take from pipelines: where a snapshot lies and what it was built by, what a code is called, what
# went wrong, who may sign in.
DASHBOARD_MAY_IMPORT = {
    "pipelines.build.build",
    "pipelines.contract.attributions",
    "pipelines.contract.cautions",
    "pipelines.contract.codes_in_words",
    "pipelines.contract.errors",
    "pipelines.store.access_log",
    "pipelines.store.accounts",
    "pipelines.store.documents",
    "pipelines.store.passphrases",
    "pipelines.store.snapshot",
    "pipelines.specialty.load",
    "pipelines.specialty.model",
    "pipelines.store.store",
    "pipelines.summary.files",
    "pipelines.summary.state",
    "pipelines.files.reading",
    "pipelines.build.undo",
    "pipelines.intake.answers",
    "pipelines.intake.take",
    "pipelines.mapping.answered",
}
DASHBOARD_MAY_IMPORT_DUCKDB = {"dashboard/queries/live.py"}


def ours(pattern: str, *folders: str) -> list[Path]:
    """Our files of this pattern below the folders (none: everywhere), without caches and built things."""
    found = [path for folder in folders or (".",) for path in sorted((ROOT / folder).rglob(pattern))]
    return [path for path in found if path.is_file() and not is_built(path)]


def is_built(path: Path) -> bool:
    parts = path.relative_to(ROOT).parts
    return parts[0] == "store" or any(part in NOT_OURS or part.endswith("_cache") for part in parts)


def name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def text(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def imported(path: Path) -> Iterator[str]:
    """Every module that a file imports, wherever in the file; `from a import b` gives `a` and `a.b`."""
    for node in ast.walk(ast.parse(text(path))):
        if isinstance(node, ast.Import):
            yield from (each.name for each in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield "." * node.level + (node.module or "")
            yield from (f"{'.' * node.level}{node.module}.{each.name}" for each in node.names)


def below(module: str, package: str) -> bool:
    return module == package or module.startswith(f"{package}.")


def test_no_folder_of_ours_is_taken_for_a_built_thing() -> None:
    # A room named as something that is built would escape git, the linters and every rule below.
    anywhere = {line.strip("/") for line in text(ROOT / ".gitignore").splitlines() if line[0] != "/"}
    ours_by_place = [
        path for folder in ("pipelines", "dashboard", "tests") for path in (ROOT / folder).rglob("*.py")
    ]
    folders = {part for path in ours_by_place for part in path.relative_to(ROOT).parts}
    assert "store" in folders
    assert folders & (anywhere | NOT_OURS) == set()
    assert [path for path in ours_by_place if is_built(path)] == []


# ---- linters


@pytest.mark.parametrize(
    "arguments",
    [
        ["ruff", "check", "--no-cache", "."],
        ["ruff", "format", "--check", "--no-cache", "."],
        ["mypy"],
    ],
    ids=["ruff check", "ruff format", "mypy strict"],
)
def test_a_linter_has_nothing_to_say(arguments: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *arguments], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.slow
def test_sqlfluff_has_nothing_to_say() -> None:
    # It takes a second a file, so a file that passed is not read again until it, the rules or the linter change.
    passed = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "cohort-standing" / "sqlfluff"
    rules = f"{metadata.version('sqlfluff')}{PROJECT['tool']['sqlfluff']}"
    marks = {
        name(path): passed / hashlib.sha256(f"{rules}{name(path)}{text(path)}".encode()).hexdigest()
        for path in ours("*.sql")
    }
    unread = [file for file, mark in marks.items() if not mark.exists()]
    if not unread:
        return
    done = subprocess.run(
        [sys.executable, "-m", "sqlfluff", "lint", "--nocolor", *unread],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    passed.mkdir(parents=True, exist_ok=True)
    for file in unread:
        marks[file].touch()


def test_a_line_of_sql_fits_unless_it_is_the_text_of_a_comment() -> None:
    # sqlfluff cannot tell these apart: "comment on ... is" or its text, which one literal must hold.
    of_a_comment = re.compile(r"comment on |'.*';$")
    lines = [(name(path), line) for path in ours("*.sql") for line in text(path).splitlines()]
    assert lines
    assert [each for each in lines if len(each[1]) > 132 and not of_a_comment.match(each[1])] == []


def test_mypy_is_strict_on_both_packages() -> None:
    assert PROJECT["tool"]["mypy"]["strict"] is True
    assert PROJECT["tool"]["mypy"]["packages"] == ["pipelines", "dashboard"]


def test_warnings_are_errors_but_for_the_one_that_is_not_ours() -> None:
    first, *ignored = PROJECT["tool"]["pytest"]["ini_options"]["filterwarnings"]
    assert first == "error"
    assert len(ignored) == 1


LINT_LISTS = re.compile(r'^(?:ignore|exclude_rules|"[^"]+") = \[\n(.*?)^\]', re.MULTILINE | re.DOTALL)


def test_each_ignored_lint_rule_carries_its_reason() -> None:
    lists = LINT_LISTS.findall(text(ROOT / "pyproject.toml"))
    lines = [line for each in lists for line in each.splitlines()]
    assert len(lists) == 1 + len(PROJECT["tool"]["ruff"]["lint"]["per-file-ignores"]) + 1
    assert [line for line in lines if not re.fullmatch(r'    "[\w.]+", +# \S.+', line)] == []


IGNORED_HERE = re.compile(r"#\s*(?:noqa|type:\s*ignore)\b.*|--\s*noqa\b.*", re.IGNORECASE)
WITH_A_REASON = re.compile(
    r"(?:# noqa: [A-Z0-9, ]+|# type: ignore\[[\w, -]+\]|-- noqa: [\w=,. ]+) +(?:#|-) +\w+.*"
)


def test_each_ignore_in_a_file_names_its_rule_and_its_reason() -> None:
    files = [path for pattern in ("*.py", "*.sql") for path in ours(pattern) if path != Path(__file__)]
    found = [(name(path), line) for path in files for line in IGNORED_HERE.findall(text(path))]
    assert ("run.py", "# noqa: F401 - asks only whether it is there") in found
    assert [each for each in found if not WITH_A_REASON.fullmatch(each[1])] == []


# ---- who may know whom


def test_pipelines_never_imports_the_dashboard() -> None:
    # `demo` and `serve` start it as a program, by name.
    files = ours("*.py", "pipelines")
    assert files
    assert [
        (name(path), module) for path in files for module in imported(path) if below(module, "dashboard")
    ] == []


def test_no_two_rooms_of_pipelines_need_each_other() -> None:
    rooms = {path.name for path in (ROOT / "pipelines").iterdir() if (path / "__init__.py").is_file()}
    needs: dict[str, set[str]] = {room: set() for room in rooms}
    for path in ours("*.py", "pipelines"):
        room = path.relative_to(ROOT / "pipelines").parts[0]
        others = {
            module.split(".")[1] for module in imported(path) if below(module, "pipelines") and "." in module
        }
        if room in rooms:
            needs[room] |= others & rooms - {room}
    assert needs["cli"] >= {"intake", "summary"}
    TopologicalSorter(needs).prepare()  # raises CycleError, naming the rooms of the circle


def test_the_dashboard_takes_from_pipelines_only_what_is_listed() -> None:
    taken = [
        (name(path), module)
        for path in ours("*.py", "dashboard")
        for module in imported(path)
        if below(module, "pipelines") and module != "pipelines"
    ]
    assert [
        each for each in taken if not any(below(each[1], allowed) for allowed in DASHBOARD_MAY_IMPORT)
    ] == []


def test_screens_and_charts_ask_the_database_through_queries_only() -> None:
    files = {
        name(path)
        for path in ours("*.py", "dashboard")
        if any(below(module, "duckdb") for module in imported(path))
    }
    assert files <= DASHBOARD_MAY_IMPORT_DUCKDB


def test_imports_are_written_from_the_root() -> None:
    # Else the rules above, which read module names, could be walked around.
    files = ours("*.py", "pipelines", "dashboard", "seed_data")
    assert [
        (name(path), module) for path in files for module in imported(path) if module.startswith(".")
    ] == []


# ---- names


def test_no_folder_is_called_pages() -> None:
    # Streamlit would register whatever lies in it, past the check of who may see what.
    assert [name(path) for path in ROOT.rglob("pages") if path.is_dir() and not is_built(path)] == []


def test_no_module_has_a_name_that_says_nothing() -> None:
    vague = {"utils", "util", "helpers", "helper", "common", "manager", "misc"}
    assert [name(path) for path in ours("*.py") if {path.stem, path.parent.name} & vague] == []


# ---- statistics stay out of charts

AGGREGATES = re.compile(
    r"\b(?:mean|average|median|sum|count|distinct|min|max|stdev|stderr|variance|q1|q3|ci0|ci1)\(|\baggregate\s*="
    r"|\.(?:transform|mark)_(?:aggregate|joinaggregate|window|bin|density|regression|loess|quantile|errorbar"
    r"|errorband|boxplot)\b|\bbin\s*="
)


def test_no_chart_counts_or_averages() -> None:
    # The two others place what is drawn: where an axis ends is the highest of its numbers.
    charts = [path for path in ours("*.py", "dashboard/charts") if path.stem not in {"look", "words"}]
    assert charts
    found = [(name(path), line.strip()) for path in charts for line in text(path).splitlines()]
    assert [each for each in found if AGGREGATES.search(each[1])] == []


@pytest.mark.parametrize(
    "line",
    [
        'y="mean(rate)"',
        "y='count()'",
        "alt.Y(aggregate='sum')",
        "alt.X('rate', bin=True)",
        "chart.transform_aggregate()",
        "chart.mark_boxplot()",
    ],
)
def test_an_aggregate_in_a_chart_would_be_seen(line: str) -> None:
    assert AGGREGATES.search(line)


# ---- dependencies and their locks

# One for who uses the project, one that adds the tools of the tests.
LOCKS = {"requirements.lock": ["dependencies"], "tests/requirements.lock": ["dependencies", "dev"]}
ONLY_PLUGINS = {
    "duckdb-engine",  # SQLAlchemy finds it by the name of its dialect
    "mypy",
    "pandas-stubs",
    "pytest-cov",
    "pytest-xdist",
    "ruff",
    "sqlfluff",
    "types-psutil",
    "types-pyyaml",
    "vl-convert-python",  # a chart draws itself as a picture through it
}


def plain(package: str) -> str:
    return re.sub(r"[-_.]+", "-", package).lower()


def declared() -> dict[str, dict[str, str]]:
    """Of the users' and of the tests' dependencies: name → the version it names, blank for a range."""
    groups = {
        "dependencies": PROJECT["project"]["dependencies"],
        "dev": PROJECT["dependency-groups"]["dev"],
    }
    pattern = re.compile(r"^([\w.-]+)(?:==(.+))?")
    return {
        group: {plain(package): version for line in lines for package, version in pattern.findall(line)}
        for group, lines in groups.items()
    }


def pins(lock: str) -> dict[str, set[str]]:
    """Name → versions of every package in the lock: another Python may need another version."""
    found: dict[str, set[str]] = {}
    for package, version in re.findall(r"^([\w.-]+)==(\S+)", text(ROOT / lock), re.MULTILINE):
        found.setdefault(plain(package), set()).add(version)
    return found


def outside(*folders: str) -> dict[str, set[str]]:
    """Package by the name it is declared under → our files that import it; an unknown module stands for itself."""
    packages = metadata.packages_distributions()
    not_declared = {*sys.stdlib_module_names, "pipelines", "dashboard", "seed_data", "tests", "run"}
    found: dict[str, set[str]] = {}
    for path in ours("*.py", *folders):
        for module in {each.partition(".")[0] for each in imported(path)} - not_declared:
            for package in packages.get(module, [module]):
                found.setdefault(plain(package), set()).add(name(path))
    return found


def test_everything_that_is_imported_is_declared() -> None:
    users = declared()["dependencies"]
    tests = users | declared()["dev"]
    undeclared = {
        package: files
        for folders, known in ((("pipelines", "dashboard", "seed_data"), users), (("tests",), tests))
        for package, files in outside(*folders).items()
        if package not in known
    }
    assert undeclared == {}


def test_everything_that_is_declared_is_used() -> None:
    groups = declared()
    users = outside("pipelines", "dashboard", "seed_data")
    assert groups["dependencies"].keys() - users.keys() - ONLY_PLUGINS == set()
    assert groups["dev"].keys() - outside("tests").keys() - ONLY_PLUGINS == set()
    assert groups["dev"].keys() & groups["dependencies"].keys() == set()


@pytest.mark.parametrize("lock", LOCKS)
def test_every_package_in_a_lock_has_a_version_and_hashes(lock: str) -> None:
    whole = text(ROOT / lock).replace("\\\n", " ")
    requirement = re.compile(r"[\w.-]+==\S+( ; [^#]+?)?(\s+--hash=sha256:[0-9a-f]{64})+\s*")
    assert len(whole.splitlines()) > sum(len(declared()[group]) for group in LOCKS[lock])
    assert [line for line in whole.splitlines() if not requirement.fullmatch(line)] == []


@pytest.mark.parametrize("lock", LOCKS)
def test_every_dependency_is_locked_at_the_version_it_names(lock: str) -> None:
    locked = pins(lock)
    for group in LOCKS[lock]:
        for package, version in declared()[group].items():
            assert package in locked, package
            assert {version} == locked[package] or not version, package


def test_the_tests_use_what_the_users_get_and_the_users_get_no_tool_of_the_tests() -> None:
    users, tests = (pins(lock) for lock in LOCKS)
    assert {package: tests.get(package) for package in users} == users
    brought_by_others = {"cryptography", "pillow", "websockets"}
    assert users.keys() & declared()["dev"].keys() == brought_by_others


def test_the_version_moves_with_the_changes_for_users() -> None:
    heading = re.search(r"^## Changes\n\n\*\*(\S+)\*\*", text(ROOT / "README.md"), re.MULTILINE)
    assert heading
    assert heading[1] == PROJECT["project"]["version"] == VERSION


def test_no_file_names_the_host_of_a_package_registry_or_of_a_mirror() -> None:
    # Written in halves, so that this file does not name one either.
    halves = [
        ("pypi", ".org"),
        ("python", "hosted.org"),
        ("pypi", ".python.org"),
        ("index", "-url"),
        ("find", "-links"),
    ]
    host = re.compile("|".join(re.escape(first + second) for first, second in halves), re.IGNORECASE)
    files = [path for path in ours("*") if path.suffix not in {".xlsx", ".parquet", ".png", ".pyc"}]
    assert {ROOT / lock for lock in LOCKS} <= set(files)
    assert ROOT / "run.py" in files
    named = [name(path) for path in files if host.search(path.read_bytes().decode("utf-8", "replace"))]
    assert named == []


# ---- nothing left to do


def test_no_test_is_skipped_and_no_file_waits_for_somebody() -> None:
    words = [
        ("TO", "DO"),
        ("FIX", "ME"),
        ("X", "XX"),
        ("mark.", "skip"),
        ("pytest.", "skip"),
        ("importor", "skip"),
        ("mark.", "xfail"),
    ]
    waiting = re.compile("|".join(rf"\b{re.escape(first + second)}" for first, second in words))
    files = [path for pattern in ("*.py", "*.sql", "*.md", "*.yaml", "*.toml") for path in ours(pattern)]
    assert [name(path) for path in files if waiting.search(text(path))] == []


def test_the_license_is_the_whole_apache_license() -> None:
    whole = text(ROOT / "LICENSE")
    # Source: Apache License, Version 2.0, January 2004: its heading, nine numbered sections and the appendix.
    assert "Apache License\n                           Version 2.0, January 2004" in whole
    assert re.findall(r"^   (\d)\. [A-Z]", whole, re.MULTILINE) == list("123456789")
    assert "END OF TERMS AND CONDITIONS" in whole
    assert PROJECT["project"]["license"] == "Apache-2.0"

"""No day of an operation, no byte of a refused file, no name of a person: not in the store, not in what is said.

A test reads back every file of a store: text as it is, Parquet column by column, every table of every snapshot.
"""

from __future__ import annotations

import datetime
import json
import os
import re
import subprocess
import sys
import uuid
from pathlib import Path

import duckdb
import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from pipelines.intake import staging, suite
from tests.reading_back import columns, places, texts
from tests.standing import ROSTER, content, copy_of, standing_store
from tests.stores import new_store, rows_of, run, run_well, set_programme, write_csv

ROOT = Path(__file__).parents[1]
FIRST = datetime.date(2025, 1, 13)
# Operations on days of every number, and each logged on a day of its own.
OPERATED = [FIRST + datetime.timedelta(days=11 * number) for number in range(31)]
LOGGED = [day + datetime.timedelta(days=3 + number % 7) for number, day in enumerate(OPERATED)]
DAYS = sorted({*OPERATED, *LOGGED})


def case(number: int, **other: object) -> dict[str, object]:
    return {
        "case_ref": f"C{number:04}",
        "trainee_ref": f"T0{1 + number % 2}",
        "operated_on": OPERATED[number].isoformat(),
        "procedure": "phaco_iol",
        "role": "surgeon",
        "duration_min": 40,
        "complications": "none",
        "follow_up_days": 30,
        "logged_on": LOGGED[number].isoformat(),
        **other,
    }


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return standing_store(tmp_path_factory.mktemp("standing"))


@pytest.fixture(scope="module")
def lived_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store after intakes of every form: replaced, appended, with rows left out and older versions kept."""
    folder = tmp_path_factory.mktemp("lived_in")
    store = new_store(folder)
    # What is due is due on a day, which follows from the month alone: here it lies years after the days searched for.
    set_programme(store, submission_due={"log": 1000, "confirmation": 1000, "outcome": 1000})
    roster = ROSTER.replace("2024-07,", "2024-07-09,")
    first = [case(number) for number in range(20)]
    second = [
        *(case(number, duration_min=50) for number in range(20) if number != 4),
        case(4, role="surgeon_general"),
        case(20, logged_on=(OPERATED[20] - datetime.timedelta(days=2)).isoformat()),
        case(21, complications="endophthalmitis@5;wound_leak"),
        case(22, case_ref="x"),
        case(23, case_ref="C0001", side="left"),
    ]
    run_well("intake", write_csv(folder / "roster.csv", roster), "--store", store)
    run_well("intake", write_csv(folder / "cases-1.csv", first), "--store", store)
    run_well(
        "intake", write_csv(folder / "cases-2.csv", second), "--store", store, "--fixes", folder / "fixes"
    )
    run_well("intake", as_parquet(folder), "--append", "--store", store)
    run_well("intake", as_book(folder), "--source", "hospital", "--store", store)
    return store


def as_parquet(folder: Path) -> Path:
    rows = [
        {**case(number), "operated_on": OPERATED[number], "logged_on": LOGGED[number]} for number in (24, 25)
    ]
    pq.write_table(pa.Table.from_pylist(rows), folder / "cases-3.parquet")
    return folder / "cases-3.parquet"


def as_book(folder: Path) -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "cases"
    rows = [
        {**case(number), "operated_on": OPERATED[number], "logged_on": LOGGED[number]}
        for number in range(26, 31)
    ]
    sheet.append(list(rows[0]))
    for row in rows:
        sheet.append(list(row.values()))
    book.save(folder / "cases-4.xlsx")
    return folder / "cases-4.xlsx"


# ---- days


# How a day may be written: year, day or month first, with the month in letters, without any mark between.
WRITTEN = (
    (r"\d{4}-\d\d-\d\d", "{0:%Y-%m-%d}"),
    (r"\d{4}/\d\d/\d\d", "{0:%Y/%m/%d}"),
    (r"\d\d-\d\d-\d{4}", "{0:%d-%m-%Y}"),
    (r"\d\d\.\d\d\.\d{4}", "{0:%d.%m.%Y}"),
    (r"\d\d/\d\d/\d{4}", "{0:%d/%m/%Y}"),
    (r"\d\d/\d\d/\d{4}", "{0:%m/%d/%Y}"),
    (r"\b\d\d?/\d\d?/\d{4}", "{0.day}/{0.month}/{0.year}"),
    (r"\b\d\d?/\d\d?/\d{4}", "{0.month}/{0.day}/{0.year}"),
    (r"\b\d\d? [A-Z][a-z]+ \d{4}", "{0.day} {0:%b %Y}"),
    (r"\b\d\d? [A-Z][a-z]+ \d{4}", "{0.day} {0:%B %Y}"),
    (r"[A-Z][a-z]+ \d\d?, \d{4}", "{0:%b} {0.day}, {0.year}"),
    (r"\d{8}", "{0:%Y%m%d}"),
)


YEARS = "|".join(sorted({str(day.year) for day in DAYS}))


def near_a_year(text: str) -> str:
    """What stands around each year of a day: so little is soon searched, and every form holds the year."""
    around = (text[max(match.start() - 14, 0) : match.end() + 7] for match in re.finditer(YEARS, text))
    return "\n".join(around)


def days_written_in(text: str) -> set[str]:
    """The days of operation and logging that stand in a text."""
    searched = near_a_year(text)
    found = set()
    for pattern, form in WRITTEN:
        # Looking ahead finds what overlaps too, such as a date after other digits.
        written = {match.group(1) for match in re.finditer(f"(?=({pattern}))", searched)}
        found |= written & {form.format(day) for day in DAYS}
    return found


def numbers(day: datetime.date) -> set[int]:
    """How a day may be counted: since 1970 in days, seconds, milliseconds; as in a spreadsheet; since year 1; as digits."""
    since_1970 = (day - datetime.date(1970, 1, 1)).days
    seconds = since_1970 * 86_400
    in_a_book = (day - datetime.date(1899, 12, 30)).days
    return {since_1970, seconds, seconds * 1000, in_a_book, day.toordinal(), int(f"{day:%Y%m%d}")}


def test_the_store_that_is_searched_holds_what_was_brought_in(lived_in: Path) -> None:
    assert len(list((lived_in / "snapshots").glob("*.duckdb"))) == 5
    assert len(list((lived_in / "intake").iterdir())) == 5
    assert {row["case_ref"] for row in rows_of(lived_in, "case_credit")} >= {
        "C0000",
        "C0004",
        "C0025",
        "C0030",
    }
    rules = {row["rule"] for row in rows_of(lived_in, "finding")}
    assert rules >= {"code_unknown", "logged_before_operated", "case_ref_malformed", "older_version_kept"}
    # The search can find what is there: the month of an operation, in Parquet and in a snapshot.
    found = places(lived_in, "2025-03")
    assert [each for each in found if "operated_month" in each and "parquet" in each]
    assert [each for each in found if "operated_month" in each and "duckdb" in each]


@pytest.mark.parametrize("form", [form for _, form in WRITTEN])
def test_the_search_finds_a_day_however_it_is_written(form: str) -> None:
    written = form.format(DAYS[7])
    assert written in days_written_in(f"2{written}T10:00" if form[-1] == "d" else f"x {written}")
    assert days_written_in(form.format(datetime.date(2019, 5, 17))) == set()


def test_no_file_of_a_store_holds_a_day_of_operation(lived_in: Path) -> None:
    found = [(where, days) for where, text in texts(lived_in) if (days := days_written_in(text))]
    assert found == []


def test_the_day_by_which_something_is_due_follows_from_the_month_and_the_outcome_alone(
    lived_in: Path,
) -> None:
    days: dict[tuple[str, str, str], set[str]] = {}
    for row in rows_of(lived_in, "submission"):
        days.setdefault((row["owed"], row["month"], row["missing"]), set()).add(row["due_on"])
    assert len(days) > 10
    assert all(len(each) == 1 for each in days.values())


def test_no_column_of_a_store_holds_a_date_or_the_number_of_a_day(lived_in: Path) -> None:
    days = set[int]().union(*(numbers(day) for day in DAYS))
    counted = 0
    for where, kind, values in columns(lived_in):
        assert not kind.lower().startswith(("date", "time", "interval", "duration")), where
        found = {value for value in values if isinstance(value, int | float) and not isinstance(value, bool)}
        assert not found & days, where
        counted += 1
    assert counted > 100


# ---- refused files, unknown columns, free text


MARK = "qzxkvbwpjy"


def refused_bytes(folder: Path, name: str, header: str, cell: str) -> Path:
    return write_csv(folder / name, f"{header}\nC9001,T01,2025-06-17,phaco_iol,surgeon,{MARK},{cell}\n")


REQUIRED = "case_ref,trainee_ref,operated_on,procedure,role"


@pytest.mark.parametrize(
    ("header", "cell", "code"),
    [
        (f"{REQUIRED},technique,site_ref", "someone@example.org", 12),
        (f"{REQUIRED},technique,surname", "x", 12),
        (f"{REQUIRED},technique,technique", "x", 11),
        ("case_ref,trainee_ref,operated_on,procedure,post,technique,site_ref", "x", 11),
        (f"{MARK}_1,{MARK}_2,operated,{MARK}_4,{MARK}_5,{MARK}_6,{MARK}_7", "x", 11),
    ],
)
def test_nothing_of_a_refused_file_is_kept_or_said(
    header: str, cell: str, code: int, standing: Path, tmp_path: Path
) -> None:
    store = copy_of(standing, tmp_path)
    before = content(store)
    file = refused_bytes(tmp_path, "cases.csv", header, cell)
    for command in (("intake", "--fixes", tmp_path / "fixes"), ("check", "--format", "json")):
        result = run(*command, file, "--store", store)
        assert result.code == code
        assert MARK not in result.out + result.err
    assert content(store) == before
    run_well("build", "--store", store)
    assert places(store, MARK) == []
    assert not (tmp_path / "fixes").exists()


def test_an_unknown_column_is_named_and_its_cells_are_not_stored(standing: Path, tmp_path: Path) -> None:
    store = copy_of(standing, tmp_path)
    file = write_csv(tmp_path / "cases.csv", [{**case(1), "theatre": MARK}, {**case(2), "theatre": "b"}])
    result = run_well("intake", file, "--store", store, "--append", "--fixes", tmp_path / "fixes")
    assert [row["column_name"] for row in rows_of(store, "finding", rule="column_unknown")] == ["theatre"]
    assert places(store, MARK) == []
    assert MARK not in result.out + result.err
    assert all(MARK not in path.read_text() for path in (tmp_path / "fixes").iterdir())


def test_why_somebody_was_on_leave_is_not_stored(standing: Path, tmp_path: Path) -> None:
    store = copy_of(standing, tmp_path)
    row = {"trainee_ref": "T01", "from": "2025-02", "to": "2025-03", "kind": "leave", "value": MARK}
    result = run_well("intake", write_csv(tmp_path / "training.csv", [row]), "--store", store)
    assert places(store, MARK) == []
    assert MARK not in result.out + result.err


CODES = [
    "role",
    "side",
    "supervision",
    "takeover_reason",
    "technique",
    "attributes",
    "risk_factors",
    "complications",
    "event_hands",
]
NOT_CODES = [
    "case_ref",
    "trainee_ref",
    "operated_on",
    "principal",
    "supervisor_ref",
    "site_ref",
    "supervisor_agreed",
    "takeover",
    "duration_min",
    "follow_up_days",
    "logged_on",
]


def wrong_in_turn(columns: list[str], cell: str) -> list[dict[str, object]]:
    """A row a column, in which that column alone is wrong."""
    return [case(number) | {column: cell} for number, column in enumerate(columns)]


def test_a_message_quotes_a_code_up_to_40_characters(standing: Path, tmp_path: Path) -> None:
    long = "unheard_of_" + "abcdefghij" * 5
    columns = [*CODES, "procedure", "converted_from"]
    file = write_csv(tmp_path / "cases.csv", wrong_in_turn(columns, long))
    result = run("check", file, "--store", standing, "--format", "json")
    messages = {row["column_name"]: row["message"] for row in json.loads(result.out)}
    assert set(messages) >= set(columns)
    for column in columns:
        assert re.search(rf"{long[:40]}[\" ]", messages[column]), column
    assert long[:41] not in result.out + result.err


def test_a_message_quotes_nothing_else(standing: Path, tmp_path: Path) -> None:
    store = copy_of(standing, tmp_path)
    file = write_csv(tmp_path / "cases.csv", [*wrong_in_turn(NOT_CODES, f"{MARK}!"), case(30)])
    result = run_well("intake", file, "--append", "--store", store, "--fixes", tmp_path / "fixes")
    found = [(row["source_row"], row["column_name"]) for row in rows_of(store, "finding")]
    assert sorted(found) == sorted((str(row), column) for row, column in enumerate(NOT_CODES, start=2))
    assert MARK not in result.out + result.err
    assert MARK not in "".join(path.read_text() for path in (tmp_path / "fixes").iterdir())
    assert places(store, MARK) == []


def test_an_unprintable_character_is_not_quoted(standing: Path, tmp_path: Path) -> None:
    file = write_csv(tmp_path / "cases.csv", [case(1, technique="ch\u202eoq\nx")])
    result = run("check", file, "--store", standing)
    assert "\u202e" not in result.out + result.err
    assert '"choqx"' in result.out


# ---- names of people


@pytest.mark.parametrize(
    "name", ["Mira Tolland.csv", "mira-tolland.csv", "MiraTolland.csv", "Tolland, Mira.csv"]
)
def test_the_name_of_a_file_that_looks_like_a_person_is_neither_stored_nor_said(
    name: str, standing: Path, tmp_path: Path
) -> None:
    store = copy_of(standing, tmp_path)
    file = write_csv(tmp_path / name, [case(1), case(2, role="chief")])
    (tmp_path / "elsewhere").mkdir()
    broken = write_csv(tmp_path / "elsewhere" / name, "a,b\n1,2\n")
    fixes = tmp_path / "fixes"
    said = ""
    for words in (("check", file), ("intake", broken), ("intake", file, "--append", "--fixes", fixes)):
        result = run(*words, "--store", store)
        said += result.out + result.err
    for words in (("history", "--trainee", "T01"), ("snapshots",), ("show", "finding")):
        said += run_well(*words, "--store", store, "--format", "csv").out
    said += "".join(path.read_text() for path in fixes.iterdir())
    assert "file 1" in said
    assert "tolland" not in said.lower().replace("intake_id", "")
    assert [row["file_name"] for row in rows_of(store, "finding")] == ["file 1"]
    assert places(store, "tolland") == []


def test_shown_names_are_never_read_by_a_command(
    standing: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = copy_of(standing, tmp_path)
    labels = write_csv(tmp_path / "labels.csv", f"trainee_ref,shown name\nT01,{MARK}\n")
    monkeypatch.chdir(tmp_path)
    file = write_csv(tmp_path / "cases.csv", [case(1)])
    said = ""
    for words in (
        ("intake", file, "--append"),
        ("build",),
        ("show", "case_volume"),
        ("history", "--trainee", "T01"),
    ):
        result = run_well(*words, "--store", store)
        said += result.out + result.err
    assert MARK not in said
    assert places(store, MARK) == []
    refused = run("intake", labels, "--store", store)
    assert refused.code == 12
    assert MARK not in refused.out + refused.err


# ---- outside the store


def test_an_intake_leaves_nothing_outside_the_store(standing: Path, tmp_path: Path) -> None:
    store = copy_of(standing, tmp_path)
    rows = [case(number % 31, case_ref=f"C{number:06}") for number in range(3000)]
    file = write_csv(tmp_path / "cases.csv", rows)
    folders = {name: tmp_path / name for name in ("caller", "temporary", "home")}
    for folder in folders.values():
        folder.mkdir()
    done = subprocess.run(
        [sys.executable, "-m", "pipelines", "intake", str(file), "--append", "--store", str(store)],
        cwd=folders["caller"],
        env={
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "PYTHONDONTWRITEBYTECODE": "1",
            "TMPDIR": str(folders["temporary"]),
            "HOME": str(folders["home"]),
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    left = {name: [path for path in folder.rglob("*") if path.is_file()] for name, folder in folders.items()}
    assert left == {"caller": [], "temporary": [], "home": []}
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "caller",
        "cases.csv",
        "home",
        "store",
        "temporary",
    ]
    assert list((store / ".work").iterdir()) == []


@pytest.mark.suite
def test_no_row_of_a_file_is_in_memory_once_it_is_stored(
    lived_in: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    names: list[str] = []

    def named() -> str:
        names.append(f":memory:{uuid.uuid4().hex}")
        return names[-1]

    monkeypatch.setattr(staging, "database_name", named)
    store = copy_of(lived_in, tmp_path)
    run_well("intake", write_csv(tmp_path / "cases.csv", [case(26)]), "--append", "--store", store)
    assert names
    for name in names:
        with duckdb.connect(name, config={"custom_user_agent": suite.USER_AGENT}) as connection:
            assert connection.execute("select table_name from duckdb_tables()").fetchall() == []

"""programme.yaml, access.yaml and the specialty of a store: what they may say and what they change."""

from __future__ import annotations

import re
import stat
from pathlib import Path

import pytest
import yaml

from pipelines.contract.errors import WrongUsage
from pipelines.store.documents import Reasons, load_programme, programme_ref
from tests.drawn import drawn
from tests.drawn_exports import Desk, desk, log, roster_store
from tests.stores import new_store, rows_of, run, run_well, set_programme, shown

pytestmark = pytest.mark.usefixtures("builds_of_the_log")

README = Path(__file__).parents[1] / "README.md"

__all__ = ["desk", "roster_store"]

# Contract, "The store": what init writes for a programme called Harbour Eye.
AS_INIT_WRITES = """
programme_ref: harbour-eye
title: Harbour Eye
specialty: specialty.yaml
academic_year_starts: 7
review_periods: [mid, end]
dates: iso
date_precision: month
refs_are_pseudonyms: false
current_within_days: 45
small_count: 5
cusum_odds_ratio: 2
as_of: null
basis: ""
demo: false
"""


def test_init_makes_an_empty_store_with_its_settings_and_an_empty_snapshot(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    written = yaml.safe_load((store / "programme.yaml").read_text(encoding="utf-8"))
    # The contract leaves the name of the memory setting open.
    assert written.pop("memory_limit") is None
    assert written == yaml.safe_load(AS_INIT_WRITES)
    assert stat.S_IMODE(store.stat().st_mode) == 0o700
    parts = {path.name for path in store.iterdir()}
    assert parts >= {
        "programme.yaml",
        "specialty.yaml",
        "access.yaml",
        "intake",
        "journal",
        "snapshots",
        "CURRENT",
    }
    header, rows = shown(store, "case_volume")
    assert header[:4] == ["programme_ref", "cohort", "trainee_ref", "requirement_ref"]
    assert rows == []


def test_the_readme_explains_every_setting_and_its_value_as_init_writes_it(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    written = yaml.safe_load((store / "programme.yaml").read_text(encoding="utf-8"))
    settings = README.read_text(encoding="utf-8").split("\n## Settings\n")[1].split("\n## ")[0]
    cells = [re.split(r" *\| *", line)[1:4] for line in settings.splitlines() if line.startswith("| `")]
    assert [key.strip("`") for key, _, _ in cells] == list(written)
    values = {key.strip("`"): yaml.safe_load(value.strip("`")) for key, value, _ in cells}
    typed = {"programme_ref": "your NAME in lower case", "title": "your NAME"}
    assert values == written | typed
    assert all(len(what) > 20 for _, _, what in cells)


def test_init_on_a_store_or_a_folder_that_holds_something_is_wrong_usage(desk: Desk, tmp_path: Path) -> None:
    words = ("--specialty", "ophthalmology", "--programme", "Harbour Eye")
    before = desk.everything()
    assert run("init", "--store", desk.store, *words).code == 2
    assert desk.everything() == before
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letter.txt").write_text("dear", encoding="utf-8")
    assert run("init", "--store", tmp_path / "other", *words).code == 2
    assert [path.name for path in (tmp_path / "other").iterdir()] == ["letter.txt"]


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("--specialty", "astrology", "--programme", "Harbour Eye"), "astrology"),
        (("--specialty", "ophthalmology", "--programme", "???"), "--programme"),
    ],
)
def test_an_init_that_cannot_be_leaves_no_folder(tmp_path: Path, words: tuple[str, ...], what: str) -> None:
    result = run("init", "--store", tmp_path / "store", *words)
    assert result.code == 2
    assert what in result.err
    assert not (tmp_path / "store").exists()


@pytest.mark.parametrize(
    ("name", "ref"),
    [
        ("Harbour Eye", "harbour-eye"),
        ("HARBOUR", "harbour"),
        ("Harbour & Quay: Eye  2", "harbour-quay-eye-2"),
        ("Harbour_Eye", "harbour-eye"),
    ],
)
def test_the_programme_is_named_by_its_title_in_lower_case_with_hyphens(name: str, ref: str) -> None:
    assert programme_ref(name) == ref


@pytest.mark.parametrize("command", ["intake", "show", "build", "check", "history", "snapshots"])
def test_a_store_that_is_not_there_is_wrong_usage(tmp_path: Path, command: str) -> None:
    (tmp_path / "log.csv").write_text("case_ref\nC001\n", encoding="utf-8")
    words = {
        "intake": [tmp_path / "log.csv"],
        "check": [tmp_path / "log.csv"],
        "show": ["finding"],
        "history": ["--trainee", "T01"],
    }
    assert run(command, *words.get(command, []), "--store", tmp_path / "nowhere").code == 2


# ---- broken settings


BROKEN = {
    "a key that is not known": ("programme.yaml", "colour: blue"),
    "a whole year for a date": ("programme.yaml", "date_precision: year"),
    "a way of dates that there is not": ("programme.yaml", "dates: year_first"),
    "a thirteenth month": ("programme.yaml", "academic_year_starts: 13"),
    "a word for a yes": ("programme.yaml", "refs_are_pseudonyms: perhaps"),
    "a word for a number": ("programme.yaml", "current_within_days: many"),
    "a day that there is not": ("programme.yaml", "as_of: 2026-02-30"),
    "a key of a mapping that is not known": ("programme.yaml", "mappings: {sites: {}}"),
    "a key of access that is not known": ("access.yaml", "rooms: []"),
    "a key of the specialty that is not known": ("specialty.yaml", "colour: blue"),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_a_setting_that_breaks_its_schema_ends_with_2_and_changes_nothing(desk: Desk, fault: str) -> None:
    name, line = BROKEN[fault]
    path = desk.store / name
    kept = [
        text
        for text in path.read_text(encoding="utf-8").splitlines()
        if not text.startswith(line.split(":")[0])
    ]
    path.write_text(
        "\n".join([*(text for text in kept if not text.startswith("  headers")), line, ""]), encoding="utf-8"
    )
    before = desk.everything()
    for command in (("build",), ("intake", desk.file(log(1))), ("check", desk.file(log(1)))):
        result = run(*command, "--store", desk.store)
        assert (result.code, name in result.err) == (2, True), (command, result)
    assert desk.everything() == before


@pytest.mark.parametrize("name", ["programme.yaml", "access.yaml", "specialty.yaml"])
@pytest.mark.parametrize("text", ["a: [1", "- a list"])
def test_a_settings_file_that_is_no_yaml_of_keys_ends_with_2(desk: Desk, name: str, text: str) -> None:
    (desk.store / name).write_text(text, encoding="utf-8")
    result = run("build", "--store", desk.store)
    assert (result.code, name in result.err) == (2, True)


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ("small_count: 4", "small_count: another threshold for small counts than 5 does nothing"),
        (
            "mappings: {headers: {op_date: operated_on}}",
            "mappings: mappings of headers and procedures do nothing",
        ),
    ],
)
def test_a_setting_that_would_do_nothing_is_refused_and_says_so(
    setting: str, words: str, tmp_path: Path
) -> None:
    name, _, value = setting.partition(": ")
    store = new_store(tmp_path)
    set_programme(store, **{name: yaml.safe_load(value)})
    result = run("build", "--store", store)
    assert (result.code, result.out) == (2, "")
    assert result.err.startswith(f"programme.yaml: {words}")
    assert "in this version" in result.err


def test_the_empty_mappings_that_0_1_0_wrote_are_accepted(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    set_programme(store, mappings={"headers": {}, "procedures": {}})
    run_well("build", "--store", store)


# ---- what the settings change


DATES = "case_ref | operated_on\nC001 | 03/02/2026\nC002 | 2026-05-06"


@pytest.mark.parametrize("command", ["build", "intake", "check"])
def test_a_store_without_its_specialty_ends_with_2(desk: Desk, command: str) -> None:
    (desk.store / "specialty.yaml").unlink()
    files = [] if command == "build" else [desk.file(log(1))]
    result = run(command, *files, "--store", desk.store)
    assert (result.code, result.out) == (2, "")
    assert "specialty.yaml" in result.err


@pytest.mark.parametrize("command", ["intake", "check"])
def test_fix_lists_go_into_a_folder_only(desk: Desk, command: str) -> None:
    in_the_way = desk.file(log(1))
    result = run(command, desk.file(log(1)), "--fixes", in_the_way, "--store", desk.store)
    assert (result.code, result.out) == (2, "")
    assert "--fixes" in result.err


@pytest.mark.parametrize(
    ("dates", "months"),
    [
        ("iso", "C002 | 2026-05"),
        ("day_first", "C001 | 2026-02\nC002 | 2026-05"),
        ("month_first", "C001 | 2026-03\nC002 | 2026-05"),
    ],
)
def test_dates_are_iso_unless_the_programme_says_which_comes_first(
    desk: Desk, dates: str, months: str
) -> None:
    set_programme(desk.store, dates=dates)
    desk.take(desk.file(DATES))
    assert desk.live("case_ref, operated_month") == drawn(months)


def test_six_digits_are_a_pseudonym_only_where_the_programme_says_so(desk: Desk) -> None:
    numbered = desk.file("case_ref | supervisor_ref\nC001 | 482913")
    assert desk.intake(numbered).code == 12
    set_programme(desk.store, refs_are_pseudonyms=True)
    desk.take(numbered)
    assert desk.live("supervisor_ref") == "482913"


def test_who_is_current_follows_the_setting(desk: Desk) -> None:
    desk.take(desk.file(log(1)))
    set_programme(desk.store, as_of="2026-05-16")
    current = "select is_current from trainee where trainee_ref = 'T01'"
    for days, is_current in ((45, "false"), (46, "true")):
        set_programme(desk.store, current_within_days=days)
        run_well("build", "--store", desk.store)
        assert desk.query(current) == is_current


def test_a_closed_source_says_nothing_of_how_current_the_data_are(desk: Desk) -> None:
    desk.take(desk.file("case_ref\nC001"), "--through", "2026-06")
    desk.take(desk.file("case_ref\nC002"), "--source", "theatre", "--through", "2026-04")
    assert desk.through() == "2026-04"
    set_programme(desk.store, closed_sources=["theatre"])
    run_well("build", "--store", desk.store)
    assert desk.through() == "2026-06"
    set_programme(desk.store, closed_sources=["theatre", "main"])
    run_well("build", "--store", desk.store)
    assert desk.through() == "2026-06"


def test_a_roster_row_may_name_another_programme_of_the_store(desk: Desk) -> None:
    desk.take(desk.roster("trainee_ref | programme_ref\nT02 | quay-eye"))
    refs = {row["trainee_ref"]: row["programme_ref"] for row in rows_of(desk.store, "case_volume")}
    assert refs == {"T01": "harbour-eye", "T02": "quay-eye", "T03": "harbour-eye"}


def test_a_store_is_found_by_its_path_from_here_or_by_the_environment(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = desk.file(log(2))
    monkeypatch.chdir(desk.store.parent)
    run_well("intake", path)  # without --store: ./store
    monkeypatch.chdir(desk.folder.parent)
    monkeypatch.setenv("COHORT_STORE", str(desk.store))
    assert "changes nothing" in run_well("intake", path).err
    assert len(run_well("show", "case_credit", "--format", "csv").out.splitlines()) == 1 + 2


def test_the_readme_shows_the_rules_of_reasons_as_they_are_shipped() -> None:
    block = README.read_text(encoding="utf-8").split("```yaml\nreasons:")[1].split("```")[0]
    assert yaml.safe_load(f"reasons:{block}")["reasons"] == Reasons().model_dump()


@pytest.mark.parametrize(
    "reasons",
    [
        {"gossip": {}},
        {"pace_behind": {"chance_below": 1.5}},
        {"pace_behind": {"people": 0}},
        {"log_late": {"weeks": 2}},
        {"weak_above": 2},
    ],
)
def test_a_rule_of_reasons_that_does_not_exist_or_says_too_much_is_refused(
    reasons: dict[str, object], tmp_path: Path
) -> None:
    path = tmp_path / "programme.yaml"
    path.write_text(
        yaml.safe_dump({"programme_ref": "p", "title": "P", "reasons": reasons}), encoding="utf-8"
    )
    with pytest.raises(WrongUsage, match=r"reasons|weak_above"):
        load_programme(path)

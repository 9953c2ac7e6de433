"""Nothing that looks as if it named a person gets in.

Which identifiers there are: 45 CFR 164.514(b)(2). How they are written: common practice, no source.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.contract.errors import Finding
from pipelines.contract.formats import CASES, KINDS, MILESTONES, REVIEWS, TRAINEES, Kind
from pipelines.files import identifiers
from pipelines.files.identifiers import Screened, Screening
from pipelines.files.reading import ExportFile, Sheet
from tests.identifier_shapes import CERTAIN, EMAILS, NATIONAL, ORDINARY, sheet_of
from tests.sheets_read import read


def screen(
    sheet: Sheet, kind: Kind, shown: str, refs_are_pseudonyms: bool, words: frozenset[str] = frozenset()
) -> list[Finding]:
    return screened_whole(sheet, kind, shown, refs_are_pseudonyms, words).refused


def screened_whole(
    sheet: Sheet,
    kind: Kind,
    shown: str,
    refs_are_pseudonyms: bool = False,
    words: frozenset[str] = frozenset(),
) -> Screened:
    return identifiers.screen(Screening(sheet.header, sheet.rows, kind, shown, refs_are_pseudonyms, words))


def screened(
    cell: str, column: str, kind: Kind = CASES, refs_are_pseudonyms: bool = False
) -> list[tuple[str, int | None, str | None]]:
    """Rule, row and column of what refuses one cell that stands in row 3 of `column`."""
    filler = next(each.name for each in kind.columns if each.name != column)
    sheet = sheet_of([filler, column], ["x1", ""], ["x1", cell])
    findings = screen(sheet, kind, "T07.csv", refs_are_pseudonyms)
    check_nothing_is_quoted(findings, cell)
    return [(each.rule, each.source_row, each.column_name) for each in findings]


def check_nothing_is_quoted(findings: list[Finding], text: str) -> None:
    for finding in findings:
        assert text not in finding.message + finding.remedy + (finding.column_name or "")
        assert finding.severity == "refused"
        assert finding.message.startswith(f"{finding.file_name}, ")


# Certain shapes


@pytest.mark.parametrize("cell", CERTAIN)
@pytest.mark.parametrize("column", ["technique", "operated_on", "case_ref", "extra"])
def test_a_certain_shape_is_refused_in_every_column(cell: str, column: str) -> None:
    assert screened(cell, column) == [("identifier_in_cell", 3, column)]


@pytest.mark.parametrize("cell", CERTAIN)
def test_a_certain_shape_is_refused_where_refs_are_known_to_be_pseudonyms(cell: str) -> None:
    assert screened(cell, "site_ref", refs_are_pseudonyms=True) == [("identifier_in_cell", 3, "site_ref")]


@pytest.mark.parametrize("text", CERTAIN)
def test_a_certain_shape_is_refused_in_a_header_and_shown_as_its_position(text: str) -> None:
    sheet = sheet_of(["case_ref", text], ["T07-0001", "x"])
    findings = screen(sheet, CASES, "T07.csv", False)
    assert [(each.rule, each.source_row, each.column_name) for each in findings] == [
        ("identifier_in_header", 1, "column 2")
    ]
    check_nothing_is_quoted(findings, text)
    check_nothing_is_quoted(findings, sheet.header[1])


@pytest.mark.parametrize("cell", ORDINARY)
def test_an_ordinary_cell_is_no_identifier(cell: str) -> None:
    assert screened(cell, "technique") == []


def some_digits(count: int) -> st.SearchStrategy[str]:
    return st.text("0123456789", min_size=count, max_size=count)


separator = st.sampled_from("-. ")
space = st.sampled_from(" -")
local = st.text("abcdefghijklmnopqrstuvwxyz0123456789._+-", min_size=1, max_size=12)
label = st.text("abcdefghijklmnopqrstuvwxyz0123456789", min_size=1, max_size=8)
made_identifiers = st.one_of(
    st.builds(lambda a, b, c: f"{a}@{b}.{c}", local, label, st.sampled_from(["org", "co.uk"])),
    st.builds(lambda a, b: f"https://{a}.org/{b}", label, label),
    st.ip_addresses(v=4).map(str),
    st.ip_addresses(v=6).filter(lambda ip: int(ip) >= 2**112).map(lambda ip: ip.exploded),
    st.builds(lambda a, s, b, t, c: a + s + b + t + c, some_digits(3), separator, some_digits(2), separator,
              some_digits(4)),
    st.builds(lambda a, s, b, t, c: a + s + b + t + c, some_digits(3), separator, some_digits(3), separator,
              some_digits(4)),
    st.builds(lambda a, b, c: f"({a}) {b}-{c}", some_digits(3), some_digits(3), some_digits(4)),
    st.builds(lambda a, b, s, c: f"+{a}{s}{b}{s}{c}", st.integers(1, 999), some_digits(3), space,
              some_digits(6)),
    st.builds(lambda a, s, b: f"0{a}{s}{b}", st.integers(100, 9999), st.sampled_from(" -"), some_digits(6)),
)  # fmt: skip
around = st.sampled_from(["{}", " {} ", "see {}", "{}, please", "to:{};", "({})", '"{}"'])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(made_identifiers, around), min_size=1, max_size=10))
def test_every_made_up_identifier_is_found_wherever_it_stands_in_a_cell(drawn: list[tuple[str, str]]) -> None:
    cells = [place.format(text) for text, place in drawn]
    rows = [["T07-0001", cell, cell] for cell in cells]
    sheet = sheet_of(["case_ref", "technique", "extra"], *rows)
    found = {(each.source_row, each.column_name) for each in screen(sheet, CASES, "x.csv", False)}
    assert found == {(row, name) for row in range(2, 2 + len(cells)) for name in ("technique", "extra")}


# Ordinary rows


day = st.dates(date(2019, 7, 1), date(2030, 6, 30)).map(str)
codes = st.lists(
    st.sampled_from(["phaco_iol", "small_pupil", "chop", "endophthalmitis@5", "wound_leak@41"]), max_size=3
)
# Four letters may spell a name, and are asked about.
# Each with a digit: letters alone may be a surname, which a person is asked about.
pseudonym = st.from_regex(r"[A-Z]{1,3}[0-9]{1,3}(-[A-Z0-9]{1,7})?", fullmatch=True)
short_number = st.integers(0, 99_999).map(str)
BY_TYPE = {
    "ref": pseudonym | short_number,
    "case_ref": pseudonym | st.uuids().map(str),
    "date": day | st.datetimes().map(lambda moment: moment.strftime("%d.%m.%Y %H:%M")),
    "month": day.map(lambda text: text[:7]),
    "cohort": st.sampled_from(["2026-27", "2027"]),
    "code": st.sampled_from(["surgeon", "left", "supervisor_in_room", "spoken_guidance"]),
    "procedure": st.sampled_from(["phaco_iol", "yag_capsulotomy"]) | short_number,
    "codes": codes.map(";".join),
    "events": codes.map(";".join),
    "yes_no": st.sampled_from(["yes", "no", "", "true", "0"]),
    "whole": st.integers(0, 36_500).map(str),
    "number": st.floats(0, 1440).map(repr) | st.decimals(0, 1440, places=3).map(str),
    "clock": st.integers(0, 90_000).map(lambda seconds: str(timedelta(seconds=seconds % 86_400))),
    "period": st.sampled_from(["2026-27 mid", "2027-28 end"]),
    "text": st.sampled_from(
        ["", "cornea service", "capsule tight, converted to can-opener", "grade 3 lens; 0.5"]
    ),
}


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
@settings(max_examples=15, deadline=None)
@given(data=st.data())
def test_no_cell_of_an_ordinary_row_is_taken_for_an_identifier(kind: Kind, data: st.DataObject) -> None:
    row = st.tuples(*(BY_TYPE[column.type] for column in kind.columns))
    rows = data.draw(st.lists(row.filter(any), min_size=1, max_size=30))
    sheet = sheet_of([column.name for column in kind.columns], *(list(each) for each in rows))
    assert screen(sheet, kind, "x.csv", False) == []


def test_the_letters_of_a_uuid_spell_no_name() -> None:
    texts = [
        "1877c309-0cf9-4a9e-0bd1-baab71931cdc",
        "12719a47-4f88-af9e-f122-078c440c092b",
        "08c4a856-4f02-1875-7606-a4da959125ea",
        "89baba7b-8b98-89f1-8d94-5e515621aa2d",
    ]
    sheet = sheet_of(["case_ref", "trainee_ref"], *([text, "T07"] for text in texts))
    assert screen(sheet, CASES, "x.csv", False) == []


# Pseudonym columns


@pytest.mark.parametrize("column", ["case_ref", "trainee_ref", "supervisor_ref", "site_ref"])
@pytest.mark.parametrize("cell", ["Anna Muster", "Muster, A", "dr. muster", "A B", "é\u00a0ü", "T07 x y"])
def test_letters_with_a_space_are_no_pseudonym(cell: str, column: str) -> None:
    assert screened(cell, column) == [("identifier_in_cell", 3, column)]
    assert screened(cell, column, refs_are_pseudonyms=True) == [("identifier_in_cell", 3, column)]
    assert screened(cell, "technique") == []


@pytest.mark.parametrize("column", ["case_ref", "supervisor_ref"])
def test_six_digits_alone_are_no_pseudonym_unless_the_programme_says_so(column: str) -> None:
    assert screened("123456", column) == [("identifier_in_cell", 3, column)]
    assert screened("0012345678", column) == [("identifier_in_cell", 3, column)]
    assert screened("123456", column, refs_are_pseudonyms=True) == []
    assert screened("12345", column) == []
    assert screened("T123456", column) == []
    assert screened("123456", "duration_min") == []


@pytest.mark.parametrize("cell", ["T07", "T07-0004512", "s_03", "site-2", "T07 0004", "12", "A-1-B-2"])
def test_letters_digits_and_hyphens_are_an_ordinary_pseudonym(cell: str) -> None:
    assert screened(cell, "case_ref") == []


# Free text and unknown columns

DATES = [
    "2026-04-03",
    "on 2026/4/3",
    "3/4/26",
    "4/23/2026",
    "23.4.2026",
    "03.04.2026",
    "3-4-2026",
    "3 March 2026",
    "3rd of March 2026",
    "3. mar 26",
    "3-Mar-2026",
    "March 3, 2026",
    "Mar. 3rd 2026",
    "SEPTEMBER 3 2026",
    "2026-04-03T10:30",
]
LONG_NUMBERS = ["123456", "no 1234567890", "x123456y", "0.123456"]
NAMES = [
    "Anna Muster",
    "seen by Anna Muster-Berg today",
    "Muster, Anna",
    "O'Neill Anna",
    "Anne-Marie Ünlü",
    "Dr. Muster",
    "Mr Muster",
    "ANNA MUSTER",
    "E\u0301va Muster",
    "Anna\u00a0Muster",
]
FREE_TEXT = [(REVIEWS, "comment"), (MILESTONES, "rationale")]
NOT_READ = [(CASES, "comment"), (TRAINEES, "extra")]


@pytest.mark.parametrize(("kind", "column"), FREE_TEXT)
@pytest.mark.parametrize("cell", [*DATES, *LONG_NUMBERS, *NAMES, *EMAILS, *NATIONAL])
def test_free_text_is_refused_for_dates_long_numbers_and_names(cell: str, kind: Kind, column: str) -> None:
    assert screened(cell, column, kind) == [("identifier_in_cell", 3, column)]


@pytest.mark.parametrize(("kind", "column"), NOT_READ)
@pytest.mark.parametrize("cell", [*DATES, *LONG_NUMBERS, *NAMES])
def test_what_is_uncertain_in_a_column_that_is_not_read_is_a_warning_that_names_the_column(
    cell: str, kind: Kind, column: str
) -> None:
    sheet = sheet_of([kind.columns[0].name, column], ["x1", ""], ["x1", cell])
    found = screened_whole(sheet, kind, "T07.csv")
    assert (found.refused, found.uncertain) == ([], [])
    (warning,) = found.warnings
    assert (warning.rule, warning.severity, warning.column_name) == ("column_may_identify", "warning", column)
    assert cell not in warning.message + warning.remedy


@pytest.mark.parametrize(("kind", "column"), NOT_READ)
@pytest.mark.parametrize("cell", [*EMAILS, *NATIONAL])
def test_what_is_certain_in_a_column_that_is_not_read_refuses_until_it_is_dropped(
    cell: str, kind: Kind, column: str
) -> None:
    sheet = sheet_of([kind.columns[0].name, column], ["x1", ""], ["x1", cell])
    (finding,) = screened_whole(sheet, kind, "T07.csv").refused
    assert (finding.rule, finding.source_row, finding.column_name) == ("identifier_in_cell", 3, column)
    assert "dropped" in finding.remedy


@pytest.mark.parametrize(
    "cell",
    [
        "Capsule tight, converted to can-opener.",
        "Uneventful. Chop used.",
        "Good. Well done",
        "5 attempts, 12345 seconds",
        "20/40 before, 6/9 after",
        "20/20/20 rule",
        "may need 2 more in march",
        "IOL in bag",
        "grade 3 of 4",
        "2026-27 mid",
        "2026-04",
        "version 1.25.3",
    ],
)
@pytest.mark.parametrize(("kind", "column"), [*FREE_TEXT, *NOT_READ])
def test_ordinary_free_text_is_kept(cell: str, kind: Kind, column: str) -> None:
    assert screened(cell, column, kind) == []


@pytest.mark.parametrize("cell", [*DATES, *LONG_NUMBERS, *NAMES])
def test_uncertain_shapes_do_not_refuse_a_known_column(cell: str) -> None:
    assert screened(cell, "technique") == []


def test_the_message_says_where_and_what_but_not_the_cell() -> None:
    sheet = sheet_of(["case_ref", "technique"], ["T07-0001", "chop"], ["T07-0002", "a.muster@example.org"])
    (finding,) = screen(sheet, CASES, "T07.csv", False)
    assert finding.message == "T07.csv, row 3, technique: the cell holds what looks like an email address."
    assert (finding.file_name, finding.trainee_ref) == ("T07.csv", None)


@pytest.mark.parametrize(
    ("cell", "column", "what"),
    [
        ("https://example.org", "technique", "a web address"),
        ("192.0.2.1", "technique", "a network address"),
        ("2001:db8::1", "technique", "a network address"),
        ("123-45-6789", "technique", "a national number"),
        ("555-010-0199", "technique", "a telephone number"),
        ("020 7946 0123", "technique", "a telephone number"),
        ("Anna Muster", "site_ref", "words, not a pseudonym"),
        ("123456", "site_ref", "a record number, not a pseudonym"),
        ("3 March 2026", "comment", "a date"),
        ("123456", "comment", "a number of six digits or more"),
        ("Anna Muster", "comment", "a person's name"),
    ],
)
def test_the_message_names_the_kind_of_shape(cell: str, column: str, what: str) -> None:
    kind = REVIEWS if column == "comment" else CASES
    sheet = sheet_of([kind.columns[-2].name, column], ["x", cell])
    (finding,) = screen(sheet, kind, "T07.csv", False)
    assert finding.message.endswith(f"looks like {what}.")


def test_twenty_findings_are_listed_by_row_and_the_last_says_how_many_there_are() -> None:
    rows = [[f"T07-{row:04}", "x@example.org", "y@example.org"] for row in range(15)]
    findings = screen(sheet_of(["case_ref", "technique", "side"], *rows), CASES, "T07.csv", False)
    assert [(each.source_row, each.column_name) for each in findings] == [
        (row, name) for row in range(2, 12) for name in ("technique", "side")
    ]
    assert "There are 30 such places in all; the first 20 are listed." in findings[-1].message
    assert not any("in all" in each.message for each in findings[:-1])


def test_of_twenty_findings_none_speaks_of_more() -> None:
    rows = [[f"T07-{row:04}", "x@example.org"] for row in range(20)]
    findings = screen(sheet_of(["case_ref", "technique"], *rows), CASES, "T07.csv", False)
    assert len(findings) == 20
    assert not any("in all" in each.message for each in findings)


def test_row_numbers_are_those_of_the_file() -> None:
    data = b'case_ref,technique\nT07-0001,"two\nlines"\n\nT07-0002,x@example.org\n'
    (finding,) = screen(read(ExportFile("T07.csv", data)), CASES, "T07.csv", False)
    assert finding.source_row == 4


# Headers


@pytest.mark.parametrize(
    ("header", "shown"),
    [
        ("name", "name"),
        ("Surname", "surname"),
        ("Patient", "patient"),
        ("patient_age", "column 2"),
        ("Date of Birth", "date_of_birth"),
        ("birth-year", "column 2"),
        ("dob", "dob"),
        ("home address", "column 2"),
        ("postcode", "postcode"),
        ("ZIP code", "column 2"),
        ("phone", "phone"),
        ("Fax no", "fax_no"),
        ("email", "email"),
        ("e-mail", "e_mail"),
        ("mrn", "mrn"),
        ("Record Number", "record_number"),
        ("insurance no", "insurance_no"),
        ("account", "account"),
        ("licence", "licence"),
        ("License plate", "column 2"),
        ("lens serial", "column 2"),
        ("photo", "photo"),
        ("patient's age", "column 2"),
        ("eye (photo)", "column 2"),
    ],
)
def test_a_header_that_asks_for_an_identifier_is_refused_and_named_only_in_plain_words(
    header: str, shown: str
) -> None:
    findings = screen(sheet_of(["case_ref", header], ["T07-0001", "x"]), CASES, "T07.csv", False)
    assert [(each.rule, each.source_row, each.column_name) for each in findings] == [
        ("identifier_in_header", 1, shown)
    ]


def test_a_word_of_the_specialty_is_a_plain_word() -> None:
    sheet = sheet_of(["case_ref", "lens serial"], ["T07-0001", "x"])
    (finding,) = screen(sheet, CASES, "T07.csv", False, frozenset({"lens"}))
    assert finding.column_name == "lens_serial"


@pytest.mark.parametrize(
    "header",
    [
        "username",
        "renamed",
        "patients",
        "record",
        "number",
        "record_of_number",
        "zipper",
        "mail",
        "age",
        "column_5",
    ],
)
def test_a_word_that_only_contains_one_is_an_unknown_column_like_any_other(header: str) -> None:
    assert screen(sheet_of(["case_ref", header], ["T07-0001", "x"]), CASES, "T07.csv", False) == []


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_no_column_of_the_contract_is_refused_by_its_header(kind: Kind) -> None:
    header = [column.name for column in kind.columns]
    assert screen(sheet_of(header, ["x"] * len(header)), kind, "x.csv", False) == []


def test_a_column_whose_header_matched_is_never_named_by_it() -> None:
    sheet = sheet_of(["case_ref", "Name Muster"], ["T07-0001", "a@example.org"])
    findings = screen(sheet, CASES, "T07.csv", False)
    assert [(each.rule, each.column_name) for each in findings] == [
        ("identifier_in_header", "column 2"),
        ("identifier_in_cell", "column 2"),
    ]
    check_nothing_is_quoted(findings, "muster")

"""Any file a person may hand over: told by its content, read as tables of text, or refused.

What is expected of a cell, a header and a row number: the contract of the export format.
"""

from __future__ import annotations

import codecs
import contextlib
import hashlib
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.contract.errors import FileRefused, UserError, WrongUsage
from pipelines.files import reading, records
from pipelines.files.reading import ExportFile, Sheet, read_export, read_parts
from pipelines.files.refusals import NotATable
from pipelines.specialty.load import load_specialty
from tests.sheets_read import drawn, lines, read, refusal, table

# Header, cells, rows


def test_headers_lose_case_spaces_and_hyphens() -> None:
    assert read(ExportFile("a.csv", b" Case Ref ,TRAINEE-REF,operated_on\n1,2,3\n")).header == [
        "case_ref",
        "trainee_ref",
        "operated_on",
    ]


def test_cells_are_trimmed_and_blank_ones_null_but_na_is_not_blank() -> None:
    sheet = read(ExportFile("a.csv", "a,b,c\n x ,\u00a0\u2003,NA\n,-,null\n".encode()))
    assert drawn(sheet) == table("""
        row | a | b | c
        2 | x |  | NA
        3 |  | - | null
    """)
    assert sheet.rows.column("b").to_pylist() == [None, "-"]


def test_every_white_space_of_unicode_is_trimmed_and_nothing_else() -> None:
    # Source: the White_Space property as Python's unicodedata knows it (str.isspace).
    spaces = [chr(code) for code in range(0x20, 0x3100) if chr(code).isspace()]
    assert "\u00a0" in spaces and "\u3000" in spaces and len(spaces) > 15
    rows = "".join(f"{space}x{space},{space}\n" for space in spaces if space not in "\u2028\u2029")
    sheet = read(ExportFile("a.csv", ("a,b\n" + rows).encode()))
    assert set(sheet.rows.column("a").to_pylist()) == {"x"}
    assert set(sheet.rows.column("b").to_pylist()) == {None}
    assert read(ExportFile("b.csv", "a\n\u200bx\n".encode())).rows.column("a").to_pylist() == ["\u200bx"]


def test_two_equal_headers_refuse_the_file() -> None:
    assert refusal(ExportFile("a.csv", b"a,Case Ref,case-ref\n1,2,3\n")) == ("header_twice", 1, "case_ref")


def test_a_doubled_header_that_is_no_plain_word_is_named_by_its_place() -> None:
    assert refusal(ExportFile("a.csv", b"j@x.org,a,j@x.org\n1,2,3\n")) == ("header_twice", 1, "column 3")


def test_a_header_may_not_take_the_place_of_the_row_number() -> None:
    assert refusal(ExportFile("a.csv", b"a,--source-row\n1,2\n")) == ("header_twice", 1, "column 2")


def test_a_blank_header_is_named_by_position_and_at_the_end_dropped() -> None:
    assert drawn(read(ExportFile("a.csv", b"a,,c,,\n1,2,3,,\n4,5,6,7,\n"))) == table("""
        row | a | column_2 | c
        2 | 1 | 2 | 3
        3+ | 4 | 5 | 6
    """)


def test_missing_cells_are_blank_and_a_filled_cell_beyond_the_header_is_marked() -> None:
    assert drawn(read(ExportFile("a.csv", b"a,b\n1\n1,2,,\n1,2, ,x\n"))) == table("""
        row | a | b
        2 | 1 |
        3 | 1 | 2
        4+ | 1 | 2
    """).replace("2 | 1 |\n", "2 | 1 | \n")


def test_a_row_with_nothing_but_a_cell_too_many_is_not_blank() -> None:
    assert lines(read(ExportFile("a.csv", b"a,b\n,,x\n1,2\n"))) == ["2+ |  | ", "3 | 1 | 2"]


def test_blank_lines_and_lines_of_delimiters_are_skipped_but_numbered() -> None:
    assert lines(read(ExportFile("a.csv", b"a,b\n\n1,2\n,\n , \n3,4\n\n\n"))) == ["3 | 1 | 2", "6 | 3 | 4"]
    assert lines(read(ExportFile("b.csv", b"a,b\n1,2\n,\n3,4\n"))) == ["2 | 1 | 2", "4 | 3 | 4"]


def test_blank_lines_before_the_header_are_numbered_too() -> None:
    assert drawn(read(ExportFile("a.csv", b"\n,\na,b\n1,2\n"))) == table("""
        row | a | b
        4 | 1 | 2
    """)


def test_a_quoted_line_break_does_not_count_as_a_row() -> None:
    assert lines(read(ExportFile("a.csv", b'a,b\n"one\r\ntwo",2\n3,"say ""x"""\n'))) == [
        "2 | one\r\ntwo | 2",
        '3 | 3 | say "x"',
    ]


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
def test_any_line_end_separates_rows(end: bytes) -> None:
    assert lines(read(ExportFile("a.csv", end.join([b"a,b", b"1,2", b"3,4"])))) == ["2 | 1 | 2", "3 | 3 | 4"]


def test_mixed_line_ends_separate_rows() -> None:
    assert lines(read(ExportFile("a.csv", b"a,b\n1,2\r\n3,4\r5,6"))) == [
        "2 | 1 | 2",
        "3 | 3 | 4",
        "4 | 5 | 6",
    ]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_delimiter_is_recognised_from_the_header(delimiter: str) -> None:
    text = delimiter.join(["a", "b", "c"]) + "\n" + delimiter.join(["1", "2", "3"]) + "\n"
    assert lines(read(ExportFile("a.csv", text.encode()))) == ["2 | 1 | 2 | 3"]


def test_delimiters_inside_quotes_do_not_decide() -> None:
    assert read(ExportFile("a.csv", b'"a,b,c,\nd";e\n1;2\n')).header == ["a,b,c,_d", "e"]


def test_a_list_in_quotes_keeps_its_semicolons() -> None:
    assert lines(read(ExportFile("a.csv", b'a;b\n"x;y";2\n'))) == ["2 | x;y | 2"]


def test_a_table_of_one_column_is_a_table() -> None:
    assert lines(read(ExportFile("a.csv", b"a\n1\n\n2\n"))) == ["2 | 1", "4 | 2"]


# Encodings


TEXT = "trainee_ref,note\nT07,Größe – é\n"


@pytest.mark.parametrize(
    "data",
    [
        TEXT.encode("utf-8"),
        TEXT.encode("utf-8-sig"),
        TEXT.encode("utf-16"),
        codecs.BOM_UTF16_BE + TEXT.encode("utf-16-be"),
        TEXT.encode("utf-16-le"),
        TEXT.encode("utf-16-be"),
        TEXT.encode("cp1252"),
    ],
    ids=["utf-8", "utf-8 mark", "utf-16 mark", "utf-16-be mark", "utf-16-le", "utf-16-be", "windows-1252"],
)
def test_an_encoding_changes_nothing(data: bytes) -> None:
    assert drawn(read(ExportFile("a.csv", data))) == table("""
        row | trainee_ref | note
        2 | T07 | Größe – é
    """)


# Source: the bytes that the mapping table of Windows-1252 of the Unicode Consortium leaves undefined.
@pytest.mark.parametrize("byte", [b"\x81", b"\x8d", b"\x8f", b"\x90", b"\x9d"])
def test_a_byte_that_windows_1252_does_not_have_refuses_the_file(byte: bytes) -> None:
    assert refusal(ExportFile("a.csv", b"a,b\n1," + byte + b"\n")) == ("not_a_table", None, None)


@pytest.mark.parametrize(
    "data",
    [
        b"a,b\n1,\0\n",
        b"a,b\n" + b"1,2\n" * 50_000 + b"1,\0\n",
        b"\x89PNG\r\n\x1a\n\x00\x00",
        b"%PDF-1.7\n\x01\x02\x03",
        b"\xff\xd8\xff\xe0\x10JFIF",
        TEXT.encode("utf-16") + b"\x00",
        TEXT.encode("utf-32"),
        "a,b\n1,\0\n".encode("utf-16"),
        bytes(range(256)) * 4,
    ],
)
def test_what_is_no_text_is_not_a_table(data: bytes) -> None:
    assert refusal(ExportFile("a.csv", data))[0] == "not_a_table"


@pytest.mark.parametrize(
    "data", [b"", b"\n\n", b" \r\n", b",,\n,\n", b"a,b", b"a,b\n", b"a,b\n\n,\n \n", codecs.BOM_UTF8]
)
def test_a_file_without_a_row_is_not_a_table(data: bytes) -> None:
    assert refusal(ExportFile("a.csv", data)) == ("not_a_table", None, None)


# Faults that name a place


def test_a_quote_that_is_never_closed_is_refused_where_it_opened() -> None:
    rows = b"".join(b"%d,x\n" % row for row in range(2, 500))
    assert refusal(ExportFile("a.csv", b'a,b\n"1\n2",x\n3,"open\n' + rows)) == ("not_a_table", 3, None)


def test_a_quote_that_swallows_rows_up_to_the_next_quote_is_refused() -> None:
    assert refusal(ExportFile("a.csv", b'a,b\n1,"open\n2,x\n3,"closed"\n')) == ("not_a_table", 2, None)


def test_a_quote_inside_a_cell_is_text() -> None:
    assert lines(read(ExportFile("a.csv", b'a,b\n5" lens,2\n'))) == ['2 | 5" lens | 2']


# 1 MB: a million bytes of UTF-8.
@pytest.mark.parametrize("quote", [b"", b'"'])
@pytest.mark.parametrize("cell", [b"x" * 1_000_001, "é".encode() * 500_001, b"x" * 10_000_000])
def test_a_cell_above_one_megabyte_is_refused_with_its_place(quote: bytes, cell: bytes) -> None:
    data = b"a,b\n1,2\n3," + quote + cell + quote + b"\n"
    assert refusal(ExportFile("a.csv", data)) == ("cell_too_long", 3, "b")


def test_a_cell_of_one_megabyte_is_read() -> None:
    for cell in (b"x" * 1_000_000, b'"' + "é".encode() * 500_000 + b'"'):
        assert read(ExportFile("a.csv", b"a,b\n1," + cell + b"\n")).rows.num_rows == 1


def test_a_long_cell_beyond_the_header_and_a_long_header_are_refused() -> None:
    long = b"x" * 1_000_001
    assert refusal(ExportFile("a.csv", b"a,b\n1,2," + long + b"\n")) == ("cell_too_long", 2, "column 3")
    assert refusal(ExportFile("b.csv", b"a,b,\n1,2," + long + b"\n")) == ("cell_too_long", 2, "column 3")
    assert refusal(ExportFile("c.csv", b"a," + long + b"\n1,2\n")) == ("cell_too_long", 1, "column 2")


# Paths


def test_a_path_that_does_not_exist_is_wrong_usage(tmp_path: Path) -> None:
    with pytest.raises(WrongUsage) as wrong:
        read_export(tmp_path / "T07.csv", 1)
    assert wrong.value.exit_code == 2
    assert str(wrong.value) == "T07.csv: there is no such file."
    with pytest.raises(WrongUsage, match=r"^file 2: there is no such file"):
        read_export(tmp_path / "Anna Muster.csv", 2)


def test_a_folder_is_not_a_table(tmp_path: Path) -> None:
    with pytest.raises(FileRefused) as refused:
        read_export(tmp_path, 1)
    assert refused.value.exit_code == 11
    assert [finding.rule for finding in refused.value.findings] == ["not_a_table"]


def test_a_file_that_may_not_be_read_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(path: Path, _mode: str) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    # The rights of a file do not bind root, whom the tests may run as.
    monkeypatch.setattr(Path, "open", denied)
    with pytest.raises(UserError) as unread:
        read_export(tmp_path / "a.csv", 1)
    assert unread.value.exit_code == 1
    assert str(unread.value) == "a.csv: the file cannot be read: Permission denied."


def test_a_file_is_its_name_and_its_bytes(tmp_path: Path) -> None:
    path = tmp_path / "Anna Muster.csv"
    path.write_bytes(b"a\n1\n")
    assert read_export(path, 1) == ExportFile("Anna Muster.csv", b"a\n1\n")


def test_the_bytes_of_a_file_do_not_stand_in_its_printed_form() -> None:
    assert "Muster" not in repr(ExportFile("a.csv", b"a\nMuster\n"))


# The files of a command

SPECIALTY = load_specialty("ophthalmology")
ROSTER = b"trainee_ref,cohort,started,expected_completion\nT01,2026-27,2024-07,2027-06\n"
CASES = b"case_ref,trainee_ref,operated_on,procedure,role\nC001,T01,2026-04-03,phaco_iol,surgeon\n"


def test_a_part_keeps_hash_name_kind_and_rows_and_rosters_come_first() -> None:
    parts = read_parts([ExportFile("Anna Muster.csv", CASES), ExportFile("b.csv", ROSTER)], SPECIALTY, False)
    assert [(part.number, part.shown, part.kind.name, part.row_count) for part in parts] == [
        (1, "b.csv", "trainees", 1),
        (2, "file 1", "cases", 1),
    ]
    assert parts[1].sha256 == hashlib.sha256(CASES).hexdigest()
    assert parts[1].take_rows().column("case_ref").to_pylist() == ["C001"]
    assert parts[1].rows is None


def test_the_refusals_of_all_files_come_together_and_a_name_is_not_printed() -> None:
    files = [ExportFile("a.csv", b""), ExportFile("b.csv", ROSTER), ExportFile("Anna Muster.csv", b"a\n1\n")]
    with pytest.raises(FileRefused) as refused:
        read_parts(files, SPECIALTY, False)
    assert [(finding.file_name, finding.rule) for finding in refused.value.findings] == [
        ("a.csv", "not_a_table"),
        ("file 3", "kind_unknown"),
    ]
    assert "Muster" not in str(refused.value)


@pytest.mark.parametrize(
    ("comment", "more"),
    [
        ("", set()),
        ("déjà vu", set()),
        ('"quoted, with ""quotes"""', {"records.py"}),
        ("one,too many", {"records.py"}),
    ],
)
def test_a_small_file_is_read_by_two_or_three_modules_of_its_room(comment: str, more: set[str]) -> None:
    room = Path(reading.__file__).parent
    header, row, *_ = CASES.decode().splitlines()
    file = ExportFile("T01.csv", f"{header},comment\n{row},{comment}\n".encode())
    entered: set[str] = set()

    def trace(frame: FrameType, _event: str, _argument: object) -> None:
        if Path(frame.f_code.co_filename).parent == room:
            entered.add(Path(frame.f_code.co_filename).name)

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        read_parts([file], SPECIALTY, False)
    finally:
        sys.settrace(before)
    assert entered == {"reading.py", "identifiers.py", *more}


def test_what_reads_books_and_parquet_is_imported_for_them_alone() -> None:
    script = (
        "import sys; from pipelines.files.reading import *; from pipelines.specialty.load import load_specialty\n"
        f"read_parts([ExportFile('a.csv', {CASES!r})], load_specialty('ophthalmology'), False)\n"
        "print([name for name in ('openpyxl', 'pyarrow.parquet', 'pipelines.files.books') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


# The two ways of reading


def both_ways(text: bytes) -> tuple[object, object]:
    """What the fast and the plain way give: a sheet's content, or the fault, or None."""
    delimiter = reading.delimiter_of(text)
    return (
        outcome(lambda: reading.read_fast(text, delimiter)),
        outcome(lambda: records.sheet_from_records(records.plain_records(text, delimiter))),
    )


def outcome(way: Callable[[], Sheet | None]) -> object:
    try:
        sheet = way()
    except NotATable as fault:
        return fault.finding("t.csv")
    return sheet and (sheet.header, sheet.rows.schema, sheet.rows.to_pylist())


# No quote, no line end, no character that UTF-8 cannot hold.
CELL = st.text(
    st.characters(exclude_characters='"\r\n\0', exclude_categories=["Cs"]), max_size=6
) | st.sampled_from(["", " ", "x", "\u00a0y ", "NA", "null", "NaN", "#N/A", "1.0", "\t", "\\", "'", "\ufeff"])


@settings(max_examples=400, deadline=None)
@given(st.data())
def test_the_fast_way_and_the_plain_way_give_the_same_sheet(data: st.DataObject) -> None:
    delimiter = data.draw(st.sampled_from([",", ";", "\t"]))
    end = data.draw(st.sampled_from(["\n", "\r\n"]))
    width = data.draw(st.integers(1, 5))
    header = [f"{CELL_NAMES[position]}" for position in range(width)]
    cell = CELL.map(lambda text: text.replace(delimiter, "_"))
    rows = data.draw(st.lists(st.lists(cell, min_size=width, max_size=width), max_size=6))
    blank_end = data.draw(st.sampled_from(["", end, end * 3]))
    text = end.join(delimiter.join(row) for row in [header, *rows]) + blank_end
    fast, plain = both_ways(text.encode())
    # With one column nothing says which delimiter was meant; without a row there is nothing to read.
    assert fast == plain or (fast is None and (width == 1 or not rows))


CELL_NAMES = ["case_ref", "Trainee Ref", "c", "", "e"]


@settings(max_examples=400, deadline=None)
@given(st.text(st.sampled_from('a1 ,;\t\n\r"é\u00a0'), max_size=40))
def test_on_any_text_the_fast_way_agrees_or_leaves_it_to_the_plain_way(text: str) -> None:
    fast, plain = both_ways(text.encode())
    assert fast is None or fast == plain


def test_the_fast_way_is_taken_for_an_ordinary_export_and_not_for_quotes() -> None:
    assert both_ways(b"a,b\n1,2\n")[0] is not None
    assert both_ways(b'a,b\n1,"2"\n')[0] is None
    assert both_ways(b"a,b\n1,2,3\n")[0] is None
    assert both_ways(b"a,b\n1\n")[0] is None
    assert both_ways(b"a,b\n1,2\r\n")[0] is None
    assert both_ways(b"a,b\n\n1,2\n\n")[0] is not None


def test_a_table_longer_than_one_block_is_read_alike_both_ways() -> None:
    rows = b"".join(b"%d,x%d\n" % (row, row) for row in range(600_000))
    assert len(rows) > reading.BLOCK_BYTES
    text = b"a,b\n" + rows
    sheets = [reading.read_fast(text, ","), records.sheet_from_records(records.plain_records(text, ","))]
    assert sheets[0] and sheets[1]
    assert sheets[0].rows.equals(sheets[1].rows)
    assert sheets[0].rows.slice(599_999).to_pylist() == [
        {"a": "599999", "b": "x599999", "__source_row": 600_001, "__too_many_cells": False}
    ]


@settings(max_examples=150, deadline=None)
@given(
    st.binary(max_size=200)
    | st.sampled_from([b"PK\x03\x04", b"PAR1", b"\xff\xfe"]).flatmap(
        lambda start: st.binary(max_size=80).map(lambda rest: start + rest)
    )
)
def test_no_bytes_end_in_anything_but_parts_or_a_refusal(data: bytes) -> None:
    # Every other error would end the test.
    with contextlib.suppress(FileRefused):
        assert all(part.row_count for part in read_parts([ExportFile("any.csv", data)], SPECIALTY, False))

"""Files as they come: encodings, separators, quotes, titles, damaged rows, workbooks; and the quick path says what the
careful one says.
"""

import io
from collections.abc import Sequence
from contextlib import suppress

import polars as pl
import pytest
import xlsxwriter
from hypothesis import given
from hypothesis import strategies as st

from ingest.reading.careful import read_any
from ingest.reading.encodings import decode
from ingest.reading.files import read_regular, read_tables
from ingest.reading.records import split_line
from ingest.reading.tabular import Form, Tables
from ingest.terms.questions import FileProblem


def score(cells: Sequence[str]) -> int:
    names = {cell.strip().casefold() for cell in cells}
    return len(names) if {"serial", "date"} <= names else 0


FORM = Form(score, lambda header: [place for place, cell in enumerate(header) if cell.strip().casefold() == "date"])


def rows(found: Tables) -> list[tuple[object, ...]]:
    return [row for table in found.tables for row in table.rows.iter_rows()]


def read(text: str | bytes) -> Tables:
    return read_tables(text.encode() if isinstance(text, str) else text, "a.csv", FORM)


PLAIN = "serial,date,note\nA1,2026-03-02,x\nA2,2026-03-03,Größe\n"
EXPECTED = [(2, "A1", "2026-03-02", "x"), (3, "A2", "2026-03-03", "Größe")]


@pytest.mark.parametrize(
    "data",
    [
        PLAIN.encode(),
        PLAIN.encode("utf-8-sig"),
        PLAIN.encode("utf-16"),
        PLAIN.encode("utf-16-le"),
        PLAIN.encode("utf-16-be"),
        PLAIN.encode("cp1252"),
        PLAIN.replace("\n", "\r\n").encode(),
        PLAIN.replace("\n", "\r").encode(),
        PLAIN.replace(",", ";").encode(),
        PLAIN.replace(",", "\t").encode(),
        PLAIN.rstrip("\n").encode(),
        PLAIN.replace("x", '"x"').encode(),
        PLAIN.replace("\n", ",,\n").encode(),
        PLAIN.replace(",", "|").encode(),
    ],
)
def test_every_encoding_separator_and_line_end_gives_the_same_rows(data):
    assert rows(read(data)) == EXPECTED


@pytest.mark.parametrize("codec", ["utf-16-le", "utf-16-be"])
def test_two_bytes_a_letter_are_told_by_the_noughts_of_one_side_only(codec):
    long = PLAIN * 200
    assert decode(long.encode(codec), "a.csv") == (long, "")
    torn = b"\x00" * 2000 + 5 * long.encode()  # a block that a full disk left empty stands on both sides
    assert decode(torn, "a.csv")[0] == "\x00" * 2000 + 5 * long


def test_lines_are_counted_in_the_file_with_quoted_line_breaks():
    found = read('serial,date,note\nA1,2026-03-02,"two\nlines"\nA2,2026-03-03,"a ""b"", c"\n')
    assert rows(found) == [(2, "A1", "2026-03-02", "two\nlines"), (4, "A2", "2026-03-03", 'a "b", c')]


def test_title_blank_repeated_header_and_total_lines_are_passed_over():
    found = read(
        "Week 12\n\nserial,date,note\nA1,2026-03-02,x\n,,\nserial,date,note\nTotal,,2\nA2,2026-03-03,Total\nSum:,,\n"
    )
    assert [row[1] for row in rows(found)] == ["A1", "A2"]
    assert found.passed_over == 6
    assert not found.refused


def test_a_row_without_its_last_cells_is_read_and_a_longer_one_or_a_piece_is_set_aside():
    found = read("serial,date,note\nA1,2026-03-02\nA2,2026-03-03,x,y\nA3,2026-03-03,x,,\nA4\n")
    assert [(question.line, question.reason) for question in found.refused] == [
        (3, "a row longer than the header"),
        (5, "a row shorter than the header"),
    ]
    assert rows(found) == [(2, "A1", "2026-03-02", ""), (4, "A3", "2026-03-03", "x")]


def test_month_week_rule_and_total_lines_between_rows_are_passed_over():
    lines = [
        "March 2026",
        "A1,2026-03-02,x",
        "KW 11,,",
        "A2,2026-03-09,y",
        "---,,",
        "Total March,2,",
        "April",
        "A3,2026-04-01,z",
    ]
    found = read("serial,date,note\n" + "\n".join(lines) + "\n")
    assert [row[1] for row in rows(found)] == ["A1", "A2", "A3"]
    assert (found.passed_over, found.refused) == (5, [])


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        ("a\x00b", "control character"),
        ("a\x07b", "control character"),
        ("x" * 1_000_000, "longer than any"),
        ('"' + "x" * 1_000_000 + '"', "longer than any"),
    ],
)
def test_a_damaged_row_is_set_aside_and_the_others_are_read(cell, reason):
    found = read(f"serial,date,note\nA1,2026-03-02,{cell}\nA2,2026-03-03,x\n")
    assert [question.line for question in found.refused] == [2]
    assert reason in found.refused[0].reason
    assert len(found.refused[0].raw) < 1000
    assert [row[1] for row in rows(found)] == ["A2"]


@pytest.mark.parametrize(
    ("line", "cells"),
    [
        ('A1,2026-03-02,"', ["A1", "2026-03-02", '"']),
        ('",2026-03-02,x', ['"', "2026-03-02", "x"]),
        ('A1,2026-03-02,4/64"', ["A1", "2026-03-02", '4/64"']),
        ('A1,2026-03-02,"4/64"""', ["A1", "2026-03-02", '4/64"']),
        ('",",2026-03-02,x', [",", "2026-03-02", "x"]),
        ('"A1" x,2026-03-02,y', ['"A1" x', "2026-03-02", "y"]),
        ('A1,"2026-03-02","say ""hi"""', ["A1", "2026-03-02", 'say "hi"']),
    ],
)
def test_a_lone_quote_is_an_inch_or_ditto_mark_and_swallows_nothing(line, cells):
    found = read(f'serial,date,note\n{line}\nA2,2026-03-03,x\nA3,2026-03-03,"\n')
    assert rows(found) == [(2, *cells), (3, "A2", "2026-03-03", "x"), (4, "A3", "2026-03-03", '"')]


def test_a_slip_of_a_quote_never_swallows_the_rows_up_to_the_next():
    found = read(
        'serial,date,note\nA1,"2026-03-02,x\nA2,2026-03-03,x\nA3,2026-03-03\nA4,2026-03-04,x\nA5,x",2026-03-05\n'
    )
    assert [row[1] for row in rows(found)] == ["A1", "A2", "A3", "A4", "A5"]
    assert not found.refused


def test_two_tables_below_one_another_are_both_read():
    found = read("serial,date,note\nA1,2026-03-02,x\n\nFinal\nserial,date\nA2,2026-03-03\n")
    assert [table.header for table in found.tables] == [("serial", "date", "note"), ("serial", "date")]
    assert rows(found) == [(2, "A1", "2026-03-02", "x"), (6, "A2", "2026-03-03")]
    assert found.passed_over == 2


def test_a_second_table_as_wide_as_the_first_is_no_regular_file():
    found = read("serial,date,note\nA1,2026-03-02,x\nserial,note,date\nA2,y,2026-03-03\n")
    assert [table.header for table in found.tables] == [("serial", "date", "note"), ("serial", "note", "date")]


def test_a_declared_separator_is_taken():
    assert rows(read("sep=;\nserial;date;note,a,b,c\nA1;2026-03-02;x\n")) == [(3, "A1", "2026-03-02", "x")]


def test_letters_that_cannot_be_read_for_sure_set_their_row_aside():
    found = read(
        "serial,date,note\nA1,2026-03-02,Größe\n".encode("cp1252") + b"A2,2026-03-02,\xa4\xac\nA3,2026-03-02,\x81\n"
    )
    assert rows(found) == [(2, "A1", "2026-03-02", "Größe")]
    assert [question.line for question in found.refused] == [3, 4]
    assert "Windows-1252" in found.notes[0]


def test_damaged_utf_8_never_becomes_other_letters():
    found = read("serial,date,note\nA1,2026-03-02,Größe\n".encode() + b"A2,2026-03-02,Gr\xc3\n")
    assert rows(found) == [(2, "A1", "2026-03-02", "Größe")]
    assert [question.reason for question in found.refused] == ["letters that cannot be read for sure"]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\n\n \n", "empty"),
        (b"\xef\xbb\xbf\n", "empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(400), "a picture"),
        (b"%PDF-1.7", "a PDF"),
        (bytes(range(256)) * 40, "binary"),
        (b"PK\x03\x04broken", "workbook"),
        (b"\xd0\xcf\x11\xe0" + bytes(100), "old workbook"),
        (b"a,b\n1,2\n", "no serial or date column"),
        (b"\xff\xfe", "empty"),
    ],
)
def test_what_is_no_log_is_one_line_that_names_the_file(data, words):
    with pytest.raises(FileProblem) as problem:
        read(data)
    assert words in str(problem.value)
    assert str(problem.value).startswith("a.csv: ")
    assert "\n" not in str(problem.value)


def workbook(**sheets: list[list[object]]) -> bytes:
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "default_date_format": "yyyy-mm-dd"})
    for name, lines in sheets.items():
        sheet = book.add_worksheet(name)
        for place, line in enumerate(lines):
            sheet.write_row(place, 0, line)
    book.close()
    return out.getvalue()


def test_a_workbook_takes_the_same_path_with_the_rows_of_its_sheets_as_lines():
    import datetime as dt

    jan = [
        ["Week 12"],
        [],
        ["Serial", "Date", "Note"],
        ["A1", dt.date(2026, 3, 2), 0.254],
        ["A2", dt.datetime(2026, 3, 3, 8, 15), True],
        [],
        ["Total", "", 2],
    ]
    found = read(workbook(Jan=jan, Empty=[], Feb=[["Serial", "Date"], ["A3", "2026-03-04"]]))
    assert rows(found) == [
        (4, "A1", "2026-03-02", "0.254"),
        (5, "A2", "2026-03-03 08:15:00", "true"),
        (9, "A3", "2026-03-04"),
    ]
    assert found.passed_over == 4
    assert any("'Feb'" in note and "line 8" in note for note in found.notes)


def test_a_number_of_a_workbook_takes_the_sheets_decimal_sign():
    data = workbook(a=[["Serial", "Date", "Note"], ["A1", "2026-03-02", 0.254]])
    comma = Form(FORM.score, FORM.digits, FORM.missing, ",")
    assert rows(read_tables(data, "a.xlsx", comma)) == [(2, "A1", "2026-03-02", "0,254")]


CELL = st.one_of(
    st.text(alphabet="ab1 \";,'é½-/\t", max_size=6),
    st.sampled_from(["A1", "2026-03-02", "", "Total", "serial", "date"]),
)
LINES = st.lists(st.lists(CELL, min_size=1, max_size=4).map(",".join), max_size=8)


@given(LINES, st.sampled_from(["\n", "\r\n"]), st.booleans(), st.booleans())
def test_the_quick_path_says_of_a_regular_file_what_the_careful_path_says(lines, end, bom, closed):
    text = end.join(["serial,date,note", *lines]) + (end if closed else "")
    data = text.encode("utf-8-sig" if bom else "utf-8")
    quick = read_regular(data, FORM)
    if quick is None:
        return
    careful = read_any(data, "a.csv", FORM)
    assert not careful.refused
    assert quick.passed_over == careful.passed_over
    assert [(table.header, table.header_line) for table in quick.tables] == [
        (table.header, table.header_line) for table in careful.tables
    ]
    for mine, theirs in zip(quick.tables, careful.tables, strict=True):
        assert mine.rows.equals(theirs.rows)


REGULAR = st.lists(
    st.tuples(
        st.sampled_from(["A1", "A2", ""]),
        st.sampled_from(["2026-03-02", ""]),
        st.text(alphabet="ab1 \"'é½-/", max_size=6),
    ),
    min_size=1,
    max_size=8,
)


@given(REGULAR)
def test_a_regular_file_takes_the_quick_path(lines):
    text = "serial,date,note\n" + "".join(f"{a},{b},{c.lstrip(chr(34))}\n" for a, b, c in lines)
    quick = read_regular(text.encode(), FORM)
    assert quick is not None
    assert sum(table.rows.height for table in quick.tables) + quick.passed_over == len(lines)
    assert rows(quick) == rows(read_any(text.encode(), "a.csv", FORM))


@given(st.lists(st.lists(st.text(alphabet='a",\n;é', max_size=5), min_size=3, max_size=3), max_size=6))
def test_what_a_csv_writer_wrote_is_read_back(cells):
    frame = (
        pl.DataFrame(
            [["A", "2026-03-02", *row] for row in cells], schema=["serial", "date", "x", "y", "z"], orient="row"
        )
        if cells
        else pl.DataFrame(schema=["serial", "date", "x", "y", "z"])
    )
    found = read(frame.write_csv(quote_style="always"))
    assert [list(row[3:]) for row in rows(found)] == cells


@given(st.binary(max_size=400))
def test_no_bytes_make_the_reader_stumble(data):
    for text in (data, b"serial,date,note\n" + data):
        with suppress(FileProblem):
            assert all(question.reason and question.wanted for question in read(text).refused)


def test_a_line_is_split_at_separators_outside_quotes():
    assert split_line('a,"b,c",', ",") == (["a", "b,c", ""], "whole")
    assert split_line('a,"b', ",")[1] == "open"
    assert split_line('a,"b"c', ",")[1] == "odd"


def test_a_few_nul_bytes_are_damage_and_not_a_binary_file():
    text, note = decode(b"serial,date\nA\x001,2026-03-02\n", "a.csv")
    assert text.startswith("serial")
    assert note == ""


def test_a_file_that_ends_in_the_middle_of_a_letter_is_no_utf8():
    assert decode(b"serial,note\nA1,caf\xc3\xa9\n", "a.csv")[0].endswith("caf\u00e9\n")
    for torn in (b"serial,note\nA1,caf\xc3", b"serial,note\nA1,caf\xe9"):
        assert "not UTF-8" in decode(torn, "a.csv")[1]

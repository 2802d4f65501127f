"""Sheets that are not regular, line by line: headings over several rows, titles, total lines, quotes, short rows."""

import pytest

from ingest.reading import careful
from ingest.reading.careful import any_in_pieces, read_any
from ingest.reading.heading_rows import headings_over, joined, looks_like_headings
from ingest.reading.lines import Lines
from ingest.reading.records import separator_of, split_line
from ingest.reading.tabular import Form, joined_tables
from ingest.terms.questions import FileProblem

HEAD = "serial,date,note"


def score(cells):
    names = {cell.strip().casefold() for cell in cells}
    return len(names & {"serial", "date", "note", "date start", "date end"}) if "serial" in names else 0


def dated(cells):
    return [place for place, cell in enumerate(cells) if cell.strip().casefold().startswith("date")]


FORM = Form(score, dated, "no serial")


def read(*lines):
    return read_any(("\n".join(lines) + "\n").encode(), "a.csv", FORM)


def told(*lines):
    """(headings and their line, serials) of every table, lines passed over, lines refused."""
    found = read(*lines)
    tables = [(table.header, table.header_line, table.rows["c0"].to_list()) for table in found.tables]
    return tables, found.passed_over, [question.line for question in found.refused]


WIDE = ("serial", "date", "note")


@pytest.mark.parametrize(
    ("lines", "tables", "passed_over", "refused"),
    [
        ([HEAD, "A1,2026-03-02,x"], [(WIDE, 1, ["A1"])], 0, []),
        (["Week 12", "", HEAD, "A1,2026-03-02,x"], [(WIDE, 3, ["A1"])], 2, []),
        # the headings again: the table goes on
        ([HEAD, "A1,2026-03-02,x", HEAD, "A2,2026-03-02,y"], [(WIDE, 1, ["A1", "A2"])], 1, []),
        ([HEAD, HEAD, "A1,2026-03-02,x"], [(WIDE, 1, ["A1"])], 1, []),
        # other headings: another table, the line of one cell above them its title
        (
            [HEAD, "A1,2026-03-02,x", "Second bench", "date,serial", "2026-03-03,A2"],
            [(WIDE, 1, ["A1"]), (("date", "serial"), 4, ["2026-03-03"])],
            1,
            [],
        ),
        (
            [HEAD, "A1,2026-03-02,x", "Bench,,", "of May,,", "date,serial"],
            [(WIDE, 1, ["A1"]), (WIDE[1::-1], 5, [])],
            2,
            [],
        ),
        (
            [HEAD, "A1,2026-03-02,x", "A9,y,", "date,serial"],  # two cells are no title
            [(WIDE, 1, ["A1", "A9"]), (("date", "serial"), 4, [])],
            0,
            [],
        ),
        # headings over two rows, at the top and right below those of a table without a row
        (
            ["serial,date,date", ",start,end", "A1,2026-03-02,2026-03-03"],
            [(("serial", "date start", "date end"), 2, ["A1"])],
            1,
            [],
        ),
        (["serial,date,date", "A1,2026-03-02,x"], [(("serial", "date", "date"), 1, ["A1"])], 0, []),
        (
            ["serial,date,date", "A1,2026-03-02,x", ",start,end"],  # below a row it is a row
            [(("serial", "date", "date"), 1, ["A1", ""])],
            0,
            [],
        ),
        # the second of two tables has longer headings as the first has: it goes on there
        (
            ["serial,date,date", ",start,end", "A1,2026-03-02,x", "serial,date,date", ",start,end", "A2,2026-03-04,y"],
            [(("serial", "date start", "date end"), 2, ["A1", "A2"])],
            3,
            [],
        ),
        # empty headings at the end are none
        (["serial,date,,", "A1,2026-03-02,,", "A2,2026-03-02,x,"], [(("serial", "date"), 1, ["A1"])], 0, [3]),
        # shorter rows are filled, a row of one cell is a piece of another, a longer one holds a comma too many
        ([HEAD, "A1,2026-03-02", "A2", "A3,2026-03-02,x,y", "A4,2026-03-02,x,"], [(WIDE, 1, ["A1", "A4"])], 0, [3, 4]),
        (["serial,date", "A2"], [(("serial", "date"), 1, ["A2"])], 0, []),  # of two columns the first alone is a row
        ([HEAD, "---", "March", "Total:", "A1,2026-03-02,x"], [(WIDE, 1, ["A1"])], 3, []),
        ([HEAD, " , ,", "A1,2026-03-02,x"], [(WIDE, 1, ["A1"])], 1, []),
        (["sep=;", HEAD.replace(",", ";"), "A1;2026-03-02;x"], [(WIDE, 2, ["A1"])], 1, []),
        (['"sep=|"', HEAD.replace(",", "|"), "A1|2026-03-02|x"], [(WIDE, 2, ["A1"])], 1, []),
    ],
)
def test_lines_are_tables_titles_and_rows(lines, tables, passed_over, refused):
    assert told(*lines) == (tables, passed_over, refused)


def test_a_title_that_was_set_aside_as_too_short_is_a_title_once_headings_follow():
    tables, passed_over, refused = told(HEAD, "A1,2026-03-02,x", "Second", "bench", "date,serial", "2026-03-03,A2")
    assert (len(tables), passed_over, refused) == (2, 2, [])
    _, passed_over, refused = told(HEAD, "A1,2026-03-02,x", "Second", "A2,2026-03-02,x", "date,serial")
    assert (passed_over, refused) == (0, [3])  # a row stands between


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("A1,2026-03-02,a\x01b", "a control character or NUL byte in the row"),
        ("A1,2026-03-02,a\x00b", "a control character or NUL byte in the row"),
        ("A1,2026-03-02,a\tb", ""),
        ("A1,2026-03-02," + "x" * 32_768, "a cell longer than any spreadsheet's"),
        ("A1,2026-03-02," + "x" * 32_767, ""),
        ("A1,2026-03-02," + "x" * 32_760, ""),  # the row is longer than a cell may be, no cell is
    ],
)
def test_what_cannot_be_read_in_a_row_is_said(row, reason):
    found = read(HEAD, row, "A2,2026-03-02," + "y" * 32_768)
    assert [question.reason for question in found.refused][:-1] == ([reason] if reason else [])
    assert found.refused[-1].line == 3


def test_a_file_without_headings_or_without_anything_is_one_line():
    with pytest.raises(FileProblem, match=r"a\.csv: no serial"):
        read("A1,2026-03-02,x")
    with pytest.raises(FileProblem, match=r"a\.csv: the file is empty"):
        read("", " ")


def test_rows_handed_on_in_parts_are_the_rows_and_a_title_waits_for_its_headings(monkeypatch):
    lines = [HEAD, *(f"A{n},2026-03-02,x" for n in range(60)), "A,B,C,D,E", "Bench,,", "date,serial", "2026-03-03,B1"]
    whole = read(*lines)
    monkeypatch.setattr(careful, "AT_ONCE", 10)
    monkeypatch.setattr(careful, "HELD_BACK", 4)
    parts = list(any_in_pieces("\n".join(lines).encode(), "a.csv", FORM))
    assert [part.tables[0].rows.height for part in parts[1:-1]] == [10, 10, 10, 10, 10]
    again = joined_tables(parts)
    assert [table.rows.rows() for table in again.tables] == [table.rows.rows() for table in whole.tables]
    assert (again.passed_over, [q.line for q in again.refused]) == (whole.passed_over, [q.line for q in whole.refused])
    assert whole.passed_over == 1
    assert sum(table.rows.height for table in whole.tables) == 61


@pytest.mark.parametrize(
    ("cells", "heads"),
    [
        (["Serial", "Date"], True),
        (["", " "], False),
        (["Serial", "12"], True),  # a fret
        (["Serial", "24"], True),
        (["Serial", "25"], False),
        (["Serial", "0"], False),
        (["Serial", "2.4"], False),
        (["Serial", "+3"], False),
        (["Serial", "2026-03-02"], False),
        (["Serial", "9:30"], False),
        (["Serial", "46023"], False),
        (["Serial", "1/2"], True),
        (["Serial", "x" * 80], True),
        (["Serial", "x" * 81], False),
        (["Serial", "=A1"], False),
    ],
)
def test_a_row_of_words_may_be_headings(cells, heads):
    assert looks_like_headings(cells) == heads


def test_headings_over_several_rows_are_read_together():
    assert joined(["Action", "", "Relief"], ["bass", "treble", ""]) == ["Action bass", "Action treble", "Relief"]
    assert joined(["", "Action"], ["Serial", "bass", "x"]) == ["Serial", "Action bass", "Action x"]
    assert joined(["Action", "", ""], ["bass"]) == ["Action bass", "", ""]  # nothing below: nothing goes on
    assert headings_over([["Neck", "", "Nut"], ["Action", "", ""], [" bass ", "treble", "gap"]]) == [
        "Neck Action bass",
        "Neck Action treble",
        "Nut Action gap",
    ]


@pytest.mark.parametrize(
    ("line", "cells", "state"),
    [
        ("a,b,c", ["a", "b", "c"], "whole"),
        ('a,"b,c",d', ["a", "b,c", "d"], "whole"),
        ('"a",b', ["a", "b"], "whole"),
        ('a,"b ""c"" d"', ["a", 'b "c" d'], "whole"),
        ('a,"b",', ["a", "b", ""], "whole"),
        ('a,"",b', ["a", "", "b"], "whole"),
        ('a,"b', ["a", '"b'], "open"),
        ('a,"b"c,d', ["a", '"b"c', "d"], "odd"),
        ('a,2",b', ["a", '2"', "b"], "whole"),  # an inch
        ('"a"', ["a"], "whole"),
        ("", [""], "whole"),
        ('a,"b""', ["a", '"b""'], "open"),
    ],
)
def test_a_line_is_split_where_no_quote_holds_it_together(line, cells, state):
    assert split_line(line, ",") == (cells, state)


def lines_of(text):
    return Lines(lambda: iter([text]))


@pytest.mark.parametrize(
    ("text", "separator"),
    [
        ("serial,date\nA,1\n", ","),
        ("serial;date\nA;1,5\n", ";"),
        ("serial\tdate\nA\t1,5\n", "\t"),
        ("serial|date\nA|1;5\n", "|"),
        ("a,b,c,d\nserial;date\n", ";"),  # the one under which a line is a header
        ("a,b\nc;d;e\n", ";"),  # none is: the commonest
    ],
)
def test_the_separator_is_the_one_that_makes_a_header(text, separator):
    assert separator_of(lines_of(text), FORM) == separator


def test_a_header_below_the_sixtieth_line_does_not_tell_the_separator():
    assert separator_of(lines_of("x,x\n" * 59 + "serial;date\n"), FORM) == ";"
    assert separator_of(lines_of("x,x\n" * 60 + "serial;date\n"), FORM) == ","


@pytest.mark.parametrize(
    ("lines", "notes"),
    [
        (['A1,2026-03-02,"two', 'lines"'], ["two\nlines"]),
        (['A1,2026-03-02,"two', 'lines" on', "A2,2026-03-02,y"], ['"two', "y"]),  # text behind it closes nothing
        (['A1,2026-03-02,"', 'A2,2026-03-02,"'], ['"', '"']),  # ditto marks
        (['A1,2026-03-02,"open', "A2,2026-03-02,y", 'A3,2026-03-02,z"'], ['"open', "y", 'z"']),
        (['A1,2026-03-02,"first', "", 'last"', "A2,2026-03-02,y"], ["first\n\nlast", "y"]),
        (['"A1,2026-03-02,x"', "A2,2026-03-02,y"], ['x"', "y"]),  # a row in quotes has one cell, and without them three
    ],
)
def test_a_quote_joins_lines_only_where_a_row_comes_of_it(lines, notes):
    found = read(HEAD, *lines)
    assert [cell for table in found.tables for cell in table.rows["c2"].to_list()] == notes


def test_lines_end_as_the_file_ends_them_whatever_the_pieces():
    for text, lines in (
        ("a\nb\n", ["a", "b"]),
        ("a\r\nb", ["a", "b"]),
        ("a\rb\r", ["a", "b"]),
        ("a\rb\nc", ["a\rb", "c"]),
        ("\ufeffa\n\nb\n", ["a", "", "b"]),
        ("", []),
        ("a\n\n", ["a", ""]),
    ):
        for size in (1, 2, 99):
            pieces = [text[at : at + size] for at in range(0, len(text), size)]
            held = Lines(lambda pieces=pieces: iter(pieces))
            assert (held[:], len(held)) == (lines, len(lines))
            assert [held[at] for at in range(len(lines))] == lines


def test_what_stands_in_a_file_is_seen_before_it_is_read():
    held = lines_of('a\n"b\nc"\nd\n')
    assert (held.last_quote, held.filled, held.clean) == (2, True, True)
    assert (lines_of("a\n").last_quote, lines_of(" \n\t\r\n").filled) == (-1, False)
    assert [lines_of(text).clean for text in ("a\x01\n", "\ufffd\n", "x" * 32_768, "x" * 32_767)] == [
        False,
        False,
        False,
        True,
    ]


def test_a_header_keeps_its_first_cell_even_where_none_says_anything():
    assert careful._trimmed(["Serial", "Stage", " ", ""]) == ["Serial", "Stage"]
    assert careful._trimmed([" ", ""]) == [" "]

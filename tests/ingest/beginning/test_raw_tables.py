"""Where the headings of an unknown sheet stand, and what is read below them."""

import pytest

from ingest.beginning import raw_tables as module
from ingest.beginning.raw_tables import RawTable, heading_line, raw_tables
from ingest.terms.questions import FileProblem

HEAD = ["Serial", "Date", "Stage", "Relief"]
ROWS = [[f"A{n}", "2026-03-02", "final", "0.1"] for n in range(4)]


@pytest.mark.parametrize(
    ("rows", "found"),
    [
        ([HEAD, *ROWS], HEAD),
        ([["Week 12"], [], HEAD, *ROWS], HEAD),
        ([["Bench book of March", "by the shop"], HEAD, *ROWS], HEAD),
        # no row below yet: three words of the trade are headings, two may be anything
        ([["Serial", "Date", "Stage"]], ["Serial", "Date", "Stage"]),
        ([["Serial", "Date", "Xyz"]], None),
        # empty headings at the end are none
        ([[*HEAD, "", ""], *ROWS], HEAD),
        # one word of the trade over three columns of data, or two
        ([["Xa", "Date", "Xb", "Xc"], *ROWS], ["Xa", "Date", "Xb", "Xc"]),
        ([["Xa", "Xb", "Xc", "Xd"], *ROWS], ["Xa", "Xb", "Xc", "Xd"]),  # four names over four columns of data
        ([["Xa", "Xb", "Xc"], *(row[:3] for row in ROWS)], ["Xa", "Xb", "Xc"]),
        ([["Xa", "Xb"], *(row[:2] for row in ROWS)], None),
        ([["Xa", "Xb", "Xc"], *([["word", "word", "word"]] * 4)], None),  # no figure in any row
        ([["1", "2", "3", "Serial"], *ROWS], None),  # one name only
        (ROWS, None),
        ([], None),
        # two rows of headings, where they say more together, or the lower holds units only
        (
            [["Serial", "Date", "Action", ""], ["", "", "bass", "treble"], *ROWS],
            ["Serial", "Date", "Action bass", "Action treble"],
        ),
        ([HEAD, ["", "", "in", "(mm)"], *ROWS], ["Serial", "Date", "Stage in", "Relief (mm)"]),
        ([HEAD, ["", "", "", "mm"], *ROWS], ["Serial", "Date", "Stage", "Relief mm"]),
        # a title of one cell where the headings begin says nothing of a column; a group stands further right
        ([["Nut bench, all in thou"], HEAD, *ROWS], HEAD),
        (
            [["", "", "Action", ""], ["Serial", "Date", "bass", "treble"], *ROWS],
            ["Serial", "Date", "Action bass", "Action treble"],
        ),
        # of two lines the one that leaves fewer columns without a name, and names each once
        ([["Serial", "Date"], HEAD, *ROWS], HEAD),
        ([["Serial", "Serial", "Serial", "Serial"], HEAD, *ROWS], HEAD),
        # rows beyond the twelfth do not tell
        ([HEAD, *ROWS * 3, ["x"] * 9], HEAD),
    ],
)
def test_the_line_of_headings_is_told_by_its_words_and_by_what_stands_below(rows, found):
    assert heading_line(rows) == found


def read(text, name="a.csv"):
    (table,), left = raw_tables(name, text.encode())
    assert not left
    return table


def test_cells_stand_under_their_headings_each_name_once():
    table = read("Serial,Date,Date,Stage,,e,E\nA1,2026-03-02,2026-03-03,nut,x,1,2\nA2,2026-03-04,,nut\n")
    assert table.headings == ("Serial", "Date", "Date #2", "Stage", "e", "E")
    assert table.columns == (
        ("A1", "A2"),
        ("2026-03-02", "2026-03-04"),
        ("2026-03-03", ""),
        ("nut",) * 2,
        ("1", ""),
        ("2", ""),
    )
    assert (table.rows, table.tab) == (2, "")
    assert RawTable("", (), ()).rows == 0
    assert RawTable("", ("A",), (("x", "y"),)).rows == 2


def test_tables_one_below_another_are_one_with_the_columns_of_both():
    table = read("Serial,Date,Stage\nA1,2026-03-02,nut\nSerial,Date,Relief,Model\nA2,2026-03-03,0.1,L\n")
    assert dict(zip(table.headings, table.columns, strict=True)) == {
        "Serial": ("A1", "A2"),
        "Date": ("2026-03-02", "2026-03-03"),
        "Stage": ("nut", ""),
        "Relief": ("", "0.1"),
        "Model": ("", "L"),
    }


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_the_separator_is_the_one_that_makes_most_cells(separator):
    lines = [
        "sep=,\n" if separator == "never" else "",
        "Serial,Date,Stage\nA1,2026-03-02,nut\n".replace(",", separator),
    ]
    assert read("".join(lines)).headings == ("Serial", "Date", "Stage")
    assert read(f"sep={separator}\n" + lines[1]).columns[2] == ("nut",)


def test_no_headings_and_no_bytes_are_one_line_each():
    for text, why in (("", "the file is empty"), (" \n\n", "the file is empty"), ("1,2\n3,4\n", "no heading line")):
        with pytest.raises(FileProblem, match=rf"a\.csv: {why}"):
            raw_tables("a.csv", text.encode())


def test_of_a_long_sheet_blocks_of_rows_from_all_over_it_are_looked_at(monkeypatch):
    monkeypatch.setattr(module, "MOST_ROWS_SEEN", 100)
    monkeypatch.setattr(module, "BLOCK", 10)
    table = read("Serial,Date,Stage\n" + "".join(f"A{n},2026-03-02,nut\n" for n in range(390)), "long.csv")
    blocks = [int(cell[1:]) for cell in table.columns[0]]
    assert blocks == [n for n in range(390) if n // 10 % 4 == 0]  # every fourth block: 100 rows at most
    assert table.notes[-1] == "looked at 100 of its 390 rows, from all over it; all of them are loaded"
    short = read("Serial,Date,Stage\n" + "".join(f"A{n},2026-03-02,nut\n" for n in range(100)), "short.csv")
    assert (short.rows, short.notes) == (100, ())


def test_the_files_looked_at_last_are_kept(monkeypatch):
    read("Serial,Date,Stage\nA1,2026-03-02,kept\n", "kept.csv")
    for n in range(module.MOST_KEPT - 1):
        read(f"Serial,Date,Stage\nA1,2026-03-02,k{n}\n", f"{n}.csv")
    monkeypatch.setattr(module, "_raw_tables", lambda *_: pytest.fail("read again"))
    assert read("Serial,Date,Stage\nA1,2026-03-02,kept\n", "kept.csv").columns[2] == ("kept",)

"""Questions to the shop: gathered, grouped, one a cell, none for a cell of a row that is a question as a whole."""

import polars as pl

from ingest.terms import tables
from ingest.terms.questions import LONGEST_RAW, Asides, Question, closest, listed, quoted


def frame(*rows: tuple[int, str, str, str, str]) -> pl.DataFrame:
    return pl.DataFrame(
        rows,
        schema={"line": pl.Int64, "column": pl.String, "raw": pl.String, "reason": pl.String, "wanted": pl.String},
        orient="row",
    )


def test_questions_stand_in_order_of_line_and_column_with_their_file():
    asides = Asides()
    asides.add(Question(9, "", "A9 | x", "no date", "the day"))
    asides.add_frame(
        frame((3, "relief", "x", "cannot be read", "a length"), (2, "relief", "y", "cannot be read", "a length"))
    )
    table = asides.table("abc", "a.csv")
    assert list(table.schema.items()) == list(tables.SET_ASIDE.items())
    assert table.select("log_id", "name", "line", "column").rows() == [
        ("abc", "a.csv", 2, "relief"),
        ("abc", "a.csv", 3, "relief"),
        ("abc", "a.csv", 9, ""),
    ]


def test_a_row_set_aside_whole_is_one_question():
    asides = Asides()
    asides.add_frame(
        frame(
            (2, "relief", "x", "cannot be read", "a length"),
            (2, "", "A2 | x", "no date", "the day"),
            (2, "", "A2 | x", "no stage", "one"),
        )
    )
    assert asides.table("abc", "a.csv").select("column", "reason").rows() == [("", "no date")]
    assert asides.whole_lines().to_list() == [2]


def test_a_cell_is_one_question():
    asides = Asides()
    asides.add_frame(frame((2, "rh", "x", "cannot be read", "%")))
    asides.add_frame(frame((2, "rh", "x", "cannot be read", "%")))
    assert asides.table("abc", "a.csv").height == 1


def test_long_texts_are_cut():
    asides = Asides()
    asides.add_frame(frame((2, "note", "x" * 5000, "too long", "less")))
    raw = asides.table("abc", "a.csv")["raw"][0]
    assert len(raw) == LONGEST_RAW + 1
    assert raw.endswith("…")


def test_nothing_asked_is_an_empty_table():
    assert Asides().table("abc", "a.csv").equals(tables.empty(tables.SET_ASIDE))


def test_the_closest_known_word_is_near_or_none():
    assert closest("Final inspektion", ["final_inspection", "nut_slotting"]) == "final_inspection"
    assert closest("qqq", ["final_inspection", "nut_slotting"]) == ""
    assert closest("x", []) == ""


def test_words_for_messages():
    assert listed(["a", "b", "c"], 2) == "a, b and 1 more"
    assert quoted('a "b" \\') == '"a \\"b\\" \\\\"'

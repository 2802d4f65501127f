"""Sheets in which only some rows are a log's: told by a column and its words, the rest passed over and counted."""

import pytest

from ingest.reading.reader import read_log
from ingest.terms.questions import FileProblem
from tests.ingest.small_shop import csv, small_shop

HEADER = "Serial,Date,Stage,Dept,Kind,Relief (mm)"
ROWS = (
    "A1,2026-03-02,play_test,Setup,final,0.1",
    "A2,2026-03-02,spraying,Paint,final,88",
    "A3,2026-03-02,play_test,setup ,first,0.2",
    "A4,2026-03-02,play_test,,final,0.3",
    "A5,2026-03-02,play_test,SETUP,Final,0.4",
)


def read(*rows, **log):
    return read_log(csv(HEADER, *(rows or ROWS)), "m.csv", small_shop(**log))


def test_only_the_rows_with_the_words_of_a_column_are_read_and_the_others_are_counted():
    sheet = read(only_rows={"Dept": ["Setup"]})
    assert sheet.visits["serial"].to_list() == ["A1", "A3", "A5"]
    assert (sheet.rows_read, sheet.rows_set_aside, sheet.passed_over) == (3, 0, 2)
    said = [note for note in sheet.notes if "passed over" in note]
    assert said == [
        "1 x 'Dept' says 'Paint' in m.csv: rows that are not meant, passed over",
        "1 x 'Dept' says '' in m.csv: rows that are not meant, passed over",
    ]
    assert sheet.columns.filter(sheet.columns["field"] == "reading")["filled"].to_list() == [3]


def test_several_columns_must_all_say_so_and_an_empty_cell_may_be_a_word():
    sheet = read(only_rows={"Dept": ["Setup", ""], "Kind": ["final"]})
    assert sheet.visits["serial"].to_list() == ["A1", "A4", "A5"]
    assert sheet.passed_over == 2


def test_rows_that_are_not_meant_may_be_named_instead():
    sheet = read(not_rows={"Dept": ["paint"], "kind": ["first"]})
    assert sheet.visits["serial"].to_list() == ["A1", "A4", "A5"]
    assert sheet.passed_over == 2


def test_a_column_by_which_rows_are_told_must_be_there():
    with pytest.raises(FileProblem, match="no column headed 'Abteilung', by which only_rows tells rows; wanted"):
        read(only_rows={"Abteilung": ["Setup"]})


def test_many_words_of_rows_that_are_not_meant_are_told_together():
    rows = [f"A{n},2026-03-02,play_test,dept {n},final,0.1" for n in range(60)]
    sheet = read(*rows, only_rows={"Dept": ["dept 7"]})
    said = [note for note in sheet.notes if "not meant" in note]
    assert (sheet.rows_read, sheet.passed_over, len(said)) == (1, 59, 21)
    assert sum(int(note.split()[0]) for note in said) == 59


def test_a_word_written_once_for_many_rows_tells_them_all():
    rows = ["A1,2026-03-02,play_test,Setup,final,0.1", "A2,2026-03-02,play_test,,final,0.1"]
    sheet = read(*rows, only_rows={"Dept": ["Setup"]}, same_as_above=["Dept"])
    assert sheet.visits["serial"].to_list() == ["A1", "A2"]

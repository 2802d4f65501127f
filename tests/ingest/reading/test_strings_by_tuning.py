"""Strings that rows name by their notes: which string a note is hangs on the model."""

import pytest

from ingest.reading.reader import read_log
from ingest.reading.strings_by_tuning import note_in, string_of
from ingest.shopfiles.shop import ShopProblem, checked_shop
from tests.ingest.small_shop import TABLE, csv

UKULELE, BARITONE, GUITAR = ["G", "C", "E", "A"], ["D", "G", "B", "E"], ["E", "A", "D", "G", "B", "E'"]
HEADER = "Time,Serial,Bench,Who,Model,What,Side,Value"
HEADINGS = {"Time": "started_at", "Bench": "stage", "Who": "tech", "Side": "position"}


def test_a_note_is_a_letter_and_nothing_else():
    assert [note_in(text) for text in ("A", "e", "E'", "F#", "Bb", "bass", "1", "", "AE")] == [
        *("A", "E'", "E'", "F#", "Bb", "", "", "", "")
    ]


def test_the_string_of_a_note_hangs_on_the_tuning():
    assert [string_of(note, UKULELE, UKULELE) for note in "AECG"] == ["1", "2", "3", "4"]
    assert [string_of(note, BARITONE, BARITONE) for note in "EBGD"] == ["1", "2", "3", "4"]
    assert string_of("B", UKULELE, UKULELE) == ""
    assert [string_of(note, GUITAR, GUITAR) for note in ("E", "E'")] == ["6", "1"]
    assert string_of("E", GUITAR, {"E", "B"}) == ""


def read(rows, tunings=None, position=None):
    table = {**TABLE, "model": [dict(model) for model in TABLE["model"]]}
    table["model"][1]["family"] = "baritone ukulele"
    for model in table["model"]:
        model |= {"tuning": (tunings or {}).get(model["key"], "")}
    log = {**TABLE["log"][0], "shape": "measurement", "headings": HEADINGS, "words": {"position": position or {}}}
    lines = [f"2026-03-02 08:{n:02d},{serial},play_test,JR,{rest}" for n, (serial, rest) in enumerate(rows)]
    sheet = read_log(csv(HEADER, *lines), "m.csv", checked_shop({**table, "log": [log]}))
    held = sheet.readings.sort("serial", "position").select("serial", "position", "value").rows()
    return held, sheet.set_aside.select("raw", "reason").rows()


A1 = [("A1", "LARK-25,intonation,A,1"), ("A1", "LARK-25,intonation,E,2")]
B1 = [("B1", "LARK-40,intonation,E,3"), ("B1", "LARK-40,intonation,B,4")]
UKES = {"A": "1", "E": "2", "C": "3", "G": "4"}


def test_each_model_is_read_by_its_own_tuning():
    held, asked = read([*A1, *B1, ("B1", ",intonation,G,5")], {"LARK-25": "G C E A", "LARK-40": "D G B E"})
    assert held == [("A1", "1", 1.0), ("A1", "2", 2.0), ("B1", "1", 3.0), ("B1", "2", 4.0), ("B1", "3", 5.0)]
    assert asked == []


def test_words_for_all_models_hold_for_those_whose_notes_they_explain_and_the_others_are_asked():
    held, asked = read([*A1, *B1], position=UKES)
    assert held == [("A1", "1", 1.0), ("A1", "2", 2.0)]
    assert asked == [
        ("intonation E of LARK-40 3 ", "string not known"),
        ("intonation B of LARK-40 4 ", "string not known"),
    ]


def test_words_that_give_one_string_to_two_notes_of_a_model_are_not_believed():
    held, _ = read([*A1, *B1], position=UKES | {"B": "2", "D": "4"})
    assert {serial for serial, _, _ in held} == {"A1"}


def test_a_word_of_the_sheet_for_a_side_goes_before_the_tuning():
    held, _ = read([("B1", "LARK-40,action,B,2.5")], {"LARK-40": "D G B E"}, {"B": "bass"})
    assert held == [("B1", "bass", 2.5)]


def test_one_slip_says_nothing_of_the_others():
    many = [(f"A{n}", f"LARK-25,intonation,{'AECG'[n % 4]},1") for n in range(24)]
    held, asked = read([*many, ("A9", "LARK-25,intonation,B,1")], position=UKES)
    assert len(held) == 24
    assert asked == [("intonation B of LARK-25 1 ", "string not known")]


@pytest.mark.parametrize("tuning", ["G C E", "G C E E", "X C E A"])
def test_a_tuning_that_is_none_is_refused(tuning):
    table = {**TABLE, "model": [{"key": "U", "family": "tenor ukulele", "strings": 4, "tuning": tuning}]}
    with pytest.raises(ShopProblem, match="tuning"):
        checked_shop(table)

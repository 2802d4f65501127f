"""Rows of a measurement-a-row sheet that say a result: known by what somebody said, by their name, by their words."""

from ingest.beginning.answers import LogSaid, Said
from ingest.beginning.new import propose
from ingest.beginning.results_as_rows import named, places_behind
from tests.ingest.small_shop import csv

NAMES = ["relief", "Urteil", "relief", "Urteil", "tuners", "Fazit", "comment"]
VALUES = ["0.1", "gut", "0.2", "schlecht", "ok", "gut", "x"]
OUTCOMES = {"gut": "pass", "schlecht": "send back"}


def test_a_name_is_a_field_of_the_visit_by_what_was_said_its_name_or_the_words_given():
    assert named(NAMES, VALUES, LogSaid()) == {"comment": "note"}
    assert named(NAMES, VALUES, LogSaid(words={"what": {"Urteil": "outcome"}})) == {
        "Urteil": "outcome",
        "comment": "note",
    }
    given = named(NAMES, VALUES, LogSaid(words={"outcome": OUTCOMES}))
    assert given == {"Urteil": "outcome", "Fazit": "outcome", "comment": "note"}


def test_behind_a_send_back_may_stand_the_place_and_behind_no_other():
    said = {"zurück: Sattel": "send back", "gut": "pass"}
    words = ["zurück: Sattel", "gut: Bund", "send back", "send-back", "send back to fret", "send back - see my note"]
    assert places_behind(words, said) == ["Sattel", "fret"]


def _rows(*results):
    out = ["Date,Serial,Bench,Who,Item,Value"]
    for n in range(40):
        day = f"2026-03-{n // 3 + 1:02d} 09:{n % 3}0"
        out += [f"{day},AX{n + 100},final,Al,{each}" for each in ("relief mm,0.15", f"result,{results[n % 2]}")]
    return csv(*out)


def test_a_new_shop_reads_results_in_rows_and_leaves_those_nobody_explains():
    log = {"shape": "measurement", "headings": {"Item": "what", "Value": "value", "Bench": "stage"}}
    read = propose([("a.csv", _rows("pass", "send back to nut"))], said=Said({"log": [log]}))
    assert '"result" = "outcome"' in read.shop_toml
    assert '"send back to nut" = "send back"' in read.shop_toml
    assert '"nut" = "nut_slotting"' in read.shop_toml
    left = propose([("a.csv", _rows("pass", "zzz"))], said=Said({"log": [log]}))
    assert '"result" = "not said"' in left.shop_toml
    assert any("outcomes are not read: nobody has said what the words of 'result' mean" in each for each in left.unread)


def test_a_place_behind_any_words_for_send_back_is_one():
    said = {"nachbessern Steg": "send back", "zurück an Sattel": "send back", "gut": "pass", "murks": "send back"}
    words = [
        *said,
        "redo nut",
        "redo frets",
        "murks -> Bund",
        "back to the nut",
        "no nut",
        "fail",
        "not ok: see my note on frets",
    ]
    assert places_behind(words, said) == ["Steg", "Sattel", "nut", "frets", "Bund"]
    assert places_behind(["redo frets", "not good"], {"not good": "send back"}, {"frets"}) == ["frets"]
    assert places_behind(["redo frets", "not good"], {"not good": "send back"}) == []

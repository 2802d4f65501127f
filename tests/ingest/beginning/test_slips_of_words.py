"""A rare word one letter beside a frequent one of its column is a slip of it; codes and short words are not."""

import pytest

from ingest.beginning.slips_of_words import short_names, slips_of_words


def test_slips_are_told_with_what_was_meant():
    stages = {"Fretwork": 420, "Fretwrok": 3, "Nut": 410, "Nutt": 2, "Play-in": 400, "Playin": 5, "Last look": 390}
    assert slips_of_words(stages) == {"Fretwrok": "Fretwork", "Nutt": "Nut", "Playin": "Play-in"}
    assert slips_of_words({"Rosa": 210, "Rsoa": 1, "Jonas": 300, "Jonsa": 2, "Wim": 200, "Eli": 100}) == {
        "Rsoa": "Rosa",
        "Jonsa": "Jonas",
    }


@pytest.mark.parametrize(
    "words",
    [
        {"Bench 1": 400, "Bench 2": 10},
        {"T03": 400, "T3": 5},
        {"Jan": 300, "Jon": 4},  # too short to tell
        {"Hanna": 200, "Hannah": 21},  # two people perhaps: not ten times as rare
        {"Nut": 410, "Neck": 2},
        {},
    ],
    ids=str,
)
def test_what_is_no_slip(words):
    assert slips_of_words(words) == {}


def test_of_a_long_word_two_letters_may_be_wrong_and_of_a_short_one_not():
    assert slips_of_words({"Final inspection": 300, "Fnal inspecton": 3}) == {"Fnal inspecton": "Final inspection"}
    assert slips_of_words({"Polish": 300, "Plsh": 3}) == {}


def test_a_slip_is_nobodys_meaning_and_spelling_by_capitals_is_none():
    assert slips_of_words({"Nutslot": 4000, "Nutslto": 300, "Nuslto": 4}) == {"Nutslto": "Nutslot"}
    assert slips_of_words({"Nutslot": 400, "nutslot": 4}) == {}


def test_a_rare_short_form_of_one_name_is_told_and_one_of_two_names_or_a_frequent_one_is_not():
    names = {"Hélène Bertin": 399, "Yann Le Goff": 958, "HB": 11, "H. Bertin": 9, "Yann": 26}
    told = {"HB": "Hélène Bertin", "H. Bertin": "Hélène Bertin", "Yann": "Yann Le Goff"}
    assert short_names(names) == told
    assert short_names(names | {"Hans Brandt": 500}) == {word: name for word, name in told.items() if word != "HB"}
    assert short_names({"Hélène Bertin": 99, "HB": 11}) == {}  # two people perhaps

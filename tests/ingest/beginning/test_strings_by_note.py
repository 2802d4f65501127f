"""Columns that end in a note: told as strings where one tuning has just these notes, asked about where not."""

import pytest

from ingest.beginning.guesses import Guess, guess_heading
from ingest.beginning.profiles import profile
from ingest.beginning.strings_by_note import LETTERS, OF_TWO, beside_said, by_notes, lone_letters, note_of, numbered


def nut(heading, **more):
    return Guess(heading, "reading", "nut", level="likely", **more)


def told(notes):
    return by_notes([nut(f"Nut {note}") for note in notes.split()])


@pytest.mark.parametrize(
    ("heading", "note"),
    [
        ("Nut E (mm)", "E"),
        ("Nut e", "E'"),
        ("Nut e' [in]", "E'"),
        ("Action D mm", "D"),
        ("Int. a, cents", "A'"),
        ("g", "G'"),
        ("Bend", ""),
        ("Nut E6", ""),
        ("E string", ""),
    ],
)
def test_a_note_is_the_last_word_before_the_unit(heading, note):
    assert note_of(heading) == note


@pytest.mark.parametrize(
    ("notes", "strings"),
    [
        ("E A D G B e", "6 5 4 3 2 1"),
        ("e' h g d a E", "1 2 3 4 5 6"),
        ("E e'", "6 1"),
        ("E e' h", "6 1 2"),
        ("G C E A", "4 3 2 1"),
        ("a e c g", "1 2 3 4"),
        ("g D G B d", "5 4 3 2 1"),
        ("C G D A", "4 3 2 1"),
        ("D G B E", "4 3 2 1"),
    ],
)
def test_notes_of_one_tuning_are_its_strings(notes, strings):
    found = told(notes)
    assert [guess.position for guess in found] == strings.split()
    assert all(guess.taken for guess in found)


@pytest.mark.parametrize("notes", ["G D A E", "E A D G", "E A", "d D", "C F", "E A D G B"])
def test_notes_of_several_tunings_or_of_none_are_asked_about(notes):
    assert {(guess.position, guess.level, guess.why) for guess in told(notes)} == {("", "unsure", OF_TWO)}


def test_what_is_no_string_or_was_said_stays():
    assert by_notes([nut("Nut E")]) == [nut("Nut E")]  # one alone may be anything
    said = [nut("Nut E"), Guess("Nut A", "reading", "nut", level="said")]
    assert by_notes(said) == said
    other = [nut("Nut E"), nut("Nut A", stage="packing"), nut("Nut G", moment="left")]
    assert by_notes(other) == other
    assert by_notes([Guess("E"), Guess("A")]) == [Guess("E"), Guess("A")]
    relief = [Guess("Bow E", "reading", "neck_bow", level="likely"), Guess("Bow A", "reading", "neck_bow")]
    assert by_notes(relief) == relief


def test_a_b_and_a_d_among_other_notes_are_strings_whatever_side_they_were_taken_for():
    guesses = [guess_heading(f"Nut {note} (mm)") for note in ("E", "A", "D", "G", "B", "e")]
    assert [guess.position for guess in guesses] == ["", "", "treble", "", "bass", ""]
    assert [guess.position for guess in by_notes(guesses)] == ["6", "5", "4", "3", "2", "1"]


@pytest.mark.parametrize(
    ("headings", "cell", "sure"),
    [
        (("Action B", "Action T"), "2.5", True),
        (("Action B", "Action D"), "2.5", False),
        (("Action B", "Action D"), "2,5", True),  # where commas are decimal Diskant is a word
        (("Saitenlage B", "Saitenlage D"), "6/64", True),
        (("Action B",), "2.5", False),
        (("Action D",), "2,5", False),
        (("Action Bass", "Action D"), "2.5", True),
        (("Relief B", "Relief D"), "0.1", True),  # no string has a relief
    ],
)
def test_a_lone_letter_is_a_side_only_where_the_sheet_bears_it_out(headings, cell, sure):
    guesses = by_notes([guess_heading(heading) for heading in headings])
    found = lone_letters(guesses, [(cell, "")] * len(guesses))
    assert [guess.position for guess in found] == [guess.position for guess in guesses]
    assert {guess.taken for guess in found} == {sure}
    assert sure or {guess.why for guess in found} == {LETTERS}


def test_of_two_strings_the_other_is_taken_from_what_somebody_said_of_one():
    said = Guess("Nut G (mm)", "reading", "nut", "bass", level="said", said="nut bass")
    [_, other] = beside_said([said, nut("Nut A (mm)")])
    assert (other.position, other.level) == ("treble", "likely")
    assert "Nut G" in other.why


@pytest.mark.parametrize("position", ["bass", "4"])
def test_of_several_strings_the_others_are_asked_about_and_none_loses_its_own_in_silence(position):
    said = Guess("Nut G", "reading", "nut", position, level="said", said=f"nut {position}")
    rest = [nut("Nut C"), nut("Nut A")] if position == "bass" else [nut("Nut A")]
    assert {(one.position, one.level) for one in beside_said([said, *rest])[1:]} == {("", "unsure")}


def test_a_string_beside_another_measurement_stays_as_it_is():
    said = Guess("Action G", "reading", "action", "bass", level="said", said="action bass")
    whole = nut("Nut height")
    named = Guess("Action treble", "reading", "action", "treble", level="sure")
    assert beside_said([said, whole, named])[1:] == [whole, named]


CENTS = profile(("0.0", "2.5", "-2.5", "-0.5", "1.0"))


def test_strings_by_number_and_note_that_read_to_both_sides_of_0_are_cents():
    headings = ["1 E", "2 B", "3-G", "4. D", "5 A", "6E"]
    out = numbered([Guess("Model", "model"), *map(Guess, headings)], [CENTS] * 7)
    assert [(one.field, one.measure, one.position, one.unit) for one in out[1:]] == [
        ("reading", "intonation", str(k), "cents") for k in range(1, 7)
    ]
    assert {one.level for one in out[1:]} == {"likely"}
    assert out[0] == Guess("Model", "model")


@pytest.mark.parametrize(
    ("headings", "cells"),
    [
        (["1 E", "2 B", "3 G"], CENTS),  # too few
        (["1 E", "2 B", "3 G", "5 A"], CENTS),  # one is missing
        (["1 E", "2 B", "3 G", "4 D"], profile(("0.5", "0.45", "0.55"))),  # gaps over fret 1
        (["1 E", "2 B", "3 G", "4 D"], profile(("-120", "150", "-90"))),  # too far
        (["1 X", "2 B", "3 G", "4 D"], CENTS),
    ],
)
def test_other_columns_with_numbers_are_no_cents(headings, cells):
    guesses = list(map(Guess, headings))
    assert numbered(guesses, [cells] * len(guesses)) == guesses
    said = [Guess(heading, "reading", "nut", level="said") for heading in ("1 E", "2 B", "3 G", "4 D")]
    assert numbered(said, [CENTS] * 4) == said

"""Columns of one measurement whose headings end in notes are strings, by the tuning that has exactly these notes. What
fits two tunings is asked; so is a lone B or D, which may be the bass and the Diskant side or a string each.
"""

import re
from collections.abc import Sequence
from dataclasses import replace

from ingest.beginning.guesses import Guess, guess_heading
from ingest.beginning.heading_sense import words_of
from ingest.beginning.profiles import Profile
from ingest.reading.strings_by_tuning import note_in
from ingest.terms.units import straight

TUNINGS = {  # strings as they are counted, from the highest number down; ' = the thin one of two of one letter
    "guitar": "E A D G B E'",
    "guitar, German": "E A D G H E'",
    "electric bass": "E A D G",
    "ukulele": "G C E A",
    "baritone ukulele": "D G B E",
    "mandolin": "G D A E",
    "tenor banjo, mandola": "C G D A",
    "plectrum banjo": "C G B D",
    "banjo": "G' D G B D'",
    "banjo in C": "G' C G B D",
}
BY_STRING = ("action", "nut", "intonation", "tuning", "compensation")  # what the strings of an instrument each have
ENGLISH = frozenset(("action", "act", "nut", "slot", "height", "ht", "gap", "intonation", "int", "string", "fret"))
_UNIT = re.compile(r"[(\[{][^()\[\]{}]*[)\]}]|[\s,]+(?:mm|cm|in|inch|thou|cents?|ct|64ths?)\.?$", re.IGNORECASE)
_NOTE = re.compile(r"(?:^|[\s._-])([A-Ha-h]'?)$")
_NUMBERED = re.compile(r"(\d)\s*[-.:]?\s*[A-Ha-h]'?")
STRINGS = 4  # fewer such columns may be anything
CENTS_READ, BELOW, FEW_CENTS = 0.9, 0.1, 20.0  # of the cells numbers; below 0; and what they are in the middle
BY_NUMBER = "its words and its cells: a string by number and note, read to both sides of 0, as"
OTHER_STRING = "its words: the other string of"  # begins why a column is of a side that nobody said
OTHER_SIDE = {"bass": "treble", "treble": "bass"}
OF_TWO = "its words: strings by their notes, but of which instrument"
LETTERS = "its words: B and D, the bass and the treble (Diskant) side or a string each"
Group = tuple[str, str, str]


def note_of(heading: str) -> str:
    """The note that a heading ends in, before its unit: `E`, `E'` (the thin one of two), '' where it ends in none."""
    found = _NOTE.search(_UNIT.sub(" ", straight(heading)).strip())
    return note_in(found[1]) if found else ""


def by_notes(guesses: Sequence[Guess]) -> list[Guess]:
    """The guesses with the string of each column whose heading ends in its note."""
    out = list(guesses)
    for places in _groups(guesses).values():
        if len(places) < 2 or all(guesses[place].position for place in places):  # B and D alone: lone_letters
            continue
        numbers = strings_of([note_of(guesses[place].heading) for place in places])
        for at, place in enumerate(places):
            told = replace(guesses[place], position=numbers[at]) if numbers else guesses[place]
            why = "its words: a string by its note" if numbers else OF_TWO
            out[place] = replace(told, level="likely" if numbers else "unsure", why=why)
    return out


def numbered(guesses: Sequence[Guess], looks: Sequence[Profile]) -> list[Guess]:
    """Columns that nobody knows, headed with the number of each string and its note (`1 E`, `2 B`): cents, where their
    numbers lie on both sides of 0.
    """
    out, found = list(guesses), {}
    for place, (guess, look) in enumerate(zip(guesses, looks, strict=True)):
        told = _NUMBERED.fullmatch(straight(guess.heading).strip())
        unknown = not guess.field or guess.level == "unsure"
        cents = look.numbers > CENTS_READ and look.below > BELOW and look.middle < FEW_CENTS
        if told and unknown and cents:
            found[place] = told[1]
    if len(found) < STRINGS or sorted(found.values()) != [str(k + 1) for k in range(len(found))]:
        return out
    for place, number in found.items():
        heading = guesses[place].heading
        out[place] = Guess(
            heading, "reading", "intonation", number, unit="cents", level="likely", why=f"{BY_NUMBER} {heading!r}"
        )
    return out


def beside_said(guesses: Sequence[Guess]) -> list[Guess]:
    """The guesses with a column that its words tell from another only by a string, where somebody said which string the
    other is: of two the other side, else asked about.
    """
    out = list(guesses)
    said: dict[Group, list[Guess]] = {}
    open_: dict[Group, list[int]] = {}
    for place, guess in enumerate(guesses):
        by_words = guess_heading(guess.heading)
        alike = by_words.measure, by_words.moment, by_words.stage
        if guess.field != "reading" or by_words.field != "reading" or by_words.position:
            continue
        if guess.level != "said" and not guess.position:
            open_.setdefault(alike, []).append(place)
        elif guess.level == "said" and guess.position:
            said.setdefault(alike, []).append(guess)
    for alike, told in said.items():
        mine = open_.get(alike, [])
        for place in mine:
            out[place] = replace(guesses[place], level="unsure", why=OF_TWO)
        if len(mine) == len(told) == 1 and told[0].position in OTHER_SIDE:
            why = f"{OTHER_STRING} {told[0].heading!r}"
            out[mine[0]] = replace(out[mine[0]], position=OTHER_SIDE[told[0].position], level="likely", why=why)
    return out


def lone_letters(guesses: Sequence[Guess], cells: Sequence[Sequence[str]]) -> list[Guess]:
    """A column that only a B or a D takes for a side is asked about, unless another word of the sheet, or a language
    that says Diskant, bears it out: its words or its decimal comma.
    """
    sides = {guess.position for guess in guesses if guess.field == "reading" and not _letter(guess)}
    out = list(guesses)
    for places in _groups(guesses).values():
        mine = [place for place in places if _letter(guesses[place])]
        both = len({guesses[place].position for place in mine}) == 2
        diskant = not any(ENGLISH & set(words_of(guesses[place].heading)) for place in mine)
        diskant |= any(re.search(r"\d,\d", cell) for place in mine for cell in cells[place])
        if sides & {"bass", "treble"} or (both and diskant):
            continue
        for place in mine:
            out[place] = replace(guesses[place], level="unsure", why=LETTERS)
    return out


def _groups(guesses: Sequence[Guess]) -> dict[Group, list[int]]:
    """The columns of each measurement that end in a note, or in a B or D that was taken for a side."""
    groups: dict[Group, list[int]] = {}
    for place, guess in enumerate(guesses):
        if guess.field != "reading" or guess.level == "said" or guess.measure not in BY_STRING:
            continue
        if note_of(guess.heading) and (not guess.position or _letter(guess)):
            groups.setdefault((guess.measure, guess.moment, guess.stage), []).append(place)
    return groups


def _letter(guess: Guess) -> bool:
    """Is a side told by a B or a D alone?"""
    return guess.position in ("bass", "treble") and note_of(guess.heading)[:1] in ("B", "D")


def strings_of(notes: list[str]) -> list[str]:
    """The string of each note; nothing where the notes are of no tuning, or of several that count them otherwise."""
    found = {told for tuning in TUNINGS.values() if (told := _fitted(notes, tuning.split()))}
    if {"E", "E'"} <= set(notes):  # the outer strings of a guitar, with or without others
        found = {
            told
            for name in ("guitar", "guitar, German")
            if (told := _fitted(notes, TUNINGS[name].split(), whole=False))
        }
    return list(found.pop()) if len(found) == 1 else []


def fitted(notes: list[str], tunings: Sequence[str]) -> list[str]:
    """The string of each note, some or all of an instrument's, where the tunings it may have agree; else nothing."""
    found = {_fitted(notes, tuning.split(), whole=False) for tuning in tunings}
    return list(found.pop()) if len(found) == 1 else []


def _fitted(notes: list[str], tuning: list[str], *, whole: bool = True) -> tuple[str, ...]:
    """The strings of some notes, or of the `whole` of a tuning; () where it has other ones. A letter that it has once
    fits however it is typed.
    """
    letters = [note[0] for note in tuning]
    told, held = ([note[0] if letters.count(note[0]) == 1 else note for note in each] for each in (notes, tuning))
    if not set(told) <= set(held) or len(set(told)) != len(told) or (whole and len(told) != len(held)):
        return ()
    return tuple(str(len(held) - held.index(note)) for note in told)

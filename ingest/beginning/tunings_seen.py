"""The tuning of each model whose rows name strings by their notes: that of its family, or the only one that has exactly
these notes; what fits neither is asked.
"""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from ingest.beginning.answers import meaning_of, measure_of
from ingest.beginning.asking import TUNING, Asker
from ingest.beginning.first_shop import Draft
from ingest.beginning.guesses import Guess, guess_column
from ingest.beginning.parts_of_shop import add_measure
from ingest.beginning.strings_by_note import OF_TWO, TUNINGS, fitted, note_of
from ingest.beginning.survey import Survey
from ingest.reading.headings import plain
from ingest.reading.strings_by_tuning import SELDOM, note_in, string_of
from ingest.shopfiles.shop import Shop

OF_FAMILY = {  # the usual ones of each family, by strings_by_note.TUNINGS
    "soprano ukulele": ("ukulele",),
    "concert ukulele": ("ukulele",),
    "tenor ukulele": ("ukulele",),
    "banjolele": ("ukulele",),
    "baritone ukulele": ("baritone ukulele",),
    "bass ukulele": ("electric bass",),
    "bass guitar": ("electric bass",),
    "mandolin": ("mandolin",),
    "octave mandolin": ("mandolin",),
    "mandola": ("tenor banjo, mandola",),
    "tenor banjo": ("tenor banjo, mandola",),
    "plectrum banjo": ("plectrum banjo",),
    "open-back banjo": ("banjo", "banjo in C"),
    "resonator banjo": ("banjo", "banjo in C"),
    "square-neck resonator guitar": (),  # tuned to many chords
}
GUITARS = ("guitar", "guitar, German")
ASK = "ask"


def columns_of(surveys: Sequence[Survey], family: str) -> dict[tuple[str, str, str], str]:
    """What columns by notes are that fit several instruments, once somebody has said which it is: by file, tab and
    heading.
    """
    names = OF_FAMILY.get(family, GUITARS if "guitar" in family else ())
    found = {}
    for seen in surveys:
        groups: dict[tuple[str, str, str], list[Guess]] = {}
        for guess in (column.guess for column in seen.columns if column.guess.why == OF_TWO):
            groups.setdefault((guess.measure, guess.moment, guess.stage), []).append(guess)
        for mine in groups.values():
            numbers = fitted([note_of(guess.heading) for guess in mine], [TUNINGS[name] for name in names])
            for guess, number in zip(mine, numbers, strict=False):  # none where they fit no tuning or several
                found[seen.name, seen.tab, guess.heading] = replace(guess, position=number).target(guess.stage)
    return found


def tunings(draft: Draft, asker: Asker, shop: Shop | None) -> list[str]:
    """Give each model without one its tuning where its rows say notes, and its strings to what was measured on them.
    Returns a line for each model whose strings stay unread.
    """
    met = _met(draft)
    tuned = {model.key: model.tuning for model in shop.models} if shop else {}
    unread = []
    for model in dict.fromkeys(model for _, model, _ in met):
        entry = draft.models.get(model, {"tuning": tuned.get(model, "")})
        counts = Counter(note for _, other, note in met.elements() if other == model)
        notes = [note for note, number in counts.most_common() if number > SELDOM * counts.total()]
        words = {note: place for note, place in _said(draft).items() if note in notes}
        if not entry.get("tuning") and not _explained(words, notes):
            family = str(entry.get("family", ""))
            key = f"{TUNING}{model}"
            fitting = fitting_tunings(notes, family)
            names = ", ".join(notes)
            text = f"How is {model!r} tuned, from the highest string number down? Its rows say {names}"
            answer = asker.ask(key, text, (), fitting[0] if len(fitting) == 1 else ASK)
            if answer == ASK:
                unread.append(f"strings of {model!r} are not read: nobody has said how it is tuned ({names})")
                continue
            entry["tuning"] = answer
            if key not in asker.answers:
                draft.guesses[f"model {model} tuning"] = "by its family and the notes met"
        tuning = str(entry.get("tuning", "")).split()
        for name, note in {(name, note) for name, other, note in met if other == model}:
            trade = measure_of(name) or name
            if place := string_of(note, tuning, notes) or words.get(note, ""):
                add_measure(draft, draft.measure_key(trade), trade, [place])
    return unread


def fitting_tunings(notes: Collection[str], family: str) -> list[str]:
    """The tunings that notes may be of, each a text: of the family's those that have them all, else every one that has
    exactly these.
    """
    names = OF_FAMILY.get(family, GUITARS if family.endswith("guitar") else ())
    letters = {note.rstrip("'") for note in notes}
    mine = [TUNINGS[name] for name in names if letters <= _letters(TUNINGS[name])]
    return mine or ([] if names else [each for each in TUNINGS.values() if letters == _letters(each)])


def _letters(tuning: str) -> set[str]:
    return {note.rstrip("'") for note in tuning.split()}


def _explained(words: Mapping[str, str], notes: Sequence[str]) -> bool:
    """Do words for all models explain the notes of one, and give no string to two of them?"""
    strings = [place for place in words.values() if place.isdecimal()]
    return len(words) == len(notes) and len({*strings}) == len(strings)


def _said(draft: Draft) -> dict[str, str]:
    """What notes mean by the words of the sheets."""
    return {
        note: place
        for log in draft.logs
        for word, place in log.words.get("position", {}).items()
        if (note := note_in(word))
    }


def _met(draft: Draft) -> Counter[tuple[str, str, str]]:
    """Rows of each measurement, model and note, of sheets with a row a measurement."""
    met: Counter[tuple[str, str, str]] = Counter()
    models = {plain(str(word)): key for key, entry in draft.models.items() for word in (key, *entry.get("words", ()))}
    for log in draft.logs:
        seen = log.survey
        what, place, model = (seen.column(field) for field in ("what", "position", "model"))
        if seen.shape != "measurement" or what is None or place is None:
            continue
        only = next(iter(draft.models), "") if len(draft.models) == 1 else ""
        named = model.cells if model else ("",) * len(what.cells)
        meant = {word: _measure(log.words.get("what", {}).get(word, ""), word) for word in {*what.cells}}
        for word, cell, typed in zip(what.cells, place.cells, named, strict=True):
            key = models.get(plain(typed), typed.strip()) or only
            if key and meant[word] and (note := note_in(cell)):
                met[meant[word], key, note] += 1
    return met


def _measure(target: str, word: str) -> str:
    """The measurement that a name stands for, '' where none."""
    guess = meaning_of(target) if target else guess_column(word.strip(), None)
    return guess.measure if guess.field == "reading" else ""

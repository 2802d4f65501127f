"""Guesses at what a sheet of an unknown shop holds: headings by their words, columns by their cells. A guess is always
marked.
"""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import median

from rapidfuzz import fuzz, process

from ingest.beginning.starting_values import (
    BASS,
    FAMILIES,
    FAULTS,
    FIELD_WORDS,
    MEASURES,
    OUTCOMES,
    STAGES,
    TREBLE,
    StartingMeasure,
)
from ingest.reading.headings import FIELDS, plain
from ingest.reading.notation import NO_READING, Manner, read_cell, tidy
from ingest.terms.clock import EXCEL_DAY_0, Order, read_stamp
from ingest.terms.units import unit_of

_UNIT = re.compile(r"[(\[]([^()\[\]]*)[)\]]")
_PLACE_NOISE = re.compile(r"(?:@|\bat\b)\s*(?:fret\s*)?\d+(?:th|st|nd)?|\b(?:12th|fret 12|12|f12|fret 7|in)\b|@")
_FIELD_OF = {
    plain(word): field
    for source in (FIELDS, FIELD_WORDS)
    for field, words in source.items()
    for word in (field, *words)
}
_MEASURE_OF = {plain(word): item for item in MEASURES for word in (item.key, item.name, *item.words)}
_STAGE_OF = {plain(word): stage.key for stage in STAGES for word in (stage.key, stage.name, *stage.words)}
_OUTCOME_OF = {plain(word): outcome for outcome, words in OUTCOMES.items() for word in words}
_BARE = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")


@dataclass(frozen=True)
class Guess:
    """What one heading may mean: a field, or a measurement with position and moment; the stage where its words name
    one.
    """

    heading: str
    field: str = ""  # of headings.FIELDS, 'reading', or '' where nothing is known
    measure: str = ""
    position: str = ""
    moment: str = ""
    stage: str = ""
    unit: str = ""
    sure: bool = False

    def target(self, stage: str = "") -> str:
        """The meaning as a heading of shop.toml writes it; `stage` where the sheet has a row an instrument."""
        words = [self.measure, self.position, self.moment] if self.field == "reading" else [self.field]
        unit = f"({self.unit})" if self.unit else ""
        at = f"@ {stage}" if stage else ""
        return " ".join(word for word in [*words, unit, at] if word)


def guess_heading(heading: str) -> Guess:
    """What a heading means by its words alone, in any of a few languages."""
    text = plain(heading)
    unit_text = ""
    if found := _UNIT.search(text):
        unit_text, text = found[1], (text[: found.start()] + " " + text[found.end() :]).strip()
    text = " ".join(text.split())
    guess = Guess(heading)
    if text in _FIELD_OF:
        return replace(guess, field=_FIELD_OF[text], sure=True)
    stage, rest = _without_stage(text)
    if rest and rest in _FIELD_OF:
        return replace(guess, field=_FIELD_OF[rest], stage=stage, sure=True)
    measured = _measure(text, unit_text, guess)
    if measured is None and stage:
        measured = _measure(rest, unit_text, guess)
        measured = replace(measured, stage=stage) if measured else None
    if measured:
        return measured
    if stage and not rest:
        return replace(guess, field="date", stage=stage)  # a column headed 'Strung' or 'Packed' holds the day of it
    near = process.extractOne(text, list(_FIELD_OF), scorer=fuzz.ratio, score_cutoff=82)
    return replace(guess, field=_FIELD_OF[str(near[0])]) if near and len(text) > 3 else guess


def _without_stage(text: str) -> tuple[str, str]:
    """(stage, the other words) where a heading begins or ends with the words of a stage."""
    for word in sorted(_STAGE_OF, key=len, reverse=True):
        for rest in (text.removeprefix(word + " "), text.removesuffix(" " + word)):
            if rest != text:
                return _STAGE_OF[word], rest.strip(" -:@")
    return (_STAGE_OF[text], "") if text in _STAGE_OF else ("", text)


def _measure(text: str, unit_text: str, guess: Guess) -> Guess | None:
    item, rest = None, ""
    for word in sorted(_MEASURE_OF, key=len, reverse=True):
        if text == word or text.startswith((word + " ", word + ".")):
            item, rest = _MEASURE_OF[word], text[len(word) :].strip(" .-:")
            break
    if item is None:
        return None
    moment = ""
    for words, meant in (
        ("found", "found"),
        ("before", "found"),
        ("as found", "found"),
        ("left", "left"),
        ("after", "left"),
    ):
        if rest == words or rest.endswith(" " + words):
            rest, moment = rest[: -len(words)].strip(), meant
    unit = unit_of(unit_text, item.quantity) if unit_text else ""
    if not unit:
        for word in rest.split():
            if (found := unit_of(word, item.quantity)) and item.quantity in ("length", "pitch"):
                unit, rest = found, " ".join(part for part in rest.split() if part != word)
    position = _position(" ".join(_PLACE_NOISE.sub(" ", rest).split()) if item.key != "intonation" else rest)
    if position is None:
        return None
    return replace(
        guess, field="reading", measure=item.key, position=position, moment=moment, unit=unit or "", sure=True
    )


def _position(text: str) -> str | None:
    if text in BASS:
        return "bass"
    if text in TREBLE:
        return "treble"
    if re.fullmatch(r"(?:b/t|bass/treble|b / t)", text):
        return "bass/treble"
    if found := re.fullmatch(r"(?:string|str|s|saite|corde)?\s*(\d)(?:\s*(?:f|fret)\s*(\d{1,2}))?", text):
        return found[1] + (f" fret {found[2]}" if found[2] else "")
    return "" if not text else None


def date_order(cells: Iterable[str]) -> tuple[Order, bool]:
    """(order, is it sure) of the dates of a column: by a part above 12, else day first, unsure."""
    parts = [
        tuple(int(part) for part in found.groups())
        for cell in cells
        if (found := re.match(r"(\d{1,4})[-/.](\d{1,2})[-/.]\d{1,4}", cell.strip()))
    ]
    if not parts or all(first > 31 for first, _ in parts):
        return "ymd", bool(parts)
    parts = [pair for pair in parts if pair[0] <= 31]
    if any(first > 12 for first, _ in parts):
        return "dmy", True
    return ("mdy", True) if any(second > 12 for _, second in parts) else ("dmy", False)


def are_dates(cells: Sequence[str], order: Order) -> bool:
    """Do nearly all cells hold a date?"""
    filled = [cell for cell in cells if cell.strip()]
    read = [read_stamp(cell, order) for cell in filled[:200]]
    return bool(read) and sum(
        1 for stamp in read if stamp is not None and stamp[2] and (stamp[0] or EXCEL_DAY_0) > EXCEL_DAY_0
    ) > 0.8 * len(read)


def decimal_sign(cells: Iterable[str]) -> str:
    """',' where numbers are written with a comma and none with a point, else '.'."""
    found = Counter(
        "," if "," in cell else "."
        for cell in (cell.strip() for cell in cells)
        if re.fullmatch(r"[+-]?\d*[.,]\d+(?:\s*\D*)?", cell)
    )
    return "," if found[","] and not found["."] else "."


def bare_unit(item: StartingMeasure, cells: Sequence[str], decimal: str) -> tuple[str, bool]:
    """(unit of the bare numbers of a column, is it sure): the one in which the middle number is a usual reading; ''
    where none or several.
    """
    bare = [tidy(cell) for cell in cells if _BARE.fullmatch(tidy(cell))]
    if not bare or item.quantity not in ("length", "pitch"):
        return "", True
    middle = median(
        abs(float(cell.replace(",", "."))) if item.quantity == "length" else float(cell.replace(",", "."))
        for cell in bare
    )
    fits = [unit for unit, low, high in item.units if low <= middle <= high]
    return (fits[0], False) if len(fits) == 1 else ("", False)


def reads(cells: Sequence[str], manner: Manner) -> float:
    """Share of the filled cells that read as measurements."""
    filled = [cell for cell in cells if cell.strip() and tidy(cell) not in NO_READING]
    return sum(1 for cell in filled if not read_cell(cell, manner).reason) / len(filled) if filled else 0.0


def guess_stage(word: str) -> str:
    """The stage of the trade that a word means, '' where none comes near."""
    text = plain(word)
    if text in _STAGE_OF:
        return _STAGE_OF[text]
    near = process.extractOne(text, list(_STAGE_OF), scorer=fuzz.ratio, score_cutoff=80)
    return _STAGE_OF[str(near[0])] if near and len(text) > 3 else ""


def guess_outcome(word: str) -> str:
    """The outcome that a word means, '' where it is not known."""
    return _OUTCOME_OF.get(plain(word), "")


def guess_family(model: str) -> str:
    """The family that a model's name tells, '' where it does not."""
    text = plain(model)
    words = [(word, family) for family, (named, *_) in FAMILIES.items() for word in (family, *named)]
    return next(
        (
            family
            for word, family in sorted(words, key=lambda pair: -len(pair[0]))
            if re.search(rf"\b{re.escape(word)}", text)
        ),
        "",
    )


def guess_suspect(fault: str) -> str:
    """The stage that usually causes a fault, '' where no known fault comes near."""
    words = {word: stage for stage, faults in FAULTS.items() for word in faults}
    near = process.extractOne(plain(fault), list(words), scorer=fuzz.token_set_ratio, score_cutoff=75)
    return words[str(near[0])] if near else ""

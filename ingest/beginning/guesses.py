"""Guesses at the columns of a sheet by their words and their cells. Each says how sure it is and by what."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from rapidfuzz import fuzz, process

from ingest.beginning.families import family_of
from ingest.beginning.heading_sense import Sense, book, names_hands, sense_of, words_of
from ingest.beginning.profiles import Profile
from ingest.beginning.sent_back import head_and_place
from ingest.beginning.stage_words import stage_of_word
from ingest.beginning.starting_values import FAULTS, MEASURES
from ingest.beginning.trade_words import DOUBTFUL_OUTCOMES, HANDS, OUTCOME_WORDS
from ingest.reading.fields import CARRIED
from ingest.reading.headings import plain, position_of

Level = Literal["said", "sure", "likely", "unsure", ""]
_OUTCOME_OF = {plain(word): outcome for outcome, words in OUTCOME_WORDS.items() for word in words}
_MONEY = re.compile(r"[$€£¥]|\b(?:usd|eur|gbp|chf)\b", re.IGNORECASE)
LENGTHS = ("mm", "cm", "in", "thou", "64ths")
NUMERIC = ("minutes", "rh", "temperature")
SHORT_NAMES = "its cells: few short names"
A_FEW_MODELS, MANY_MODELS = 20, 60  # of a column with figures as serials have them, and of one of words
MAKER = ("maker", "makers", "manufacturer", "hersteller")  # beside the word neck
SIDES, MOSTLY = 6, 0.9  # ways to write left and right; of the cells, where some are slips
SHOULD_BE = "its words: what a reading should be"
FEW_WORDS = ("outcome", "stage", "tech", "model", "supplier", "gauge", "what", "unit", "position", "moment")


@dataclass(frozen=True)
class Guess:
    """What one heading may mean: a field, or a measurement with position and moment; its stage where it names one."""

    heading: str
    field: str = ""  # a field of a row, 'reading', or '' where nothing is known
    measure: str = ""
    position: str = ""
    moment: str = ""
    stage: str = ""
    unit: str = ""
    level: Level = ""
    why: str = ""  # its words | its cells | its place among others, in words
    said: str = ""  # the meaning as somebody said it, word for word

    @property
    def sure(self) -> bool:
        """Said by a person, or told by words and cells alike."""
        return self.level in ("said", "sure")

    @property
    def taken(self) -> bool:
        """Sure enough to be read without being asked."""
        return self.level in ("said", "sure", "likely") and bool(self.field)

    def target(self, stage: str = "") -> str:
        """The meaning as a heading of shop.toml writes it; `stage` where the sheet has a row an instrument."""
        if self.said:
            stays = not stage or self.field != "reading" or "@" in self.said
            return self.said if stays else f"{self.said} @ {stage}"
        words = [self.measure, self.position, self.moment] if self.field == "reading" else [self.field, self.moment]
        unit = f"({self.unit})" if self.unit else ""
        at = f"@ {stage}" if stage else ""
        return " ".join(word for word in [*words, unit, at] if word)


def guess_heading(heading: str) -> Guess:
    """What a heading means by its words alone."""
    guess = guess_column(heading, None)
    inches = guess.field == "reading" and sense_of(heading).in_is and not guess.unit
    return replace(guess, unit="in") if inches else guess


def guess_column(heading: str, cells: Profile | None) -> Guess:
    """What a column means by its heading and, where given, its cells, which must bear a guess out."""
    sense = sense_of(heading)
    guess = _by_words(sense, cells)
    if cells is None or not cells.filled:
        return guess
    if guess.why == SHOULD_BE:
        return guess
    if guess.field == "model" and not _fits(guess, cells) and (cells.idents > 0.8 or cells.whole == 1):
        return Guess(heading, why=f"its cells: {cells.distinct} different of {cells.filled}")  # perhaps the serial
    if guess.field and not _fits(guess, cells):
        guess = _second_thought(sense, cells)
    if not guess.field:
        guess = guess_by_cells(heading, cells)
    if guess.field == "reading" and not guess.position and cells.pairs > 0.5:
        why = "two numbers a cell, perhaps bass and treble"
        return replace(guess, position="bass/treble", level="unsure", why=why)
    return guess


def _by_words(sense: Sense, cells: Profile | None) -> Guess:
    guess = Guess(sense.heading, why="its words")
    if sense.target:
        return Guess(sense.heading, "other", level="likely", why=SHOULD_BE)
    if _MONEY.search(sense.heading):  # 'Charge $' is no German lot
        return Guess(sense.heading, "other", level="likely", why="its words: money")
    level: Level = "sure" if not sense.strange else "likely"
    if sense.whole and not (sense.measures and cells is not None and cells.measured > 0.8 and cells.dates < 0.5):
        whole = "started_at" if sense.whole == "time" else sense.whole
        return replace(guess, field=whole, level="sure", stage=_stage(sense))
    fields = [
        name
        for name in sense.fields
        if name not in ("position", "value", "what", "moment", "unit", "stage") or not sense.measures
    ]
    if sense.measures and not fields:
        measure = max(sense.measures, key=lambda key: key != "nut" and key != "head")
        stage = next((stage for stage in sense.stages if stage != own_stage(measure)), "")
        moment = sense.moments[-1] if sense.moments else ""
        fret = (
            f" fret {sense.fret}" if measure == "intonation" and sense.fret not in (None, 12) and sense.ordinal else ""
        )
        position = sense.both_sides or sense.position or (sense.ordinal + fret if sense.ordinal else "")
        return replace(
            guess,
            field="reading",
            measure=measure,
            position=position,
            moment=moment,
            stage=stage,
            unit=sense.unit,
            level=level,
        )
    if fields:
        name = "started_at" if fields[-1] == "time" else fields[-1]
        moment = sense.moments[-1] if sense.moments and name == "value" else ""
        level = level if len(set(fields)) == 1 else "likely"
        return replace(guess, field=name, moment=moment, stage=_stage(sense), level=level)
    if sense.stages:
        return replace(guess, field="date", stage=sense.stages[-1], level="likely", why="a stage's name alone")
    if (sense.moments or sense.in_is) and not sense.strange and cells is not None and cells.dates + cells.clocks > 0.8:
        name = "finished_at" if sense.moments == ["left"] else "started_at"
        why = "its words and clock times" if cells.clocks > cells.dates else "its words and days"
        return replace(guess, field=name, level="likely", why=why)
    near = (
        process.extractOne(" ".join(words_of(sense.heading)), list(book()), scorer=fuzz.ratio, score_cutoff=86)
        if len(sense.heading) > 4
        else None
    )
    if near and re.findall(r"\d+", str(near[0])) == re.findall(r"\d+", " ".join(words_of(sense.heading))):
        kinds = dict(reversed(book()[str(near[0])]))
        if "field" in kinds:
            name = kinds["field"]
            return replace(
                guess,
                field="started_at" if name == "time" else name,
                level="likely",
                why=f"its words, near {str(near[0])!r}",
            )
        if "measure" in kinds:
            return replace(
                guess,
                field="reading",
                measure=kinds["measure"],
                unit=sense.unit,
                level="likely",
                why=f"its words, near {str(near[0])!r}",
            )
    return Guess(sense.heading)


def _stage(sense: Sense) -> str:
    """The stage that a heading of a field names beside it: none of what holds for all of an instrument's visits."""
    whole = sense.whole in ("stage", *CARRIED) or (not sense.whole and bool(set(sense.fields) & set(CARRIED)))
    return sense.stages[-1] if sense.stages and not whole else ""


def own_stage(measure: str) -> str:
    """The stage whose word is the measurement's too, which therefore names no stage."""
    return {"nut": "nut_slotting", "head": "head_tension", "intonation": "intonation", "neck_angle": "neck_angle"}.get(
        measure, ""
    )


def _fits(guess: Guess, cells: Profile) -> bool:
    """Do the cells bear a guess out?"""
    if guess.field == "reading":
        return cells.measured > 0.5 and cells.dates < 0.5
    if guess.field == "date":
        return cells.dates > 0.7
    if guess.field in ("started_at", "finished_at"):
        return cells.dates + cells.clocks + cells.figures > 0.7
    if guess.field == "value":
        return cells.measured > 0.5
    if guess.field in NUMERIC:
        return cells.measured > 0.7
    if guess.field == "serial":
        return cells.dates < 0.9
    if guess.field == "model":  # a shop has some models; names that nearly all differ are of instruments
        named = cells.idents > 0.8 or cells.numbers > 0.8
        return cells.distinct <= max(A_FEW_MODELS if named else MANY_MODELS, 0.2 * cells.filled)
    if guess.field in ("outcome", "stage"):
        return cells.distinct <= max(40, 0.1 * cells.filled) and not (cells.numbers > 0.9 and cells.whole < 0.5)
    if guess.field == "sent_back_to":
        return cells.distinct <= max(40, 0.3 * cells.filled) and cells.dates < 0.5
    if guess.field in ("unit", "moment"):
        return cells.distinct <= 12
    if guess.field == "neck" and set(MAKER) & set(words_of(guess.heading)):
        return not cells.few
    if guess.field == "hand":  # left or right; people have names
        return cells.distinct <= SIDES and (plain(guess.heading) != "hand" or _left_or_right(cells))
    if guess.field in ("what", "position", "gauge"):
        return cells.distinct <= max(60, 0.1 * cells.filled)
    if guess.field == "tech":
        return (
            cells.dates < 0.5
            and cells.length <= 24
            and not (cells.numbers > 0.9 and cells.whole < 0.5)
            and cells.clocks < 0.9
        )
    return True


def _left_or_right(cells: Profile) -> bool:
    """Do the cells say which hand something is made for?"""
    told = [count for word, count in cells.words if re.sub(r"[\W_]", "", plain(word)) in HANDS]
    return 2 * len(told) > len(cells.words) or sum(told) >= MOSTLY * sum(count for _, count in cells.words)


def _second_thought(sense: Sense, cells: Profile) -> Guess:
    """A heading whose first meaning the cells refuse: the other meanings of its words that they allow."""
    guess = Guess(sense.heading, why="its words and its cells", level="likely")
    names = cells.dates + cells.clocks < 0.1 and cells.numbers < 0.2 and cells.length <= 24 and cells.distinct <= 60
    if names and (
        names_hands(sense.heading) or sense.whole == "hand"
    ):  # 'von' is 'from' over times of day, and 'by' over names
        return replace(guess, field="tech", stage=sense.stages[-1] if sense.stages else "")
    if sense.stages:
        if cells.few and all(guess_outcome(word) for word, _ in cells.words[:6]):
            return replace(guess, field="outcome", stage=sense.stages[-1])
        if cells.dates < 0.5 and cells.numbers < 0.5 and 0 < cells.length <= 4 and cells.distinct <= 40:
            return replace(guess, field="tech", stage=sense.stages[-1])
    if cells.few and "neck" in sense.fields and set(MAKER) & set(words_of(sense.heading)):
        return replace(guess, field="supplier")  # few makers made many necks
    if sense.fields or sense.whole:
        if cells.dates > 0.8:
            return replace(guess, field="date", stage=_stage(sense))
        if cells.clocks > 0.8:
            return replace(guess, field="started_at", stage=_stage(sense))
    return Guess(sense.heading)


def guess_by_cells(heading: str, cells: Profile) -> Guess:
    """What the cells alone tell: days, clock times, results, benches, kinds of instruments; never a measurement."""
    guess = Guess(heading, why="its cells")
    if cells.dates > 0.9:
        return replace(guess, field="date", level="likely")
    if cells.clocks > 0.9 and cells.distinct > 5:
        return replace(guess, field="started_at", level="unsure")
    words = [word for word, _ in cells.words]
    known = sum(count for word, count in cells.words if guess_outcome(word) and plain(word) not in DOUBTFUL_OUTCOMES)
    if cells.few and known >= 0.5 * cells.filled and len(words) <= 8:
        return replace(guess, field="outcome", level="likely", why="its cells: " + ", ".join(words[:4]))
    if 1 < cells.distinct <= 14 and _are_places(words):
        return replace(guess, field="position", level="likely", why="its cells: " + ", ".join(words[:4]))
    if (
        1 < cells.distinct <= 40
        and sum(1 for word in words if stage_of_word(word)) >= 0.6 * len(words)
        and cells.numbers < 0.2
    ):
        return replace(guess, field="stage", level="likely", why="its cells: " + ", ".join(words[:4]))
    if (
        1 <= cells.distinct <= 60
        and sum(1 for word in words if family_of(word)) >= 0.6 * len(words)
        and cells.numbers < 0.2
    ):
        return replace(guess, field="model", level="likely", why="its cells: " + ", ".join(words[:4]))
    if (perhaps := _by_size(heading, cells)) is not None:
        return perhaps
    names = all(re.fullmatch(r"[^\W\d]+\.?(?:\s?[^\W\d]\.)?", word) for word in words)
    if cells.few and cells.distinct >= 2 and cells.length <= 10 and names:
        return replace(guess, field="tech", level="unsure", why=SHORT_NAMES)
    return Guess(heading)


def _are_places(words: list[str]) -> bool:
    """Are words places of a reading: both sides of the neck, and besides them only strings?"""
    sides = {sense_of(word).position for word in words if not position_of(word) or not word.strip().isdigit()}
    return sides == {"bass", "treble"}


def _by_size(heading: str, cells: Profile) -> Guess | None:
    """A heading that names a side or a unit of length and nothing known besides, over numbers of one usual size."""
    sense = sense_of(heading)
    other = sense.measures or set(sense.fields) - {"position"} or sense.stages or sense.target
    if other or not (sense.position or sense.unit in LENGTHS) or cells.numbers < 0.8 or cells.whole > 0.5:
        return None
    units = (sense.unit,) if sense.unit else ("mm",)
    fits = [
        (item.key, unit)
        for item in MEASURES[:3]
        for unit, low, high in item.units
        if unit in units and low <= cells.middle <= high
    ]
    if len(fits) != 1:
        return None
    why = "its side and the size of its numbers" if sense.position else "its unit and the size of its numbers"
    return Guess(heading, "reading", fits[0][0], sense.position, "", "", fits[0][1], "unsure", why)


def guess_outcome(word: str) -> str:
    """The outcome that a word means, '' where it is not known."""
    return _OUTCOME_OF.get(plain(word)) or ("send back" if head_and_place(word)[0] else "")


def guess_suspect(fault: str) -> str:
    """The stage that usually causes a fault, '' where no known fault comes near."""
    words = {word: stage for stage, faults in FAULTS.items() for word in faults}
    near = process.extractOne(plain(fault), list(words), scorer=fuzz.token_set_ratio, score_cutoff=75)
    return words[str(near[0])] if near else ""


def decimal_sign(cells: Iterable[str], *, workbook: bool = False) -> str:
    """',' where more numbers are written with a comma than with a point, else '.'. A workbook's own numbers have a
    point whatever its people write, so there a few that were typed as text with a comma say it.
    """
    found = Counter(
        "," if "," in cell else "."
        for cell in (cell.strip() for cell in cells)
        if re.fullmatch(r"[+-]?\d*[.,]\d+(?:\s*\D*)?", cell)
    )
    return "," if found[","] > (0 if workbook else found["."]) else "."

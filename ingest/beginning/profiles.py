"""What the cells of one column look like: how many differ, numbers, dates, clock times, running numbers, few words."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from statistics import median

from ingest.reading.amounts import tidy
from ingest.reading.notation import no_reading
from ingest.terms.clock import EXCEL_DAY_0, Order, read_stamp
from ingest.terms.units import spellings

NEARLY = 0.97  # of a column that numbers the rows
REMEMBERED = 2048  # columns whose looks are kept, so that an answer does not look at all of them again: 84 sheets of 17
LONG = 100_000  # cells of a column that is looked at anew: kept columns keep their cells
LOOKED_AT = 2000  # cells that are looked at one by one, spread over the column
HOURS = 4  # of a day, at least, in a column of times of day written as 081455
LAST_LIKELY = 54788  # a spreadsheet's number of 2049-12-31: later ones are numbers of something else
_DAY_NUMBER = re.compile(r"\d{5}")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")
_IDENT = re.compile(r"(?=.*\d)[A-Za-z]{0,6}[-_/ .]?\d[\w\-/.]*")
_FRACTION = re.compile(r"(?:\d+[ -])?\d+[.,]?\d*\s*/\s*\d+\"?")
_PAIR = re.compile(r"\d*[.,]\d+\s*/\s*\d*[.,]?\d+(?:\s*mm)?")
_AMOUNT = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_UNIT = "|".join(map(re.escape, spellings("length", "pitch", "angle")))
_MEASURED = re.compile(
    rf"[<>~]?\s*[+-]?{_AMOUNT}(?:\s*[-/; ]\s*{_AMOUNT})*\s*(?:(?:{_UNIT}|ths)\.?)?[+-]?(?:\s*\([^()]*\))?",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Profile:
    """A column at a glance; shares are of the filled cells looked at."""

    rows: int
    filled: int
    distinct: int
    numbers: float  # plain decimals
    measured: float  # numbers in any notation
    whole: float  # of the numbers, without a fraction
    halves: float  # of the numbers, multiples of a half
    middle: float  # median of the absolute numbers, 0 where none
    dates: float  # with a day
    clocks: float  # a time of day alone, with a sign between hour and minute
    figures: float  # three or four figures, or 7.41, that may be a time of day
    idents: float  # letters and figures as serials have them
    pairs: float  # two numbers with a slash between that are no fraction
    several: int  # numbers in most cells, where they hold several with spaces between; else 1
    running: bool  # each number one more than the last
    length: float  # mean letters
    words: tuple[tuple[str, int], ...]  # the commonest texts
    below: float = 0.0  # of the numbers, under 0

    @property
    def unique(self) -> float:
        """Distinct texts a filled cell."""
        return self.distinct / self.filled if self.filled else 0.0

    @property
    def few(self) -> bool:
        """Do a few words make up the column?"""
        return 0 < self.distinct <= max(12, 0.02 * self.filled)


def profile(cells: tuple[str, ...], order: Order = "dmy") -> Profile:
    """Look at the cells of a column; the same column is looked at once while it is being mapped."""
    return _kept(cells, order) if len(cells) <= LONG else _profile(cells, order)


@lru_cache(maxsize=REMEMBERED)
def _kept(cells: tuple[str, ...], order: Order) -> Profile:
    return _profile(cells, order)


def _profile(cells: tuple[str, ...], order: Order) -> Profile:
    typed = Counter(map(str.strip, cells))
    empty = {text for text in typed if not text or no_reading(text)}
    filled = [text for cell in cells if (text := cell.strip()) not in empty]
    step = max(1, len(filled) // LOOKED_AT)
    seen = filled[::step][:LOOKED_AT]
    plain = [float(text.replace(",", ".")) for cell in seen if _NUMBER.fullmatch(text := tidy(cell))]
    stamps = {text: _stamp(text, order) for text in set(seen)} | _six_figures(seen)
    known = [stamps[text] for text in seen]
    running = _is_running(filled)
    if running:  # 45017, 45018 ... number the rows, and are no days of a spreadsheet
        known = [each if not _DAY_NUMBER.fullmatch(text) else "" for text, each in zip(seen, known, strict=True)]
    n = max(1, len(seen))
    counts = Counter(filled)
    return Profile(
        rows=len(cells),
        filled=len(filled),
        distinct=len(counts),
        numbers=len(plain) / n,
        measured=sum(1 for cell in seen if _MEASURED.fullmatch(tidy(cell))) / n,
        whole=sum(1 for number in plain if number == int(number)) / max(1, len(plain)),
        halves=sum(1 for number in plain if 2 * number == int(2 * number)) / max(1, len(plain)),
        middle=median(abs(number) for number in plain) if plain else 0.0,
        dates=sum(1 for each in known if each == "day") / n,
        clocks=sum(1 for each in known if each == "clock") / n,
        figures=sum(1 for each in known if each == "figures") / n,
        idents=sum(1 for cell in seen if _IDENT.fullmatch(cell)) / n,
        pairs=sum(1 for cell in seen if _PAIR.fullmatch(tidy(cell))) / n,
        several=_several(seen),
        running=running,
        length=sum(map(len, seen)) / n,
        words=tuple(counts.most_common(40)),
        below=sum(1 for number in plain if number < 0) / max(1, len(plain)),
    )


def _six_figures(seen: Sequence[str]) -> dict[str, str]:
    """Six figures are a time of day where all of a column are, over some hours of a day; else a number."""
    texts = {text for text in seen if len(text) == 6 and text.isdecimal()}
    hours = {text[:2] for text in texts}
    good = len(hours) >= HOURS and len(texts) == len(set(seen)) and all(read_stamp(text, "ymd") for text in texts)
    return dict.fromkeys(texts, "clock" if good else "")


def _stamp(text: str, order: Order) -> str:
    if _DAY_NUMBER.fullmatch(text) and int(text) > LAST_LIKELY:
        return ""
    read = None
    if _FRACTION.fullmatch(text):
        return ""
    for way in (order, "ymd", "dmy", "mdy"):
        read = read_stamp(text, way)
        if read is not None:
            break
    if read is None:
        return ""
    if read[2]:
        return "day" if (read[0] or EXCEL_DAY_0) >= EXCEL_DAY_0 else ""
    return "figures" if re.fullmatch(r"\d+|\d{1,2}\.\d{2}", text) else "clock"  # 2.40 is a number first


def _several(seen: Sequence[str]) -> int:
    """How many numbers most cells hold, spaces between; 1 where they do not."""
    counts = Counter(len(cell.split()) for cell in seen if all(_NUMBER.fullmatch(part) for part in cell.split()))
    usual, many = counts.most_common(1)[0] if counts else (1, 0)
    return usual if usual > 1 and many > 0.8 * len(seen) else 1


def _is_running(filled: list[str]) -> bool:
    """1, 2, 3 ... or the like, row by row."""
    numbers = [int(cell) for cell in filled[:400] if cell.isdecimal() and len(cell) < 9]
    if len(numbers) < 3 or len(numbers) < NEARLY * len(filled[:400]):  # a line of hints below the heading is none
        return False
    return sum(1 for a, b in pairwise(numbers) if b == a + 1) >= 0.9 * (len(numbers) - 1)

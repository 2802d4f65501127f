"""The steps in which a shop's sheets are written, a measurement: what its gauge shows, until somebody says.

A reading stands for the whole step of its gauge. A sheet that no gauge is declared for would be held as if it were read
without end: 7/64 in, 2.778 mm, would be outside a limit of 2.8 mm by 0.022, where no eye tells less than half a 64th.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import gcd, lcm

from ingest.beginning.answers import meaning_of, measure_of
from ingest.beginning.first_shop import Draft, LogDraft
from ingest.beginning.survey import ColumnSeen
from ingest.reading.amounts import COUNTED, tidy
from ingest.reading.measurements import LARGER, TENTH
from ingest.reading.notation import NO_READING
from ingest.terms.units import CANONICAL, factors, unit_of

LEAST_CELLS, LEAST_VALUES = 25, 4  # fewer tell no step
READ = 0.95  # so many of the filled cells must be one plain number each
STEPPED = ("length", "pitch", "angle", "plain")
POWERS = (32, 64, 128, 256)
_FRACTION, _UNIT = r"(?:(\d+)\s+)?(\d+(?:[.,]\d+)?)\s*/\s*(\d+)", r"(\d{1,3}(?:ths?|nds?)|[a-z°\"'¢]*)"
_NUMBER = re.compile(rf"[+-]?\s*(?:{_FRACTION}|(\d*[.,]?\d+))\s*{_UNIT}\.?")


@dataclass(frozen=True)
class Step:
    """The largest step on which every reading of a measurement lies, as its cells are typed."""

    size: Fraction  # in `unit`
    unit: str  # as `unit_of` gives it; '' for a plain gauge
    quantity: str
    cells: int

    @property
    def canonical(self) -> float:
        """In mm, cents or degrees."""
        top, bottom = factors(self.unit, self.quantity)
        return float(self.size) * top / bottom

    @property
    def resolution(self) -> str:
        """As shop.toml says it: `1/128 in`, `0.01 mm`."""
        size, unit = self.size, self.unit
        if unit == "64ths":
            size, unit = size / 64, "in"
        elif unit not in ("in", "thou") and self.quantity in CANONICAL:  # hundredths of a mm, a cm
            return f"{self.canonical:g} {CANONICAL[self.quantity]}"
        number = f"{size}" if unit == "in" and size.denominator in POWERS else f"{float(size):g}"
        return f"{number} {unit}".strip()


def steps_seen(draft: Draft) -> dict[str, Step]:
    """The step of each measurement of the draft, by its key, where its cells tell one: all of one unit, on one grid."""
    found: dict[str, list[Step | None]] = {}
    for log in draft.logs:
        for key, unit, cells in columns_measured(log, draft):
            quantity = str(draft.measures.get(key, {}).get("quantity", ""))
            if quantity in STEPPED:
                found.setdefault(key, []).append(step_of(cells, unit, quantity))
    return {key: whole for key, steps in found.items() if (whole := _together(steps)) is not None}


def step_of(cells: Iterable[str], unit: str, quantity: str) -> Step | None:
    """The step of one column; None where its cells are too few, of several kinds, or not plain numbers.

    unit : of a bare number; a unit in a cell goes before it.
    """
    unit = unit_of(unit, quantity) or unit
    filled = Counter(text for text in map(tidy, cells) if text and text not in NO_READING)
    sizes: Counter[tuple[Fraction, str]] = Counter()
    for text, count in filled.items():
        size, own = _amount(text, unit, quantity)
        if own is not None:
            sizes[(size, own)] += count
    total, read = sum(filled.values()), sum(sizes.values())
    units = {own for _, own in sizes}
    different = {size for size, _ in sizes}
    if units == {"in", "thou"}:  # one feeler, written in two ways
        units = {"in"}
        different = {size / 1000 if own == "thou" else size for size, own in sizes}
    if read < LEAST_CELLS or read < READ * total or len(units) != 1 or len(different) < LEAST_VALUES:
        return None
    one_unit = units.pop()
    if not one_unit and quantity != "plain":
        return None
    return Step(_common(different), one_unit, quantity, read)


def _amount(text: str, unit: str, quantity: str) -> tuple[Fraction, str | None]:
    """(number, unit) of one cell, unit None where it is no plain number; `unit` is that of a bare one."""
    one = _NUMBER.fullmatch(text)
    if one is None or (one[3] and int(one[3]) == 0):
        return Fraction(0), None
    size = Fraction((one[2] or one[4]).replace(",", ".")) / int(one[3] or 1) + int(one[1] or 0)
    own = unit_of(one[5], quantity) if one[5] else unit
    if one[3] and not one[5] and quantity == "length" and not (one[1] and unit in COUNTED):
        own = "in"  # but 5½ on a rule of 64ths counts its marks
    return size, LARGER.get(str(own), own) if 0 < size < TENTH and not one[5] else own


def usual_unit(cells: Iterable[str], unit: str, quantity: str) -> str:
    """The unit in which most cells stand; '' where they tell none.  unit : of a bare number."""
    unit = unit_of(unit, quantity) or unit
    found: Counter[str] = Counter()
    for text, count in Counter(map(tidy, cells)).items():
        if own := _amount(text, unit, quantity)[1]:
            found[own] += count
    return found.most_common(1)[0][0] if found else ""


def written_unit(cells: Iterable[str], unit: str) -> str:
    """The unit in which most cells of a length stand, else that of a bare number: `64ths` where those in inches are
    fractions of one.
    """
    usual = usual_unit(cells, unit, "length") or unit_of(unit, "length") or unit
    if usual != "in":
        return usual
    found = Counter(text for text in map(tidy, cells) if _amount(text, unit, "length")[1] == "in")
    fractions = sum(count for text, count in found.items() if "/" in text)
    return "64ths" if 2 * fractions > found.total() else "in"


def columns_measured(log: LogDraft, draft: Draft) -> Iterator[tuple[str, str, Iterable[str]]]:
    """The cells of each measurement of a sheet with its key and the unit of a bare number."""
    for column in log.survey.measures():
        yield *unit_of_column(column, log, draft), column.cells
    by_name: dict[tuple[str, str, str], list[str]] = {}
    names = log.survey.column("what")
    for place, key, unit, cell in measured_by_name(log, draft):
        by_name.setdefault((names.cells[place].strip() if names else "", key, unit), []).append(cell)
    for (_, key, unit), cells in by_name.items():
        yield key, unit, cells


def unit_of_column(column: ColumnSeen, log: LogDraft, draft: Draft) -> tuple[str, str]:
    """The key of what a column measures, and the unit of a bare number in it."""
    guess = column.guess
    key = draft.key_of(guess.measure, said=bool(guess.said))
    return key, guess.unit or log.units.get(f"{key} {guess.position}".strip(), "") or log.units.get(key, "")


def measured_by_name(log: LogDraft, draft: Draft) -> Iterator[tuple[int, str, str, str]]:
    """Of a sheet with a row a measurement: place of the row, key of what was measured, unit, cell with its own unit."""
    seen = log.survey
    what, units = seen.column("what"), seen.column("unit")
    if what is None:
        return
    keys: dict[str, str] = {}
    for name in {cell.strip() for cell in what.cells}:
        meaning = log.words.get("what", {}).get(name, name)
        trade = measure_of(meaning) or measure_of(meaning_of(meaning).measure)  # 'action bass' is action
        keys[name] = draft.declared(meaning) or (draft.measure_key(trade) if trade else "")
    for value in seen.values():
        for place, name in enumerate(what.cells):
            if key := keys[name.strip()]:
                cell = value.cells[place].strip()
                yield place, key, log.units.get(key, ""), f"{cell} {units.cells[place]}" if units and cell else cell


def _together(steps: list[Step | None]) -> Step | None:
    """One step for all columns of a measurement; None where one tells none or their units differ."""
    told = [step for step in steps if step is not None]
    if len(told) != len(steps) or len({step.unit for step in told}) != 1:
        return None
    size = _common({step.size for step in told})
    return Step(size, told[0].unit, told[0].quantity, sum(step.cells for step in told))


def _common(sizes: Iterable[Fraction]) -> Fraction:
    """The largest number of which all are whole multiples."""
    every = [size for size in sizes if size]
    below = lcm(*(size.denominator for size in every))
    return Fraction(gcd(*(int(size * below) for size in every)), below)

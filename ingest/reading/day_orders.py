"""In which order the days of a sheet are written, by what the calendar allows and by how they lie: pure."""

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from itertools import pairwise
from typing import Literal

from ingest.terms.clock import FIRST_YEAR, LAST_YEAR, Order

Letter = Literal["y", "m", "d"]
ORDERS: tuple[Order, ...] = ("dmy", "mdy", "ymd")
ENOUGH = 5  # different days from which on the time they span says something
SHORTER = 6  # times: the time that days span the one way round, held against the other ways
STEPS, RISING, SCATTERED = 20, 0.9, 0.75  # changes of day from row to row; the share of them that go one way
_THREE = re.compile(r"(\d{1,4})\s*[-/.]\s*(\d{1,2})\s*[-/.]\s*(\d{1,4})(?!\d)")
_POINTS = re.compile(r"\d{1,2}\.\s*\d{1,2}\.")


def date_order(cells: Iterable[str]) -> tuple[Order, bool]:
    """(order, is it sure) of the dates of columns, row for row: by what the calendar allows, by points between the
    parts (day first), else by which order makes the sheet some weeks long rather than years, or makes its days rise
    with its rows; else day first, unsure. Days that say their order by themselves (year first in four figures, a month
    by name, eight figures, a spreadsheet's number) ask nothing.
    """
    texts = [cell.strip() for cell in cells if cell.strip()]
    typed = _typed(texts)
    if not typed:
        return "ymd", bool(texts)
    read = _read(typed)
    if not read:
        return "dmy", False
    fits = {order: [day for day in days if day] for order, days in read.items() if all(days)}
    if not fits:
        return max(ORDERS, key=lambda order: sum(map(bool, read[order]))), False
    if len(fits) == 1:
        return next(iter(fits)), True
    plainly = _shorter(fits) or _rising(fits)
    if "dmy" in fits and plainly != "ymd" and all(_POINTS.match(text) for text in typed):
        return "dmy", True
    return (plainly, True) if plainly else (next(iter(fits)), False)


def orders_of(cells: Iterable[str]) -> tuple[Order, ...]:
    """The orders in which the calendar allows every one of these dates."""
    read = _read(_typed(cell.strip() for cell in cells if cell.strip()))
    return tuple(order for order, days in read.items() if all(days))


def days_in(cells: Iterable[str], order: Order) -> list[date]:
    """The days that three numbers tell, read in an order; where it allows none, nothing."""
    return [day for day in _read(_typed(cell.strip() for cell in cells)).get(order, []) if day]


def _typed(texts: Iterable[str]) -> list[str]:
    """The different texts of three numbers that do not say their order by themselves, as rows have them."""
    return [text for text in dict.fromkeys(texts) if (found := _THREE.match(text)) and len(found[1]) < 3]


def _read(typed: Iterable[str]) -> dict[Order, list[date | None]]:
    """The day of each text in each order, None where the calendar has none; without those that no order makes a day."""
    rows = [[_day(_THREE.match(text), order) for order in ORDERS] for text in typed]
    rows = [row for row in rows if any(row)]
    return {order: [row[place] for row in rows] for place, order in enumerate(ORDERS)} if rows else {}


def _day(found: re.Match[str] | None, order: Order) -> date | None:
    if found is None:
        return None
    parts: Mapping[str, str] = dict(zip(order, found.groups(), strict=True))
    if len(parts["y"]) not in (2, 4):
        return None
    year = int(parts["y"]) + (2000 if len(parts["y"]) == 2 else 0)
    try:
        return date(year, int(parts["m"]), int(parts["d"])) if FIRST_YEAR <= year <= LAST_YEAR else None
    except ValueError:
        return None


def _shorter(fits: Mapping[Order, Sequence[date]]) -> Order | None:
    """The order in which the days span a far shorter time than in any other."""
    if any(len(set(days)) < ENOUGH for days in fits.values()):
        return None
    spans = {order: (max(days) - min(days)).days for order, days in fits.items()}
    best, *others = sorted(spans, key=lambda order: spans[order])
    return best if spans[best] * SHORTER < spans[others[0]] else None


def _rising(fits: Mapping[Order, Sequence[date]]) -> Order | None:
    """The only order in which nearly every change of day from one row to the next goes one way; not year first, for a
    sheet sorted by its texts looks so however its days are written.
    """
    ways = {}
    for order, days in fits.items():
        steps = [b > a for a, b in pairwise(days) if a != b]
        if len(steps) < STEPS:
            return None
        ways[order] = max(sum(steps), len(steps) - sum(steps)) / len(steps)
    best, *others = sorted(ways, key=lambda order: -ways[order])
    return best if best != "ymd" and ways[best] >= RISING and ways[others[0]] < SCATTERED else None

"""In which unit numbers beyond what is plausible were read, where another one puts them all among the readings of
their column: a caliper left on inches for a day.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping

import polars as pl

from ingest.store.snapshot import Snapshot
from ingest.terms.units import to_canonical
from ingest.verbs.groups import VALUE, Group
from ingest.verbs.guessed_words import with_guess

UNITS = ("mm", "cm", "in", "thou", "64ths", "32nds")  # that gauges of a bench are read in
FEW = 20  # readings of a column from which on it says where they lie
ALIKE = 5  # cells of one log from which on their unit is no guess
SHARE = 0.8  # of the log's numbers beyond what is plausible
_BARE = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")

Lain = Mapping[str, tuple[float, float]]


def with_units(groups: Iterable[Group], lain: Lain) -> list[Group]:
    """The groups with the unit that they were most likely read in laid behind their number. Sure is a unit that puts
    nearly all numbers of a log that are beyond what is plausible, and several of them, where their columns' readings
    lie, if no other does.

    lain : of each heading, between which values (mm) nearly all its readings lie.
    """
    groups = list(groups)
    fitting = {group.key: _fitting(group, lain) for group in groups if _asked(group)}
    of_log: dict[str, Counter[str]] = defaultdict(Counter)
    cells: Counter[str] = Counter()
    for group in groups:
        for log_id, _, _ in group.rows if group.key in fitting else ():
            cells[log_id] += 1
            of_log[log_id].update(fitting[group.key])
    return [
        _guessed(group, fitting[group.key], {log_id: (of_log[log_id], cells[log_id]) for log_id, _, _ in group.rows})
        if fitting.get(group.key)
        else group
        for group in groups
    ]


def _asked(group: Group) -> bool:
    return group.kind == VALUE and group.real and bool(_BARE.fullmatch(group.typed.strip()))


def _fitting(group: Group, lain: Lain) -> set[str]:
    """The units that put its number where the readings of its column lie."""
    if group.column not in lain:
        return set()
    low, high = lain[group.column]
    number = float(group.typed.strip().replace(",", "."))
    return {unit for unit in UNITS if low <= to_canonical(number, unit, "length") <= high}


def _guessed(group: Group, units: set[str], logs: Mapping[str, tuple[Counter[str], int]]) -> Group:
    """logs : of each of its logs how many cells each unit fits, and how many were asked about."""
    sure = {
        unit
        for unit in units
        if all(n >= ALIKE and fits[unit] >= SHARE * n and _alone(fits, unit) for fits, n in logs.values())
    }
    found = sure or (units if not group.guess else set())
    if len(found) != 1:
        return group
    n = len(group.rows)
    return with_guess(group, guess=f"{group.typed.strip()} {min(found)}", fits=n, of=n, sure=bool(sure))


def _alone(fits: Counter[str], unit: str) -> bool:
    return all(fits[other] < SHARE * fits[unit] for other in fits if other != unit)


def lengths_lain(snapshot: Snapshot) -> dict[str, tuple[float, float]]:
    """Between which values (mm) 98 in 100 readings of each heading for a length lie, where there are some."""
    kind = {one.key: one.quantity for one in snapshot.shop.characteristics}
    columns = snapshot.table("columns", "log_id", "heading", "field", "characteristic", "position")
    mine = [key for key, quantity in kind.items() if quantity == "length"]
    columns = columns.filter((pl.col("field") == "reading") & pl.col("characteristic").is_in(mine))
    readings = snapshot.table("readings", "log_id", "characteristic", "position", "value")
    at = ["log_id", "characteristic", "position"]
    per = readings.join(columns.unique([*at, "heading"]), on=at).group_by("heading")
    value = pl.col("value")
    lain = per.agg(low=value.quantile(0.01), high=value.quantile(0.99), n=pl.len()).filter(pl.col("n") >= FEW)
    return {heading: (low, high) for heading, low, high, _ in lain.iter_rows()}

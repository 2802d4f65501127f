"""Whole shops with causes planted in them, for the trials of matters.

Ten models, five instruments of each a day, set by four people after three others at an earlier stage, read with three
gauges, necks from three suppliers in lots of forty, two open at a time, humidity that wanders. A cause moves relief on
some of the models, from a working day on, for good or until another: a tech, a gauge, a lot of so many necks, a tech of
the earlier stage, damp air on half of the days, a dated change.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt
import polars as pl

from analysis.studies.matters.records import CHANGE, GAUGE, HUMIDITY, LOT, SET_BY, TECH_AT, Matter
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import START, shop, snapshot

MODELS, PER_DAY = 10, 5
SIGMA = 0.1  # mm
BAD_LOT = 80  # necks
WANTED = {
    "tech": (SET_BY, "T1"),
    "gauge": (GAUGE, "g1"),
    "lot": (LOT, "bad"),
    "early": (f"{TECH_AT} frets", "T5"),
    "air": (HUMIDITY, ""),
    "change": (CHANGE, ""),
}
LASTING = 5  # working days: a cause of which no instrument was read in them has ended


@dataclass(frozen=True)
class Cause:
    """One thing that moves relief."""

    kind: str  # of WANTED
    models: int  # the first so many
    size: float  # sigma
    start: int  # working day
    end: int | None = None  # the first working day without it

    @property
    def began(self) -> datetime:
        """The first moment of its first day."""
        return START + timedelta(hours=hour_of(self.start))

    def named_by(self, one: Matter) -> bool:
        """Is it among those that a matter names?"""
        factor, level = WANTED[self.kind]
        return any(c.name == factor and level in ("", c.value) for c in one.moves_with.named)


@dataclass(frozen=True)
class Shop:
    """One shop with its causes."""

    made: Snapshot
    causes: Sequence[Cause]
    touched: list[npt.NDArray[np.bool_]]  # of each cause (n,)
    hours: npt.NDArray[np.float64]  # after START, at which each instrument was read
    of: dict[str, npt.NDArray[np.object_]]  # model, tech and gauge of each (n,)
    seen: dict[int, Snapshot] = field(default_factory=dict)

    def until(self, days: int) -> Snapshot:
        """The shop at the end of so many working days; worked out once."""
        if days not in self.seen:
            when = START + timedelta(hours=hour_of(days - 1) + 10)
            self.seen[days] = Snapshot(self.made.shop, self.made.specs, self.made.readers, when)
        return self.seen[days]


def hour_of(day: int) -> float:
    """Hours after START at which a working day begins."""
    return (day // 5 * 7 + day % 5) * 24.0


def planted(
    rng: np.random.Generator,
    causes: Sequence[Cause],
    *,
    days: int = 90,
    per_day: int = PER_DAY,
    spreads: Sequence[float] = (1.0, 1.0, 1.0, 1.0),
) -> Shop:
    """A shop of so many working days; without causes nothing moves. spreads : of who set them, in sigma."""
    each = MODELS * per_day
    n = each * days
    day = np.repeat(np.arange(days), each)
    hours = np.array([hour_of(d) for d in range(days)])[day] + np.tile(np.arange(each) * 8.0 / each, days)
    model, setter, early, gauge = (rng.integers(0, k, n) for k in (MODELS, 4, 3, 3))
    lot = np.empty(n, dtype=object)
    for k in range(MODELS):
        its = np.flatnonzero(model == k)
        lot[its] = [f"L{k}-{one}" for one in np.arange(len(its)) // 40 * 2 + rng.integers(0, 2, len(its))]
    names, which = np.unique(lot.astype(str), return_inverse=True)
    supplier = np.array(["S0", "S1", "S2"], dtype=object)[rng.integers(0, 3, len(names))[which]]
    wander = np.zeros(days)
    for d in range(1, days):
        wander[d] = 0.9 * wander[d - 1] + rng.normal() * np.sqrt(0.19)
    rh = 48 + 4 * wander
    touched: list[npt.NDArray[np.bool_]] = []
    for one in causes:
        mine: npt.NDArray[np.bool_]
        lasts = (day >= one.start) & (day < (days if one.end is None else one.end)) & (model < one.models)
        if one.kind == "lot":
            mine = np.zeros(n, dtype=bool)
            mine[np.flatnonzero(lasts & (rng.random(n) < 0.5))[:BAD_LOT]] = True
            lot[mine], supplier[mine] = "bad", "S1"
        elif one.kind == "air":
            damp = rng.random(days) < 0.5
            damp &= (np.arange(days) >= one.start) & (np.arange(days) < (days if one.end is None else one.end))
            rh, mine = rh + 14 * damp, damp[day]
        else:
            hands = {"tech": setter == 1, "gauge": gauge == 1, "early": early == 1, "change": day >= 0}
            mine = np.asarray(hands[one.kind], dtype=bool)
        touched.append(lasts & mine)
    noise = rng.normal(size=n) * np.array(spreads)[setter]
    values = 0.2 + SIGMA * (noise + sum(one.size * t for one, t in zip(causes, touched, strict=True)))

    def words(prefix: str, code: npt.NDArray[np.int64]) -> npt.NDArray[np.object_]:
        return np.array([f"{prefix}{k}" for k in range(MODELS + 10)], dtype=object)[code]

    changed = [_change(one) for one in causes if one.kind == "change"]
    schema = {"to_date": pl.Date}
    frames = {"changes": pl.DataFrame(changed, schema_overrides=schema)} if changed else {}
    bench = shop(tuple(f"M{k}" for k in range(MODELS)), gauges={f"g{k}": 0.001 for k in range(3)})
    of = {"model": words("M", model), "tech": words("T", setter), "gauge": words("g", gauge)}
    made = snapshot(
        bench,
        {("relief", ""): values},
        model=of["model"],
        hours=hours,
        setter=of["tech"],
        early=words("T", early + 4),
        gauge=of["gauge"],
        lot=lot,
        supplier=supplier,
        rh=rh[day] + rng.normal(0, 1, n),
        **frames,  # type: ignore[arg-type]
    )
    return Shop(made, causes, touched, hours, of)


def _change(one: Cause) -> dict[str, object]:
    return {
        "from_date": one.began.date(),
        "to_date": None,
        "what": "jig",
        "stage": "neck",
        "model": "M0" if one.models == 1 else "",
        "note": "",
    }


def lasts(one: Shop, number: int, days: int) -> bool:
    """Was an instrument that the cause touches read in the last working days before so many of them had passed?"""
    recent = (one.hours >= hour_of(days - LASTING)) & (one.hours < hour_of(days))
    return bool((one.touched[number] & recent).any())


def on_chart(one: Shop, row: dict[str, object]) -> npt.NDArray[np.bool_]:
    """Instruments that the chart of a signal holds (n,)."""
    held = np.ones(len(one.hours), dtype=bool)
    for name, column in one.of.items():
        if row.get(name):
            held &= column == row[name]
    return held

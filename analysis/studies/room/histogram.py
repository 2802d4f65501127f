"""How the readings of one stream lie between its limits: bars in steps of the gauge, and the curve they follow."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods import started_curves
from analysis.methods.coarse import rounded_normal
from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.room.expected import HALF, NORMAL
from analysis.studies.room.room import under_now
from analysis.studies.story.conformity import halves
from ingest.store.snapshot import Snapshot

NONE = ""
MOST = 60  # bars
POINTS = 121  # of the curve
BEYOND = 1.0  # standard deviations that the curve is drawn past the readings


@dataclass(frozen=True)
class Histogram:
    """Bars and curve in the unit of the readings."""

    edges: Floats  # (k + 1,) evenly apart; a bar is a whole number of the gauge's steps, its steps at their middles
    counts: Ints  # (k,)
    outside: Ints  # (k,) of them outside their limits
    on_limit: int
    step: float  # of the gauge, 0 where none is known
    curve: str  # normal | lognormal | gamma | Weibull | folded normal | '' where none of them stands
    x: Floats  # (121,), empty where no curve is drawn
    y: Floats  # readings a bar that the curve expects
    target: float | None
    lower: float | None
    upper: float | None

    @property
    def n(self) -> int:
        """Readings."""
        return int(self.counts.sum())


def histogram(
    snapshot: Snapshot,
    *,
    when: str,
    characteristic: str,
    position: str,
    model: str,
    normal: bool,
    first: date | None = None,
    last: date | None = None,
) -> Histogram | None:
    """The readings behind one row of `room`, under the limits last in force; None without any. normal: the row is not
    flagged as not normal, so that its curve is a normal one.

    Width of a bar: Freedman & Diaconis (1981), Zeitschrift fuer Wahrscheinlichkeitstheorie 57, 453-476: twice the
    middle half's width over the cube root of n, here to the next whole number of steps.
    """
    every = under_now(snapshot, when=when, first=first, last=last)
    if every.is_empty():
        return None
    mine = every.filter(
        pl.col("characteristic") == characteristic, pl.col("position") == position, pl.col("setup") == model
    )
    if mine.is_empty():
        return None
    values = mine["value"].to_numpy()
    below, above = halves(snapshot.shop, mine)
    step = float((below + above).max())  # of the coarsest gauge that read them
    edges = bars(values, step)
    place = np.clip(np.searchsorted(edges, values, side="right") - 1, 0, len(edges) - 2)
    outside = mine["outside"].fill_null(False).to_numpy()
    name, frozen = _curve(values, step, normal=normal)
    x, y = np.empty(0), np.empty(0)
    if frozen is not None:
        ends = float(values.std()) * BEYOND
        x = np.linspace(values.min() - ends, values.max() + ends, POINTS)
        y = len(values) * (edges[1] - edges[0]) * frozen.pdf(x)
    asked = mine.row(0, named=True)
    return Histogram(
        edges,
        np.bincount(place, minlength=len(edges) - 1),
        _counted(place, outside, len(edges) - 1),
        int(mine["on_limit"].fill_null(False).sum()),
        step,
        name,
        x,
        y,
        *(None if asked[end] is None else float(asked[end]) for end in ("target", "lower", "upper")),
    )


def _counted(place: Ints, outside: Flags, bars_in_all: int) -> Ints:
    return np.bincount(place[outside], minlength=bars_in_all)


def bars(values: Floats, step: float) -> Floats:
    """Edges of the bars: even, from below the smallest to above the largest reading, each bar a whole number of steps
    with a step's readings inside one bar.
    """
    low, high = float(values.min()), float(values.max())
    quarters = np.quantile(values, [0.25, 0.75])
    width = 2 * float(quarters[1] - quarters[0]) / len(values) ** (1 / 3)
    width = max(width, (high - low) / MOST, step, 1e-9 * max(abs(low), abs(high), 1.0))
    if step > 0:
        width = step * np.ceil(width / step - 1e-9)
        start = (np.floor(low / step + 0.5) - 0.5) * step
    else:
        start = low - width / 2
    many = int(np.floor((high - start) / width + 1e-9)) + 1
    return np.asarray(start + width * np.arange(many + 1))


def _curve(values: Floats, step: float, *, normal: bool) -> tuple[str, Any]:
    """The curve's name and itself; none where the readings have no spread, or none of the others stands its test."""
    mean, sd = float(values.mean()), float(values.std(ddof=1)) if len(values) > 1 else 0.0
    if len(values) < 3 or sd <= 0:
        return NONE, None
    if normal:
        if step > HALF * sd:  # the spread of the work, not that of the rounding
            found = rounded_normal(values, step=step)
            if found.known[0] and found.sd[0] > 0:
                mean, sd = float(found.mean[0]), float(found.sd[0])
        return NORMAL, stats.norm(mean, sd)
    best = next(iter(started_curves.curves(values)), None)
    return (best.name, best.frozen) if best is not None and best.stands else (NONE, None)

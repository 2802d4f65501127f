"""Signals of one person's own chart whose readings came to where everybody's lie.

A newcomer's own limits come from their first readings, which lie off while they learn, or lay off with everybody's
while something else was wrong. That they come to the baseline of all techs is what was hoped for, and moves nothing
that a shop has to look at: it stands on their own chart, and opens no matter.
"""

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.drift.parents import parents
from analysis.studies.drift.signals import Signals
from analysis.studies.drift.streams import Streams

OFF = 0.3  # sigma: a baseline that lies nearer to that of all techs was never off it
HALF = 0.5  # of what it was off by: so much at most may be left, on either side


def came_to_usual(judged: Signals) -> tuple[Flags, Flags]:
    """Which rows of Signals.found and of Signals.others are such."""
    held = judged.streams
    parent = np.where((held.rows["tech"] != "").to_numpy(), parents(held.rows), -1)  # whose own it is; else of none
    centre, sigma = held.eras.centre[held.last_era], held.eras.sigma[held.last_era]
    own = parent >= 0
    scale = np.where(own, sigma[parent], np.nan)
    off = np.where(own & (scale > 0), (held.own.centre - centre[parent]) / np.where(scale > 0, scale, 1.0), np.nan)
    return _of_own(judged.found, centre, scale, parent), _of_pooled(judged.others, held, off)


def _of_own(found: pl.DataFrame, centre: Floats, scale: Floats, parent: Ints) -> Flags:
    stream = found["stream"].to_numpy()
    which = np.where(stream >= 0, stream, 0)
    usable = (stream >= 0) & (parent[which] >= 0) if len(parent) else np.zeros(len(found), dtype=bool)
    usual, sigma = centre[parent[which]], scale[which]
    before, after = ((found[name].to_numpy().astype(np.float64) - usual) / sigma for name in ("before", "after"))
    return np.asarray(usable & _came(before, after, found["side"].to_numpy()))


def _of_pooled(others: pl.DataFrame, held: Streams, off: Floats) -> Flags:
    """Of charts that pool over the models of one who sets: how far their own baselines lay off, on the average."""
    flags = np.zeros(len(others), dtype=bool)
    known = held.rows.with_columns(off=pl.Series(off), n=pl.col("n").cast(pl.Float64)).filter(
        pl.col("off").is_not_nan()
    )
    mean = known.group_by("characteristic", "stage", "tech").agg(
        before=(pl.col("off") * pl.col("n")).sum() / pl.col("n").sum()
    )
    asked = others.with_row_index("row").filter(pl.col("tech") != "").join(mean, on=["characteristic", "stage", "tech"])
    before = asked["before"].to_numpy()
    came = _came(before, before + asked["size"].fill_null(np.nan).to_numpy(), asked["side"].to_numpy())
    flags[asked["row"].to_numpy()] = came
    return flags


def _came(before: Floats, after: Floats, side: Ints) -> Flags:
    """Lay off on the side it moved away from, and half as far or less now (sigma off the baseline of all techs)."""
    with np.errstate(invalid="ignore"):
        return np.asarray((before * side <= -OFF) & (np.abs(after) <= HALF * np.abs(before)))

"""Where those who set a stream differ in their means, the chart of all techs works on deviations from each setter's own mean.

Else a change in who worked how often would look like a drift. Differ: one-way analysis of variance over the setters' baselines, p < .01.
"""

import numpy as np
import polars as pl
from scipy.special import fdtrc

from analysis.methods.segments import Flags, Floats, lengths, places
from analysis.methods.variables import spread
from analysis.studies.streams import KEY, STREAM, Streams

DIFFER = 0.01


def differing(held: Streams) -> tuple[Flags, Floats]:
    """For each stream of all techs: do its setters differ; and the p value (1 where it cannot be said); shape (s,) with techs' own False."""
    s, n = len(held.starts), len(held.values)
    parent = _parents(held)
    inside = places(held.starts, n) < np.repeat(held.own.n, lengths(held.starts, n))
    techs = np.flatnonzero((parent >= 0) & (held.own.n >= 2))
    p = np.ones(s)
    if len(techs) == 0:
        return p < DIFFER, p
    off = held.values - np.repeat(held.own.centre, lengths(held.starts, n))
    squares = np.add.reduceat(np.where(inside, off**2, 0.0), held.starts)[techs]
    mine, size, mean = parent[techs], held.own.n[techs].astype(np.float64), held.own.centre[techs]
    total = np.bincount(mine, size, minlength=s)
    groups = np.bincount(mine, minlength=s)
    grand = np.divide(np.bincount(mine, size * mean, minlength=s), total, out=np.zeros(s), where=total > 0)
    between = np.bincount(mine, size * (mean - grand[mine]) ** 2, minlength=s)
    within = np.bincount(mine, squares, minlength=s)
    freedom = total - groups
    usable = (groups >= 2) & (freedom > 0) & (within > 1e-18 * np.maximum(total * grand**2, 1e-300))
    ratio = np.divide(between / np.maximum(groups - 1, 1), within / np.maximum(freedom, 1), out=np.zeros(s), where=usable)
    p[usable] = fdtrc(groups[usable] - 1, freedom[usable], ratio[usable])
    return p < DIFFER, p


def deviations(held: Streams) -> tuple[Floats, Floats, Flags]:
    """What the charts average (n,), the sigma of each era on that scale (e,), and which eras work on deviations (e,)."""
    differs, _ = differing(held)
    eras = held.eras
    plotted = held.values.copy()
    # a limit put on file is a number a person stands by: it judges the plain readings
    worked = differs[eras.stream] & ~eras.on_file
    if not worked.any():
        return plotted, eras.sigma.copy(), worked
    centre = _setter_centres(held)
    on = held.per_reading(worked)
    plotted[on] = held.values[on] - centre[on]
    changed = spread(plotted, eras.starts, baseline=np.maximum(eras.judged_from, 1))
    return plotted, np.where(worked, changed.sigma, eras.sigma), worked


def _parents(held: Streams) -> np.ndarray:
    """For each tech's own stream the stream of all techs; -1 for the latter."""
    numbered = held.rows.with_row_index("stream")
    everyone = numbered.filter(pl.col("tech") == "").select(*KEY, pl.col("stream").alias("parent"))
    found = numbered.join(everyone, on=KEY, how="left", maintain_order="left")
    own = pl.when(pl.col("tech") == "").then(-1).otherwise(pl.col("parent").cast(pl.Int64)).fill_null(-1)
    return found.select(own.alias("parent"))["parent"].to_numpy()


LEAST = 25  # readings of a setter from which on they have a mean of their own


def _setter_centres(held: Streams) -> Floats:
    """Baseline mean of the setter of each reading; the stream's own where the setter is unknown or has too few readings to have a mean."""
    own = held.rows.with_columns(tech_centre=pl.Series(held.own.centre)).filter((pl.col("tech") != "") & (pl.col("n") >= LEAST))
    keyed = held.readings.select("characteristic", "position", pl.col("setup").alias("model"), "stage", pl.col("set_by").alias("tech"))
    found = keyed.join(own.select(*STREAM, "tech_centre"), on=STREAM, how="left", maintain_order="left")
    stream_centre = np.repeat(held.own.centre, lengths(held.starts, len(held.values)))
    return np.where(found["tech_centre"].is_null().to_numpy(), stream_centre, found["tech_centre"].fill_null(0.0).to_numpy())

"""Where those who set a stream differ in their means, the chart of all techs works on deviations from each setter's own
mean.

Else a change in who worked how often would look like a drift. Differ: one-way analysis of variance over their readings
in the stream's baseline, p < .01. What goes with the air is taken off before, where the shop asks for it (`with_air`).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import fdtrc

from analysis.methods.segments import Flags, Floats, Ints, Rows, places_in, spans
from analysis.methods.variables import spread
from analysis.studies.drift.parents import parents
from analysis.studies.drift.streams import Streams

DIFFER = 0.01


@dataclass(frozen=True)
class _Setters:
    """Readings within the stream's own baseline of each setter, a row a stream and setter; later readings must not undo
    what was judged.
    """

    stream: Ints  # (k,) rising
    code: Ints  # (k,) number of the setter
    n: Floats  # (k,)
    mean: Floats  # (k,)
    within: Floats  # (k,) squares about the mean


@lru_cache(maxsize=2)
def _setters(held: Streams) -> _Setters:
    everyone = np.flatnonzero((held.rows["tech"] == "").to_numpy())
    code = setter_codes(held)
    at = spans(held.starts[everyone], held.starts[everyone] + held.own.n[everyone])
    stream = np.repeat(everyone, held.own.n[everyone])
    told = code[at] >= 0
    at, stream = at[told], stream[told]
    key, which = np.unique(stream * (code.max(initial=0) + 1) + code[at], return_inverse=True)
    off = held.values[at] - held.own.centre[stream]
    count = np.bincount(which, minlength=len(key)).astype(np.float64)
    mean = np.bincount(which, off, minlength=len(key)) / np.maximum(count, 1)
    within = np.bincount(which, (off - mean[which]) ** 2, minlength=len(key)).astype(np.float64)
    of, who = np.divmod(key, code.max(initial=0) + 1)
    return _Setters(of, who, count, mean + held.own.centre[of], within)


@lru_cache(maxsize=2)
def setter_codes(held: Streams) -> Rows:
    """A number for who set each reading, -1 where nobody is known, shape (n,)."""
    code = np.where(held.readings.told("set_by"), held.readings.ranks_told("set_by"), -1)
    return code.astype(np.int32)[held.readings.row]


def differing(held: Streams) -> tuple[Flags, Floats]:
    """For each stream of all techs: do its setters differ; and the p value (1 where it cannot be said); shape (s,) with
    techs' own False.
    """
    s = len(held.starts)
    p = np.ones(s)
    each = _setters(held)
    total = np.bincount(each.stream, each.n, minlength=s)
    groups = np.bincount(each.stream, minlength=s)
    off = each.mean - held.own.centre[each.stream]
    grand = np.divide(np.bincount(each.stream, each.n * off, minlength=s), total, out=np.zeros(s), where=total > 0)
    between = np.bincount(each.stream, each.n * (off - grand[each.stream]) ** 2, minlength=s)
    within = np.bincount(each.stream, each.within, minlength=s)
    freedom = total - groups
    usable = (groups >= 2) & (freedom > 0) & (within > 1e-18 * np.maximum(total * held.own.centre**2, 1e-300))
    ratio = np.divide(
        between / np.maximum(groups - 1, 1), within / np.maximum(freedom, 1), out=np.zeros(s), where=usable
    )
    p[usable] = fdtrc(groups[usable] - 1, freedom[usable], ratio[usable])
    return p < DIFFER, p


@lru_cache(maxsize=2)  # several studies ask for those of the same streams in a row
def deviations(held: Streams) -> tuple[Floats, Floats, Flags]:
    """What the charts average (n,), the sigma of each era on that scale (e,), and which eras work on deviations
    (e,).
    """
    differs, _ = differing(held)
    eras = held.eras
    plotted = held.values.copy()
    # a limit put on file is a number a person stands by: it judges the plain readings
    worked = differs[eras.stream] & ~eras.on_file
    by_air = follow_air(held)
    if not worked.any() and not by_air.any():
        return plotted, eras.sigma.copy(), worked
    if held.with_air is not None:
        followed = held.per_reading(by_air)
        plotted[followed] -= held.with_air[followed]
    if worked.any():
        on = np.flatnonzero(held.per_reading(worked))
        plotted[on] -= _setter_centres(held, on)
    changed = spread(plotted, eras.starts, baseline=np.maximum(eras.judged_from, 1))
    return plotted, np.where(worked | by_air, changed.sigma, eras.sigma), worked


def follow_air(held: Streams) -> Flags:
    """Which eras are judged on what the air does not explain (e,)."""
    if held.with_air is None:
        return np.zeros(len(held.eras.starts), dtype=np.bool_)
    return np.logical_or.reduceat(held.with_air != 0, held.eras.starts) & ~held.eras.on_file


LEAST = 25  # readings of a setter from which on they have a mean of their own


def _setter_centres(held: Streams, at: Ints) -> Floats:
    """Baseline mean of the setter of some readings (k,): of their readings in the stream's baseline, else of their own
    first ones.

    The stream's own where the setter is unknown or has too few readings to have a mean.
    """
    code = setter_codes(held)
    kinds = int(code.max(initial=0)) + 1
    parent = parents(held.rows)
    each = _setters(held)
    known = each.n >= LEAST
    own = np.flatnonzero((held.rows["tech"] != "").to_numpy() & (held.rows["n"].to_numpy() >= LEAST))
    key = np.concatenate((each.stream[known] * kinds + each.code[known], parent[own] * kinds + code[held.starts[own]]))
    key, place = np.unique(
        key, return_index=True
    )  # the first of two alike: the stream's baseline goes before the tech's own
    centre = np.concatenate((each.mean[known], held.own.centre[own]))[place]
    stream = held.readings.stream[at].astype(np.int64)
    found = np.asarray(held.own.centre[stream])
    told = np.flatnonzero(code[at] >= 0)
    if len(key) == 0 or len(told) == 0:
        return found
    wanted = parent[stream[told]] * kinds + code[at[told]]
    place = places_in(key, wanted)
    has = place >= 0
    found[told[has]] = centre[place[has]]
    return found

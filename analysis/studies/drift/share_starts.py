"""Since which week more, or less, comes back: the likeliest one, and those between which it may have begun.

The sum that opens a signal is the likeliest only against a base that is of weeks before it, and of few where it starts
early. Here all weeks before a start tell of it and all since then, as many as there are by now, each by what the base
lets expect of it; so the start moves while weeks come in, and is told with those it may be.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from scipy import stats

from analysis.methods.segments import Floats, Ints
from analysis.methods.since_when import LONGEST, splits
from analysis.studies.drift.share_parts import in_base
from analysis.studies.drift.shares import Shares, part_of, since
from analysis.studies.rework.since_weeks import GROWS_BY

LIKELY = float(stats.chi2.isf(0.05, 1)) / 2  # what a log likelihood may lie below the largest: 95 in 100


def likely_start(found: Shares, first: int, weeks: Ints, opened: int, side: int, models: tuple[int, ...] = ()) -> int:
    """The likeliest of the rows `weeks` (w,), oldest first, up to `opened`, with which more (side 1), or fewer (-1),
    came back up to the last of them; `first`, with which its sum began, where none is, no base knows the models by
    then, or what came back since then is not more for certain.
    """
    rows, likely = _profile(found, first, weeks, opened, side, models)
    if not np.isfinite(likely).any():
        return first
    start = int(rows[np.argmax(likely)])
    if not found.knows(int(found.own[start]), models):
        return first
    told = since(found, start, int(weeks[-1]), models)
    return start if (told.low > 1 if side > 0 else told.high < 1) else first


def likely_weeks(found: Shares, signal: Mapping[str, Any]) -> tuple[datetime, datetime]:
    """From the first moment of the first likely week to the end of the last. signal : a row of `share_signals`, or what
    several tell together (`models` : on which models).
    """
    of_stage = np.flatnonzero((found.rows["stage"] == signal["stage"]).to_numpy())
    taken = found.taken.gather(of_stage)
    began, opened, last = (
        int(of_stage[int(taken.search_sorted(when))])
        for when in (signal["began_at"] or signal["opened_at"], signal["opened_at"], signal["last_at"])
    )
    names = signal.get("models") or ([signal["model"]] if signal["model"] else [])
    models = tuple(sorted(found.models.index(name) for name in names))
    weeks = np.arange(int(of_stage[0]), max(last, opened) + 1)
    rows, likely = _profile(found, began, weeks, opened, int(signal["side"]), models)
    near = np.append(rows[np.isfinite(likely) & (likely >= likely.max(initial=-np.inf) - LIKELY)], began)
    low, high = found.taken[int(near.min())], found.taken[int(near.max())]
    assert isinstance(low, datetime)
    assert isinstance(high, datetime)
    return low, high + timedelta(weeks=1)


def _profile(
    found: Shares, first: int, weeks: Ints, opened: int, side: int, models: tuple[int, ...]
) -> tuple[Ints, Floats]:
    """Rows (s,) up to `opened` that may be a start, and the log likelihood of each, by what the base of `first` lets
    expect of the rows `weeks`; the first few of these lie before any start.
    """
    number = int(found.own[first])
    base = found.bases[number]
    then, (before, fitted) = part_of(found, number, models), in_base(base, found.places(number, models))
    mine = weeks[(weeks >= base.first) & (weeks < base.reach)]
    at = mine - base.first
    count, expected = np.concatenate((before, then[1]))[at], np.concatenate((fitted, then[0].expected))[at]
    early = int(np.searchsorted(mine, max(mine[min(GROWS_BY, len(mine) - 1)], opened - LONGEST + 1)))
    late = int(np.searchsorted(mine, opened))
    if not early <= late < len(mine):
        return np.zeros(0, dtype=np.int64), np.zeros(0)
    cuts = np.array([0, *range(early, late + 1)])
    return mine[cuts[1:]], splits(np.add.reduceat(count, cuts), np.add.reduceat(expected, cuts), side)

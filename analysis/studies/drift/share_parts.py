"""What a base lets expect of a part of a stage's work: of all, of some models, or of all but these."""

from dataclasses import replace

import numpy as np

from analysis.methods.segments import Floats, Ints
from analysis.methods.since_when import Ahead
from analysis.studies.rework.since_weeks import Base


def ahead_of(base: Base, models: Ints | None, *, others: bool = False) -> Ahead:
    """Of some models that the base knows (their places in `base.models`); None: of all; others: of all but these.

    How far their testers' factors are known is taken as if they had all erred the same way in every week, which is
    never too little.
    """
    if models is None:
        return base.ahead
    of, whole = base.models, base.ahead
    column = of.column[models]
    expected = of.expected[:, models].sum(axis=1)
    if others:
        rest = np.maximum(whole.expected - expected, 0.0)
        part = np.divide(rest, whole.expected, out=np.zeros_like(rest), where=whole.expected > 0)[:, None]
        unsure = whole.unsure.copy()
        unsure[:, 0] *= part[:, 0]
        unsure[:, column] = 0.0
        unsure[:, base.testers :] *= part
        return replace(whole, expected=rest, unsure=unsure)
    share = np.divide(expected, whole.expected, out=np.zeros_like(expected), where=whole.expected > 0)
    unsure = np.column_stack((whole.unsure[:, 0] * share, whole.unsure[:, column], of.testers[:, models].sum(axis=1)))
    return replace(whole, expected=expected, unsure=unsure, widening=float(of.widening[models].max()))


def counted(base: Base, back: Floats, size: Floats, models: Ints | None, *, others: bool) -> tuple[Floats, Floats]:
    """How many of that work came back, and of how many, of all rows that the base reaches; back and size (r,) : of all
    work.
    """
    if models is None:
        return back, size
    mine = [part[:, models].sum(axis=1) for part in (base.models.back, base.models.size)]
    return (back - mine[0], size - mine[1]) if others else (mine[0], mine[1])


def in_base(base: Base, models: Ints | None) -> tuple[Floats, Floats]:
    """How many of that work came back in each week of the base, and how many the base fits to it."""
    if models is None:
        return base.back, base.fitted
    of = base.models
    return of.base_back[:, models].sum(axis=1), of.base_fitted[:, models].sum(axis=1)

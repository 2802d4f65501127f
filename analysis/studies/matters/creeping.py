"""Does what moved go on moving, as what wears, creeps or dries does, and where does it stand by now?

Asked of what is open still: what came back, or lies in a time that has passed, is told by its size. What is named has
its own slope only where it moves on apart from all other readings of that time.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.methods.creep import Creep, creep
from analysis.methods.explanation import UNEXPLAINED, Explainer, Hypothesis
from analysis.methods.segments import Flags, Floats
from analysis.studies.matters.evidence import Evidence

DAYS_OF_A_WEEK = 7.0
HALF = 0.5  # of what it had come to: an error of where it stands that is larger says too little
Z95 = 1.96
LATELY = 20  # working days whose readings say where each model stands by now


def asked(
    found: Evidence,
    explainer: Explainer,
    best: Hypothesis,
    touched: Flags,
    beside: Sequence[Floats],
    keep: Flags | None = None,
) -> Creep | None:
    """How a shift moves on. touched : (n,) the readings that it touches, whenever it began. beside : (n,) each, what
    else moved them. keep : those of the evidence that these are, of air, which says too when it began.
    """
    weeks = np.array([(day - found.days[0]).days / DAYS_OF_A_WEEK for day in found.days])
    known = [one for one in beside if one.any()]
    others = np.isin(explainer.stream, best.streams) & (explainer.day >= explainer.since)
    named = best.factor != UNEXPLAINED and best.factor not in found.airs
    if named and (others & ~touched).any():
        known.append(others * (weeks[explainer.day] - weeks[explainer.since]))
    air = found.airs[best.factor].raw[keep] if keep is not None and best.factor in found.airs else None
    return creep(explainer.moved(weeks, known), touched, air)


@dataclass(frozen=True, eq=False)
class Moves:
    """A shift as it moves."""

    best: Hypothesis
    column: Floats  # (n,) the readings that it touches, since its start
    creep: Creep | None  # how it moves on; None: it does not
    shape: Floats  # (n,) what it comes to of each reading


def as_it_moves(
    found: Evidence, explainer: Explainer, best: Hypothesis, base: Floats | None = None, *, still: bool = True
) -> Moves:
    """A hypothesis as a step, or as it creeps: then since it began to, with what it came to on the average since. Air
    moves its readings as it moves itself. base : (n,) the readings that it touches, where its level does not say which;
    still : it is open, so that this is asked.
    """
    told, on = base is not None, explainer.column(replace(best, start=0)) if base is None else base
    if still and best.end < 0 and best.factor not in found.airs:
        crept = asked(found, explainer, best, on != 0, explainer.taken)
        if crept is not None:
            path = np.zeros(explainer.days)
            path[crept.days] = crept.path
            over = _came_back(crept)
            shape = on * (explainer.day >= crept.start) * path[explainer.day]
            column = on * (explainer.day >= crept.start) * (explainer.day < crept.rests if over else 1.0)
            effect, n = float(shape[column != 0].mean()), int(np.count_nonzero(column))
            best = replace(best, start=crept.start, start_low=crept.start_low, start_high=crept.start_high,
                           effect=effect, touched=n, end=crept.rests if over else -1)  # fmt: skip
            return Moves(best, column, None if over else crept, shape)
    column = on * (explainer.day >= best.start) if told else explainer.column(best)
    return Moves(best, column, None, column * best.effect)


def _came_back(one: Creep) -> bool:
    """Did it come to rest where it had lain before it moved, as far as can be said?"""
    most = float(np.abs(one.path).max())
    return one.rests >= 0 and abs(one.now) < Z95 * one.now_error < HALF * most


def stand_at(found: Evidence, touched: Flags, one: Creep, beside: Sequence[Floats]) -> tuple[Floats, Flags]:
    """How far off each reading (n,) would lie by now, in the unit of the readings: its own, less what it came to on its
    day, with what it comes to by now; and which are of the last days.
    """
    path = np.zeros(len(found.days))
    path[one.days] = one.path
    values = found.values - sum(beside, np.zeros(len(found.values)))
    lately = touched & (found.day > int(found.day[touched].max()) - LATELY)
    return np.asarray((values + one.now - path[found.day]) * found.scale), np.asarray(lately)

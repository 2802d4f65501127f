"""Spells of the air: damp or dry days that come, go and come again, each told as a time of its own.

What readings follow is one cause however often it comes; but who reads of it wants to know since when it lasts now.
"""

import numpy as np

from analysis.methods.explanation import Hypothesis
from analysis.methods.segments import Flags
from analysis.studies.matters.evidence import Evidence
from analysis.studies.matters.explained import Explained

APART = 10  # working days without such a day lie between two spells at least: two weeks
HALF = 0.5  # of a day's readings at least lie in such air

Spell = tuple[int, int]  # its first and last working day


def spells(found: Evidence, one: Hypothesis, of: Explained) -> list[Spell]:
    """The spells of air that a hypothesis lays a matter to, oldest first: days on which the air lay off to the side
    that moved the readings as its matter did, since it began to, as far as it was looked at.
    """
    air = found.airs[one.factor]
    known = _touched(found, one) & ~np.isnan(air.raw)
    column = of.column if found is of.evidence else of.sized.column
    seen = found.day[column != 0]
    since = one.start if air.scanned else of.since
    known &= (found.day >= since) & (found.day <= (int(seen.max()) if len(seen) else -1))
    off = of.side * int(np.sign(one.effect)) * air.value
    if not known.any() or off[known].max() <= 0:
        return []
    far = float(np.quantile(off[known], 0.9)) / 2
    strong = known & (off >= (far if far > 0 else float(off[known].max()) / 2))
    many = np.bincount(found.day[known], minlength=len(found.days))
    damp = np.bincount(found.day[strong], minlength=len(found.days))
    days = np.flatnonzero((damp > 0) & (damp >= HALF * many))
    if not len(days):
        return []
    parts = np.split(days, np.flatnonzero(np.diff(days) > APART) + 1)
    return [(int(part[0]), int(part[-1])) for part in parts]


def sides(found: Evidence, one: Hypothesis, of: Explained) -> tuple[Flags, Flags]:
    """Readings before the first spell, and since the last one began (n,) each; of one spell before and since its
    start.
    """
    told, touched = spells(found, one, of), _touched(found, one)
    before = of.since
    if told and (len(told) > 1 or not (touched & (found.day < before)).any()):
        before = told[0][0]
    since = told[-1][0] if len(told) > 1 else before
    return touched & (found.day < before), touched & (found.day >= since)


def _touched(found: Evidence, one: Hypothesis) -> Flags:
    return np.asarray(np.isin(np.arange(len(found.models)), one.streams)[found.stream])

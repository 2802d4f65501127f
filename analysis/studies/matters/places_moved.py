"""Which positions of what was read moved: all of them by as much, or some and others not.

The instruments that an explanation touches are read at several positions each (bass and treble, a string each). How far
one position lies off the others of the same instrument is hardly touched by what moves whole instruments: where that
moved too, what was told over all positions is too little for some of them and too much for the others.

Source: a contrast within an instrument, as of a split-plot design (Box, Hunter & Hunter 2005, Statistics for
Experimenters, chapter 9), with errors from its own spread.
"""

import numpy as np

from analysis.methods.segments import Flags, Floats
from analysis.studies.matters.evidence import Evidence
from analysis.studies.matters.explained import Explained

LEAST = 12  # instruments read at a position, touched and before
DIFFER = 4.0  # standard errors by which a position's own move must differ from that of all
HALF = 0.5  # of what moved most: from here on a position moved
LEFT = 1 / 3  # of it: up to here one did not
SURE = 2.576  # standard errors by which it moved further for certain


def places_moved(part: Explained) -> tuple[str, ...] | None:
    """The positions that moved; None where all did, none stands out, or too few were read to say."""
    single, (shift, moved, error) = part.evidence.single, _shifts(part)
    if single is None or not np.isfinite(error).all() or not (np.abs(moved) > DIFFER * error).any():
        return None
    which = shift >= HALF * shift.max()
    if which.all() or shift[~which].max() > LEFT * shift.max():
        return None
    return tuple(one for one, some in zip(single.positions, which, strict=True) if some)


def all_moved(part: Explained) -> bool:
    """Do the readings say that every position moved, whichever of their charts are open?"""
    shift, _, error = _shifts(part)
    return len(shift) > 1 and bool((shift - SURE * error > LEFT * shift.max()).all())


def _shifts(part: Explained) -> tuple[Floats, Floats, Floats]:
    """Of each position how far it moved, to the side of all; how far off all of them, and its error; in sigma of a
    single reading (k,), endless where too few were read; none where one position is read, or nothing moved.
    """
    found, best, single = part.evidence, part.best, part.evidence.single
    touched = part.column != 0
    if single is None or len(single.positions) < 2 or best.effect == 0 or not touched.any():
        return np.zeros(0), np.zeros(0), np.zeros(0)
    before = np.isin(found.stream, best.streams) & (found.day < best.start)
    size = best.effect * found.sigma * float(part.column[touched].mean())
    own = single.off - (np.bincount(single.of, single.off) / np.bincount(single.of))[single.of]
    moved = np.zeros(len(single.positions))
    error = np.full(len(single.positions), np.inf)
    for place in range(len(single.positions)):  # a few
        here = single.position == place
        since, usual = own[here & touched[single.of]], own[here & _usual(part, before)[single.of]]
        if min(len(since), len(usual)) >= LEAST:
            moved[place] = since.mean() - usual.mean()
            error[place] = np.sqrt(since.var(ddof=1) / len(since) + usual.var(ddof=1) / len(usual))
    return (size + moved) * np.sign(size), moved, error


def _usual(part: Explained, before: Flags) -> Flags:
    """Readings before it: of the same person, gauge or lot where there are enough, whose own ways stay out of it."""
    found: Evidence = part.evidence
    code = next((one.code for one in found.factors if one.name == part.best.factor), None)
    same = before if code is None else before & (code == part.best.level)
    return same if int(same.sum()) >= LEAST else before

"""What comes, goes and comes again, each time told as one of its own: damp or dry days, bowed lots of one supplier, a
gauge that is knocked out, mended and knocked out again.

Who reads of it wants to know since when it lasts now, and that it is not the first time.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from analysis.methods.explanation import Hypothesis
from analysis.methods.segments import Flags
from analysis.studies.matters.evidence import Evidence
from analysis.studies.matters.explained import Explained
from analysis.studies.matters.records import LOT, SUPPLIER

LEAST = 5  # readings of a time before, by which it is known
SURE = 2.576  # standard errors by which they lay off
SEVERAL = 3  # lots, of which every other one is off
APART = 10  # working days without such a day lie between two spells at least: two weeks
HALF = 0.5  # of a day's readings at least lie in such air; of a shift, by which readings lay off as they do now

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


@dataclass(frozen=True)
class Before:
    """Times before the one that is told, oldest first: first and last day of each."""

    earlier: tuple[tuple[date, date], ...] = ()
    earlier_lots: tuple[str, ...] = ()  # of each the lot, where it is lots that come again
    every_other: str = ""  # the supplier of whom every other lot is such


def before(of: Explained) -> Before:
    """When readings lay off as they do now: of the same air, in lots of the same supplier before this one, else of the
    same person, gauge ..., or of the same models where nothing is named, at times before that their charts tell: what
    moved all now is not what one lot was then.
    """
    found, best = of.evidence, of.best
    if of.sized.best.factor in of.sized.evidence.airs:
        told = spells(of.sized.evidence, of.sized.best, of)[:-1]
        return Before(tuple((of.sized.evidence.days[first], of.sized.evidence.days[last]) for first, last in told))
    on = np.isin(found.stream, np.unique(found.stream[of.column != 0]))
    calm = on & of.keep & (found.day < best.start)
    usual = float(found.values[calm].mean()) if calm.any() else 0.0
    if best.factor == LOT:
        return _lots(of, on, usual)
    code = next((one.code for one in found.factors if one.name == best.factor), None)
    mine = on & (found.day < best.start) & (code == best.level if code is not None else True)
    each = [mine & (found.day >= first) & (found.day <= last) for first, last in of.times]
    off = [one for one in each if _off(found, one, usual, best.effect)]
    if not of.named:
        off = [one for one in off if not _of_one_lot(found, one, usual, best.effect)]
    return Before(tuple(_from_to(found, one) for one in off))


def _of_one_lot(found: Evidence, some: Flags, usual: float, effect: float) -> bool:
    """Did some readings lie off for one lot alone: those of all others did not?"""
    code = next((one.code for one in found.factors if one.name == LOT), None)
    if code is None or not (some & (code >= 0)).any():
        return False
    known = some & (code >= 0)
    most = int(np.argmax(np.bincount(code[known], (found.values[known] - usual) * np.sign(effect))))
    rest = some & (code != most)
    return int(rest.sum()) >= LEAST and not _off(found, rest, usual, effect)


def _lots(of: Explained, on: Flags, usual: float) -> Before:
    """Earlier lots of the same supplier that lay off as this one does."""
    found, best = of.evidence, of.best
    code, supplier = (next((one.code for one in found.factors if one.name == name), None) for name in (LOT, SUPPLIER))
    if code is None or supplier is None:
        return Before()
    theirs = supplier[on & (code == best.level)]
    if not len(theirs) or theirs.max() < 0:
        return Before()
    whose = int(np.bincount(theirs[theirs >= 0]).argmax())
    mine = on & (supplier == whose) & (code >= 0)
    levels, first, n = np.unique(code[mine], return_index=True, return_counts=True)
    lots = [level for _, level, many in sorted(zip(first, levels, n, strict=True)) if many >= LEAST]
    if best.level not in lots:
        return Before()
    lots = lots[: lots.index(best.level)]
    off = [_off(found, mine & (code == level), usual, best.effect) for level in lots]
    told = [level for level, is_off in zip(lots, off, strict=True) if is_off]
    since = [*off, True][off.index(True) :] if told else []
    alternate = len(told) + 1 >= SEVERAL and all(is_off == (k % 2 == 0) for k, is_off in enumerate(since))
    return Before(
        tuple(_from_to(found, mine & (code == level)) for level in told),
        tuple(found.words[LOT][level] for level in told),
        found.words[SUPPLIER][whose] if alternate else "",
    )


def _from_to(found: Evidence, some: Flags) -> tuple[date, date]:
    return found.days[int(found.day[some].min())], found.days[int(found.day[some].max())]


def _off(found: Evidence, some: Flags, usual: float, effect: float) -> bool:
    """Do some readings lie nearer to a shift than to what is usual, and for certain?"""
    n = int(some.sum())
    if n < LEAST or effect == 0:
        return False
    by = (float(found.values[some].mean()) - usual) * float(np.sign(effect))
    return by > HALF * abs(effect) and by * n**0.5 > SURE


def _touched(found: Evidence, one: Hypothesis) -> Flags:
    return np.asarray(np.isin(np.arange(len(found.models)), one.streams)[found.stream])

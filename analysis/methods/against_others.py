"""Groups read under several conditions (lots in several shops, or of several models), each held against all others of
its family: how far it lies from their mean, and how often chance alone would have it there.

Levels of groups and offsets of conditions are fitted together, so that a condition that reads high makes no group stand
out. A group is held against the spread of all the others; one of fewer readings than they have is given what it errs by
beyond them, by the spread within all groups, for of few readings their own is small by luck.

Several that lie apart hide one another. `set_apart` takes the farthest away, one at a time, each held against those
still there; apart are all up to the last whose chance among those still there is below the level.

Source: a value against all the others: Cook & Weisberg 1982, Residuals and Influence in Regression, section 2.2.2 (the
externally studentized residual); several at once: Rosner 1983, Technometrics 25 (from memory, both held by tests and
simulation).
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.methods.segments import Flags, Floats, Ints

LEAST = 6  # groups of a family, of which one may stand out
PART_APART = 4  # at most one group in so many is set apart
ROUNDS = 500  # of fitting groups and conditions by turns; far more than any chain was seen to want


@dataclass(frozen=True)
class Levels:
    """What is common to all readings of a group, whatever they were read under."""

    level: Floats  # (g,)
    offset: Floats  # (c,) of each condition
    family: Ints  # (g,) groups that conditions join with each other
    family_of_condition: Ints  # (c,)


@dataclass(frozen=True)
class Held:
    """Each group against all others of its family, shape (g,)."""

    off: Floats  # from their mean, with 95 % limits
    low: Floats
    high: Floats
    mean: Floats  # of the others
    chance: Floats  # that it lies so far out if it is as the others are
    others: Ints
    judged: Flags  # there are enough others, and they are not all alike


@dataclass(frozen=True)
class Apart(Held):
    """Each group against those that are not apart themselves."""

    apart: Flags


def levels(group: Ints, condition: Ints, value: Floats) -> Levels:
    """Fit both by turns; group, condition (n,) numbers from 0, value (n,) of each reading."""
    count, conditions = int(group.max()) + 1, int(condition.max()) + 1
    return Levels(*_by_turns(group, condition, value), *_families(group, condition, count, conditions))


def _by_turns(group: Ints, condition: Ints, value: Floats) -> tuple[Floats, Floats]:
    """Levels of groups and offsets of conditions."""
    level, offset = np.zeros(int(group.max()) + 1), np.zeros(int(condition.max()) + 1)
    of_group, of_condition = (
        np.maximum(np.bincount(part), 1) for part in (group, condition)
    )  # numbers may be left out
    for _ in range(ROUNDS):
        level = np.bincount(group, value - offset[condition]) / of_group
        before, offset = offset, np.bincount(condition, value - level[group]) / of_condition
        if np.abs(offset - before).max() < 1e-12:
            break
    return level, offset


def _families(group: Ints, condition: Ints, count: int, conditions: int) -> tuple[Ints, Ints]:
    """Of groups and of conditions which belong together, by the least group of each family; a condition without a
    group is by itself.
    """
    family = np.arange(count)
    while True:
        of_condition = np.arange(count, count + conditions)
        np.minimum.at(of_condition, condition, family[group])
        joined = family.copy()
        np.minimum.at(joined, group, of_condition[condition])
        joined = joined[joined]  # whatever its least group has joined meanwhile
        if np.array_equal(joined, family):
            return family, of_condition
        family = joined


def errors(group: Ints, family: Ints, n: Ints, sd: Floats) -> Floats:
    """Standard error of each group's level (g,) from readings (k,) that are means of n with spread sd."""
    free, within = n - 1.0, sd**2
    at = family[group]
    of_all = (np.bincount(at, free * within) / np.maximum(np.bincount(at, free), 1.0))[at]
    # a few that lie close by luck make no group sure: each errs by the spread within all groups, or its own if larger
    return np.asarray(np.sqrt(np.bincount(group, np.maximum(within, of_all) / n)) / np.bincount(group))


def held(level: Floats, own: Floats, family: Ints, out: Flags | None = None) -> Held:
    """Groups (g,) with their levels and what they err by, each against the others of its family; those that are out
    are none of the others.
    """
    mean, left, usual, others = _others(level, own, family, out)
    chance, judged = _chance(level - mean, own, left, usual, others)
    off, free = level - mean, np.maximum(others - 1, 1)
    reach = special.stdtrit(free, 0.975) * np.sqrt(own**2 + left / np.maximum(others, 1))
    return Held(off, off - reach, off + reach, mean, chance, others, judged)


def _others(level: Floats, own: Floats, family: Ints, out: Flags | None = None) -> tuple[Floats, Floats, Floats, Ints]:
    """Of the others of each: mean and variance of their levels, what of it they err by, and how many they are."""
    mine = np.ones(len(level)) if out is None else np.where(out, 0.0, 1.0)
    size, total, squares, usual = (
        np.asarray(np.bincount(family, mine * part)[family], dtype=np.float64)
        for part in (np.ones_like(level), level, level**2, own**2)
    )
    others = size - mine
    many = np.maximum(others, 1.0)
    mean = (total - mine * level) / many
    left = np.maximum(squares - mine * level**2 - many * mean**2, 0.0) / np.maximum(many - 1, 1.0)
    usual = (usual - mine * own**2) / many  # what the others err by is in their spread
    return mean, left, usual, others.astype(np.int64)


def _chance(off: Floats, own: Floats, left: Floats, usual: Floats, others: Ints) -> tuple[Floats, Flags]:
    """That one lies so far off if it is as the others are (`_others`), and of whom that is said."""
    between = np.maximum(left - usual, 0.0)
    many, free = np.maximum(others, 1), np.maximum(others - 1, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        error = np.sqrt(np.maximum(left, own**2 + between) + left / many)
        chance = 2 * special.stdtr(free, -np.abs(off) / error)  # without the checks of scipy.stats: it is asked often
    return chance, (others + 1 >= LEAST) & (left > 0)


def set_apart(group: Ints, condition: Ints, n: Ints, mean: Floats, sd: Floats, *, level: float) -> Apart:
    """Which groups of one family after another lie apart.

    Parameters
    ----------
    group, condition : int, shape (k,)
        Numbers from 0 of each mean's group and of what it was read under.
    n, mean, sd : shape (k,)
        Readings of the group under that condition: how many, their mean and spread.
    level : float
        Chance that any group of a family is set apart where none differs.
    """
    family = levels(group, condition, mean).family
    out = np.zeros(len(family), dtype=bool)
    for one in np.unique(family):
        out |= _apart_of(np.flatnonzero(family == one), (group, condition, n, mean, sd), level)
    stay = ~out[group]
    fit = levels(group[stay], condition[stay], mean[stay])
    known = np.isin(condition, condition[stay])  # offsets of the others' conditions
    family = len(out) + int(condition.max()) + 1 + np.arange(len(out))  # alone, unless known
    family[group[known]] = fit.family_of_condition[condition[known]]
    under = np.bincount(group[known], mean[known] - fit.offset[condition[known]], minlength=len(out))
    each: Floats = under / np.maximum(np.bincount(group[known], minlength=len(out)), 1)
    own = errors(group, family, n, sd)
    found = held(each, own, family, out)
    return Apart(**vars(found), apart=out & (found.others >= LEAST - 1))


def _apart_of(groups: Ints, cells: tuple[Ints, Ints, Ints, Floats, Floats], level: float) -> Flags:
    """Groups of a family that lie apart, shape (all groups,)."""
    group, condition, n, mean, sd = cells
    out = np.zeros(int(group.max()) + 1, dtype=bool)
    here = np.isin(group, groups)
    names, which = groups, np.searchsorted(groups, group[here])  # those that stay, and whose each cell is of them
    condition, n, mean, sd = condition[here], n[here], mean[here], sd[here]
    family = np.zeros(len(names), dtype=np.int64)
    taken: list[int] = []
    last = 0
    for _ in range(max(len(groups) // PART_APART, 1)):
        if len(names) < LEAST:
            break
        fitted, own = _by_turns(which, condition, mean)[0], errors(which, family, n, sd)
        middle, left, usual, others = _others(fitted, own, family)
        chance, judged = _chance(fitted - middle, own, left, usual, others)
        among = np.where(judged, chance * (others + 1), np.inf)
        at = int(np.argmin(among))
        taken.append(int(names[at]))
        if among[at] < level:
            last = len(taken)
        stay = which != at
        names, which = np.delete(names, at), which[stay] - (which[stay] > at)
        condition, n, mean, sd = condition[stay], n[stay], mean[stay], sd[stay]
        family = np.delete(family, at)
        if len(stay) - len(which) > 1:  # of several conditions: what it joined may be joined no more
            family = _families(which, condition, len(names), int(condition.max()) + 1)[0]
    out[taken[:last]] = True
    return out

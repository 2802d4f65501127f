"""The curvature of a likelihood whose effects are levels of several parts: solved, and its determinant.

A row is of one level of each part, so that the levels of one part never meet in a row: their block of the table is
diagonal. Where the effects are many, the part with the most levels is therefore taken out first (its Schur complement),
and only what is left is a table worked on whole. Lots come new all the time where models and people do not, so that
years of work cost hardly more than weeks.

Source: block elimination, Golub & Van Loan, Matrix Computations (from memory; held by tests against the whole table).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import linalg, sparse

from analysis.methods.segments import Floats, Ints, dense

FEW = 160  # effects up to which the table is worked on whole: taking a part out would cost more than it saves


@dataclass(frozen=True, eq=False)
class Whole:
    """A table of all effects, symmetric and positive."""

    table: Floats  # (effects, effects)

    def solved(self, wanted: Floats) -> Floats:
        """What the table times is `wanted`, of its first effects, as many as are wanted."""
        free = len(wanted)
        return np.asarray(np.linalg.solve(self.table[:free, :free], wanted))

    def log_det(self, free: int) -> float:
        """Log determinant of the table of the first `free` effects."""
        return float(np.linalg.slogdet(self.table[:free, :free])[1])

    def last_variance(self) -> float:
        """Variance of the last effect: the last cell of the inverse."""
        return float(np.linalg.inv(self.table)[-1, -1])


@dataclass(frozen=True, eq=False)
class Parted:
    """The same in blocks: levels of one part, which meet each other nowhere, and the rest."""

    first: int  # the place of the first of these levels; the others stand before and behind
    own: Floats  # (levels,) the diagonal of theirs
    meet: sparse.csr_array  # (levels, rest)
    rest: Floats  # (rest, rest)

    def solved(self, wanted: Floats) -> Floats:
        """What the table times is `wanted`, of its first effects, as many as are wanted."""
        begin, end = self.first, self.first + len(self.own)
        mine, others = wanted[begin:end], np.concatenate((wanted[:begin], wanted[end:]))
        meet = self.meet[:, : len(others)]
        found = linalg.cho_solve(self._root(len(others)), others - meet.T @ (mine / self.own))
        return np.concatenate((found[:begin], (mine - meet @ found) / self.own, found[begin:]))

    def log_det(self, free: int) -> float:
        """Log determinant of the table of the first `free` effects."""
        root, _ = self._root(free - len(self.own))
        return float(np.log(self.own).sum() + 2 * np.log(root.diagonal()).sum())

    def last_variance(self) -> float:
        """Variance of the last effect, which is none of the part taken out: the last cell of the inverse."""
        root, _ = self._root(len(self.rest))
        return float(root[-1, -1] ** -2)

    @cached_property
    def _left(self) -> Floats:
        """What is left of the rest once the part is taken out."""
        scaled = self.meet.multiply(1 / self.own[:, None]).tocsr()
        return np.asarray(self.rest - (self.meet.T @ scaled).toarray())

    def _root(self, free: int) -> tuple[Floats, bool]:
        """Root of the first `free` of what is left, as the library solves by it."""
        root: tuple[Floats, bool] = linalg.cho_factor(self._left[:free, :free], lower=True)
        return root


class Tables:
    """Rows of levels whose tables are asked for again and again with other weights.

    level : int (rows, parts), places from 0 on without a gap, each part's beside each other. mine : (rows,) 1 where one
    more effect, the last, stands in a row, else 0; None: there is none. effects : how many there are, with it.
    """

    def __init__(self, level: Ints, mine: Floats | None, effects: int) -> None:
        self.level, self.mine, self.effects = level, mine, effects
        self.size = effects - (mine is not None)

    def of(self, weight: Floats, more: Floats) -> Whole | Parted:
        """The table of row weights (rows,), with `more` (effects,) on its diagonal."""
        if self._part is None:
            return self._whole(weight, more)
        first, count = self._part
        own = np.bincount(self._mine, weight, minlength=count) + more[first : first + count]
        wide = self.effects - count
        pairs, rows, columns, begins = self._meeting
        meet = sparse.csr_array((np.bincount(pairs, weight[rows]), columns, begins), shape=(count, wide))
        pairs, rows = self._others
        rest = np.bincount(pairs, weight[rows], minlength=wide * wide).astype(np.float64).reshape(wide, wide)
        rest.flat[:: wide + 1] += np.delete(more, np.s_[first : first + count])
        return Parted(first, own, meet, rest)

    def _whole(self, weight: Floats, more: Floats) -> Whole:
        size, parts = self.size, self.level.shape[1]
        table = np.zeros((self.effects, self.effects))
        table[:size, :size] = np.bincount(self._pairs, np.repeat(weight, parts**2), minlength=size**2).reshape(
            size, size
        )
        if self.mine is not None:
            met = np.bincount(self.level.ravel(), np.repeat(weight * self.mine, parts), minlength=size)
            table[:size, size] = table[size, :size] = met
            table[size, size] = weight @ self.mine
        table.flat[:: self.effects + 1] += more  # the diagonal
        return Whole(table)

    @cached_property
    def _pairs(self) -> Ints:
        return (self.level[:, :, None] * self.size + self.level[:, None, :]).ravel()

    @cached_property
    def _part(self) -> tuple[int, int] | None:
        """First place and levels of the part that is taken out; None where the table is worked on whole."""
        if self.effects <= FEW:
            return None
        low, high = self.level.min(axis=0), self.level.max(axis=0)
        part = int(np.argmax(high - low))
        apart = (np.delete(high, part) < low[part]) | (np.delete(low, part) > high[part])
        count = int(high[part] - low[part]) + 1
        return (int(low[part]), count) if bool(apart.all()) and 2 * count > self.effects else None

    @cached_property
    def _mine(self) -> Ints:
        """The level of the part that is taken out of each row, from 0."""
        first, count = self._part or (0, 0)
        own = (self.level >= first) & (self.level < first + count)
        return np.asarray(self.level[own] - first)

    @cached_property
    def _beside(self) -> tuple[Ints, Ints]:
        """The rest of each row: which row, and the place of each of its other levels among the rest."""
        first, count = self._part or (0, 0)
        other = (self.level < first) | (self.level >= first + count)
        row, column = np.nonzero(other)
        place = self.level[row, column]
        place = np.where(place >= first + count, place - count, place)
        if self.mine is not None:
            hand = np.flatnonzero(self.mine)
            row = np.concatenate((row, hand))
            place = np.concatenate((place, np.full(len(hand), self.effects - count - 1)))
            order = np.argsort(row, kind="stable")
            row, place = row[order], place[order]
        return row, place

    @cached_property
    def _meeting(self) -> tuple[Ints, Ints, Ints, Ints]:
        """Which pair of a taken-out level and another each row adds to, and which row; the columns of these pairs, and
        where those of each level begin.
        """
        row, place = self._beside
        _, count = self._part or (0, 0)
        wide = self.effects - count
        key = self._mine[row] * wide + place
        found = dense(key)
        levels, columns = np.divmod(key[found.first], wide)
        return found.code, row, columns, np.searchsorted(levels, np.arange(count + 1))

    @cached_property
    def _others(self) -> tuple[Ints, Ints]:
        """Cell of the rest's table for each pair of a row's other levels, and its row."""
        row, place = self._beside
        _, count = self._part or (0, 0)
        size = np.bincount(row, minlength=len(self.level))
        begins = np.cumsum(size) - size
        first = np.repeat(np.arange(len(row)), size[row])
        second = np.arange(len(first)) - np.repeat(np.cumsum(size[row]) - size[row], size[row]) + begins[row[first]]
        return place[first] * (self.effects - count) + place[second], row[first]

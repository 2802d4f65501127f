"""Weekly shares of instruments that came back to a stage, as a cumulative chart a stage: since when do more come back
than a frozen base lets expect, at the shop's budget of false signals (`rework/since_weeks` says what the base is,
`methods/since_when` how it is judged).
"""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Floats, Ints, segment_ids
from analysis.methods.since_when import LONGEST, Ahead, apart, limit, sums
from analysis.methods.uncertain_ratio import ratio_mid_p
from analysis.studies.drift.share_parts import ahead_of, counted
from analysis.studies.drift.watching import SHARE
from analysis.studies.rework.since_weeks import Base, bases
from analysis.studies.rework.stage_weeks import counted_weeks
from analysis.studies.rework.work_mix import every_mix
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True)
class Shares:
    """Weekly shares of send-backs of each stage, as charts."""

    rows: pl.DataFrame  # of counted_weeks, stage after stage, oldest week first
    starts: Ints  # (c,) where each stage begins
    pieces: Ints  # (p,) where each stage begins, or begins anew since a person closed a signal
    weeks: Ints  # (n,) number of the week since 1970
    taken: pl.Series  # (n,) first moment of each week
    closings: dict[int, datetime]  # when people closed, by the first row of a piece
    bases: list[Base]
    own: Ints  # (n,) the base that holds each week as a start; -1: none yet
    models: list[str]  # by their numbers in the bases

    @property
    def judged(self) -> Flags:
        """Weeks with a base to judge them by, shape (n,)."""
        return self.own >= 0

    def counts(self) -> tuple[Floats, Floats]:
        """How many came back in each week, and of how many."""
        back, size = (self.rows[name].to_numpy().astype(np.float64) for name in ("came_back", "instruments"))
        return back, size

    def looked(self) -> tuple[Ints, Ints]:
        """Weeks and models that are looked at by themselves in them (`model_shares`), shape (l,) each."""
        each = [base.looked for base in self.bases]
        none = np.zeros(0, dtype=np.int64)
        return np.concatenate([none, *(rows for rows, _ in each)]), np.concatenate([none, *(of for _, of in each)])

    def places(self, number: int, models: tuple[int, ...]) -> Ints | None:
        """Where a base holds these models; None: all of the stage's work, for none of them."""
        held = self.bases[number].models.model
        return np.searchsorted(held, np.array(models)) if models else None

    def knows(self, number: int, models: tuple[int, ...]) -> bool:
        """Does a base hold these models?"""
        return bool(np.isin(np.array(models, dtype=np.int64), self.bases[number].models.model).all())


@dataclass(frozen=True)
class Windows:
    """Every sum of weeks that the charts hold, by its first and last week."""

    first: Ints  # (k,)
    last: Ints  # (k,)
    score: Floats  # (k,) above 0: more than expected; 0 where the last week itself lies to the other side

    def some(self, which: Flags) -> "Windows":
        """Those of them."""
        return Windows(self.first[which], self.last[which], self.score[which])


@dataclass(frozen=True)
class Since:
    """What came back to a stage in some weeks one after the other."""

    came_back: int
    instruments: int
    expected: float
    low: float  # 95 % limits of how many times the expected, the base's own uncertainty in them
    high: float

    @property
    def sure(self) -> bool:
        """Do the limits leave out as many as expected?"""
        return self.low > 1 or self.high < 1


def shares(snapshot: Snapshot) -> Shares | None:
    """Each stage's weeks; None without a judged instrument."""
    rows, mix = counted_weeks(snapshot)
    if rows.is_empty():
        return None
    stage = rows["stage"].rle_id().to_numpy().astype(np.int64)
    starts = np.flatnonzero(np.diff(stage, prepend=-1))
    weeks = rows["week"].cast(pl.Int32).to_numpy().astype(np.int64) // 7
    taken = _first_moments(snapshot, rows)
    closings = _closings(snapshot, rows, starts, taken)
    pieces = np.union1d(starts, np.array(list(closings), dtype=np.int64))
    pieces = pieces[pieces < len(rows)]
    held = bases(mix, pieces, len(rows))
    own = np.full(len(rows), -1, dtype=np.int64)
    for number, base in enumerate(held):  # bases are a handful a stage
        own[base.end : base.until] = number
    models = snapshot.once(every_mix)["model"].unique().sort().to_list()
    return Shares(rows, starts, pieces, weeks, taken, closings, held, own, models)


def windows(found: Shares) -> Windows:
    """All sums of up to a year of weeks, held against the base before their first week."""
    count, size = found.counts()
    parts: list[tuple[Ints, Ints, Floats]] = []
    for base in found.bases:
        weeks = slice(base.end, base.reach)
        some = sums(count[weeks], size[weeks], base.ahead, base.until - base.end)
        side = np.sign(count[weeks] - base.ahead.expected)[None, :]
        first, last = np.nonzero(np.isfinite(some.score))
        score = np.where(np.sign(some.score) == side, some.score, 0.0)[first, last]
        parts.append((first + base.end, last + base.end, score))
    if not parts:
        none = np.zeros(0, dtype=np.int64)
        return Windows(none, none, np.zeros(0))
    first, last, score = (np.concatenate(part) for part in zip(*parts, strict=True))
    return Windows(first.astype(np.int64), last.astype(np.int64), score.astype(np.float64))


def limits(found: Shares, rates: Floats) -> Floats:
    """The score at which each week signals, at its false-signal rate (n,) over both sides; infinite without a base."""
    out = np.full(len(rates), np.inf)
    at = np.flatnonzero(found.judged)
    if not len(at):
        return out
    held = np.array([base.end - base.first for base in found.bases])[found.own[at]]
    piece = segment_ids(found.pieces, len(rates))[at]
    first = np.full(len(found.pieces), len(rates))
    np.minimum.at(first, piece, at)
    longest = np.minimum(at - first[piece] + 1, LONGEST)
    kinds, which = np.unique(np.column_stack((rates[at], held, longest)), axis=0, return_inverse=True)
    each = np.array([limit(min(float(rate), 0.1), float(base), longest=int(most)) for rate, base, most in kinds])
    out[at] = each[which.ravel()]
    return out


def off_its_base(found: Shares, number: int, models: tuple[int, ...] = ()) -> Floats:
    """How far each week's own share lies from what one base lets expect, in standard normal scores, for the rows that
    the base reaches; of some models nan where none of them was judged.
    """
    ahead, count, size = part_of(found, number, models)
    expected = np.maximum(np.minimum(ahead.expected, size), 1e-12)
    variance = _variance(ahead, np.eye(len(expected), dtype=bool), expected)
    others = expected**2 / variance
    wide = ahead.widening
    return apart(count / wide, size / wide, others / wide, others * size / expected / wide)


def since(found: Shares, first: int, last: int, models: tuple[int, ...] = (), *, others: bool = False) -> Since:
    """What came back from one week to another, both in it, against the base of the first: of all, of some models that
    it knows, or of all but these.
    """
    number = int(found.own[first])
    base = found.bases[number]
    ahead, back, of = part_of(found, number, models, others=others)
    mine = slice(first - base.end, min(last, base.reach - 1) + 1 - base.end)
    count, size = (round(part[mine].sum()) for part in (back, of))
    inside = np.zeros((1, base.reach - base.end), dtype=bool)
    inside[0, mine] = True
    expected = np.maximum(np.array([ahead.expected[inside[0]].sum()]), 1e-9)
    wide = ahead.widening  # what weeks vary by beyond chance counts as not known of what to expect
    variance = wide * _variance(ahead, inside, expected) + (wide - 1) * expected
    low, high = ratio_mid_p([count], expected, variance)
    return Since(count, size, float(expected[0]), float(low[0]), float(high[0]))


def counts_since(found: Shares, first: int, model: str) -> tuple[Floats, Floats]:
    """How many came back of a model, '' of all, and of how many, (n,) each; of a model from the base of `first` on."""
    if not model:
        return found.counts()
    number = int(found.own[first])
    base = found.bases[number]
    whole = np.zeros((2, len(found.weeks)))
    _, *whole[:, base.end : base.reach] = part_of(found, number, (found.models.index(model),))
    return whole[0], whole[1]


def part_of(
    found: Shares, number: int, models: tuple[int, ...], *, others: bool = False
) -> tuple[Ahead, Floats, Floats]:
    """What a base lets expect of some work, how many of it came back, and of how many, for the rows it reaches."""
    base, places = found.bases[number], found.places(number, models)
    back, size = (part[base.end : base.reach] for part in found.counts())
    return ahead_of(base, places, others=others), *counted(base, back, size, places, others=others)


def _variance(ahead: Ahead, inside: Flags, expected: Floats) -> Floats:
    """Variance of the expected counts (m,) of sums of the rows `inside` (m, r)."""
    moves = inside.astype(np.float64) @ ahead.unsure
    return np.asarray(np.maximum((moves**2).sum(axis=1) + ahead.common * expected**2, 1e-12), dtype=np.float64)


def _first_moments(snapshot: Snapshot, rows: pl.DataFrame) -> pl.Series:
    """The first moment of each week by the shop's clock."""
    start_of_day = [
        (pl.col("week").cast(pl.Datetime("us")) + pl.duration(hours=hour)).dt.replace_time_zone(
            snapshot.shop.shop.timezone, ambiguous="earliest", non_existent="null"
        )
        for hour in (0, 1)  # where the clocks skip midnight the day begins at one
    ]
    return rows.select(pl.coalesce(start_of_day).dt.convert_time_zone("UTC"))["week"]


def _closings(snapshot: Snapshot, rows: pl.DataFrame, starts: Ints, taken: pl.Series) -> dict[int, datetime]:
    """When people closed signals of these charts and nobody opened them again, by the place of the first week after:
    one of a model as one of its stage, which is settled with it.
    """
    book = snapshot.lines("close", "reopen").filter(pl.col("opened_at").is_not_null()).filter(pl.col("chart") == SHARE)
    latest = book.sort("sequence").unique(["stage", "model", "opened_at"], keep="last", maintain_order=True)
    of_stage = rows["stage"].to_list()
    ids: Ints = segment_ids(starts, len(rows))
    closed: dict[int, datetime] = {}
    for row in latest.filter(pl.col("kind") == "close").iter_rows(named=True):
        when = row["at"] if row["at"] >= row["opened_at"] else snapshot.as_of  # a clock behind the readings
        for start in starts:
            if of_stage[int(start)] == row["stage"]:
                part = taken.filter(pl.Series(ids == ids[start]))
                closed[int(start) + int(part.search_sorted(when, side="right"))] = when
    return closed

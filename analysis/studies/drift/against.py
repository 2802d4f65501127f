"""One period, model, setter, lot or gauge against another: how far apart their readings lie, and whether that is more
than chance.

Both sides are first-pass readings of one characteristic and position at one stage. Where no side names a model they are
compared model by model, at the same mix; a model that is on one side only is left out and told. Where a side names its
model and the other holds models with other targets, each reading is taken from its own target. A reading that fits
both sides stands on the first alone, so that an empty second side is everything else. Lots and days that differ make
readings carry less (methods.independent_number, by all streams of the characteristic at the stage).
"""

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import polars as pl

from analysis.methods.independent_number import Carried, carried
from analysis.methods.intervals import binomial_exact, mean_t
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats
from analysis.methods.two_groups import Difference, difference
from analysis.studies.drift.streams import stream_readings
from analysis.studies.story.conformity import with_specs
from ingest.store.snapshot import Snapshot

LEAST = 2  # readings of a model on each side from which it is compared


@dataclass(frozen=True)
class Side:
    """What one side asks for; '' and None: anything."""

    model: str = ""  # or the setup that models share
    tech: str = ""  # who set it
    lot: str = ""
    gauge: str = ""
    first: date | None = None  # days it was read, both included
    last: date | None = None

    @property
    def empty(self) -> bool:
        """Nothing is asked for."""
        return self == Side()

    def of(self, readings: pl.DataFrame) -> pl.Expr:
        """Its rows."""
        wanted = pl.col("value").is_not_null()
        if self.model:
            wanted &= (pl.col("setup") == self.model) | (pl.col("model") == self.model)
        for name, value in (("set_by", self.tech), ("lot", self.lot), ("gauge", self.gauge)):
            if value:
                wanted &= pl.col(name) == value
        if self.first is not None:
            wanted &= pl.col("day") >= self.first
        return wanted & (pl.col("day") <= self.last) if self.last is not None else wanted


def else_of(a: Side, b: Side) -> Side:
    """The second side as it is meant: where the first names a model and more, and the second no model, it is of that
    model too, since models are made to differ.
    """
    more = a != Side(model=a.model)
    return replace(b, model=a.model) if a.model and more and not b.model else b


@dataclass(frozen=True)
class Seen:
    """What one side's readings say; unit of the characteristic."""

    readings: pl.DataFrame  # serial, day, taken_at, setup, value, outside, lower, upper in time order
    n: int
    mean: float | None
    low: float | None  # 95 % of the mean
    high: float | None
    sd: float | None
    carries: float | None  # independent readings that carry as much, of its mean
    limited: int  # readings that limits hold for
    outside: int
    on_limit: int
    outside_low: float | None  # 95 % of the share
    outside_high: float | None


@dataclass(frozen=True)
class Against:
    """Both sides, and how far apart they lie."""

    a: Seen
    b: Seen
    apart: Difference | None  # a less b; None: one of them has too few
    models: tuple[str, ...]  # compared one by one; () where a side names its model
    left_out: tuple[str, ...]  # models on one side only
    both: int  # readings that fitted both sides and stand on the first
    other_targets: bool = False  # models are mixed whose targets differ, or are not all known
    from_target: bool = False  # values and limits are distances from each reading's own target


def against(snapshot: Snapshot, *, characteristic: str, position: str, stage: str, a: Side, b: Side) -> Against:
    """Hold `a` against `b`. UnusableData where nothing was ever read of it at that stage."""
    same = {"characteristic": characteristic, "position": position, "stage": stage}
    every = stream_readings(snapshot, *[pl.col(name) == value for name, value in same.items()])
    if every.is_empty():
        raise UnusableData("nothing was read of it at that stage")
    every = every.sort("setup", "taken_at", "serial", "line", maintain_order=True)
    mine, theirs = (every.select(side.of(every).fill_null(False)).to_series().to_numpy() for side in (a, b))
    both = mine & theirs
    theirs = theirs & ~mine
    named = bool(a.model or b.model)
    judged = with_specs(snapshot, every)
    other_targets, from_target = (False, False) if not named else _targets(judged, mine | theirs)
    if from_target:
        aimed = judged["target"].is_not_null()  # those of neither side may have none
        mine, theirs = (which[aimed.to_numpy()] for which in (mine, theirs))
        judged = judged.filter(aimed).with_columns(pl.col("value", "lower", "upper") - pl.col("target"))
        every = every.filter(aimed).with_columns(judged["value"])
    apart, compared, left_out = compare(every, mine, theirs, by_model=not named)
    whole = _carry(every, np.zeros(len(every), dtype=np.int64), (mine, theirs))
    return Against(
        _seen(judged, mine, whole.get((0, 0))),
        _seen(judged, theirs, whole.get((1, 0))),
        apart,
        compared,
        left_out,
        int(both.sum()),
        other_targets,
        from_target,
    )


def _targets(judged: pl.DataFrame, which: np.ndarray) -> tuple[bool, bool]:
    """Do models of these rows have different targets, and has each row one to be taken from?"""
    targets = judged.filter(pl.Series(which)).select("setup", "target")
    if targets["setup"].n_unique() < 2 or targets["target"].n_unique() < 2:
        return False, False
    return True, targets["target"].null_count() == 0


def compare(
    every: pl.DataFrame, mine: np.ndarray, theirs: np.ndarray, *, by_model: bool
) -> tuple[Difference | None, tuple[str, ...], tuple[str, ...]]:
    """How far apart two sets of readings lie; the models compared one by one, and those left out.

    every : readings in the order of setup and time: setup, supplier, lot, day, taken_at, value.  mine, theirs : bool
    (n,), no reading in both.
    """
    named = not by_model
    strata = np.zeros(len(every), dtype=np.int64) if named else every["setup"].rle_id().to_numpy().astype(np.int64)
    carry = _carry(every, strata, (mine, theirs))
    values = every["value"].to_numpy().astype(np.float64)
    rows, compared = [], []
    for stratum in np.unique(strata):  # a model each, a few dozen
        groups = [np.flatnonzero(which & (strata == stratum)) for which in (mine, theirs)]
        if min(map(len, groups)) >= LEAST:
            compared.append(int(stratum))
            rows.append([_group(values[at], carry[(side, int(stratum))]) for side, at in enumerate(groups)])
    of_setup = every["setup"].to_list()
    touched = {int(s) for s in np.unique(strata[mine | theirs])}
    names = {int(s): of_setup[int(np.flatnonzero(strata == s)[0])] for s in touched}
    told = np.array(rows, dtype=np.float64) if rows else np.empty((0, 2, 4))
    apart = difference(told[:, :, 0], told[:, :, 1], told[:, :, 2], dof=told[:, :, 3]) if rows else None
    if named:
        return apart, (), ()
    return apart, tuple(names[s] for s in compared), tuple(names[s] for s in sorted(touched - set(compared)))


_Worth = tuple[float, float]  # independent readings that a mean carries as much as; degrees of freedom of the sd


def _group(values: Floats, worth: _Worth) -> tuple[float, float, float, float]:
    return float(values.mean()), float(values.std(ddof=1)), worth[0], worth[1]


def _carry(every: pl.DataFrame, strata: np.ndarray, sides: tuple[np.ndarray, ...]) -> dict[tuple[int, int], _Worth]:
    """What the readings of each side and stratum carry: tested over all streams, which stand first."""
    pieces: list[np.ndarray] = []
    keys: list[tuple[int, int] | None] = []
    streams = every["setup"].rle_id().to_numpy()
    for stream in np.unique(streams):
        pieces.append(np.flatnonzero(streams == stream))
        keys.append(None)
    order = np.lexsort((np.arange(len(every)), every["taken_at"].to_physical().to_numpy()))
    for side, which in enumerate(sides):
        for stratum in np.unique(strata):
            at = order[(which & (strata == stratum))[order]]
            if len(at) >= LEAST:
                pieces.append(at)
                keys.append((side, int(stratum)))
    at = np.concatenate(pieces)
    codes = every.select(
        pl.when(pl.col("lot") == "")
        .then(-1)
        .otherwise(pl.struct("supplier", "lot").rank("dense").cast(pl.Int64))
        .alias("lot"),
        pl.col("day").cast(pl.Int32).cast(pl.Int64),
    )
    size = np.array([len(piece) for piece in pieces])
    found = carried(
        every["value"].to_numpy().astype(np.float64)[at],
        np.cumsum(size) - size,
        pool=np.zeros(len(pieces), dtype=np.int64),
        lot=codes["lot"].to_numpy()[at],
        day=codes["day"].to_numpy()[at],
        asked=np.array([key is None for key in keys]),
    )
    return {key: _worth(found, k) for k, key in enumerate(keys) if key is not None}


def _worth(found: Carried, k: int) -> _Worth:
    wide = float(found.mean_variance[k] * found.wider[k] / found.short[k])
    n = float(found.n[k])
    carries = min(n, 1 / wide) if wide > 0 else n
    free = 1 / (2 * float(found.sd_variance[k])) if found.sd_variance[k] > 0 else n - 1
    return max(carries, 1.0 + 1e-9), max(min(free, n - 1), 1e-9)


def _seen(judged: pl.DataFrame, which: np.ndarray, worth: _Worth | None) -> Seen:
    rows = judged.filter(pl.Series(which)).sort("taken_at", "serial", "line", maintain_order=True)
    columns = ("serial", "day", "taken_at", "setup", "value", "outside", "lower", "upper")
    values = rows["value"].to_numpy().astype(np.float64)
    n = len(values)
    limited = int(rows["outside"].is_not_null().sum())
    out, on = (int(rows[name].fill_null(False).sum()) for name in ("outside", "on_limit"))
    mean = sd = low = high = None
    if n:
        mean = float(values.mean())
    if n >= LEAST and worth is not None:
        sd = float(values.std(ddof=1))
        ends = mean_t(values.mean(), sd, worth[0]) if worth[0] >= LEAST else (np.nan, np.nan)
        low, high = (None if np.isnan(float(end)) else float(end) for end in ends)
    ends_out = binomial_exact(out, limited) if limited else (None, None)
    outside_low, outside_high = (None if end is None else float(end) for end in ends_out)
    return Seen(
        rows.select(columns),
        n,
        mean,
        low,
        high,
        sd,
        worth[0] if worth else None,
        limited,
        out,
        on,
        outside_low,
        outside_high,
    )

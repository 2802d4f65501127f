"""A bench whose clock is off: its visits lie over those of other benches at the same instruments, and beside them the
order of the bench is kept where the clock is set right by one amount.

That work is really done in another order than shop.toml's is no clock that is off: an instrument is then never at two
benches at once.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl

from analysis.methods.segments import Floats
from analysis.studies.story.calendar import of_late
from analysis.studies.story.story import Story, story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

WEEKS = timedelta(weeks=13)  # looked at, up to the last visit
LEAST, SHARE = 10, 0.03  # visits of a bench that lie over others, and of all of them
ITS_OWN = 0.9  # of all visits that lie over each other, so many with that bench
RIGHT = 0.8  # of the instruments whose order is broken stand right with the clock set right, and of those since then
STEP, FARTHEST, NEAREST = 5.0, 14 * 60.0, 30.0  # minutes: of amounts looked at; of what is told at least
ALIKE = 0.01  # of the instruments: amounts under which so many fewer stand right are as likely
COLUMNS = ("serial", "stage", "bench_order", "started_at", "finished_at", "day", "time_known", "first_pass", "role")


@dataclass(frozen=True)
class Off:
    """A clock that is off."""

    stage: str
    minutes: float  # it runs ahead; negative: behind
    since: date | None  # None: as far back as was looked
    until: date | None  # None: to this day
    instruments: int  # whose order it breaks
    of: int  # with a first visit there and at another bench

    @property
    def words(self) -> str:
        """'neck_angle since 2026-10-05 until 2026-11-01'."""
        told = (("since", self.since), ("until", self.until))
        return " ".join([self.stage, *(f"{word} {day}" for word, day in told if day is not None)])


def clocks_off(snapshot: Snapshot) -> list[Off]:
    """The bench whose clock is off, if one is."""
    visits = _first_visits(snapshot.once(story))
    if visits.is_empty():
        return []
    pairs = _at_once(visits)
    counts = pl.concat([pairs["stage"], pairs["other"]]).value_counts(sort=True) if len(pairs) else pl.DataFrame()
    found = []
    for stage, n in counts.iter_rows():
        of = visits.filter(pl.col("stage") == stage).height
        if n >= max(LEAST, SHARE * of) and n >= ITS_OWN * pairs.height and (off := _off(visits, stage)):
            found.append(off)
    return sorted(found, key=lambda off: -off.instruments)[:1]


def _first_visits(told: Story) -> pl.DataFrame:
    """First passes with both stamps of the last weeks, instrument after instrument along the bench."""
    late = np.flatnonzero((of_late(told.visits["day"], WEEKS) & told.visits["first_pass"]).to_numpy())
    held = told.visits.at(late, *COLUMNS).filter(
        pl.col("first_pass")
        & pl.col("time_known").fill_null(True)
        & (pl.col("finished_at") > pl.col("started_at"))
        & ~pl.col("role").cast(pl.String).is_in(["repair", "rest"])
    )
    return tables.plain(held).sort("serial", "bench_order")


def _at_once(visits: pl.DataFrame) -> pl.DataFrame:
    """Pairs of stages at which one instrument was at once: stage, other."""
    timed = visits.sort("serial", "started_at", "bench_order")
    before = pl.all().shift(1).name.prefix("before_")
    both = timed.select(pl.all(), before).filter(
        (pl.col("serial") == pl.col("before_serial")) & (pl.col("started_at") < pl.col("before_finished_at"))
    )
    return both.select("stage", pl.col("before_stage").alias("other"))


def _off(visits: pl.DataFrame, stage: str) -> Off | None:
    """By how much the clock of a stage is off, and when; None where no one amount sets its visits right."""
    rows = visits.with_columns(
        ends=pl.col("finished_at").shift(1).over("serial"), begins=pl.col("started_at").shift(-1).over("serial")
    )
    rows = rows.filter((pl.col("stage") == stage) & (pl.col("ends").is_not_null() | pl.col("begins").is_not_null()))
    rows = rows.sort("started_at", "serial")
    least = _minutes(rows, pl.col("finished_at") - pl.col("begins"), -np.inf)
    most = _minutes(rows, pl.col("started_at") - pl.col("ends"), np.inf)
    broken = (least > 0) | (most < 0)
    amounts = np.arange(-FARTHEST, FARTHEST + STEP / 2, STEP)
    right = np.array([np.sum((least[broken] <= amount) & (amount <= most[broken])) for amount in amounts])
    if right.max(initial=0) < max(RIGHT * broken.sum(), LEAST):
        return None
    likely = amounts[right >= right.max() - ALIKE * len(rows)]
    near, far = sorted((likely[0], likely[-1]), key=abs)
    minutes = float(near if abs(far) >= FARTHEST else (near + far) / 2)
    mended = broken & (least <= minutes) & (minutes <= most)
    score = np.where(mended, 1, np.where(broken, 0, -1))
    first, last = _stretch(score)
    if abs(minutes) < NEAREST or np.sum(mended[first:last]) < max(RIGHT * (last - first), LEAST):
        return None
    days = rows["day"]
    return Off(
        stage,
        minutes,
        days[first] if first else None,
        days[last - 1] if last < len(rows) else None,
        int(np.sum(mended[first:last])),
        len(rows),
    )


def _minutes(rows: pl.DataFrame, between: pl.Expr, nowhere: float) -> Floats:
    told = rows.select((between.dt.total_seconds() / 60).fill_null(nowhere))
    return np.asarray(told.to_series().to_numpy(), dtype=np.float64)


def _stretch(score: np.ndarray) -> tuple[int, int]:
    """The stretch (first, behind the last) whose scores add up to most."""
    sums = np.append(0, np.cumsum(score))
    lowest = np.minimum.accumulate(sums)
    last = int(np.argmax(sums - lowest))
    return int(np.flatnonzero(sums[: last + 1] == lowest[last])[0]), last

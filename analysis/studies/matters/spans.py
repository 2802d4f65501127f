"""Which signals of a bench are looked at together, and over which readings.

A shop of many years is not explained anew from its first day: signals that opened within eighteen weeks of one another
are looked at together, over the readings from as long before the first of them may have begun to as long after the last
has opened; where all have closed, to the day of the last closing, since they are explained as of then. What a cause
moved shows within that time, or not by these means; and an answer about a time that has passed stays what it was: the
few series whose baseline is not complete have no part in it, unless a chart of theirs has. Where eighteen weeks hold
too few instruments it is as long as holds enough.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from analysis.methods.segments import ONE_STREAM, Flags, Ints, Rows, placed, spans
from analysis.studies.drift.signals import Signals
from analysis.studies.drift.streams import Streams
from analysis.studies.matters.units import Signal
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

TOGETHER = timedelta(weeks=18)  # between the openings of signals that are looked at together
AROUND = 18 * 7  # days
STEP = 6 * 7  # days: spans begin and end by these, so that one that moves by a day is mostly the same
FEW = 0.2  # of the readings: so many are of series whose baseline is not complete, or these have a part in all
ENOUGH = 2000  # instruments, as many as say how far days, lots and people differ (see explained.CALM)


@dataclass(frozen=True)
class Span:
    """First and last day of the readings that are looked at; None: from the first on, up to now. young : those of
    series whose baseline is not complete too, which moves with each of their readings.
    """

    first: date | None
    last: date | None
    young: bool = True

    def holds(self, other: "Span") -> bool:
        """Does the other lie in it?"""
        begins = self.first is None or (other.first is not None and other.first >= self.first)
        ends = self.last is None or (other.last is not None and other.last <= self.last)
        return begins and ends and self.young >= other.young


@dataclass(frozen=True, eq=False)
class Bench:
    """The readings of one characteristic at one stage that have a baseline, of all positions."""

    characteristic: str
    stage: str
    at: Rows  # (n,) rows of Streams.readings, rising
    day: Rows  # (n,) days since 1970, rising in each stream
    instruments: Ints  # (i,) the day of each instrument, rising
    young: Flags  # (n,) of a series whose baseline is not complete
    models: frozenset[str]  # of such series
    starts: Ints = field(default_factory=lambda: ONE_STREAM)  # (k,) the first row of each stream

    @cached_property
    def share_young(self) -> float:
        """How many of the readings are of a series whose baseline is not complete, as a share."""
        return float(self.young.mean())

    def within(self, span: Span) -> Flags:
        """Which rows lie within a span (n,)."""
        kept = np.ones(len(self.at), dtype=bool) if span.young else ~self.young
        if span.first is not None:
            kept &= self.day >= number(span.first)
        if span.last is not None:
            kept &= self.day <= number(span.last)
        return kept

    def pieces(self, span: Span) -> tuple[Ints, Ints]:
        """The same rows as pieces, one of each stream that has any: where they begin and end (k,), without a look at
        every row.
        """
        begin, behind = self.starts, np.append(self.starts[1:], len(self.at))
        first, end = begin, behind
        if span.first is not None:
            first = placed(self.day, begin, behind, np.full(len(begin), number(span.first)), behind=False)
        if span.last is not None:
            end = placed(self.day, begin, behind, np.full(len(begin), number(span.last)), behind=True)
        some = (end > first) if span.young else (end > first) & ~self.young[self.starts]
        return first[some], end[some]

    def back(self, day: int) -> int:
        """Eighteen weeks and enough instruments before a day."""
        place = int(np.searchsorted(self.instruments, day)) - ENOUGH
        return min(day - AROUND, int(self.instruments[max(place, 0)]))

    def on(self, day: int) -> int:
        """Eighteen weeks and enough instruments after a day."""
        place = int(np.searchsorted(self.instruments, day, side="right")) + ENOUGH
        return max(day + AROUND, int(self.instruments[min(place, len(self.instruments) - 1)]))

    def span(self, start: int, last: int, *, past: bool, young: bool = True) -> Span:
        """Of what may have begun on one day and is looked at as of another; past : nothing after that is asked."""
        first, end = self.back(start) // STEP * STEP, last if past else -(-self.on(last) // STEP) * STEP
        return Span(
            day_of(first) if first > int(self.instruments[0]) else None,
            day_of(end) if end < int(self.instruments[-1]) else None,
            young,
        )


def bench(snapshot: Snapshot, judged: Signals, characteristic: str, stage: str) -> Bench | None:
    """The readings of a bench since the baselines in force, of streams that have one; None where none has."""
    kept = snapshot.once(_benches)
    key = (characteristic, stage)
    if key not in kept:
        held = judged.streams
        which = (
            (held.rows["characteristic"] == characteristic)
            & (held.rows["stage"] == stage)
            & (held.rows["tech"] == "")
            & (held.rows["n"] >= snapshot.shop.judging.least_readings)
        ).to_numpy() & (held.eras.sigma[held.last_era] > 0)
        firsts = np.maximum(held.eras.window[held.last_era], held.starts)
        some = np.flatnonzero(which & (held.ends >= firsts))
        size = held.ends[some] + 1 - firsts[some]
        at = spans(firsts[some], firsts[some] + size)
        days_told, visits = snapshot.once(_told)
        row = held.readings.row[at]
        day = days_told[row].astype(np.int32)
        days = _in_order(day[_instruments(held, at, visits[row])].astype(np.int64))
        era = held.last_era[some]
        new = held.ends[some] + 1 - held.eras.starts[era] < held.eras.judged_from[era]
        models = frozenset(held.rows["model"].gather(some[new]).to_list())
        starts = np.cumsum(size) - size
        made = Bench(characteristic, stage, at.astype(np.int32), day, days, np.repeat(new, size), models, starts)
        kept[key] = made if len(at) else None
    return kept[key]


def _told(snapshot: Snapshot) -> tuple[npt.NDArray[Any], npt.NDArray[np.int32]]:
    """Of each reading of the story the day (since 1970), and the row of its visit, -1 of none."""
    told = snapshot.once(story).readings
    day, visit = told["day"].to_physical(), told["visit"]
    return day.to_numpy(), visit.cast(pl.Int32).fill_null(-1).to_numpy()


def _instruments(held: Streams, at: Ints, visit: npt.NDArray[np.int32]) -> Ints:
    """Of some readings the first of each visit (n,), and of each part without an instrument."""
    first = np.full(int(visit.max(initial=-1)) + 2, -1, dtype=np.int32)
    first[visit[::-1]] = np.arange(len(visit) - 1, -1, -1, dtype=np.int32)
    parts = np.flatnonzero(visit < 0)
    serials = held.readings.at(at[parts], "serial").with_columns(place=parts).unique("serial", keep="first")
    return np.concatenate([first[:-1][first[:-1] >= 0], serials["place"].to_numpy()])


def _in_order(days: Ints) -> Ints:
    """The same days, the earliest first: counted, where they lie close together."""
    if not len(days) or int(days.max()) - int(days.min()) > len(days):
        return np.sort(days)
    counts = np.bincount(days - days.min())
    return np.repeat(np.arange(len(counts)) + days.min(), counts)


def _benches(_snapshot: Snapshot) -> dict[tuple[str, str], Bench | None]:
    return {}


def together(part: list[Signal]) -> Iterator[list[Signal]]:
    """Signals in groups that opened within eighteen weeks of the first of them."""
    chain: list[Signal] = []
    for one in sorted(part, key=lambda signal: signal.lately.opened):
        if chain and one.lately.opened > chain[0].lately.opened + TOGETHER:
            yield chain
            chain = []
        chain.append(one)
    if chain:
        yield chain


def span_of(snapshot: Snapshot, here: Bench, looked: list[Signal], *, closed: bool) -> Span:
    """Of signals that are looked at together; closed : they all have."""
    zone = snapshot.shop.zone
    starts, lasts = [], []
    for one in looked:
        opened = number(one.lately.opened.astimezone(zone).date())
        starts.append(max(number(one.lately.low.astimezone(zone).date()), here.back(opened)))
        until = one.row["closed_at"] if closed else None
        lasts.append(opened if until is None else min(number(until.astimezone(zone).date()), here.on(opened)))
    theirs = any(one.row["model"] in here.models for one in looked)
    young = not closed or theirs or here.share_young > FEW
    return here.span(min(starts), max(lasts), past=closed, young=young)


def opens_within(snapshot: Snapshot, span: Span, one: Signal) -> bool:
    """Did a signal open before the span ends?"""
    return span.last is None or one.lately.opened.astimezone(snapshot.shop.zone).date() <= span.last


def number(day: date) -> int:
    """Days since 1970."""
    return (day - date(1970, 1, 1)).days


def day_of(days: int) -> date:
    """The day so many days after the first of 1970."""
    return date(1970, 1, 1) + timedelta(days=days)

"""The order of one instrument's visits on a day of which the clock does not tell: by the bench, by the rows of the log,
and by what was sent back."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import cache
from itertools import groupby
from typing import NamedTuple

import numpy as np
import polars as pl

from analysis.methods.segments import Ints, blocks, fresh
from ingest.terms import tables

BACK = ("send back", "return")  # outcomes after which work is done again
NOWHERE = -1  # the place of a send-back that names no stage
GROUP = ["_day", "_log"]  # visits of one instrument and day in one log
AT_ONCE = 1 << 18  # visits, about: instruments are put in order so many at a time, or all of them would stand thrice


# of a visit without a clock what tells which way the rows of its log run
TELLING = ("who", "day", "bench_order", "line", "log", "outcome", "repair", *GROUP, "_again", "_back")
# of a visit of the story what tells which way the rows of its log run, beside whose it is (`ways_of`)
WAY = ("log_id", "line", "taken_at", "day", "bench_order", "time_known", "outcome", "role")


def ways_of(visits: pl.DataFrame) -> pl.DataFrame:
    """Which way the rows of each log without clocks run (`_rows_tell`): log_id as text, forth, tells.

    visits : who (a whole number) and WAY, of all instruments and parts that have a visit without a clock in these logs
    all visits; others do not matter.
    """
    held = visits.select("who", *WAY)
    if not held["who"].is_sorted():
        held = held.sort("who")
    log, names = tables.rank(held["log_id"]), held["log_id"].unique().cast(pl.String).sort()
    clocked = held["time_known"].fill_null(True)
    who = held["who"].to_numpy()

    def some() -> Iterator[pl.DataFrame]:
        for where in instruments_at_once(who):
            own = held[where].with_columns(
                clocked=clocked[where], repair=pl.col("role") == "repair", log=pl.Series(log[where])
            )
            asked = own.filter((~pl.col("clocked")).any().over("who"))
            yield asked.sort("who", "taken_at", "line", "bench_order", "log")

    told = _rows_tell(some())
    return told.select(log_id=names.gather(told["log"]), forth="forth", tells="tells").sort("log_id")


def instruments_at_once(who: Ints) -> Iterator[slice]:
    """Rows of all visits of some instruments, about AT_ONCE visits at a time, of all in turn; who (n,) rises. Of no
    visit one empty piece.
    """
    if len(who) <= AT_ONCE:
        yield slice(0, len(who))
        return
    yield from (where for _, where in blocks(np.flatnonzero(fresh(who)), len(who), AT_ONCE))


def in_bench_order(some: Callable[[], Iterable[pl.DataFrame]], ways: pl.DataFrame | None = None) -> Ints:
    """The numbers `_at` of visits in the order in which those without a clock stand where they belong.

    some : gives all visits, of some whole instruments at a time, in their order. A row a visit: _at, who, day,
    bench_order, line, log (whole numbers), clocked, outcome, sent_to (the place along the bench it was sent back to,
    NOWHERE of none) and repair (at a repair stage), sorted by who, then taken_at, line.

    Of two visits of one day of which one has no clock, the one at the earlier stage comes first, then the lower line;
    clocked ones keep their order. Where on that day work was sent back, or a stage was visited again, the bench does
    not tell what came first. Then, of visits without a clock:

    - the order of rows holds where all stand in one log whose rows are put down as work goes (`_rows_tell`);
    - else the one that a send-back of that day asks for stands behind it: a second visit to the stage it was sent back
      to, or on the way from there to where it was caught, or the only visit known there if its outcome is `fixed`. One
      that an earlier send-back still waits for need not.

    ways : log, forth and tells of each log (`_rows_tell`), where these are not all visits that tell of it.
    """
    told = cache(lambda: _rows_tell(some()) if ways is None else ways)
    return np.concatenate([_some_in_bench_order(visits, told)["_at"].to_numpy() for visits in some()])


def _some_in_bench_order(visits: pl.DataFrame, tells: Callable[[], pl.DataFrame]) -> pl.DataFrame:
    """Those of some instruments in their order. tells : `_rows_tell` of all."""
    days = _days(visits)
    by_bench = _by_bench(days.with_columns(_row=pl.lit(0, dtype=pl.Int64)))
    unsure = (
        by_bench.group_by("_day", maintain_order=True)
        .agg(
            pl.len().alias("n"),
            pl.col("clocked").any().alias("some"),
            pl.col("clocked").all().alias("all"),
            pl.col("log").n_unique().alias("logs"),
            pl.col("log").first(),
            (pl.col("_back") | pl.col("_again")).any().alias("work"),
            (pl.col("_back").any() & _done_again().any()).alias("went_back"),
        )
        .filter((pl.col("n") > 1) & ~pl.col("all") & pl.col("work"))
    )
    if unsure.is_empty():
        return by_bench
    told = tells()
    unsure = unsure.join(told, on="log", how="left").with_columns(pl.col("forth", "tells").fill_null(0))
    rows = unsure.filter(~pl.col("some") & (pl.col("logs") == 1) & (pl.col("tells") == 1)).select("_day", "forth")
    walked = set(unsure.filter("went_back")["_day"].to_list()) - set(rows["_day"].to_list())
    forth = days.select("_day").join(rows, on="_day", how="left", maintain_order="left")["forth"].fill_null(0)
    ordered = _by_bench(days.with_columns(_row=pl.col("line") * forth))
    if walked:
        ordered = _behind_send_backs(ordered, walked, told)
    return ordered


def _days(visits: pl.DataFrame) -> pl.DataFrame:
    """Adds `_day` (of one instrument), `_log`, `_again` (not its first visit to the stage) and `_back`."""
    return visits.with_columns(
        pl.struct("who", "day").rle_id().cast(pl.Int64).alias("_day"),
        pl.col("log").alias("_log"),
        ~pl.struct("who", "bench_order").is_first_distinct().alias("_again"),
        pl.col("outcome").cast(pl.String).is_in(BACK).alias("_back"),
    )


def _done_again() -> pl.Expr:
    """Visits that a send-back may have asked for."""
    return pl.col("_again") | pl.col("repair") | (pl.col("outcome") == "fixed")


def _by_bench(days: pl.DataFrame) -> pl.DataFrame:
    """By `_row` where it tells, else by bench order. Where that runs in a circle (two clocked visits that went back
    along the bench, an unclocked one between) the clocked keep their order and an unclocked visit stands right behind
    the last clocked one that is to precede it.
    """
    # `_behind`: for a clocked visit its place among the day's clocked ones, from 1; for an unclocked one the place of
    # the last that precedes it
    placed = days.with_columns(
        pl.when("clocked").then(pl.col("clocked").cast(pl.Int64).cum_sum().over("_day")).otherwise(0).alias("_behind")
    ).sort("_day", "bench_order", "line", "log")
    placed = placed.with_columns(
        pl.when("clocked").then("_behind").otherwise(pl.col("_behind").cum_max().over("_day")).alias("_behind")
    )
    return placed.sort("_day", "_behind", ~pl.col("clocked"), "_row", "bench_order", "line", "log").drop("_behind")


def _rows_tell(some: Iterable[pl.DataFrame]) -> pl.DataFrame:
    """Which way the rows of each log without clocks run, and whether they say what came first within a day: log, forth
    (1: the oldest first, -1: the newest), tells (1 or 0).

    The way is that of the days along an instrument's lines; of a log of a single day that of its plain days, on which
    nothing was sent back or done again. Rows tell where work that a send-back asked for mostly stands behind it, while
    plain days mostly run along the bench: rows that somebody sorted by stage do not.

    some : see `in_bench_order`.
    """
    found, n = [], 0
    for visits in some:
        days = _days(visits)
        found.append(days.filter(~pl.col("clocked")).select(TELLING).with_columns(pl.col("_day") + n))
        n += len(days)
    rows = pl.concat(found).sort("log", "line", "bench_order")
    step = pl.col("day").cast(pl.Int32).diff().sign().over("log", "who")
    way = rows.group_by("log").agg(step.sum().sign().cast(pl.Int64).fill_null(0).alias("days"))
    fell = (pl.col("bench_order").diff() < 0).any()
    rose = (pl.col("bench_order").diff() > 0).any()
    sent = rows.with_columns(
        pl.col("_back").any().over(GROUP).alias("sent"), pl.col("_again").any().over(GROUP).alias("again")
    )
    plain = (
        sent.filter(~pl.col("sent") & ~pl.col("again"))
        .group_by(GROUP, maintain_order=True)
        .agg(pl.len().alias("n"), fell.alias("fell"), rose.alias("rose"))
        .filter(pl.col("n") > 1)
        .group_by(pl.col("_log").alias("log"))
        .agg(pl.col("fell").mean(), pl.col("rose").mean())
    )
    way = way.join(plain, on="log", how="left").with_columns(
        forth=pl.when(pl.col("days") != 0)
        .then("days")
        .when((pl.col("fell") > 0.9) & (pl.col("rose") < 0.1))
        .then(-1)
        .otherwise(1)
    )
    sent = (
        sent.filter("sent")
        .join(way.select("log", "forth"), on="log", how="left")
        .with_columns(pl.col("line") * pl.col("forth"))
    )
    pairs = (
        sent.filter("_back")
        .select(*GROUP, caught="bench_order", line="line")
        .join(sent.filter(_done_again()), on=GROUP, suffix="_done")
        .filter(
            (pl.col("bench_order") < pl.col("caught"))
            | (pl.col("repair") & (pl.col("bench_order") != pl.col("caught")))
        )
    )
    behind = (
        pairs.group_by(GROUP)
        .agg((pl.col("line_done") > pl.col("line")).any().alias("behind"))
        .group_by(pl.col("_log").alias("log"))
        .agg(pl.col("behind").mean())
    )
    against = pl.when(pl.col("forth") == 1).then("fell").otherwise("rose").fill_null(0.0)
    return way.join(behind, on="log", how="left").select(
        "log", "forth", ((pl.col("behind").fill_null(0.0) >= 0.5) & (against < 0.5)).cast(pl.Int64).alias("tells")
    )


class _Visit(NamedTuple):
    row: int
    who: int
    day: int
    stage: int
    line: int  # as the log's rows run: the lower the earlier
    log: int
    chain: int  # visits of one chain follow each other as they stand
    back: bool
    fixed: bool
    sent_to: int
    repair: bool


CLOCK = -1  # the chain of visits with a clock


@dataclass
class _Past:
    """What an instrument has behind it at a moment."""

    left: Counter[int]  # visits to come, by stage
    seen: set[int] = field(default_factory=set)  # stages visited
    asked: _Visit | None = None  # the last send-back, while work has not come back to where it was caught
    since: frozenset[int] = frozenset()  # stages visited since

    def passed(self, visit: _Visit) -> None:
        """One visit later."""
        self.seen.add(visit.stage)
        self.left[visit.stage] -= 1
        self.since |= {visit.stage}
        if self.asked and not visit.repair and visit.stage >= self.asked.stage:
            self.asked = None
        if visit.back:
            self.asked, self.since = visit, frozenset()

    def again(self, visit: _Visit, back: _Visit) -> bool:
        """May `back` have asked for the visit?"""
        only = visit.fixed and visit.stage == back.sent_to and self.left[visit.stage] == 1
        return visit.repair or visit.stage in self.seen or only

    def waited_for(self, visit: _Visit) -> bool:
        """Is it the first visit since to the very stage that the last send-back went to?"""
        return self.asked is not None and visit.stage == self.asked.sent_to and visit.stage not in self.since

    def on_its_way(self, visit: _Visit) -> bool:
        """Is it the first since on the way back to where the last send-back was caught?"""
        return self.asked is not None and _on_the_way(visit, self.asked) and visit.stage not in self.since


def _on_the_way(visit: _Visit, back: _Visit) -> bool:
    """Does the visit lie between where work was sent back to and where that was seen?"""
    return back.sent_to < visit.stage < back.stage or (visit.repair and back.sent_to == NOWHERE)


def _behind_send_backs(ordered: pl.DataFrame, walked: set[int], told: pl.DataFrame) -> pl.DataFrame:
    """`ordered`, its days `walked` in the order of what was sent back. told : see `_rows_tell`."""
    whose = ordered.filter(pl.col("_day").is_in(list(walked)))["who"].unique()
    mine = ordered.with_row_index("_place").filter(pl.col("who").is_in(whose.to_list()))
    ways = mine.join(told, on="log", how="left", maintain_order="left").with_columns(
        pl.col("forth", "tells").fill_null(1)
    )
    alone = pl.col("log").max() + 1 + pl.col("_place").cast(pl.Int64)
    rows = ways.select(
        "_place",
        "who",
        "_day",
        "bench_order",
        pl.col("line") * pl.col("forth"),
        "log",
        pl.when("clocked").then(CLOCK).when(pl.col("tells") == 1).then("log").otherwise(alone).alias("chain"),
        "_back",
        pl.col("outcome") == "fixed",
        "sent_to",
        "repair",
    )
    places = list(range(len(ordered)))
    for _, visits in groupby(map(_Visit._make, rows.iter_rows()), key=lambda one: one.who):
        all_of_it = list(visits)
        past = _Past(Counter(one.stage for one in all_of_it))
        for day, some in groupby(all_of_it, key=lambda one: one.day):
            of_day = list(some)
            if day in walked:
                first = of_day[0].row
                places[first : first + len(of_day)] = [one.row for one in _walk(of_day, past)]
            else:
                for visit in of_day:
                    past.passed(visit)
    return ordered[places]


def _walk(visits: list[_Visit], past: _Past) -> Iterator[_Visit]:
    """One instrument's visits of one day, the next taken one by one; `past` goes with them."""
    chains: dict[int, list[_Visit]] = {}
    for visit in visits:
        chains.setdefault(visit.chain, []).append(visit)
    for name, chain in chains.items():
        if name != CLOCK:
            chain.sort(key=lambda one: (one.line, one.stage))
    while chains:
        backs = [one for chain in chains.values() for one in chain if one.back]
        rank = {
            name: (
                _waits(chain[0], backs, past),
                not (chain[0].repair and past.waited_for(chain[0])),
                chain[0].stage,
                chain[0].line,
                chain[0].log,
            )
            for name, chain in chains.items()
        }
        name = min(chains, key=rank.__getitem__)
        visit = chains[name].pop(0)
        if not chains[name]:
            del chains[name]
        past.passed(visit)
        yield visit


def _waits(visit: _Visit, backs: list[_Visit], past: _Past) -> bool:
    """Must one of the send-backs still to come stand before the visit?"""
    if past.waited_for(visit):
        return False
    asking = [
        one
        for one in backs
        if one is not visit and (visit.stage < one.stage or visit.repair) and past.again(visit, one)
    ]
    if any(one.sent_to == visit.stage for one in asking):
        return True
    return not past.on_its_way(visit) and any(_on_the_way(visit, one) for one in asking)

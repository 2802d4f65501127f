"""What a shift moves together with: who set it, lot, supplier, gauge, an earlier stage's tech, humidity, a dated
change, the weekday.

For each signal the readings are split: before = since the limits' baseline began, up to the first likely start; after =
from the likeliest start on. A level of a candidate (one lot, one tech ...) stands out where its readings moved and
those of the others did not: the difference of the two shifts is tested against the stream's sigma, two-sided. Where
after the start there is nobody else to compare with - a gauge changed for all, a dated change - it stands out if its
date falls into the set of likely starts and so good a hit would be rare by chance: the share of the readings that are
likely starts, or lie on the days of such. Humidity stands out where the readings follow it, apart from the shift, and
its own change explains at least a third of the shift. The tests are adjusted by Bonferroni for every level looked at;
together they name something by mistake in 5 % at most, half of it for each where both kinds are there. Of those that
stand out, all whose likelihood lies within 3.0 of the best cannot be told apart and are named together. Nothing here is
called the cause.

How often the right one is named: tests/trials/causes.md.

Source: likelihood ratio for nested means with known sigma; Bonferroni (Dunn 1961, J. American Statistical Association
56).
"""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
from scipy.special import ndtr

from analysis.methods.change_point import step
from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.drift.setters import deviations
from analysis.studies.drift.signals import SHORT_RUN, Signals, signals
from analysis.studies.drift.stream_view import changes_for
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

OVERALL = 0.05
TOGETHER = 3.0  # log-likelihood within which two candidates cannot be told apart
LEAST = 5  # readings of a level after the start, and of the others, from which on they are compared
OWN_BEFORE = 10  # readings of a level before the start from which on its own mean before is used
Z95 = 1.96
LAG_HOURS = 48
ITS_SHARE = 1 / 3  # of the shift, that the air must explain to stand out
EPOCH = date(1970, 1, 1)

SET_BY, LOT, SUPPLIER, GAUGE, HUMIDITY, CHANGE, WEEKDAY = (
    "set by",
    "lot",
    "supplier",
    "gauge",
    "humidity",
    "change",
    "weekday",
)
TECH_AT = "tech at "  # and the stage
PEOPLE = (SET_BY, TECH_AT)  # outside Bench these show as "differs between people at this bench"


@dataclass(frozen=True)
class Candidate:
    """One thing looked at: the level of it that goes best with the shift, and what it explains, in the unit of the
    readings.
    """

    name: str
    value: str
    effect: float | None  # None: nothing to compare with
    low: float | None  # 95 %
    high: float | None
    p: float  # adjusted for all levels looked at, at most 1
    likelihood: float  # log, of "only these moved"
    named: bool


@dataclass(frozen=True)
class MovesWith:
    """What a shift moves together with."""

    candidates: list[Candidate]  # named ones first, then by p
    looked_at: int  # levels compared

    @property
    def named(self) -> list[Candidate]:
        """The candidates that are named: the first, and those that cannot be told from it."""
        return [candidate for candidate in self.candidates if candidate.named]


def moves_with(snapshot: Snapshot) -> pl.DataFrame:
    """Two text columns beside signals.found: what each signal moves with and which of it; those that cannot be told
    apart joined by '; '.
    """
    found = [_joined(one) for one in snapshot.once(all_candidates)]
    return pl.DataFrame(found, schema={"moves_with": pl.String(), "moves_with_value": pl.String()}, orient="row")


def all_candidates(snapshot: Snapshot) -> list[MovesWith]:
    """What each signal moves together with, in the order of signals.found."""
    judged = snapshot.once(signals)
    if judged is None or judged.found.is_empty():
        return []
    looks = _Looks(snapshot, judged)
    return [looks.at(row) for row in judged.found.iter_rows(named=True)]  # a loop over signals, not over readings


def _joined(one: MovesWith) -> tuple[str, str]:
    return "; ".join(candidate.name for candidate in one.named), "; ".join(candidate.value for candidate in one.named)


@dataclass(frozen=True)
class _Levels:
    """One candidate: the level of every reading of the streams that have a signal."""

    name: str
    code: Ints  # (n,) -1 where not known
    words: list[str]  # the level of each code


@dataclass(frozen=True)
class _Split:
    """The readings of one signal, before and after."""

    at: Ints  # (k,) rows of Streams.readings
    local: Ints  # (k,) the same among the readings that are looked up
    values: Floats  # (k,)
    after: Flags  # (k,)
    sigma: float
    sign: float  # which way it moved
    likely: tuple[int, int]  # rows of the first and last likely start
    size: int  # readings among which the start was looked for

    def likelihood(self, moved: Flags) -> float:
        """Log-likelihood, up to a constant, of one mean for those that moved and one for all others."""
        off = sum(
            float(((part - part.mean()) ** 2).sum()) for part in (self.values[moved], self.values[~moved]) if len(part)
        )
        return -off / (2 * self.sigma**2)


class _Looks:
    """What is needed to look at any signal: the readings with everything they may move with."""

    def __init__(self, snapshot: Snapshot, judged: Signals) -> None:
        self.snapshot, self.judged = snapshot, judged
        moved = judged.found["stream"].unique().to_list()
        asked = judged.streams.readings["stream"].is_in(moved)
        self.place = (
            np.cumsum(asked.to_numpy()) - 1
        )  # of a reading among those of streams with a signal: nothing else is looked up
        readings = judged.streams.readings.filter(asked)
        self.day, self.set_on = (readings[name].cast(pl.Int32).to_numpy() for name in ("day", "set_on"))
        shared = [
            (LOT, readings["lot"]),
            (SUPPLIER, readings["supplier"]),
            (GAUGE, readings["gauge"]),
            (WEEKDAY, readings["day"].dt.strftime("%A")),
            (SET_BY, readings["set_by"]),
        ]
        self.shared = [_coded(name, column) for name, column in shared]
        visits = snapshot.once(story).visits
        self.earlier = _earlier(visits, readings)
        self.air = _air(snapshot, visits, readings)
        plotted, _, worked = deviations(judged.streams)
        self.values = np.where(
            judged.streams.per_reading(worked), plotted, judged.streams.values
        )  # as the charts judge them
        self.taken = judged.streams.readings["taken_at"].cast(pl.Int64).to_numpy()

    def at(self, row: dict[str, Any]) -> MovesWith:
        split = self._split(row)
        if split is None:
            return MovesWith([], 0)
        held = self.judged.streams.readings
        set_at = self.snapshot.shop.set_stage(str(row["characteristic"]), str(row["model"]))
        levels = [one for one in self.shared if one.name != SET_BY or not row["tech"]]
        levels += [one for one in self.earlier if one.name != TECH_AT + set_at]
        compared = self._follows(split)
        dated: list[Candidate] = []
        for one in levels:
            beside, alone = _compared(one, split, self.day)
            compared += beside
            dated += alone
        first = held["day"][int(split.at[0])]
        for change in changes_for(self.snapshot, row["model"], row["stage"], row["characteristic"], first).iter_rows(
            named=True
        ):
            days = self.set_on[split.local] if change["stage"] and change["stage"] == set_at else self.day[split.local]
            begun = (change["from_date"] - EPOCH).days
            since = days >= begun
            if change["to_date"] is not None:
                since &= days <= (change["to_date"] - EPOCH).days
            if LEAST <= since.sum() <= len(since) - LEAST:
                dated.append(
                    _dated(CHANGE, f"{change['what']}, {change['from_date']:%Y-%m-%d}", since, begun, split, days)
                )
        return _named(compared, dated)

    def _split(self, row: dict[str, Any]) -> _Split | None:
        """Before and after; None where too few lie on either side."""
        if row["stream"] < 0 or row["began_at"] is None:
            return None
        held, charts = self.judged.streams, self.judged.charts
        stream, began, chart = row["stream"], row["began_reading"], row["chart_row"]
        low, end = int(held.starts[stream]), int(np.append(held.starts, len(held.values))[stream + 1])
        sigma, centre = float(held.own.sigma[stream]), float(held.own.centre[stream])
        if charts is not None and row["chart"] != SHORT_RUN:
            low, sigma, centre = int(charts.window[chart]), float(charts.sigma[chart]), float(charts.centre[chart])
        if row["closed_at"] is not None:  # to the last firing: the quiet readings after it are no part of the shift
            end = max(row["last_reading"], began) + 1
        if sigma <= 0 or end - low < 2 * LEAST:
            return None
        if row["first_reading"] == low:
            taken = self.taken[low:end]
            first, last = (low + int(np.searchsorted(taken, _micro(row[name]))) for name in ("began_low", "began_high"))
        # a chart whose average hovers about its limit opens again and again over one shift: look for it since the
        # baseline began
        else:
            since = step(self.values[low:end], sigma=sigma, end=row["reading"] - low)
            began, first, last = (low + int(place[0]) for place in (since.at, since.low, since.high))
        at = np.arange(low, end)
        at = at[(at < first) | (at >= began)]
        after = at >= began
        if after.sum() < LEAST or (~after).sum() < LEAST:
            return None
        away = float(self.values[row["reading"] : row["last_reading"] + 1].mean()) - centre
        return _Split(
            at,
            self.place[at],
            self.values[at],
            after,
            sigma,
            float(np.sign(away)),
            (first, min(last, end - 1)),
            end - low,
        )

    def _follows(self, split: _Split) -> list[Candidate]:
        """Do the readings follow the air, apart from the shift, and did the air change with it: so much of the shift
        goes with humidity.
        """
        found = []
        for word, every in self.air:
            rh = every[split.local]
            known = ~np.isnan(rh)
            before, after = known & ~split.after, known & split.after
            if before.sum() < LEAST or after.sum() < LEAST or known.mean() < 0.9:
                continue
            air, value, side = rh[known], split.values[known], split.after[known]
            change = float(air[side].mean() - air[~side].mean())
            shift = float(value[side].mean() - value[~side].mean())
            off = air - air.mean()
            square = float(off @ off)
            if square <= 1e-9 * float(air @ air):
                continue
            rest = float(((value - value.mean() - float(off @ value) / square * off) ** 2).sum())
            for parts in ((~side, side), (side,)):  # always, or since the shift only
                inside = [air[part] - air[part].mean() for part in parts]
                square = max(sum(float(part @ part) for part in inside), 1e-12)
                slope = sum(float(one @ value[part]) for one, part in zip(inside, parts, strict=True)) / square
                effect, error = slope * change, split.sigma * abs(change) / float(np.sqrt(square))
                stands = error > 0 and effect * split.sign > 0 and abs(effect) >= ITS_SHARE * abs(shift)
                p = 2 * float(ndtr(-abs(effect) / error)) if stands else 1.0
                told = f"{'+' if change > 0 else '-'}{abs(change):.0f} %RH{word}"
                found.append(
                    Candidate(
                        HUMIDITY,
                        told,
                        effect,
                        effect - Z95 * error,
                        effect + Z95 * error,
                        p,
                        -rest / (2 * split.sigma**2),
                        False,
                    )
                )
        return found


def _micro(when: datetime) -> int:
    return (when - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def _coded(name: str, column: pl.Series) -> _Levels:
    codes, words = _codes(column)
    return _Levels(name, codes, words)


def _codes(column: pl.Series) -> tuple[Ints, list[str]]:
    """Number of each text from 0 in the order of the alphabet, -1 for none; and the texts."""
    words = column.unique().drop_nulls().sort()
    words = words.filter(words != "")
    numbered = pl.DataFrame({"word": words, "code": pl.int_range(len(words), dtype=pl.Int64, eager=True)})
    found = (
        pl.DataFrame({"word": column})
        .join(numbered, on="word", how="left", maintain_order="left")["code"]
        .fill_null(-1)
    )
    return found.to_numpy().astype(np.int64), words.to_list()


def _earlier(visits: pl.DataFrame, readings: pl.DataFrame) -> list[_Levels]:
    """Who worked on the instrument at each stage before it was read, by first-pass visits."""
    first = visits.filter(pl.col("first_pass") & (pl.col("tech") != "")).select(
        "serial", "stage", "tech", pl.col("visit").alias("_at")
    )
    mine = readings.select("serial", "visit")
    found = []
    for (stage,), part in first.group_by("stage", maintain_order=True):
        one_each = part.unique("serial", keep="first", maintain_order=True)
        joined = mine.join(one_each, on="serial", how="left", maintain_order="left")
        found.append(
            _coded(
                TECH_AT + str(stage),
                joined.select(pl.when(pl.col("_at") < pl.col("visit")).then("tech").otherwise(pl.lit("")))["tech"],
            )
        )
    return sorted(found, key=lambda one: one.name)


def _air(snapshot: Snapshot, visits: pl.DataFrame, readings: pl.DataFrame) -> list[tuple[str, Floats]]:
    """Humidity for each reading (n,), nan where not known: at the bench as written at the visit, else the last in the
    climate log; and two days before, since wood takes its time (common practice, no published source for the two days).
    """
    at = readings.select("visit", "taken_at").with_row_index("place")
    rh = at.join(visits.select("visit", "rh"), on="visit", how="left", maintain_order="left")["rh"]
    air = (
        snapshot.table("climate").filter(pl.col("rh").is_not_null()).select("at", pl.col("rh").alias("air")).sort("at")
    )
    if air.is_empty():
        return [("", _numbers(rh))] if rh.null_count() < len(rh) else []
    sorted_at = at.sort("taken_at")
    now = sorted_at.join_asof(air, left_on="taken_at", right_on="at").sort("place")["air"]
    before = sorted_at.with_columns(pl.col("taken_at") - pl.duration(hours=LAG_HOURS))
    earlier = before.join_asof(air, left_on="taken_at", right_on="at").sort("place")["air"]
    return [("", _numbers(pl.select(pl.coalesce(rh, now)).to_series())), (f" {LAG_HOURS} h before", _numbers(earlier))]


def _numbers(column: pl.Series) -> Floats:
    return np.asarray(column.cast(pl.Float64).fill_null(np.nan).to_numpy(), dtype=np.float64)


def _compared(one: _Levels, split: _Split, day: Ints) -> tuple[list[Candidate], list[Candidate]]:
    """Every level of one candidate: its shift against the others' shift; apart from them the levels to which all moved
    over, by their date.
    """
    code = one.code[split.local]
    known = code >= 0
    if not known.any():
        return [], []
    level, which = np.unique(code, return_inverse=True)
    if len(level) < 2:
        return [], []
    cell = split.after * len(level) + which
    count = np.bincount(cell, minlength=2 * len(level)).reshape(2, -1).astype(np.float64)
    total = np.bincount(cell, split.values, minlength=2 * len(level)).reshape(2, -1)
    beside: list[Candidate] = []
    alone: list[Candidate] = []
    for k in np.flatnonzero((level >= 0) & (count[1] >= LEAST)):
        word = one.words[int(level[k])]
        others = count.sum(axis=1) - count[:, k]
        if others[1] < LEAST:
            if count[0, k] <= 0.05 * count[1, k]:  # all moved over to it
                inside = which == k
                alone.append(
                    _dated(one.name, word, inside, int(day[split.local[int(inside.argmax())]]), split, day[split.local])
                )
            continue
        mean = total[:, k] / np.maximum(count[:, k], 1)
        rest = (total.sum(axis=1) - total[:, k]) / np.maximum(others, 1)
        effect, variance = float(mean[1] - rest[1]), float(1 / count[1, k] + 1 / others[1])
        if count[0, k] >= OWN_BEFORE and others[0] >= OWN_BEFORE:  # its own mean before, if it had one
            effect, variance = effect - float(mean[0] - rest[0]), variance + float(1 / count[0, k] + 1 / others[0])
        error = split.sigma * float(np.sqrt(variance))
        p = 2 * float(ndtr(-abs(effect) / error)) if effect * split.sign > 0 else 1.0
        moved = split.after & (which == k)
        beside.append(
            Candidate(
                one.name, word, effect, effect - Z95 * error, effect + Z95 * error, p, split.likelihood(moved), False
            )
        )
    return beside, alone


def _dated(name: str, value: str, since: Flags, begun: int, split: _Split, days: Ints) -> Candidate:
    """Something that holds for all readings from a day on: how rarely would it fall so well among the likely starts, as
    a reading or as a day.
    """
    size, n = int(since.sum()), len(since)
    effect = float(split.values[since].mean() - split.values[~since].mean())
    error = split.sigma * float(np.sqrt(1 / size + 1 / (n - size)))
    first, last = split.likely
    inside = (split.at >= first) & (split.at <= last)
    p = 1.0
    if effect * split.sign > 0 and inside.any():  # a clean before and after may leave out all the likely starts
        early, late = int(days[inside].min()), int(days[inside].max())
        if first <= split.at[int(since.argmax())] <= last:
            p = (last - first + 1) / split.size
        elif early <= begun <= late:
            p = float(((days >= early) & (days <= late)).mean())
    return Candidate(name, value, effect, effect - Z95 * error, effect + Z95 * error, p, split.likelihood(since), False)


def _named(compared: list[Candidate], dated: list[Candidate]) -> MovesWith:
    kinds = [kind for kind in (compared, dated) if kind]
    adjusted = [replace(c, p=min(1.0, c.p * len(kind) * len(kinds))) for kind in kinds for c in kind]
    best = max((c.likelihood for c in adjusted if c.p <= OVERALL), default=0.0)
    kept: dict[str, Candidate] = {}
    for c in sorted(adjusted, key=lambda c: (c.p, -c.likelihood)):  # the best level of each candidate is shown
        named = c.p <= OVERALL and c.likelihood >= best - TOGETHER
        shown = kept.get(c.name)
        if shown is None or (named and not shown.named):
            kept[c.name] = replace(c, named=named)
    ordered = sorted(kept.values(), key=lambda c: (not c.named, c.p, -c.likelihood, c.name))
    return MovesWith(ordered, len(adjusted))

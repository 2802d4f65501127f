"""What a shift moves together with: who set it, lot, supplier, gauge, an earlier stage's tech, humidity, a dated change, the weekday.

For each signal the readings are split at the likeliest start into before and after. A level of a candidate (one lot, one tech ...)
stands out where, after the start, its readings moved and those of the others did not: the difference of the two shifts is tested against
the stream's sigma, two-sided, with Bonferroni's adjustment for every level looked at (overall 5 %). Where after the start there is
nobody else to compare with - a gauge changed for all, a dated change - it stands out only if its date falls into the set of likely starts
and so good a hit would be rare by chance. Of those that stand out, all whose likelihood lies within 3.0 of the best cannot be told
apart and are named together. Nothing here is called the cause.

Source: likelihood ratio for nested means with known sigma; Bonferroni (Dunn 1961, J. American Statistical Association 56).
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.special import ndtr

from analysis.methods.segments import Flags, Floats
from analysis.studies.signals import SHORT_RUN, Signals, signals
from analysis.studies.story import story
from analysis.studies.stream_view import changes_for
from ingest.snapshot import Snapshot

OVERALL = 0.05
TOGETHER = 3.0  # log-likelihood within which two candidates cannot be told apart
LEAST = 5  # readings of a level after the start, and of the others, from which on they are compared
OWN_BEFORE = 10  # readings of a level before the start from which on its own mean before is used
Z95 = 1.96

SET_BY, LOT, SUPPLIER, GAUGE, HUMIDITY, CHANGE, WEEKDAY = "set by", "lot", "supplier", "gauge", "humidity", "change", "weekday"
TECH_AT = "tech at "  # and the stage
PEOPLE = (SET_BY, TECH_AT)  # outside Bench these show as "differs between people at this bench"


@dataclass(frozen=True)
class Candidate:
    """One thing looked at: the level of it that goes best with the shift, and what it explains, in the unit of the readings."""

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
    candidates: list[Candidate]  # named ones first, then by p
    looked_at: int  # levels compared

    @property
    def named(self) -> list[Candidate]:
        return [candidate for candidate in self.candidates if candidate.named]


def moves_with(snapshot: Snapshot) -> pl.DataFrame:
    """Two text columns beside signals.found: what each signal moves with and which of it; those that cannot be told apart joined by '; '."""
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


class _Looks:
    """What is needed to look at any signal: the readings with everything they may move with."""

    def __init__(self, snapshot: Snapshot, judged: Signals) -> None:
        self.snapshot, self.judged = snapshot, judged
        told = snapshot.once(story)
        self.climate = snapshot.table("climate").filter(pl.col("rh").is_not_null()).sort("at")
        self.visits = told.visits.select("visit", "serial", "stage", "tech", "bench_order", "first_pass", "rh")

    def at(self, row: dict[str, object]) -> MovesWith:
        held = self.judged.streams
        first, began, stream = (int(str(row[name])) for name in ("first_reading", "began_reading", "stream"))
        end = int(held.readings["stream"].search_sorted(stream, side="right"))
        if row["closed_at"] is not None:  # to the last firing: the quiet readings after it are no part of the shift
            end = first + int((held.readings["taken_at"].slice(first, end - first) <= row["last_at"]).sum())
        readings = held.readings[first:end]
        values = held.values[first:end]
        after = np.arange(first, end) >= began
        sigma = self._sigma(row, stream)
        if sigma <= 0 or after.sum() < LEAST or (~after).sum() < LEAST:
            return MovesWith([], 0)
        tried: list[Candidate] = []
        for name, levels in self._levels(readings, str(row["tech"])):
            tried += _compared(name, levels, values, after, sigma, readings["taken_at"], row)
        tried += self._changes(readings, values, sigma, row)
        return _named(tried)

    def _sigma(self, row: dict[str, object], stream: int) -> float:
        charts = self.judged.charts
        if charts is None or row["chart"] == SHORT_RUN:
            return float(self.judged.streams.own.sigma[stream])
        return float(charts.sigma[int(str(row["chart_row"]))])

    def _levels(self, readings: pl.DataFrame, tech: str) -> list[tuple[str, pl.Series]]:
        """Each candidate and its level for each reading; '' where not known."""
        found = [(LOT, readings["lot"]), (SUPPLIER, readings["supplier"]), (GAUGE, readings["gauge"]),
                 (WEEKDAY, readings["day"].dt.strftime("%A")), (HUMIDITY, self._damp(readings))]  # fmt: skip
        if not tech:
            found.append((SET_BY, readings["set_by"]))
        item = self.snapshot.shop.by_characteristic.get(str(readings["characteristic"][0]))
        set_at = item.set_at if item else ""
        mine = readings.select("serial", pl.col("visit").alias("_at")).with_row_index("place")
        here = self.visits.filter(pl.col("serial").is_in(readings["serial"].unique().to_list()) & pl.col("first_pass") & (pl.col("tech") != ""))
        before = mine.join(here, on="serial").filter(pl.col("visit") < pl.col("_at"))
        for (stage,), part in before.group_by("stage", maintain_order=True):
            if stage == set_at:
                continue
            last = part.unique("place", keep="last").select("place", "tech")
            one_each = mine.select("place").join(last, on="place", how="left", maintain_order="left")
            found.append((TECH_AT + str(stage), one_each["tech"].fill_null("")))
        return found

    def _damp(self, readings: pl.DataFrame) -> pl.Series:
        """Thirds of the humidity at the bench: as written at the visit, else the last in the climate log."""
        at = readings.select("visit", "taken_at").with_row_index("place")
        rh = at.join(self.visits.select("visit", "rh"), on="visit", how="left", maintain_order="left")["rh"]
        if rh.null_count() and len(self.climate):
            air = self.climate.select("at", pl.col("rh").alias("air"))
            near = at.sort("taken_at").join_asof(air, left_on="taken_at", right_on="at").sort("place")
            rh = pl.select(pl.coalesce(rh, near["air"])).to_series()
        known = rh.drop_nulls()
        if len(known) < 3 * LEAST or known.n_unique() < 3:
            return pl.Series([""] * len(readings))
        low, high = float(known.quantile(1 / 3) or 0), float(known.quantile(2 / 3) or 0)
        words = pl.when(rh.is_null()).then(pl.lit("")).when(rh <= low).then(pl.lit(f"up to {low:.0f} %RH"))
        return pl.select(words.when(rh > high).then(pl.lit(f"above {high:.0f} %RH")).otherwise(pl.lit(f"{low:.0f} to {high:.0f} %RH"))).to_series()

    def _changes(self, readings: pl.DataFrame, values: Floats, sigma: float, row: dict[str, object]) -> list[Candidate]:
        """Dated changes that touch the stream: one stands out where its date lies among the likely starts."""
        dated = changes_for(self.snapshot, str(row["model"]), str(row["stage"]), str(row["characteristic"]), readings["day"][0])
        found = []
        for change in dated.iter_rows(named=True):
            since = (readings["day"] >= change["from_date"]).to_numpy()
            if LEAST <= since.sum() <= len(since) - LEAST:
                found.append(_dated(CHANGE, f"{change['what']}, {change['from_date']:%Y-%m-%d}", since, values, sigma, readings["day"], row))
        return found


def _compared(name: str, levels: pl.Series, values: Floats, after: Flags, sigma: float, taken: pl.Series, row: dict[str, object]) -> list[Candidate]:
    """Every level of one candidate: its shift against the others' shift, or, where all moved over to it, its date."""
    level, which = np.unique(levels.to_numpy().astype(str), return_inverse=True)
    if len(level) < 2:
        return []
    count = np.zeros((2, len(level)))
    total = np.zeros((2, len(level)))
    np.add.at(count, (after.astype(int), which), 1.0)
    np.add.at(total, (after.astype(int), which), values)
    found = []
    for k in np.flatnonzero((level != "") & (count[1] >= LEAST)):
        others = count.sum(axis=1) - count[:, k]
        if others[1] < LEAST:
            inside = which == k
            if count[0, k] <= 0.05 * count[1, k]:  # all moved over to it
                found.append(_dated(name, str(level[k]), inside, values, sigma, taken.dt.date(), row))
            continue
        mean = total[:, k] / np.maximum(count[:, k], 1)
        rest = (total.sum(axis=1) - total[:, k]) / np.maximum(others, 1)
        effect, variance = mean[1] - rest[1], 1 / count[1, k] + 1 / others[1]
        if count[0, k] >= OWN_BEFORE and others[0] >= OWN_BEFORE:  # its own mean before, if it had one
            effect, variance = effect - (mean[0] - rest[0]), variance + 1 / count[0, k] + 1 / others[0]
        error = sigma * np.sqrt(variance)
        size = float(str(row["size"])) if row["size"] is not None else 0.0
        same_way = effect * size > 0
        p = 2 * float(ndtr(-abs(effect) / error)) if same_way else 1.0
        found.append(Candidate(name, str(level[k]), float(effect), float(effect - Z95 * error), float(effect + Z95 * error), p,
                               _likelihood(values, after & (which == k), sigma), False))  # fmt: skip
    return found


def _dated(
    name: str, value: str, since: Flags, values: Floats, sigma: float, days: pl.Series, row: dict[str, object]
) -> Candidate:
    """Something that holds for all readings from a date on: how rarely would its date fall so well among the likely starts."""
    size, n = int(since.sum()), len(values)
    effect = float(values[since].mean() - values[~since].mean())
    error = sigma * float(np.sqrt(1 / size + 1 / (n - size)))
    begun = days[int(since.argmax())]
    low, high = (row[key].date() if row[key] is not None else None for key in ("began_low", "began_high"))  # type: ignore[attr-defined]
    likely = low is not None and high is not None and low <= begun <= high
    span = max((days[-1] - days[0]).days, 1)
    width = (high - low).days + 1 if low is not None and high is not None else span
    p = min(1.0, width / span) if likely else 1.0
    return Candidate(name, value, effect, effect - Z95 * error, effect + Z95 * error, p, _likelihood(values, since, sigma), False)


def _likelihood(values: Floats, moved: Flags, sigma: float) -> float:
    """Log-likelihood, up to a constant, of one mean for those that moved and one for all others."""
    off = sum(float(((part - part.mean()) ** 2).sum()) for part in (values[moved], values[~moved]) if len(part))
    return -off / (2 * sigma**2)


def _named(tried: list[Candidate]) -> MovesWith:
    looked = len(tried)
    adjusted = [Candidate(c.name, c.value, c.effect, c.low, c.high, min(1.0, c.p * looked), c.likelihood, False) for c in tried]
    out = [c for c in adjusted if c.p <= OVERALL]
    best = max((c.likelihood for c in out), default=0.0)
    kept: dict[str, Candidate] = {}
    for c in sorted(adjusted, key=lambda c: (c.p, -c.likelihood)):  # the best level of each candidate is shown
        named = c.p <= OVERALL and c.likelihood >= best - TOGETHER
        shown = kept.get(c.name)
        if shown is None or (named and not shown.named):
            kept[c.name] = Candidate(c.name, c.value, c.effect, c.low, c.high, c.p, c.likelihood, named)
    ordered = sorted(kept.values(), key=lambda c: (not c.named, c.p, -c.likelihood, c.name))
    return MovesWith(ordered, looked)

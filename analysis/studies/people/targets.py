"""What a tech is to hold, where they stand, and a test that ends when enough is known.

A target is shown when a sequential test says so; then a person signs, not the program. After each answer the test
begins anew with the next instrument and the latest answer counts, so that what was not shown at the start is not held
against anybody for good. A band as wide as the limits is held by somebody who sets twice as widely as the others, too:
whose spread is shown to be wide, and who has more outside the bands than the others have, holds none of them yet; but
for one that a person set by hand. Bands: `bands`; what is no person's and left out: `not_theirs`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import lru_cache

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.ever_shown import WITHIN, ever_shown, lasting_plan
from analysis.methods.intervals import binomial_exact, mean_t, sd_chi
from analysis.methods.segments import Flags
from analysis.methods.sequential import SequentialPlan, verdict, wald_lines
from analysis.studies.people.bands import BY_HAND, LEAST, judged_by, set_readings, slips_of, targets_of
from analysis.studies.people.not_theirs import FAR, LeftOut, left_out
from analysis.studies.people.wide import Wide, wide
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

__all__ = ["LEAST", "LeftOut"]
PRACTICE = 10  # instruments of a practice set
RISK_GOOD, RISK_POOR = 0.05, 0.10
RISK_OUT = 0.05  # of saying of somebody wide that more of theirs lie outside than of the others', if it is as many
SHOWN, NOT_SHOWN, TOO_FEW = "target shown", "not shown yet", "too few to say"
ORDER = (NOT_SHOWN, TOO_FEW, SHOWN)  # what is to be practised comes first
WORDS = {"shown": SHOWN, "not shown": NOT_SHOWN, "too few": TOO_FEW}


@dataclass(frozen=True)
class Stand:
    """Where one tech stands against one band; canonical units."""

    band: dict[str, object]  # a row of `bands.targets_of`
    tech: str
    values: list[float]  # as set, in time order, without what is left out
    serials: list[str]
    out: list[bool]  # which of them lie outside the band, by the step of their gauge
    on_edge: int  # how many the band's end lies within the step of: shown neither to hold nor not to
    left_out: list[LeftOut]  # what is no person's
    mean: float | None
    mean_low: float | None
    mean_high: float | None
    sd: float | None
    sd_low: float | None
    sd_high: float | None
    inside: int  # not outside: on the edge counts as inside and is told beside
    inside_low: float
    inside_high: float
    verdict: str  # target shown | not shown yet | too few to say
    began_at: int  # instruments before the test that gave the verdict
    decided_at: int  # instrument at which it was decided, or how many there are
    test: SequentialPlan = field(repr=False)
    lasts: "Lasting"  # what the test promises
    wide: Wide | None = None  # how wide beside the others, where that is shown
    others: tuple[int, int] = (0, 0)  # of what others set in this band: outside, of how many
    too_wide: tuple[int, int, int, int] | None = None
    """Where its test says shown and the spread does not let it: outside, of how many, of this person's readings in all
    bands of the characteristic there, and of the others'.
    """


def stands(snapshot: Snapshot, tech: str, *, since: date | None = None, until: date | None = None) -> list[Stand]:
    """Where a tech stands against every band whose readings they set; `since`: the day the test began (None: their
    first reading), `until`: the last day looked at. Only readings under the band's own spec count.
    """
    readings = set_readings(snapshot).sort("taken_at", "serial")
    slips = slips_of(snapshot).filter(pl.col("set_by") == tech)
    if since is not None:
        readings, slips = (rows.filter(pl.col("set_on") >= since) for rows in (readings, slips))
    if until is not None:
        readings, slips = (rows.filter(pl.col("set_on") <= until) for rows in (readings, slips))
    touched = readings.filter(pl.col("set_by") == tech).select("characteristic", "position", "setup").unique()
    theirs = targets_of(snapshot, tech).join(
        tables.plain(touched),
        left_on=["characteristic", "position", "model"],
        right_on=["characteristic", "position", "setup"],
        how="semi",
    )
    found = []
    for band in theirs.iter_rows(named=True):
        of_band = readings.filter(*_under(band))
        if (of_band["set_by"] == tech).any():
            found.append(_stand(snapshot, band, tech, of_band, slips.filter(*_under(band))["serial"].to_list()))
    return _by_spread(found)


def _by_spread(found: list[Stand]) -> list[Stand]:
    """What is shown by its test is not shown yet where the spread is wide and more lies outside than of the others'."""
    told = []
    for one in found:
        same = [
            each for each in found if all(each.band[name] == one.band[name] for name in ("stage", "characteristic"))
        ]
        out, n = sum(sum(each.out) for each in same), sum(len(each.out) for each in same)
        theirs, of = (sum(each.others[k] for each in same) for k in (0, 1))
        held = one.verdict != SHOWN or one.wide is None or one.band["source"] == BY_HAND
        if held or float(stats.hypergeom.sf(out - 1, n + of, out + theirs, n)) > RISK_OUT:
            told.append(one)
        else:
            told.append(replace(one, verdict=NOT_SHOWN, too_wide=(out, n, theirs, of)))
    return told


def _under(band: dict[str, object]) -> list[pl.Expr]:
    """Of a band's series, and under its own spec."""
    series = {"characteristic": "characteristic", "position": "position", "setup": "model"}
    held = [pl.col(name).eq(pl.lit(band[of])) for name, of in series.items()]
    if band["spec"] is not None:
        held += [pl.col(end).eq_missing(pl.lit(band[f"spec_{end}"])) for end in ("lower", "upper")]
    return held


def _slips(serials: Sequence[str]) -> list[LeftOut]:
    """Readings left out as slips, told together."""
    return [LeftOut(FAR, ", ".join(sorted(serials)), None, None, len(serials), None)] if serials else []


def first_stands(snapshot: Snapshot, tech: str, stage: str) -> list[Stand]:
    """The targets of somebody at a stage where no reading of theirs is on file yet, those most often set first."""
    readings = set_readings(snapshot).filter(pl.col("set_stage") == stage)
    often = tables.plain(readings.group_by("characteristic", "position", pl.col("setup").alias("model")).len())
    rows = targets_of(snapshot, tech).filter(pl.col("stage") == stage)
    rows = rows.join(often, on=["characteristic", "position", "model"], how="left", maintain_order="left")
    rows = rows.sort(
        pl.col("source") != "by hand", -pl.col("len").cast(pl.Int64).fill_null(0), maintain_order=True
    ).drop("len")
    return [_stand(snapshot, band, tech, readings.head(0)) for band in rows.iter_rows(named=True)]


def practice_set(snapshot: Snapshot, model: str, stage: str) -> list[str]:
    """Instruments of a model (setup) that stand on the bench now and have passed a stage, the newest first, ten at
    most: what somebody new can read before they set anything.
    """
    told = snapshot.once(story)
    passed = told.visits.filter((pl.col("stage") == stage) & (pl.col("outcome") == "pass")).select("serial").unique()
    here = told.instruments.filter(pl.col("standing").is_in(["bench", "hold"]) & (pl.col("setup") == model))
    rows = here.join(passed, on="serial", how="semi").sort("last_seen", "serial", descending=[True, False])
    return rows["serial"].head(PRACTICE).to_list()


def foremost_first(stands: Sequence[Stand]) -> list[Stand]:
    """In the order they are spoken of: what is not shown yet, then what has too few, then what is shown; of these first
    what lies furthest off its target beyond doubt, as a share of the band, then what has most readings.
    """
    return sorted(stands, key=lambda one: (ORDER.index(one.verdict), -round(_off(one), 6), -len(one.values)))


def _off(stand: Stand) -> float:
    """How far the mean lies from the target at least (95 %), in half widths of the band; 0 where that is not known."""
    goal, low, high = (stand.band[name] for name in ("target", "lower", "upper"))
    if goal is None or low is None or high is None or stand.mean_low is None or stand.mean_high is None:
        return 0.0
    aim, half = float(str(goal)), (float(str(high)) - float(str(low))) / 2
    return max(stand.mean_low - aim, aim - stand.mean_high, 0.0) / half if half > 0 else 0.0


def evidence(stand: Stand) -> tuple[list[float], float, float]:
    """The test that gave the verdict, instrument by instrument: slope x n - d after each, and its two levels, as (path,
    shown, practise).

    `shown` at or above the first level, `not shown yet` at or below the second; the plan's lines are these, rounded to
    whole instruments and cut off at its longest run.
    """
    below, above, slope = wald_lines(stand.test.good, stand.test.poor, stand.test.risk_good, stand.test.risk_poor)
    out = np.cumsum(np.asarray(stand.out[stand.began_at : stand.decided_at], dtype=np.int64))
    return (slope * np.arange(1, len(out) + 1) - out).tolist(), below, -above


@dataclass(frozen=True)
class Lasting:
    """What a test, begun anew after each answer, promises over `within` instruments."""

    test: SequentialPlan = field(repr=False)
    within: int
    good_ever: float  # chance that somebody who holds the target is ever told `shown`
    poor_ever: float  # the same of somebody who does not
    half_by: int  # instruments by which half of those who hold it have been told
    nine_by: int  # the same of nine in ten


@lru_cache(maxsize=256)
def lasting_test(good: float, poor: float) -> Lasting:
    """The test that tells somebody with a share `poor` outside `shown` at any time within 300 instruments in at most a
    tenth of cases, and somebody with `good` outside `not shown` in at most 5 % of single tests.
    """
    test = lasting_plan(good, poor, risk_good=RISK_GOOD, ever_poor=RISK_POOR)
    holds, poor_ever = ever_shown(test, good), ever_shown(test, poor).at_all
    half, nine = holds.half_by() or WITHIN, holds.until(0.9) or WITHIN
    return Lasting(test, WITHIN, holds.at_all, poor_ever, half, nine)


def latest(test: SequentialPlan, out: np.ndarray) -> tuple[str, int, int]:
    """The latest answer of a test that begins anew after each: (shown | not shown | too few, results before it, result
    at which it was given).

    out : 0 (inside the band) or 1 in time order. Without any answer yet: too few, 0 and how many there are. A test that
    has not ended with its longest run begins anew too.
    """
    answer, begun = ("too few", 0, len(out)), 0
    while begun < len(out):
        word, at = verdict(test, out[begun:])
        if word == "too few" and at < test.longest:
            break
        if word == "too few":
            begun += at
            continue
        answer, begun = (word, begun, begun + at), begun + at
    return answer


def _stand(
    snapshot: Snapshot, band: dict[str, object], tech: str, readings: pl.DataFrame, slips: Sequence[str] = ()
) -> Stand:
    """readings : of the band by everybody, in time order. slips : instruments of this tech whose reading is left
    out.
    """
    gone = left_out(snapshot, band, readings, tech)
    own: Flags = (readings["set_by"] == tech).to_numpy()
    counts: Flags = ~np.any([np.zeros(len(own), dtype=bool), *(rows for _, rows in gone)], axis=0)
    mine, theirs = (readings.filter(pl.Series(rows & counts)) for rows in (own, ~own))
    out, on_edge = judged_by(snapshot.shop, band, mine)
    others, _ = judged_by(snapshot.shop, band, theirs)
    values = mine["value"].to_numpy().astype(np.float64)
    lasts = lasting_test(float(band["good"]), float(band["poor"]))  # type: ignore[arg-type]
    word, began, at = latest(lasts.test, out.astype(np.int64))
    n, inside = len(values), int((~out).sum())
    share_low, share_high = binomial_exact(inside, n)
    mean, sd = float(values.mean()) if n else None, float(values.std(ddof=1)) if n > 1 else None
    mean_low, mean_high = (float(end) for end in mean_t(mean, sd, n)) if sd is not None else (None, None)  # type: ignore[arg-type]
    sd_low, sd_high = (float(end) for end in sd_chi(sd, n)) if sd is not None else (None, None)
    return Stand(
        band=band,
        tech=tech,
        values=values.tolist(),
        serials=mine["serial"].to_list(),
        out=out.tolist(),
        on_edge=int(on_edge.sum()),
        left_out=[why for why, _ in gone] + _slips(slips),
        mean=mean,
        mean_low=mean_low,
        mean_high=mean_high,
        sd=sd,
        sd_low=sd_low,
        sd_high=sd_high,
        inside=inside,
        inside_low=float(share_low),
        inside_high=float(share_high),
        verdict=WORDS[word],
        began_at=began,
        decided_at=at,
        test=lasts.test,
        lasts=lasts,
        wide=snapshot.once(wide).get((tech, str(band["stage"]), str(band["characteristic"]))) if n else None,
        others=(int(others.sum()), len(others)),
    )

"""What a new tech is to hold: bands from the readings of qualified techs, where somebody stands, and a test that ends
when enough is known.

A band holds nine tenths of what the qualified techs set, with 95 % confidence, cut to the spec in force and widened to
whole steps of the gauge that reads it. A target is shown when a sequential test says so; then a person signs, not the
program. After each answer the test begins anew with the next instrument and the latest answer counts, so that what was
not shown at the start is not held against anybody for good.
"""

from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from math import ceil, floor

import numpy as np
import polars as pl

from analysis.methods.ever_shown import WITHIN, ever_shown, lasting_plan
from analysis.methods.intervals import binomial_exact, mean_t, sd_chi
from analysis.methods.normality import anderson_darling, spread_ties
from analysis.methods.sequential import SequentialPlan, verdict, wald_lines
from analysis.methods.tolerance import free_band, normal_band, sample_needed
from analysis.studies.story.conformity import as_set
from analysis.studies.story.story import SEVERAL
from ingest.shopfiles.shop import Gauge, Shop
from ingest.store.snapshot import Snapshot

COVERAGE, CONFIDENCE = 0.90, 0.95
LEAST = 30  # readings of qualified techs behind a band; fewer is called few and gives none
NOT_NORMAL_BELOW = 0.005
RISK_GOOD, RISK_POOR = 0.05, 0.10
SHOWN, NOT_SHOWN, TOO_FEW = "target shown", "not shown yet", "too few to say"
WORDS = {"shown": SHOWN, "not shown": NOT_SHOWN, "too few": TOO_FEW}
GOOD_AT_LEAST, POOR_TIMES, POOR_AT_LEAST = 0.05, 3.0, 0.20

BANDS: dict[str, pl.DataType] = {
    "characteristic": pl.String(),
    "position": pl.String(),
    "model": pl.String(),
    "stage": pl.String(),
    "n": pl.Int64(),
    "techs": pl.Int64(),
    "target": pl.Float64(),
    "spec_lower": pl.Float64(),
    "spec_upper": pl.Float64(),
    "lower": pl.Float64(),
    "upper": pl.Float64(),
    "gauge": pl.String(),
    "resolution": pl.String(),
    "step": pl.Float64(),
    "lower_steps": pl.Int64(),
    "upper_steps": pl.Int64(),
    "curve": pl.String(),
    "outside": pl.Float64(),
    "good": pl.Float64(),
    "poor": pl.Float64(),
}


@dataclass(frozen=True)
class Stand:
    """Where one tech stands against one band; canonical units."""

    band: dict[str, object]  # a row of `bands`
    tech: str
    values: list[float]  # as set, in time order
    serials: list[str]
    mean: float | None
    mean_low: float | None
    mean_high: float | None
    sd: float | None
    sd_low: float | None
    sd_high: float | None
    inside: int
    inside_low: float
    inside_high: float
    verdict: str  # target shown | not shown yet | too few to say
    began_at: int  # instruments before the test that gave the verdict
    decided_at: int  # instrument at which it was decided, or how many there are
    test: SequentialPlan = field(repr=False)
    lasts: "Lasting"  # what the test promises


def bands(snapshot: Snapshot) -> pl.DataFrame:
    """A row a characteristic, position and model (setup) set by qualified techs, under the spec in force as of the
    snapshot.

    lower, upper : the band, in canonical units, within the spec, on whole steps of its gauge (lower_steps, upper_steps;
    null without a declared step); curve : normal, free (no curve assumed: the readings are not normal) ; outside :
    share of the qualified readings outside the band; good, poor : shares outside that the test tells apart. No band
    from fewer than 30 readings.
    """
    readings = _qualified(snapshot)
    rows = [
        row
        for key, group in readings.group_by("characteristic", "position", "setup", maintain_order=True)
        if (row := _band(snapshot.shop, dict(zip(("characteristic", "position", "model"), key, strict=True)), group))
    ]
    order = {item.key: place for place, item in enumerate(snapshot.shop.characteristics)}
    table = pl.DataFrame(rows, schema=BANDS)
    return table.sort(pl.col("characteristic").replace_strict(order, return_dtype=pl.Int64), "model", "position")


def stands(snapshot: Snapshot, tech: str, *, since: date | None = None) -> list[Stand]:
    """Where a tech stands against every band whose readings they set; `since`: the day the test began (None: their
    first reading).
    """
    readings = _set(snapshot).filter(pl.col("set_by") == tech)
    if since is not None:
        readings = readings.filter(pl.col("set_on") >= since)
    readings = readings.sort("taken_at", "serial")
    found = []
    for band in snapshot.once(bands).iter_rows(named=True):
        mine = readings.filter(
            (pl.col("characteristic") == band["characteristic"])
            & (pl.col("position") == band["position"])
            & (pl.col("setup") == band["model"])
        )
        if mine.height:
            found.append(_stand(band, tech, mine))
    return found


def evidence(stand: Stand) -> tuple[list[float], float, float]:
    """The test that gave the verdict, instrument by instrument: slope x n - d after each, and its two levels, as (path,
    shown, practise).

    `shown` at or above the first level, `not shown yet` at or below the second; the plan's lines are these, rounded to
    whole instruments and cut off at its longest run.
    """
    below, above, slope = wald_lines(stand.test.good, stand.test.poor, stand.test.risk_good, stand.test.risk_poor)
    low, high = (stand.band[name] for name in ("lower", "upper"))
    values = np.asarray(stand.values[stand.began_at : stand.decided_at])
    out = np.cumsum(_outside(values, low, high))
    return (slope * np.arange(1, len(values) + 1) - out).tolist(), below, -above


def _outside(values: np.ndarray, lower: object, upper: object) -> np.ndarray:
    """Which values lie beyond a band, shape (n,); one on its edge does not."""
    low = -np.inf if lower is None else float(lower)  # type: ignore[arg-type]
    high = np.inf if upper is None else float(upper)  # type: ignore[arg-type]
    slack = 1e-9 * max(1.0, float(np.abs(values).max(initial=0.0)))
    return np.asarray((values < low - slack) | (values > high + slack))


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


def _stand(band: dict[str, object], tech: str, mine: pl.DataFrame) -> Stand:
    values = mine["value"].to_numpy().astype(np.float64)
    out = _outside(values, band["lower"], band["upper"])
    lasts = lasting_test(float(band["good"]), float(band["poor"]))  # type: ignore[arg-type]
    word, began, at = latest(lasts.test, out.astype(np.int64))
    n, inside = len(values), int((~out).sum())
    share_low, share_high = binomial_exact(inside, n)
    mean, sd = float(values.mean()), float(values.std(ddof=1)) if n > 1 else None
    mean_low, mean_high = (float(end) for end in mean_t(mean, sd, n)) if sd is not None else (None, None)
    sd_low, sd_high = (float(end) for end in sd_chi(sd, n)) if sd is not None else (None, None)
    return Stand(
        band,
        tech,
        values.tolist(),
        mine["serial"].to_list(),
        mean,
        mean_low,
        mean_high,
        sd,
        sd_low,
        sd_high,
        inside,
        float(share_low),
        float(share_high),
        WORDS[word],
        began,
        at,
        lasts.test,
        lasts,
    )


def _band(shop: Shop, key: dict[str, object], group: pl.DataFrame) -> dict[str, object] | None:
    """The row of one characteristic, position and model, or None from too few readings."""
    last = group.sort("set_on", "taken_at", maintain_order=True).tail(1).row(0, named=True)
    group = group.filter(pl.col("spec").eq_missing(last["spec"]))  # the spec in force
    if group.height < LEAST:
        return None
    values = group["value"].to_numpy().astype(np.float64)
    gauge = _gauge(shop, str(key["characteristic"]), group)
    step = (gauge.step if gauge else None) or 0.0
    low, high, curve = _tolerance(values, step)
    if last["lower"] is not None:
        low = max(low, last["lower"])
    if last["upper"] is not None:
        high = min(high, last["upper"])
    steps: tuple[int | None, int | None] = (None, None)
    if step:
        steps = (floor(low / step + 1e-6), ceil(high / step - 1e-6))
        low, high = steps[0] * step, steps[1] * step
        low = low if last["lower"] is None else max(low, last["lower"])
        high = high if last["upper"] is None else min(high, last["upper"])
    slack = 1e-9 * max(1.0, float(np.abs(values).max()))
    outside = float(((values < low - slack) | (values > high + slack)).mean())
    good = max(GOOD_AT_LEAST, ceil(100 * outside) / 100)
    return key | {
        "stage": last["set_stage"],
        "n": len(values),
        "techs": group["set_by"].n_unique(),
        "target": last["target"],
        "spec_lower": last["lower"],
        "spec_upper": last["upper"],
        "lower": low,
        "upper": high,
        "gauge": gauge.key if gauge else "",
        "resolution": gauge.resolution if gauge else "",
        "step": step or None,
        "lower_steps": steps[0],
        "upper_steps": steps[1],
        "curve": curve,
        "outside": outside,
        "good": good,
        "poor": round(min(max(POOR_TIMES * good, POOR_AT_LEAST), 0.9), 2),
    }


def _tolerance(values: np.ndarray, step: float) -> tuple[float, float, str]:
    """The band of the readings and the curve it rests on."""
    if len(values) >= sample_needed(COVERAGE, CONFIDENCE) and values.std() > 0 and step <= values.std(ddof=1):
        _, p = anderson_darling(
            spread_ties(values, np.zeros(1, dtype=np.int64), step=np.array([step])), np.zeros(1, dtype=np.int64)
        )
        if float(p[0]) < NOT_NORMAL_BELOW:
            return *free_band(values, coverage=COVERAGE, confidence=CONFIDENCE), "free"
    band = normal_band(values, coverage=COVERAGE, confidence=CONFIDENCE)
    return float(band.low[0]), float(band.high[0]), "normal"


def _gauge(shop: Shop, characteristic: str, group: pl.DataFrame) -> Gauge | None:
    """The gauge that most of the readings name, else the coarsest declared for the characteristic."""
    declared = {gauge.key: gauge for gauge in shop.gauges if characteristic in gauge.measures and gauge.step}
    named = (
        group.filter(pl.col("gauge").is_in(list(declared)))
        .group_by("gauge")
        .len()
        .sort("len", "gauge", descending=[True, False])
    )
    if named.height:
        return declared[named["gauge"][0]]
    return max(declared.values(), key=lambda gauge: gauge.step or 0.0, default=None)


def _set(snapshot: Snapshot) -> pl.DataFrame:
    """As-set readings of characteristics that somebody sets and that bear one setter."""
    readings = snapshot.once(as_set)
    return readings.filter(
        (pl.col("set_stage") != "")
        & (pl.col("set_by") != "")
        & ~pl.col("set_by").str.contains(SEVERAL)
        & (pl.col("setup") != "")
    )


def _qualified(snapshot: Snapshot) -> pl.DataFrame:
    """As-set readings set by techs qualified for the stage where it is set."""
    pairs = [(stage, tech.key) for tech in snapshot.shop.techs for stage in tech.qualified]
    able = pl.DataFrame(pairs, schema={"set_stage": pl.String(), "set_by": pl.String()}, orient="row")
    return _set(snapshot).join(able, on=["set_stage", "set_by"], how="semi", maintain_order="left")

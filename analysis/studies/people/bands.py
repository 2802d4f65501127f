"""Target bands: what somebody is to hold when they set a characteristic of a model, and where each band comes from.

First a person's word (set by hand, in the book), then what qualified techs hold - nine tenths of their readings, with
95 % confidence, cut to the spec in force and widened to whole steps of the gauge -, then the limits of the spec, so
that a new tech, a new model and a shop of one have a target from the first day.
"""

from collections.abc import Mapping, Sequence
from math import ceil, floor

import numpy as np
import polars as pl

from analysis.methods.conformity import against
from analysis.methods.normality import anderson_darling, spread_ties
from analysis.methods.segments import Flags
from analysis.methods.tolerance import free_band, normal_band, sample_needed
from analysis.studies.people.far_off import far, near, set_by_people
from analysis.studies.story.conformity import halves
from analysis.studies.story.of_visits import SEVERAL
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Gauge
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

COVERAGE, CONFIDENCE = 0.90, 0.95
LEAST = 30  # readings of qualified techs behind a band; fewer is called few and gives none
NOT_NORMAL_BELOW = 0.005
GOOD_AT_LEAST, POOR_TIMES, POOR_AT_LEAST = 0.05, 3.0, 0.20
GOOD_AT_MOST, POOR_AT_MOST = 0.45, 0.9
QUALIFIED, LIMITS, BY_HAND = "qualified", "limits", "by hand"
KEY = ["characteristic", "position", "model"]
PLACE = ["characteristic", "position", "setup"]  # the same of readings

BANDS: dict[str, pl.DataType] = {
    "characteristic": pl.String(),
    "position": pl.String(),
    "model": pl.String(),
    "stage": pl.String(),
    "source": pl.String(),
    "who": pl.String(),
    "n": pl.Int64(),
    "techs": pl.Int64(),
    "spec": pl.Int64(),
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


def bands(snapshot: Snapshot) -> pl.DataFrame:
    """A row a characteristic, position and model (setup) set by qualified techs, under the spec in force as of the
    snapshot.

    lower, upper : the band, in canonical units, within the spec, on whole steps of its gauge (lower_steps, upper_steps;
    null without a declared step); curve : normal, free (no curve assumed: the readings are not normal) ; outside :
    share of the qualified readings outside the band; good, poor : shares outside that the test tells apart; spec : row
    of specs it stands under. No band from fewer than 30 readings.
    """
    return _in_order(snapshot, _made(snapshot, _qualified(snapshot)))


def bands_of_others(snapshot: Snapshot, tech: str) -> pl.DataFrame:
    """The same for one tech: nobody is held against what they set themselves, so where they are one of the qualified
    the band is that of the others, and none where the others have set too few.
    """
    every = snapshot.once(bands)
    readings = _qualified(snapshot)
    own = readings.filter(pl.col("set_by") == tech).select(*PLACE).unique()
    others = readings.filter(pl.col("set_by") != tech).join(own, on=PLACE, how="semi", maintain_order="left")
    kept = every.join(tables.plain(own), left_on=KEY, right_on=PLACE, how="anti")
    return _in_order(snapshot, pl.concat([kept, _made(snapshot, others)]))


def _made(snapshot: Snapshot, readings: pl.DataFrame) -> pl.DataFrame:
    rows = [
        row
        for key, group in readings.group_by(*PLACE, maintain_order=True)
        if (row := _band(snapshot.shop, dict(zip(KEY, key, strict=True)), group))
    ]
    return pl.DataFrame(rows, schema=BANDS)


def targets_of(snapshot: Snapshot, tech: str) -> pl.DataFrame:
    """The band that holds for one tech: a row (BANDS) a characteristic, position and model that anybody has set, or
    that has a target by hand.

    source : by hand (who: who set it; one for this tech before one for all), qualified (others than this tech), or
    limits of the spec in force.
    """
    qualified, limits = bands_of_others(snapshot, tech), snapshot.once(limit_bands)
    hand = by_hand(snapshot, tech)
    parts = [hand, qualified.join(hand, on=KEY, how="anti"), limits.join(hand, on=KEY, how="anti")]
    parts[2] = parts[2].join(qualified, on=KEY, how="anti")
    return _in_order(snapshot, pl.concat(parts))


def limit_bands(snapshot: Snapshot) -> pl.DataFrame:
    """The limits of the spec in force as bands, on the outermost marks of the gauge within them, for all that somebody
    has set and that has a limit.
    """
    readings = set_by_people(snapshot).filter((pl.col("set_stage") != "") & (pl.col("setup") != ""))
    rows = []
    for key, group in readings.group_by("characteristic", "position", "setup", maintain_order=True):
        last = group.sort("set_on", "taken_at", maintain_order=True).tail(1).row(0, named=True)
        if last["lower"] is None and last["upper"] is None:
            continue
        gauge = _gauge(snapshot.shop, str(key[0]), group)
        rows.append(_frame(dict(zip(KEY, key, strict=True)), last, gauge) | _within(last, gauge) | {"source": LIMITS})
    return pl.DataFrame(rows, schema=BANDS)


def of_starting_values(snapshot: Snapshot, told: Sequence[Mapping[str, object]]) -> bool:
    """Does a band of these (rows of BANDS) rest on limits that are starting values, not the shop's own?"""
    rows = [int(str(row["spec"])) for row in told if row["source"] == LIMITS and row["spec"] is not None]
    return bool(snapshot.specs.starting.gather(rows).any())


def by_hand(snapshot: Snapshot, tech: str) -> pl.DataFrame:
    """Targets somebody set by hand, for this tech or for all; the latest word for each, one without ends taken back."""
    told = snapshot.table("targets_by_hand").filter(pl.col("tech").is_in([tech, ""])).sort("sequence")
    own = told.sort(pl.col("tech") != "", "sequence").unique(KEY, keep="last", maintain_order=True)
    limits = {tuple(row[name] for name in KEY): row for row in snapshot.once(limit_bands).iter_rows(named=True)}
    rows = []
    for row in own.filter(pl.col("lower").is_not_null() | pl.col("upper").is_not_null()).iter_rows(named=True):
        key = {name: row[name] for name in KEY}
        gauge = _gauge(snapshot.shop, row["characteristic"], None)
        spec = {"spec": None, "lower": None, "upper": None, "target": None, "set_stage": row["stage"]}
        made = _frame(key, spec, gauge) | {
            "source": BY_HAND,
            "who": row["who"],
            "lower": row["lower"],
            "upper": row["upper"],
            "target": row["target"],
        }
        beside = limits.get(tuple(key.values()))
        if beside:
            made |= {name: beside[name] for name in ("spec_lower", "spec_upper", "spec", "gauge", "resolution", "step")}
        rows.append(made)
    return pl.DataFrame(rows, schema=BANDS)


def set_readings(snapshot: Snapshot) -> pl.DataFrame:
    """As-set readings of characteristics that somebody sets and that bear one setter, without those so far from all
    others that they are slips.
    """
    return near(snapshot).filter(_of_one_setter())


def slips_of(snapshot: Snapshot) -> pl.DataFrame:
    """The same readings that are left out of `set_readings` as slips."""
    return far(snapshot).filter(_of_one_setter())


def _of_one_setter() -> pl.Expr:
    return (
        (pl.col("set_stage") != "")
        & (pl.col("set_by") != "")
        & ~pl.col("set_by").cast(pl.String).str.contains(SEVERAL)
        & (pl.col("setup") != "")
    )


def judged_by(shop: Shop, band: dict[str, object], readings: pl.DataFrame) -> tuple[Flags, Flags]:
    """Which readings lie outside a band and which on its edge, by the step of their gauge, shape (n,)."""
    value = readings["value"].to_numpy().astype(np.float64)
    low, high = (np.nan if band[end] is None else band[end] for end in ("lower", "upper"))
    return against(value, *halves(shop, readings), low, high)  # type: ignore[arg-type]


def _qualified(snapshot: Snapshot) -> pl.DataFrame:
    """As-set readings set by techs qualified for the stage where it is set."""
    pairs = [(stage, tech.key) for tech in snapshot.shop.techs for stage in tech.qualified]
    able = pl.DataFrame(pairs, schema={"set_stage": pl.String(), "set_by": pl.String()}, orient="row")
    able = able.cast(pl.Categorical)
    return set_readings(snapshot).join(able, on=["set_stage", "set_by"], how="semi", maintain_order="left")


def _in_order(snapshot: Snapshot, table: pl.DataFrame) -> pl.DataFrame:
    order = {item.key: place for place, item in enumerate(snapshot.shop.characteristics)}
    place = pl.col("characteristic").replace_strict(order, default=len(order), return_dtype=pl.Int64)
    return table.sort(place, "model", "position")


def _frame(key: dict[str, object], last: dict[str, object], gauge: Gauge | None) -> dict[str, object]:
    """A row of BANDS without its ends; last : a reading with the spec that holds for it."""
    return key | {
        "stage": last["set_stage"],
        "source": QUALIFIED,
        "who": "",
        "n": 0,
        "techs": 0,
        "spec": last["spec"],
        "target": last["target"],
        "spec_lower": last["lower"],
        "spec_upper": last["upper"],
        "gauge": gauge.key if gauge else "",
        "resolution": gauge.resolution if gauge else "",
        "step": (gauge.step if gauge else None) or None,
        "lower_steps": None,
        "upper_steps": None,
        "curve": "",
        "outside": 0.0,
        "good": GOOD_AT_LEAST,
        "poor": POOR_AT_LEAST,
    }


def _within(last: dict[str, object], gauge: Gauge | None) -> dict[str, object]:
    """The outermost marks of the gauge within the limits; the limits themselves where no two marks lie between them."""
    low, high = last["lower"], last["upper"]
    step = gauge.step if gauge else None
    if not step:
        return {"lower": low, "upper": high}
    first = None if low is None else ceil(float(low) / step - 1e-6)  # type: ignore[arg-type]
    end = None if high is None else floor(float(high) / step + 1e-6)  # type: ignore[arg-type]
    if first is not None and end is not None and first >= end:
        return {"lower": low, "upper": high}
    return {
        "lower": None if first is None else first * step,
        "upper": None if end is None else end * step,
        "lower_steps": first,
        "upper_steps": end,
    }


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
    out, _ = judged_by(shop, {"lower": low, "upper": high}, group)
    outside = float(out.mean())
    good = min(max(GOOD_AT_LEAST, ceil(100 * outside) / 100), GOOD_AT_MOST)
    return _frame(key, last, gauge) | {
        "n": len(values),
        "techs": group["set_by"].n_unique(),
        "lower": low,
        "upper": high,
        "lower_steps": steps[0],
        "upper_steps": steps[1],
        "curve": curve,
        "outside": outside,
        "good": good,
        "poor": round(min(max(POOR_TIMES * good, POOR_AT_LEAST), POOR_AT_MOST), 2),
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


def _gauge(shop: Shop, characteristic: str, group: pl.DataFrame | None) -> Gauge | None:
    """The gauge that most of the readings name, else the coarsest declared for the characteristic."""
    declared = {gauge.key: gauge for gauge in shop.gauges if characteristic in gauge.measures and gauge.step}
    if group is not None:
        named = group.filter(pl.col("gauge").is_in(list(declared))).group_by("gauge").len()
        named = named.sort("len", "gauge", descending=[True, False])
        if named.height:
            return declared[named["gauge"][0]]
    return max(declared.values(), key=lambda gauge: gauge.step or 0.0, default=None)

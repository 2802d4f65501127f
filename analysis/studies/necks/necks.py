"""Incoming necks for the talk with a supplier: what came lot by lot, where the spread lies, what the agreed plan lets
through.

Figures per lot are those of `lots`; here stand beside them how surely they are known, the difference of edges, how
long and how damp the necks had lain, what the gauge takes, and the plan by measurement.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods import acceptance, variables_plans
from analysis.methods.conformity import against
from analysis.methods.intervals import mean_t, sd_chi
from analysis.methods.problems import UnusableData
from analysis.methods.variance_split import Split, split
from analysis.studies.gauges import rr as gauges
from analysis.studies.necks import air, apart, lots
from analysis.studies.story.story import story
from ingest.shopfiles.shop_parts import Plan
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

COVERAGE = 2.0  # expanded uncertainty: twice the standard deviation of R&R, some 95 % (ISO 14253-1, GUM)
LEAST_EACH = 2  # lots before and since from which a change has an interval
LEAST_CHANCE = 0.1  # of a finite lot's passing, at which its telling ends
LARGER_OF_TWO = 1 / np.sqrt(np.pi)  # mean of the larger of two standard normal errors
RISKS = (0.95, 0.5, 0.1)  # chances of acceptance by which a plan is told in words


@dataclass(frozen=True)
class PlanWords:
    """What a plan does, in numbers for sentences: a lot with share `accepted_at[c]` bad passes with chance c."""

    characteristic: str
    supplier: str  # '' = agreed with all
    sample: int
    accept: int | None  # None: by measurement
    k: float | None
    accepted_at: dict[float, float]
    by_measurement: (
        variables_plans.VariablesPlan | None
    )  # the plan by mean and s through the same two points; None where there is none
    measured_sample: int | None
    lot: int | None = None  # necks of the usual lot, where it is larger than the sample
    passes: tuple[tuple[int, float], ...] = ()  # necks outside of such a lot, and how often it passes


@dataclass(frozen=True)
class SinceAgreed:
    """One supplier's lots before and since the last day on which limits were agreed."""

    day: date
    lots_before: int
    lots_after: int
    before: tuple[int, int]  # necks outside, measured
    after: tuple[int, int]
    change: float  # of the mean bow of a lot (as a size, mm), since less before
    low: float | None  # 95 %; None with under two lots on a side
    high: float | None


@dataclass(frozen=True)
class Parts:
    """Parts measured at receiving, and how many of them an instrument has taken since."""

    measured: int
    linked: int
    unlinked: int  # judged by their lot alone


def by_lot(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `lots` with more: mean_low, mean_high, sd_low, sd_high (95 %), edges and edges_sd (bass less
    treble edge, mm: a difference of edges, not twist, which leaves both edges straight), received_on, quantity,
    rod_state, hours_acclimatised, agreed_limit, disposition, models, first_at, last_at, rh (mean % RH when measured),
    gauge_sd (R&R, mm), gauge_study, gauge_share and gauge_of_tolerance (of the spread within lots of this
    characteristic, and six of it of the tolerance), outside_still (necks outside by more than the expanded
    uncertainty, twice gauge_sd; null without a study), expected_outside and measured_verdict (by mean and s:
    accept | reject | too few | null), few (under 30 necks), sample and bad_in_sample (the first necks measured, by
    which a plan by counting judges, and how many of them lie outside; null without a plan), runs_high (by how much the
    larger of two readings runs high at most, both edges being alike, mm), off, off_low, off_high, others,
    others_apart, apart (of `apart`: against the supplier's other lots at the same air; null where too few necks were
    measured), more_outside (of `apart`: more necks outside than chance puts there; null without limits), air_usual,
    air_moves, bad_same_air, air_far (of `air`).
    """
    measured = snapshot.once(lots.necks)
    rows = snapshot.once(lots.lot_rows)
    if rows.is_empty():
        return rows
    n, mean, sd = (rows[name].cast(pl.Float64).fill_null(np.nan).to_numpy() for name in ("n", "mean", "sd"))
    some = n >= 2
    ends = {name: np.full(len(n), np.nan) for name in ("mean_low", "mean_high", "sd_low", "sd_high")}
    if some.any():
        ends["mean_low"][some], ends["mean_high"][some] = mean_t(mean[some], sd[some], n[some])
        ends["sd_low"][some], ends["sd_high"][some] = sd_chi(sd[some], n[some])
    visits = snapshot.once(story).visits
    told = (
        measured.with_columns(rh=visits["rh"].gather(measured["visit"]))
        if measured["visit"].null_count() < measured.height
        else (measured.with_columns(rh=pl.lit(None, dtype=pl.Float64)))
    )
    seen = told.group_by(lots.KEY).agg(
        pl.col("taken_at").min().alias("first_at"),
        pl.col("taken_at").max().alias("last_at"),
        pl.col("rh").mean(),
        pl.col("model").unique().sort().str.join(", ").alias("models"),
        pl.col("lower").first(),
        pl.col("upper").first(),
    )
    known = snapshot.table("lots").unique(["supplier", "lot"], keep="first", maintain_order=True).drop("model")
    table = (
        rows.with_columns(**{name: pl.Series(values).fill_nan(None) for name, values in ends.items()})
        .join(_edges(snapshot), on=lots.KEY, how="left", maintain_order="left")
        .join(seen, on=lots.KEY, how="left", maintain_order="left")
        .join(known, on=["supplier", "lot"], how="left", maintain_order="left")
        .join(_gauge(snapshot, measured), on=lots.KEY, how="left", maintain_order="left")
        .with_columns(gauge_of_tolerance=6 * pl.col("gauge_sd") / (pl.col("upper") - pl.col("lower")))
    )
    return (
        table.with_columns(_measured(snapshot, table))
        .join(lots.in_samples(snapshot), on=lots.KEY, how="left", maintain_order="left")
        .join(snapshot.once(apart.standing), on=lots.KEY, how="left", maintain_order="left")
        .join(snapshot.once(apart.more_outside), on=lots.KEY, how="left", maintain_order="left")
        .join(snapshot.once(air.by_lot), on=lots.KEY, how="left", maintain_order="left")
        .with_columns(few=pl.col("n") < 30, runs_high=pl.col("gauge_sd") * LARGER_OF_TWO)
    )


def variance(snapshot: Snapshot, characteristic: str, *, model: str | None = None) -> Split:
    """Where the spread lies: between suppliers, lots of one supplier, or necks of one lot; suppliers as fixed up to
    five.

    Of one model (or setup) where it is named; else models count with the lots that hold them.
    """
    rows = snapshot.once(lots.necks).filter(
        (pl.col("characteristic") == characteristic) & (pl.col("supplier") != "") & (pl.col("lot") != "")
    )
    if model is not None:
        rows = rows.filter((pl.col("model") == model) | (pl.col("setup") == model))
    if rows.is_empty():
        name = snapshot.shop.characteristic_name(characteristic)
        raise UnusableData(f"no neck of a known supplier and lot has a reading of {name}; load more logs")
    return split(rows["value"].to_numpy(), rows["supplier"].to_numpy(), rows["lot"].to_numpy())


def plan_words(snapshot: Snapshot, plan: Plan) -> PlanWords:
    """What an agreed plan lets through, and the plan by measurement that runs through its points at 95 % and 10 %."""
    if plan.k is not None or plan.accept is None:
        own = variables_plans.VariablesPlan(plan.sample, plan.k or 0.0)
        shares = {chance: float(variables_plans.share_accepted(own, chance)) for chance in RISKS}
        return PlanWords(plan.characteristic, plan.supplier, plan.sample, None, own.k, shares, own, own.n)
    agreed = acceptance.Plan(plan.sample, plan.accept)
    if plan.accept >= plan.sample:
        raise UnusableData(
            f"the plan of {plan.sample} with {plan.accept} accepted takes every lot; mend it in shop.toml"
        )
    at = {chance: float(acceptance.share_accepted(agreed, chance)) for chance in RISKS}
    try:
        measured: variables_plans.VariablesPlan | None = variables_plans.through(at[0.95], at[0.1])
    except UnusableData:
        measured = None
    lot, passes = _finite(snapshot, plan.supplier, agreed)
    return PlanWords(
        plan.characteristic,
        plan.supplier,
        plan.sample,
        plan.accept,
        None,
        at,
        measured,
        measured.n if measured else None,
        lot,
        passes,
    )


def _finite(
    snapshot: Snapshot, supplier: str, plan: acceptance.Plan
) -> tuple[int | None, tuple[tuple[int, float], ...]]:
    """The usual lot, where it holds more necks than the sample, and how often one with so many outside passes: from the
    first that may fail to the first that passes one time in ten at most.
    """
    came = lots.quantities(snapshot)
    came = came.filter(pl.col("supplier") == supplier) if supplier else came
    if came.is_empty():
        return None, ()
    lot = round(float(came["quantity"].median()))  # type: ignore[arg-type]
    if lot <= plan.n:
        return None, ()
    bad = np.arange(plan.c + 1, lot + 1)
    chance = acceptance.accepted(plan, bad / lot, lot)
    stop = int(np.argmax(chance <= LEAST_CHANCE)) + 1
    return lot, tuple(zip(bad[:stop].tolist(), chance[:stop].tolist(), strict=True))


def since_agreed(snapshot: Snapshot, *, characteristic: str, supplier: str) -> SinceAgreed | None:
    """What came of the last talk: lots measured before and since the last day on which limits for these necks were
    agreed (specs.csv, agreed_on); None where no such day lies within what was measured.
    """
    agreed = snapshot.specs.rows.filter(
        (pl.col("characteristic") == characteristic) & pl.col("supplier").is_in(["", supplier])
    )["agreed_on"].drop_nulls()
    measured = snapshot.once(lots.necks).filter(
        (pl.col("characteristic") == characteristic) & (pl.col("supplier") == supplier) & (pl.col("lot") != "")
    )
    each = measured.group_by("lot").agg(
        pl.col("day").min(),
        pl.col("value").abs().mean().alias("bow"),
        pl.col("outside").fill_null(False).sum().cast(pl.Int64).alias("bad"),
        pl.len().cast(pl.Int64).alias("n"),
    )
    for day in agreed.unique().sort(descending=True).to_list():
        before, after = each.filter(pl.col("day") < day), each.filter(pl.col("day") >= day)
        if before.height and after.height:
            return _since(day, before, after)
    return None


def _since(day: date, before: pl.DataFrame, after: pl.DataFrame) -> SinceAgreed:
    """Lots, not necks, are taken as independent (Welch's t)."""
    sides = [part["bow"].to_numpy() for part in (before, after)]
    change = float(sides[1].mean() - sides[0].mean())
    low = high = None
    if min(map(len, sides)) >= LEAST_EACH:
        interval = stats.ttest_ind(sides[1], sides[0], equal_var=False).confidence_interval()
        low, high = float(interval.low), float(interval.high)
    return SinceAgreed(
        day,
        before.height,
        after.height,
        (int(before["bad"].sum()), int(before["n"].sum())),
        (int(after["bad"].sum()), int(after["n"].sum())),
        change,
        low,
        high,
    )


def parts(snapshot: Snapshot) -> Parts:
    """Necks measured, those that an instrument has taken, and those still judged by lot alone."""
    measured = snapshot.once(lots.necks).unique("part")
    linked = int((measured["serial"] != "").sum())
    return Parts(measured.height, linked, measured.height - linked)


def implausible(snapshot: Snapshot, *, supplier: str) -> pl.DataFrame:
    """Measurements of one supplier's necks at receiving that were set aside as implausible: lot, len."""
    visits = snapshot.table("visits", "log_id", "line", "stage", "supplier", "lot")
    receiving = [stage.key for stage in snapshot.shop.stages if stage.role == "receiving"]
    own = visits.filter(pl.col("stage").is_in(receiving) & (pl.col("supplier") == supplier))
    asked = snapshot.table("set_aside").filter((pl.col("reason") == "implausible") & (pl.col("column") != ""))
    own = own.unique(["log_id", "line"]).select("log_id", "line", "lot")
    return asked.join(own, on=["log_id", "line"]).group_by("lot").len().sort("lot")


def _gauge(snapshot: Snapshot, measured: pl.DataFrame) -> pl.DataFrame:
    """What the gauge takes of the spread within lots, and how many necks of each lot stay outside with its expanded
    uncertainty: lots.KEY, gauge_sd, gauge_study, gauge_share, outside_still.
    """
    within = (
        measured.group_by(lots.KEY)
        .agg(pl.col("value").var().alias("var"), (pl.len() - 1).alias("free"))
        .filter(pl.col("free") > 0)
        .group_by("characteristic")
        .agg(((pl.col("var") * pl.col("free")).sum() / pl.col("free").sum()).sqrt().alias("within"))
    )
    known = gauges.rr_sd(snapshot).join(within, on="characteristic", how="left")
    told = measured.join(known, on="characteristic", how="left", maintain_order="left")
    value, sd, lower, upper = (
        told[name].cast(pl.Float64).fill_null(np.nan).to_numpy() for name in ("value", "gauge_sd", "lower", "upper")
    )
    still, _ = against(value, COVERAGE * sd, COVERAGE * sd, lower, upper)
    return (
        told.with_columns(still=pl.Series(still, dtype=pl.Boolean))
        .group_by(lots.KEY)
        .agg(
            pl.col("gauge_sd", "gauge_study").first(),
            pl.when(pl.col("within").first() > 0)
            .then(pl.col("gauge_sd").first() / pl.col("within").first())
            .alias("gauge_share"),
            pl.when(pl.col("gauge_sd").first().is_not_null())
            .then((pl.col("still") & pl.col("outside").fill_null(False)).sum())
            .cast(pl.Int64)
            .alias("outside_still"),
        )
    )


def _edges(snapshot: Snapshot) -> pl.DataFrame:
    """Mean and spread of bass less treble edge of the necks of each lot that have both."""
    told = snapshot.once(story)
    edges = told.readings.filter(
        (pl.col("role") == "receiving") & (pl.col("round") == 1) & pl.col("first_pass") & (pl.col("moment") == "found"),
        pl.col("value").is_not_null(),
        pl.col("position").is_in(["bass", "treble"]),
    )
    both = (
        tables.plain(edges)
        .unique([*lots.KEY, "part", "position"], keep="first")
        .group_by([*lots.KEY, "part"])
        .agg(
            pl.col("value").filter(pl.col("position") == "bass").first().alias("bass"),
            pl.col("value").filter(pl.col("position") == "treble").first().alias("treble"),
        )
        .drop_nulls()
    )
    apart = pl.col("bass") - pl.col("treble")
    return both.group_by(lots.KEY).agg(apart.mean().alias("edges"), apart.std().alias("edges_sd"))


def _measured(snapshot: Snapshot, table: pl.DataFrame) -> list[pl.Series]:
    """Share expected outside from mean and s, and what the plan by measurement says of each lot."""
    plans = {
        (plan.characteristic, plan.supplier): plan_words(snapshot, plan)
        for plan in snapshot.shop.plans
        if plan.accept is None or plan.accept < plan.sample
    }
    share: list[float | None] = []
    verdict: list[str | None] = []
    for row in table.iter_rows(named=True):
        words = plans.get((row["characteristic"], row["supplier"]), plans.get((row["characteristic"], "")))
        lower, upper = (np.nan if row[name] is None else row[name] for name in ("lower", "upper"))
        usable = row["ppk"] is not None and row["n"] >= 3 and (row["sd"] or 0.0) > 0
        share.append(
            variables_plans.outside(row["mean"], row["sd"], row["n"], lower=lower, upper=upper) if usable else None
        )
        if words is None or words.by_measurement is None or not usable:
            verdict.append(None)
        elif row["n"] < words.by_measurement.n:
            verdict.append(lots.TOO_FEW)
        else:
            plan = variables_plans.VariablesPlan(row["n"], words.by_measurement.k)
            verdict.append(
                lots.ACCEPT
                if variables_plans.accepts(plan, row["mean"], row["sd"], lower=lower, upper=upper)
                else lots.REJECT
            )
    return [
        pl.Series("expected_outside", share, dtype=pl.Float64),
        pl.Series("measured_verdict", verdict, dtype=pl.String),
    ]

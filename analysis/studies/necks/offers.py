"""Which plan to agree on: what each would let through, what it asks to measure, and what it would have said of the lots
on file. By counting and by measurement, through the same two points.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods import acceptance, variables_plans
from analysis.methods.problems import UnusableData
from analysis.studies.necks import lots
from ingest.store.snapshot import Snapshot

GOOD = 0.02  # share outside of a lot that should pass nineteen times in twenty
BAD = (0.05, 0.08, 0.12, 0.20)  # shares of which one lot in ten may pass
RISKS = (0.95, 0.5, 0.1)


@dataclass(frozen=True)
class Offer:
    """One plan: of `sample` necks at most `accept` outside, or mean and spread by `k`."""

    sample: int
    accept: int | None
    k: float | None
    accepted_at: tuple[float, float, float]  # shares outside of lots that pass with the chances of RISKS
    minutes: float  # at receiving, a lot
    refused: int  # of the lots on file with necks enough
    judged: int
    agreed: bool  # the plan in shop.toml


def offers(snapshot: Snapshot, *, characteristic: str) -> list[Offer]:
    """Plans for a lot of the usual size, the agreed one first, then those through a good and a bad share, by what they
    ask to measure; a plan that asks for more necks than the usual lot has is left out.
    """
    came = lots.quantities(snapshot)["quantity"]
    usual = int(came.median() or 0) if came.len() else 0  # type: ignore[arg-type]
    told = [
        Offer(*_facts(snapshot, characteristic, plan.sample, plan.accept, plan.k), agreed=True)
        for plan in snapshot.shop.plans
        if plan.characteristic == characteristic and not plan.supplier
    ]
    found = []
    for bad in BAD:
        for through in (acceptance.through, variables_plans.through):
            try:
                plan = through(GOOD, bad)
            except UnusableData:
                continue
            accept, k = (plan.c, None) if isinstance(plan, acceptance.Plan) else (None, round(plan.k, 2))
            if not usual or plan.n <= usual:
                found.append(Offer(*_facts(snapshot, characteristic, plan.n, accept, k), agreed=False))
    return told + sorted(found, key=lambda offer: (offer.sample, offer.k or 0.0))


def _facts(
    snapshot: Snapshot, characteristic: str, sample: int, accept: int | None, k: float | None
) -> tuple[int, int | None, float | None, tuple[float, float, float], float, int, int]:
    if k is None:
        at = acceptance.share_accepted(acceptance.Plan(sample, accept or 0), np.array(RISKS))
    else:
        at = variables_plans.share_accepted(variables_plans.VariablesPlan(sample, k), np.array(RISKS))
    planned = [stage.planned_minutes("other") for stage in snapshot.shop.stages if stage.role == "receiving"]
    refused, judged = _on_file(snapshot, characteristic, sample, accept, k)
    shares = (float(at[0]), float(at[1]), float(at[2]))
    return sample, accept, k, shares, sample * float(sum(planned)), refused, judged


def _on_file(
    snapshot: Snapshot, characteristic: str, sample: int, accept: int | None, k: float | None
) -> tuple[int, int]:
    """How many of the lots with necks enough their first necks would have refused."""
    measured = snapshot.once(lots.necks).filter(
        (pl.col("characteristic") == characteristic) & pl.col("outside").is_not_null()
    )
    first = (
        measured.with_columns(place=pl.int_range(pl.len()).over(lots.KEY), of=pl.len().over(lots.KEY))
        .filter((pl.col("of") >= sample) & (pl.col("place") < sample))
        .group_by(lots.KEY)
        .agg(
            pl.col("outside").sum().cast(pl.Int64).alias("bad"),
            pl.col("value").mean().alias("mean"),
            pl.col("value").std().alias("sd"),
            pl.col("lower", "upper").first(),
        )
    )
    if k is None:
        return int((first["bad"] > (accept or 0)).sum()), first.height
    refused = 0
    plan = variables_plans.VariablesPlan(sample, k)
    for mean, sd, lower, upper in first.select("mean", "sd", "lower", "upper").iter_rows():
        ends = {"lower": np.nan if lower is None else lower, "upper": np.nan if upper is None else upper}
        refused += bool(sd) and not variables_plans.accepts(plan, mean, sd, **ends)
    return refused, first.height

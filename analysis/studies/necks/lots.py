"""Incoming necks by supplier and lot: what came, how much of it lay outside what was agreed, and what the plan says."""

import numpy as np
import polars as pl

from analysis.methods.capability import indices
from analysis.methods.intervals import binomial_exact
from analysis.studies.story.conformity import with_specs
from analysis.studies.story.story import story
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot

ACCEPT, REJECT, TOO_FEW = "accept", "reject", "too few"
KEY = ["supplier", "lot", "characteristic"]

LOTS: dict[str, pl.DataType] = {
    "supplier": pl.String(),
    "lot": pl.String(),
    "characteristic": pl.String(),
    "n": pl.Int64(),
    **{
        name: pl.Float64()
        for name in ("mean", "sd", "ppk", "ppk_low", "ppk_high", "outside", "outside_low", "outside_high")
    },
    "verdict": pl.String(),
}


def necks(snapshot: Snapshot) -> pl.DataFrame:
    """A row a neck and characteristic measured at receiving: its first-pass reading; with positions the one with the
    larger absolute value.

    The story's columns of readings, and spec, target, lower, upper, outside (null without a limit); in time order
    within a lot.
    """
    told = snapshot.once(story)
    found = told.readings.filter(
        (pl.col("role") == "receiving") & (pl.col("round") == 1) & pl.col("first_pass") & (pl.col("moment") == "found"),
        pl.col("value").is_not_null(),
        (pl.col("supplier") != "") | (pl.col("lot") != ""),
    )
    ordered = found.sort("characteristic", "part", -pl.col("value").abs(), "position", maintain_order=True)
    one_each = ordered.unique(["characteristic", "part"], keep="first", maintain_order=True)
    return with_specs(snapshot, one_each).sort(*KEY, "taken_at", "serial", "line", maintain_order=True)


def lot_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`lots` of the figures. ppk and outside are null where the specs of a lot's necks differ or hold no limit; the
    verdict where a neck has no limit or there is no plan.
    """
    return judged(snapshot.once(necks), snapshot.shop)


def judged(measured: pl.DataFrame, shop: Shop) -> pl.DataFrame:
    """A row a supplier, lot and characteristic of the rows of `necks`."""
    if measured.is_empty():
        return pl.DataFrame(schema=LOTS)
    plans = pl.DataFrame(
        [(plan.characteristic, plan.supplier, plan.sample, plan.accept) for plan in shop.plans],
        schema={"characteristic": pl.String(), "for_supplier": pl.String(), "sample": pl.Int64(), "accept": pl.Int64()},
        orient="row",
    )
    limits = pl.struct("target", "lower", "upper")
    rows = (
        _with_plan(measured, plans)
        .with_columns(place=pl.int_range(pl.len()).over(KEY))
        .group_by(KEY, maintain_order=True)
        .agg(
            pl.len().alias("n"),
            pl.col("value").mean().alias("mean"),
            pl.col("value").std().alias("sd"),
            (limits.n_unique() == 1).alias("agreed"),
            pl.col("target", "lower", "upper", "sample", "accept").first(),
            pl.col("outside").cast(pl.Int64).sum().alias("bad"),
            pl.col("outside").is_not_null().all().alias("limited"),
            pl.col("outside").filter(pl.col("place") < pl.col("sample")).sum().alias("bad_in_sample"),
        )
    )
    usable = (rows["agreed"] & rows["limited"]).to_numpy()
    n = rows["n"].to_numpy()
    asked = rows.select(pl.col("target", "lower", "upper").cast(pl.Float64).fill_null(np.nan))
    target, lower, upper = (np.where(usable, asked[name].to_numpy(), np.nan) for name in asked.columns)
    sd = rows["sd"].fill_null(np.nan).to_numpy()
    index = indices(rows["mean"].to_numpy(), sd, sd, n, target=target, lower=lower, upper=upper)
    bad = rows["bad"].to_numpy()
    low, high = binomial_exact(bad, n)
    verdict = (
        pl.when(~pl.col("limited") | pl.col("sample").is_null())
        .then(None)
        .when(pl.col("bad_in_sample") > pl.col("accept"))
        .then(pl.lit(REJECT))  # decided, however many are left to measure
        .when(pl.col("n") < pl.col("sample"))
        .then(pl.lit(TOO_FEW))
        .otherwise(pl.lit(ACCEPT))
    )

    def shown(values: np.ndarray) -> pl.Series:
        return pl.Series(np.where(usable, values, np.nan)).fill_nan(None)

    return (
        rows.with_columns(
            ppk=shown(index.ppk),
            ppk_low=shown(index.ppk_low),
            ppk_high=shown(index.ppk_high),
            outside=shown(bad / n),
            outside_low=shown(low),
            outside_high=shown(high),
            verdict=verdict,
        )
        .select(LOTS.keys())
        .cast(dict(LOTS))  # type: ignore[arg-type]
    )


def _with_plan(measured: pl.DataFrame, plans: pl.DataFrame) -> pl.DataFrame:
    """Sample and accept of the plan agreed for the characteristic: with the supplier, else with everybody."""
    own = plans.filter(pl.col("for_supplier") != "").unique(["characteristic", "for_supplier"], keep="last")
    everybody = plans.filter(pl.col("for_supplier") == "").unique("characteristic", keep="last").drop("for_supplier")
    own = own.rename({"for_supplier": "supplier"})
    joined = measured.join(own, on=["characteristic", "supplier"], how="left", maintain_order="left")
    joined = joined.join(everybody, on="characteristic", how="left", suffix="_all", maintain_order="left")
    return joined.with_columns(
        pl.coalesce("sample", "sample_all").alias("sample"), pl.coalesce("accept", "accept_all").alias("accept")
    )

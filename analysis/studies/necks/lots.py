"""Incoming necks by supplier and lot: what came, how much of it lay outside what was agreed, and what the plan says."""

from typing import Any

import numpy as np
import polars as pl

from analysis.methods.capability import indices
from analysis.methods.intervals import binomial_exact, hypergeometric_exact
from analysis.methods.segments import Dense, Floats, Ints, dense
from analysis.methods.variables_plans import VariablesPlan, accepts
from analysis.studies.story.conformity import with_specs
from analysis.studies.story.story import story
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

ACCEPT, REJECT, TOO_FEW = "accept", "reject", "too few"
LEAST_MEASURED = 3  # necks that a plan by measurement judges by
KEY = ["supplier", "lot", "characteristic"]
# columns of the story's readings that are told of a neck
OF_NECK = (
    *KEY, "serial", "part", "neck", "line", "stage", "taken_at", "position", "value", "gauge", "model", "setup",
    "family", "visit", "day", "set_on",
)  # fmt: skip

LOTS: dict[str, pl.DataType] = {
    "supplier": pl.String(),
    "lot": pl.String(),
    "characteristic": pl.String(),
    "n": pl.Int64(),
    **{name: pl.Float64() for name in ("mean", "sd", "ppk", "ppk_low", "ppk_high", "outside")},
    "on_limit": pl.Int64(),
    "outside_low": pl.Float64(),
    "outside_high": pl.Float64(),
    "verdict": pl.String(),
}


def necks(snapshot: Snapshot) -> pl.DataFrame:
    """A row a neck and characteristic measured at receiving: its first-pass reading; with positions the one with the
    larger absolute value.

    OF_NECK, and spec, target, lower, upper, outside, on_limit (null without a limit); in time order within a lot.
    """
    told = snapshot.once(story).readings
    asked = (pl.col("round") == 1) & pl.col("first_pass")
    asked &= (pl.col("moment") == "found") & pl.col("value").is_not_null()
    asked &= (pl.col("supplier") != "") | (pl.col("lot") != "")
    # few of many: the rest is asked of these
    there = pl.Series(np.flatnonzero(told.numbers("role").say(["receiving"])))
    some = told.at(there, "round", "first_pass", "moment", "value", "supplier", "lot")
    at = there.filter(some.select(asked=asked.fill_null(False))["asked"]).to_numpy()
    ones = told.at(at, "characteristic", "part", "position", "value")
    neck = tables.one_key(tables.rank(ones["characteristic"]), tables.rank(ones["part"]))
    largest = _largest(dense(neck), ones["value"].to_numpy(), tables.rank(ones["position"]))
    found = told.at(at[largest], *OF_NECK)
    times = found["taken_at"].cast(pl.Int64).fill_null(np.iinfo(np.int64).min).to_numpy()
    order = np.lexsort(
        (
            neck[largest],
            found["line"].fill_null(-1).to_numpy(),
            tables.rank(found["serial"]),
            times,
            tables.one_key(*(tables.rank(found[name]) for name in KEY)),
        )
    )
    rows = tables.plain(found[order]).with_columns(pl.col("supplier").set_sorted())  # groups come in that order
    return with_specs(snapshot, rows)


def _largest(neck: Dense, value: Floats, position: Ints) -> Ints:
    """Of each neck the reading farthest from 0, of several the first by position, of these the first, (k,)."""
    k, size = len(neck.first), np.where(np.isnan(value), -1.0, np.abs(value))
    most, least = np.full(k, -2.0), np.full(k, np.iinfo(np.int64).max)
    np.maximum.at(most, neck.code, size)
    some = np.flatnonzero(size == most[neck.code])
    np.minimum.at(least, neck.code[some], position[some])
    some = some[position[some] == least[neck.code[some]]][::-1]
    found = np.zeros(k, dtype=np.int64)
    found[neck.code[some]] = some  # the last that is put down stays
    return found


def elsewhere(snapshot: Snapshot) -> pl.DataFrame:
    """Readings of bow with a supplier or lot that were taken elsewhere than at receiving: characteristic, stage, len,
    most first.
    """
    incoming = (one for one in snapshot.shop.characteristics if not one.set_at)
    bow = [one.key for one in incoming if "bow" in f"{one.key} {one.name}".lower()]
    found = snapshot.once(story).readings.filter(
        pl.col("characteristic").is_in(bow) & (pl.col("role") != "receiving") & pl.col("value").is_not_null(),
        (pl.col("supplier") != "") | (pl.col("lot") != ""),
    )
    told = tables.plain(found.select("characteristic", "stage")).group_by("characteristic", "stage").len()
    return told.sort("len", "characteristic", "stage", descending=[True, False, False])


def lot_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`lots` of the figures. ppk and outside are null where the specs of a lot's necks differ or hold no limit; the
    verdict where a neck has no limit or there is no plan. The interval of the share outside is of the lot: where
    lots.csv says how many necks came, by the hypergeometric distribution, and the share itself where all were measured.
    """
    return judged(snapshot.once(necks), snapshot.shop, quantities(snapshot))


def quantities(snapshot: Snapshot) -> pl.DataFrame:
    """supplier, lot and quantity of lots.csv, where it says how many came."""
    known = snapshot.table("lots").filter(pl.col("quantity").is_not_null())
    return known.unique(["supplier", "lot"], keep="first", maintain_order=True).select("supplier", "lot", "quantity")


def more_than_came(snapshot: Snapshot) -> pl.DataFrame:
    """Lots of which more necks were measured than lots.csv says came, a question to the shop: supplier, lot,
    characteristic, n, quantity.
    """
    rows = snapshot.once(lot_rows).join(quantities(snapshot), on=["supplier", "lot"])
    return rows.filter(pl.col("n") > pl.col("quantity")).select(*KEY, "n", "quantity")


def judged(measured: pl.DataFrame, shop: Shop, came: pl.DataFrame) -> pl.DataFrame:
    """A row a supplier, lot and characteristic of the rows of `necks`; came : rows of `quantities`."""
    if measured.is_empty():
        return pl.DataFrame(schema=LOTS)
    rows = _counted(measured, shop, came)
    usable = (rows["agreed"] & rows["limited"]).to_numpy()
    n = rows["n"].to_numpy()
    asked = rows.select(pl.col("target", "lower", "upper").cast(pl.Float64).fill_null(np.nan))
    target, lower, upper = (np.where(usable, asked[name].to_numpy(), np.nan) for name in asked.columns)
    sd = rows["sd"].fill_null(np.nan).to_numpy()
    index = indices(rows["mean"].to_numpy(), sd, sd, n, target=target, lower=lower, upper=upper)
    bad = rows["bad"].to_numpy()
    low, high = _in_lot(bad, n, rows["quantity"].fill_null(0).to_numpy())

    def shown(values: np.ndarray) -> pl.Series:
        return pl.Series(np.where(usable, values, np.nan)).fill_nan(None)

    return (
        rows.with_columns(
            ppk=shown(index.ppk),
            ppk_low=shown(index.ppk_low),
            ppk_high=shown(index.ppk_high),
            outside=shown(bad / n),
            on_limit=pl.when(pl.Series(usable)).then(pl.col("on")),
            outside_low=shown(low),
            outside_high=shown(high),
            verdict=pl.Series([_verdict(row) for row in rows.iter_rows(named=True)], dtype=pl.String),
        )
        .select(LOTS.keys())
        .cast(dict(LOTS))  # type: ignore[arg-type]
    )


def in_samples(snapshot: Snapshot) -> pl.DataFrame:
    """KEY, sample (the first necks measured, by which a plan judges; null without one) and bad_in_sample (null too)."""
    measured = snapshot.once(necks)
    if measured.is_empty():
        return pl.DataFrame(
            schema={**dict.fromkeys(KEY, pl.String()), "sample": pl.Int64(), "bad_in_sample": pl.Int64()}
        )
    rows = _counted(measured, snapshot.shop, quantities(snapshot))
    return rows.select(
        *KEY, "sample", bad_in_sample=pl.when(pl.col("sample").is_not_null()).then("bad_in_sample").cast(pl.Int64)
    )


def _counted(measured: pl.DataFrame, shop: Shop, came: pl.DataFrame) -> pl.DataFrame:
    """A row a lot: what was measured of it, and of the first necks, by which its plan judges."""
    limits = pl.struct("target", "lower", "upper")
    first = pl.col("place") < pl.col("sample")
    return (
        _with_plan(measured, shop)
        .join(came, on=["supplier", "lot"], how="left", maintain_order="left")
        .with_columns(quantity=pl.when(pl.col("quantity") >= pl.len().over(KEY)).then("quantity"))  # fewer: not known
        .with_columns(
            place=pl.int_range(pl.len()).over(KEY),
            sample=pl.when(pl.col("sample").is_not_null()).then(pl.min_horizontal("sample", "quantity")),
        )
        .group_by(KEY, maintain_order=True)
        .agg(
            pl.len().alias("n"),
            pl.col("value").mean().alias("mean"),
            pl.col("value").std().alias("sd"),
            (limits.n_unique() == 1).alias("agreed"),
            pl.col("target", "lower", "upper", "sample", "accept", "k", "quantity").first(),
            pl.col("outside").cast(pl.Int64).sum().alias("bad"),
            pl.col("on_limit").fill_null(False).cast(pl.Int64).sum().alias("on"),
            pl.col("outside").is_not_null().all().alias("limited"),
            pl.col("outside").filter(first).sum().alias("bad_in_sample"),
            pl.col("value").filter(first).mean().alias("sample_mean"),
            pl.col("value").filter(first).std().fill_null(0.0).alias("sample_sd"),
        )
    )


def _in_lot(bad: Ints, n: Ints, quantity: Ints) -> tuple[Floats, Floats]:
    """95 % interval of the share of each lot outside; quantity 0: how many came is not known."""
    low, high = binomial_exact(bad, n)
    for at in np.flatnonzero(quantity >= n):
        low[at], high[at] = hypergeometric_exact(int(bad[at]), int(n[at]), int(quantity[at]))
    return low, high


def _verdict(row: dict[str, Any]) -> str | None:
    """What the plan agreed for a lot says of its first necks in time order."""
    if not row["limited"] or row["sample"] is None:
        return None
    if row["k"] is None:
        if row["bad_in_sample"] > row["accept"]:
            return REJECT  # decided, however many are left to measure
        return TOO_FEW if row["n"] < row["sample"] else ACCEPT
    if not row["agreed"]:
        return None
    if row["n"] < row["sample"] or row["sample"] < LEAST_MEASURED:
        return TOO_FEW
    if row["sample_sd"] <= 0:
        return REJECT if row["bad_in_sample"] else ACCEPT
    plan = VariablesPlan(row["sample"], row["k"])
    ends = {name: np.nan if row[name] is None else row[name] for name in ("lower", "upper")}
    return ACCEPT if accepts(plan, row["sample_mean"], row["sample_sd"], **ends) else REJECT


def _with_plan(measured: pl.DataFrame, shop: Shop) -> pl.DataFrame:
    """Sample, accept and k of the plan agreed for the characteristic: with the supplier, else with everybody."""
    plans = pl.DataFrame(
        [(plan.characteristic, plan.supplier, plan.sample, plan.accept, plan.k) for plan in shop.plans],
        schema={
            "characteristic": pl.String(),
            "for_supplier": pl.String(),
            "sample": pl.Int64(),
            "accept": pl.Int64(),
            "k": pl.Float64(),
        },
        orient="row",
    ).with_columns(planned=pl.lit(True))
    own = plans.filter(pl.col("for_supplier") != "").unique(["characteristic", "for_supplier"], keep="last")
    everybody = plans.filter(pl.col("for_supplier") == "").unique("characteristic", keep="last").drop("for_supplier")
    own = own.rename({"for_supplier": "supplier"})
    joined = measured.join(own, on=["characteristic", "supplier"], how="left", maintain_order="left")
    joined = joined.join(everybody, on="characteristic", how="left", suffix="_all", maintain_order="left")
    mine = pl.col("planned").is_not_null()
    return joined.with_columns(
        pl.when(mine).then(name).otherwise(f"{name}_all").alias(name) for name in ("sample", "accept", "k")
    )

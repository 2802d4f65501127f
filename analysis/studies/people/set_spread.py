"""Spread and offset of what each tech sets, against the others on the same models and positions at the same time.

Readings as set (first final inspection), by who set them, less the target of their spec. They are compared within a
cell, one position of one model, and within a day or some days of it: what moved for everybody (a target lowered, new
parts) is nobody's offset, and whoever began late is not held against a time before. Every cell and time counts by what
it can tell, so an uneven share of hard models counts for or against nobody. Who stands apart from the middle of the
people at a bench (`methods.standing_apart`) is nobody's yardstick: the others are held against each other.
"""

from datetime import date

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.segments import Floats
from analysis.methods.standing_apart import Spread, apart
from analysis.studies.people.far_off import far, near
from analysis.studies.story.of_visits import SEVERAL
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

CELL = ["characteristic", "setup", "position"]
TIME = "days together"
IN_ONE = 8  # readings of a cell that hold one time together
LEAST_OTHERS = 10  # readings of the others in a cell; below it their own spread is too ill known to divide by

SPREADS: dict[str, pl.DataType] = {
    "characteristic": pl.String(),
    "stage": pl.String(),
    "tech": pl.String(),
    "n": pl.Int64(),
    "instruments": pl.Int64(),
    "cells": pl.Int64(),
    **{
        name: pl.Float64()
        for name in ("offset", "offset_low", "offset_high", "sd", "sd_others", "ratio", "ratio_low", "ratio_high")
    },
    "apart": pl.Boolean(),
    "not_held": pl.Int64(),
    "far": pl.Int64(),
}


def spreads(snapshot: Snapshot, *, since: date | None = None) -> pl.DataFrame:
    """A row a characteristic and tech who set it, in the shop's order; the widest by `ratio` is the widest by set by.
    `since`: by what was set from that day on (None: ever).

    n readings of instruments set while others set some of the cell; offset: mean less the others' mean, canonical unit;
    sd, sd_others: within cells and times; ratio of the standard deviations with F bounds of normal readings. All 95 %;
    the readings of one instrument (its strings, its edges) go together, so the intervals take an instrument as one
    reading. apart: they stand apart from the middle of the people here; not_held: how many others do, and are left out
    of the comparison (where all others do they are held against all). far: of their readings left out, so far from all
    others (`far_off`); nobody's spread holds one.
    """
    readings = _of_one_setter(snapshot)
    told = _rows(readings if since is None else readings.filter(pl.col("set_on") >= since))
    order = {item.key: place for place, item in enumerate(snapshot.shop.characteristics)}
    left = tables.plain(
        far(snapshot)
        .group_by("characteristic", pl.col("set_stage").alias("stage"), pl.col("set_by").alias("tech"))
        .len("far")
    )
    return (
        pl.DataFrame(told, schema={name: kind for name, kind in SPREADS.items() if name != "far"})
        .join(left, on=["characteristic", "stage", "tech"], how="left", maintain_order="left")
        .with_columns(pl.col("far").cast(pl.Int64).fill_null(0))
        .with_columns(pl.col("characteristic").replace_strict(order, return_dtype=pl.Int64).alias("_order"))
        .sort("_order", "stage", "tech")
        .select(SPREADS.keys())
    )


def offset_of(
    snapshot: Snapshot, *, characteristic: str, stage: str, tech: str, serials: pl.Series
) -> dict[str, object] | None:
    """The row of `spreads` (without far) of one tech over some of their instruments alone, against the others at the
    same times; None where too few were set.
    """
    readings = _of_one_setter(snapshot).filter(
        (pl.col("characteristic") == characteristic) & (pl.col("set_stage") == stage)
    )
    some = pl.col("serial").cast(pl.String).is_in(serials.cast(pl.String).implode())
    told = _rows(readings.filter((pl.col("set_by") != tech) | some))
    return next((row for row in told if row["tech"] == tech), None)


def weekly(snapshot: Snapshot, *, characteristic: str, stage: str, tech: str) -> pl.DataFrame:
    """One tech's offset from the others week by week, as `spreads` has it: week (its Monday), offset, error (its
    standard error, an instrument's readings together), sd_others; canonical unit. Weeks without others beside them are
    left out.
    """
    readings = _of_one_setter(snapshot).filter(
        (pl.col("characteristic") == characteristic) & (pl.col("set_stage") == stage)
    )
    pairs = _pairs(readings).filter(pl.col("set_by") == tech)
    nu, nu_others = (pl.col(name).sub(1).sum().over(CELL) for name in ("n", "n_others"))
    pairs = pairs.with_columns(
        _own=pl.col("sum2").sum().over(CELL) / nu, _others=pl.col("sum2_others").sum().over(CELL) / nu_others
    ).filter((nu >= 1) & (nu_others >= LEAST_OTHERS // 2) & (pl.col("_others") > 0))
    together = (pl.col("serials").list.explode().n_unique() / pl.col("n").sum()).alias("_together")
    weight = 1 / (pl.col("_own") / pl.col("n") + pl.col("_others") / pl.col("n_others"))
    wide = (pl.col("sum2_others").sum() / (pl.col("n_others") - 1).sum()).sqrt()
    return (
        pairs.with_columns(wide.alias("sd_others"), weight.alias("_weight"))
        .group_by(pl.col("day").dt.truncate("1w").alias("week"))
        .agg(
            ((pl.col("_weight") * (pl.col("mean") - pl.col("mean_others"))).sum() / pl.col("_weight").sum()).alias(
                "offset"
            ),
            (1 / pl.col("_weight").sum().sqrt()).alias("error"),
            together,
            pl.col("sd_others").first(),
        )
        .with_columns(error=pl.col("error") / pl.col("_together").sqrt())
        .sort("week")
        .drop("_together")
    )


def _of_one_setter(snapshot: Snapshot) -> pl.DataFrame:
    kept = (pl.col("set_by") != "") & ~pl.col("set_by").cast(pl.String).str.contains(SEVERAL) & (pl.col("setup") != "")
    return near(snapshot).filter(kept)


def _pairs(readings: pl.DataFrame) -> pl.DataFrame:
    """A row a cell, time and setter who has others beside them: n, mean and sum2 (of squares about it), of the others
    too; serials, day (the first), apart and not_held.
    """
    off = (pl.col("value") - pl.col("target").fill_null(0.0)).alias("off")
    mine = tables.plain(
        _in_time(readings)
        .group_by(*CELL, TIME, "set_by")
        .agg(
            pl.len().alias("n"),
            off.mean().alias("mean"),
            (off.var().fill_null(0.0) * (pl.len() - 1)).alias("sum2"),
            pl.col("serial").unique().alias("serials"),
            pl.col("set_stage").first(),
            pl.col("set_on").min().alias("day"),
        )
    )
    at = [*CELL, TIME]
    mine = mine.join(_apart(mine), on=["characteristic", "set_by"], maintain_order="left")
    n, total = pl.col("n"), pl.col("n") * pl.col("mean")
    squares = pl.col("sum2") + pl.col("n") * pl.col("mean") ** 2

    def others(what: pl.Expr) -> pl.Expr:
        """What the others have of it in this cell and time: those who do not stand apart, where there are any."""
        kept = what * ~pl.col("apart")
        return pl.when("held").then(kept.sum().over(at) - kept).otherwise(what.sum().over(at) - what)

    pairs = mine.with_columns(
        others(n).alias("n_others"), others(squares).alias("_squares"), others(total).alias("_total")
    ).filter(pl.col("n_others") > 0)
    pairs = pairs.with_columns(mean_others=pl.col("_total") / pl.col("n_others"))
    return pairs.with_columns(
        sum2_others=(pl.col("_squares") - pl.col("n_others") * pl.col("mean_others") ** 2).clip(lower_bound=0.0)
    )


def _rows(readings: pl.DataFrame) -> list[dict[str, object]]:
    """The rows of `spreads` of some readings, without far."""
    pairs = _pairs(readings)
    cells = pairs.group_by(*CELL, "set_stage", "set_by", maintain_order=True).agg(
        pl.col("n", "mean", "n_others", "mean_others", "serials"),
        pl.col("apart", "not_held").first(),
        *(pl.col(name).sum() for name in ("sum2", "sum2_others")),
        (pl.col("n") - 1).sum().alias("nu"),
        (pl.col("n_others") - 1).sum().alias("nu_others"),
    )
    shared = cells.filter(
        (pl.col("nu") >= 1)
        & (pl.col("n_others").list.sum() >= LEAST_OTHERS)
        & (pl.col("nu_others") >= LEAST_OTHERS // 2)
        & (pl.col("sum2_others") > 1e-18 * pl.col("nu_others"))
    )
    rows = shared.group_by("characteristic", "set_stage", "set_by", maintain_order=True).agg(pl.all())
    return [_told(row) for row in rows.iter_rows(named=True)]


def _apart(mine: pl.DataFrame) -> pl.DataFrame:
    """Of each characteristic and setter: apart, not_held, and held (there are others who do not stand apart).

    mine : a row a cell, time and setter: n, mean, sum2, serials.
    """
    own = mine.group_by(*CELL, "set_by", maintain_order=True).agg(
        pl.col("sum2").sum(), (pl.col("n") - 1).sum().alias("nu")
    )
    usual = (
        own.filter(pl.col("nu") >= LEAST_OTHERS // 2)
        .with_columns(variance=pl.col("sum2") / pl.col("nu"))
        .group_by(*CELL)
        .agg(pl.col("variance").median())
        .filter(pl.col("variance") > 0)
    )
    parts = []
    for (key,), some in (
        mine.join(usual, on=CELL, maintain_order="left")
        .partition_by("characteristic", as_dict=True, maintain_order=True)
        .items()
    ):
        person = some["set_by"].rank("dense").to_numpy().astype(np.int64) - 1
        cell = some.select(pl.struct(*CELL, TIME).rank("dense")).to_series().to_numpy().astype(np.int64) - 1
        n, mean, sum2, variance = (
            some[name].to_numpy().astype(np.float64) for name in ("n", "mean", "sum2", "variance")
        )
        serials = some.group_by("set_by").agg(pl.col("serials").list.explode().n_unique()).sort("set_by")
        together = serials["serials"].to_numpy() / np.bincount(person, n)  # strings of one instrument go together
        free = np.bincount(person, n - 1)
        wide = np.bincount(person, sum2 / variance) / np.maximum(free, 1)
        spread = Spread(np.maximum(wide, 1e-9), free * together)
        off = apart(person, cell, n * together[person], mean / np.sqrt(variance), spread)
        parts.append(serials.select(pl.lit(key).alias("characteristic"), "set_by", pl.Series("apart", off)))
    told = pl.concat(parts) if parts else mine.select("characteristic", "set_by").with_columns(apart=pl.lit(False))
    others = pl.col("apart").sum().over("characteristic") - pl.col("apart")
    held = others < pl.len().over("characteristic") - 1
    return told.with_columns(held=held, not_held=pl.when(held).then(others).otherwise(0).cast(pl.Int64))


def _in_time(readings: pl.DataFrame) -> pl.DataFrame:
    """Adds TIME: which days of its cell a reading stands in: one, or as many one after the other (two, four ...) as
    hold some eight readings.
    """
    day = (
        pl.col("set_on").rank("dense").over(CELL).cast(pl.Int64) - 1
    )  # days on which none of the cell was set are none
    each = pl.len().over(CELL) / (day.max().over(CELL) + 1)
    long = pl.lit(2.0).pow((IN_ONE / each).log(2).ceil().clip(lower_bound=0)).cast(pl.Int64)
    return readings.with_columns((day // long).alias(TIME))


def _told(row: dict[str, list[object]]) -> dict[str, object]:
    """One tech's offset and spread from his cells, each with its times."""
    nu, nu_o, sum2, sum2_o = (
        np.asarray(row[name], dtype=np.float64) for name in ("nu", "nu_others", "sum2", "sum2_others")
    )
    var, var_o = sum2 / nu, sum2_o / nu_o
    n, mean, n_o, mean_o = (
        np.concatenate([np.asarray(each, dtype=np.float64) for each in row[name]])
        for name in ("n", "mean", "n_others", "mean_others")
    )
    cell = np.repeat(np.arange(len(nu)), [len(each) for each in row["n"]])  # type: ignore[arg-type]
    serials = {serial for times in row["serials"] for each in times for serial in each}  # type: ignore[attr-defined]
    own = len(serials) / n.sum()  # strings of one instrument go together, so an instrument counts once
    error2 = var[cell] / n + var_o[cell] / n_o
    offset, half = _pooled(mean - mean_o, np.where(error2 > 0, error2, 1e-18))
    # each cell in units of the others' spread there; the last factor takes out that 1 / s^2 is too large on average
    ratio2 = float((nu * var / var_o * (nu_o - 2) / nu_o).sum() / nu.sum())
    low, high = (np.sqrt(ratio2 / stats.f.ppf(p, nu.sum() * own, nu_o.sum() * own)) for p in (0.975, 0.025))
    half /= np.sqrt(own)
    sd, sd_others = (float(np.sqrt((nu * each).sum() / nu.sum())) for each in (var, var_o))
    return {
        "characteristic": row["characteristic"],
        "stage": row["set_stage"],
        "tech": row["set_by"],
        "n": int(n.sum()),
        "instruments": len(serials),
        "cells": len(nu),
        "offset": offset,
        "offset_low": offset - half,
        "offset_high": offset + half,
        "sd": sd,
        "sd_others": sd_others,
        "ratio": float(np.sqrt(ratio2)),
        "ratio_low": float(low),
        "ratio_high": float(high),
        "apart": row["apart"][0],
        "not_held": row["not_held"][0],
    }


def _pooled(difference: Floats, error2: Floats) -> tuple[float, float]:
    """Mean of the cells' differences, each by how well it is known, and half its 95 % interval."""
    weight = 1 / error2
    return float((weight * difference).sum() / weight.sum()), float(1.959964 / np.sqrt(weight.sum()))

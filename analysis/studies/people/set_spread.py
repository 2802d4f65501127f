"""Spread and offset of what each tech sets, against the others on the same models and positions.

Readings as set (first final inspection), by who set them, less the target of their spec. They are compared within a
cell: one position of one model. Every cell counts by what it can tell, so an uneven share of hard models counts for or
against nobody.
"""

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.segments import Floats
from analysis.studies.story.conformity import as_set
from analysis.studies.story.of_visits import SEVERAL
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

CELL = ["characteristic", "setup", "position"]
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
}


def spreads(snapshot: Snapshot) -> pl.DataFrame:
    """A row a characteristic and tech who set it, in the shop's order; the widest by `ratio` is the widest by set by.

    n readings of instruments in cells shared with others; offset: mean less the others' mean, canonical unit; sd,
    sd_others: within cells; ratio of the standard deviations with F bounds of normal readings. All 95 %; the readings
    of one instrument (its strings, its edges) go together, so the intervals take an instrument as one reading.
    """
    readings = snapshot.once(as_set).filter(
        (pl.col("set_by") != "") & ~pl.col("set_by").cast(pl.String).str.contains(SEVERAL) & (pl.col("setup") != "")
    )
    off = (pl.col("value") - pl.col("target").fill_null(0.0)).alias("off")
    mine = tables.plain(
        readings.group_by(*CELL, "set_by").agg(
            pl.len().alias("n"),
            off.mean().alias("mean"),
            off.var().fill_null(0.0).alias("var"),
            pl.col("serial").unique().alias("serials"),
            pl.col("set_stage").first(),
        )
    )
    total, mean = (
        pl.col("n").sum().over(CELL),
        (pl.col("n") * pl.col("mean")).sum().over(CELL) / pl.col("n").sum().over(CELL),
    )
    squares = (pl.col("n") - 1) * pl.col("var") + pl.col("n") * pl.col("mean") ** 2
    pairs = mine.with_columns(
        (total - pl.col("n")).alias("n_others"),
        (squares.sum().over(CELL) - squares).alias("_sum2"),
        ((total * mean - pl.col("n") * pl.col("mean")) / (total - pl.col("n"))).alias("mean_others"),
    ).with_columns(
        var_others=((pl.col("_sum2") - pl.col("n_others") * pl.col("mean_others") ** 2) / (pl.col("n_others") - 1))
    )
    shared = pairs.filter((pl.col("n") >= 2) & (pl.col("n_others") >= LEAST_OTHERS) & (pl.col("var_others") > 1e-18))
    if shared.is_empty():
        return pl.DataFrame(schema=SPREADS)
    rows = shared.group_by("characteristic", "set_stage", "set_by", maintain_order=True).agg(pl.all())
    told = [_told(row) for row in rows.iter_rows(named=True)]
    order = {item.key: place for place, item in enumerate(snapshot.shop.characteristics)}
    return (
        pl.DataFrame(told, schema=SPREADS)
        .with_columns(pl.col("characteristic").replace_strict(order, return_dtype=pl.Int64).alias("_order"))
        .sort("_order", "stage", "tech")
        .select(SPREADS.keys())
    )


def _told(row: dict[str, object]) -> dict[str, object]:
    """One tech's offset and spread from his cells."""
    names = ("n", "mean", "var", "n_others", "mean_others", "var_others")
    n, mean, var, n_o, mean_o, var_o = (np.asarray(row[name], dtype=np.float64) for name in names)
    serials = {serial for cell in row["serials"] for serial in cell}  # type: ignore[attr-defined]
    own = len(serials) / n.sum()  # strings of one instrument go together, so an instrument counts once
    error2 = var / n + var_o / n_o
    offset, half = _pooled(mean - mean_o, np.where(error2 > 0, error2, 1e-18))
    nu, nu_o = float((n - 1).sum()), float((n_o - 1).sum())
    # each cell in units of the others' spread there; the last factor takes out that 1 / s^2 is too large on average
    ratio2 = float(((n - 1) * var / var_o * (n_o - 3) / (n_o - 1)).sum() / nu)
    low, high = (np.sqrt(ratio2 / stats.f.ppf(p, nu * own, nu_o * own)) for p in (0.975, 0.025))
    half /= np.sqrt(own)
    sd, sd_others = (float(np.sqrt(((n - 1) * each).sum() / nu)) for each in (var, var_o))
    return {
        "characteristic": row["characteristic"],
        "stage": row["set_stage"],
        "tech": row["set_by"],
        "n": int(n.sum()),
        "instruments": len(serials),
        "cells": len(n),
        "offset": offset,
        "offset_low": offset - half,
        "offset_high": offset + half,
        "sd": sd,
        "sd_others": sd_others,
        "ratio": float(np.sqrt(ratio2)),
        "ratio_low": float(low),
        "ratio_high": float(high),
    }


def _pooled(difference: Floats, error2: Floats) -> tuple[float, float]:
    """Mean of the cells' differences, each by how well it is known, and half its 95 % interval."""
    weight = 1 / error2
    return float((weight * difference).sum() / weight.sum()), float(1.959964 / np.sqrt(weight.sum()))

"""Work that comes back by stage, at the same mix: does more come back of one shop's stage than the models it works on
explain?

What is expected of a shop is what all shops together had come back of each model, times how many of it the shop did;
models that one shop alone does say nothing and are left out. Observed over expected is held against the others as
levels are: on a logarithmic scale, its error widened where the shop's own weeks lie further apart than chance has it.

Source: indirect standardization: Breslow & Day 1987, Statistical Methods in Cancer Research II (IARC), section 2.3;
the error of a logarithm of a count, by the delta method; widening by Pearson's X2 over its degrees of freedom:
McCullagh & Nelder 1989, Generalized Linear Models, section 4.5.2 (all from memory, held by tests).
"""

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.partial_pooling import among_many, equal, pooled_rows, standing_out
from analysis.methods.segments import lengths
from analysis.studies.shops.same_model import ALPHA
from ingest.terms import tables

LEAST = 5.0  # expected to come back, for a shop's stage to be held against others
TEXT, COUNT, NUMBER = pl.String(), pl.Int64(), pl.Float64()
SAME_REWORK: dict[str, pl.DataType] = {  # a row a stage and shop
    **dict.fromkeys(("stage", "shop"), TEXT),
    **dict.fromkeys(("shops", "instruments", "came_back", "left_out"), COUNT),  # left out: of models nobody else does
    **dict.fromkeys(("share", "at_mix", "expected"), NUMBER),  # its own share; all shops' at its mix; that as a count
    # over expected: its own, 95 %; the same once all shops are used, and of all (from three shops)
    **dict.fromkeys(("ratio", "ratio_low", "ratio_high", "value", "low", "high", "all", "all_low", "all_high"), NUMBER),
    **dict.fromkeys(("chance", "among_all"), NUMBER),  # that equal shops lie so far apart; paid for all that was asked
    "apart": pl.Boolean(),
}
_NEEDED = {
    **dict.fromkeys(("shop", "stage", "model"), TEXT),
    **dict.fromkeys(("instruments", "came_back", "weeks"), COUNT),
    "widening": NUMBER,
}


def same_rework(mix: pl.DataFrame) -> pl.DataFrame:
    """SAME_REWORK of the rows of `mix` of many shops (with the column `shop`); only what two shops or more have."""
    told = tables.shaped(mix, _NEEDED) if mix.width > 1 else tables.empty(_NEEDED)
    model = ["stage", "model"]
    both = pl.col("shop").n_unique().over(model) > 1
    rows = told.with_columns(
        _both=both, _share=pl.col("came_back").sum().over(model) / pl.col("instruments").sum().over(model)
    )
    rows = (
        rows.group_by("stage", "shop")
        .agg(
            pl.col("instruments").filter("_both").sum(),
            pl.col("came_back").filter("_both").sum(),
            pl.col("instruments").filter(~pl.col("_both")).sum().alias("left_out"),
            (pl.col("instruments") * pl.col("_share")).filter("_both").sum().alias("expected"),
            pl.col("weeks").max(),
            pl.col("widening").max(),
        )
        .filter((pl.col("expected") >= LEAST) & (pl.col("weeks") > 2))
        .filter(pl.len().over("stage") >= 2)
        .sort("stage", "shop")
    )
    if rows.is_empty():
        return tables.empty(SAME_REWORK)
    count, expected = (rows[name].to_numpy().astype(np.float64) for name in ("came_back", "expected"))
    value = np.log((count + 0.5) / (expected + 0.5))
    error = np.sqrt(np.maximum(rows["widening"].fill_null(1.0).to_numpy(), 1.0) / (count + 0.5))
    freedom = rows["weeks"].to_numpy() - 1.0
    starts = np.flatnonzero(rows.select(pl.col("stage").rle_id().diff().fill_null(1) != 0).to_series().to_numpy())
    size = lengths(starts, len(rows))
    chance = equal(value, error, starts, freedom=freedom)
    among = among_many(chance)
    reach = stats.t.ppf(0.975, freedom) * error
    found = {
        name.replace("mean", "all"): each for name, each in pooled_rows(value, error, starts, freedom=freedom).items()
    }
    ratios = {"ratio": value, "ratio_low": value - reach, "ratio_high": value + reach} | {
        name: found[name] for name in ("value", "low", "high", "all", "all_low", "all_high")
    }
    out = standing_out(value, error, starts, freedom=freedom, level=ALPHA / len(starts))
    return tables.shaped(
        rows.with_columns(
            shops=pl.Series(np.repeat(size, size)),
            share=pl.col("came_back") / pl.col("instruments"),
            at_mix=pl.col("expected") / pl.col("instruments"),
            chance=pl.Series(np.repeat(chance, size)),
            among_all=pl.Series(np.repeat(among, size)),
            apart=pl.Series(out & (np.repeat(among, size) < ALPHA)),
            **{name: pl.Series(np.exp(column)).fill_nan(None) for name, column in ratios.items()},
        ),
        SAME_REWORK,
    )

"""One shop against all others on the lots they have in common: whose gauge, or way to hold it, reads apart?

Of each lot that a shop and others measured: its mean less that of the others' necks. What is the same on every lot is
the shop's own. The shop that is surest to be apart is set aside first, and the rest is asked anew without it: else it
would lay its own error on all who shared lots with it. Two shops alone are for `same_lots.pairs`.

Source: Student's t on paired differences: NIST/SEMATECH e-Handbook, section 1.3.5.3; the price of many looks after
Holm 1979, Scandinavian Journal of Statistics 6.
"""

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.partial_pooling import among_many
from analysis.studies.shops.same_lots import KEY, measured
from analysis.studies.shops.same_model import ALPHA

LOTS_LEAST = 3  # lots shared with others, by which a shop is held against them
OTHERS_LEAST = 2  # other shops: with one alone nobody can say whose gauge it is
TEXT, COUNT, NUMBER = pl.String(), pl.Int64(), pl.Float64()
APART: dict[str, pl.DataType] = {
    **dict.fromkeys(("characteristic", "shop"), TEXT),
    **dict.fromkeys(("others", "lots", "n"), COUNT),
    **dict.fromkeys(("off", "low", "high", "chance", "among_all"), NUMBER),  # above the others, 95 %
    "apart": pl.Boolean(),
}
FAMILY = ["characteristic", "shop"]


def same_gauge(lots: pl.DataFrame) -> pl.DataFrame:
    """APART: a row a shop and characteristic, of those that share lots enough with two others or more.

    lots : one row a shop, characteristic, supplier and lot, with `n`, `mean` and `sd` of its necks.
    """
    left = measured(lots)
    named: list[pl.DataFrame] = []
    while True:
        told = _held(left)
        out = told.sort("chance").head(1).filter(pl.col("among_all") < ALPHA)
        if out.is_empty():
            break
        named.append(out.with_columns(apart=pl.lit(True)))
        left = left.join(out.select(FAMILY), on=FAMILY, how="anti", maintain_order="left")
    rows = pl.concat([*named, told.with_columns(apart=pl.lit(False))])
    return rows.select(APART.keys()).cast(dict(APART)).sort(FAMILY)  # type: ignore[arg-type]


def _held(told: pl.DataFrame) -> pl.DataFrame:
    """Every shop against the others that are left."""
    weight, total = pl.col("n").sum().over(KEY), (pl.col("n") * pl.col("mean")).sum().over(KEY)
    rest = (total - pl.col("n") * pl.col("mean")) / (weight - pl.col("n"))
    shared = told.with_columns(d=pl.col("mean") - rest).filter(pl.len().over(KEY) > 1)
    others = (
        shared.select(*KEY, *FAMILY[1:])
        .join(shared.select(*KEY, other="shop"), on=KEY)
        .filter(pl.col("shop") != pl.col("other"))
        .group_by(FAMILY)
        .agg(others=pl.col("other").n_unique())
    )
    rows = (
        shared.group_by(FAMILY)
        .agg(lots=pl.len(), n=pl.col("n").sum(), off=pl.col("d").mean(), sd=pl.col("d").std())
        .join(others, on=FAMILY)
        .filter((pl.col("lots") >= LOTS_LEAST) & (pl.col("others") >= OTHERS_LEAST) & (pl.col("sd") > 0))
        .sort(FAMILY)
    )
    count, off, sd = (rows[name].to_numpy().astype(np.float64) for name in ("lots", "off", "sd"))
    error = sd / np.sqrt(count)
    chance = 2 * stats.t.sf(np.abs(off) / error, count - 1)
    reach = stats.t.ppf(0.975, count - 1) * error
    return rows.with_columns(
        low=pl.Series(off - reach, dtype=NUMBER),
        high=pl.Series(off + reach, dtype=NUMBER),
        chance=pl.Series(chance, dtype=NUMBER),
        among_all=pl.Series(among_many(chance) if len(rows) else chance, dtype=NUMBER),
    )

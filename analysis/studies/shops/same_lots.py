"""Suppliers' lots wherever they went: two shops on the same lots (is it the gauge or the necks?), and lots that stand
out from the others of their supplier in whatever shop they came to.

Two shops: of each lot that both measured, one's mean less the other's. What is the same on every lot is the gauge, how
it is held or how necks rested before; what differs from lot to lot beyond what so few necks err by is in the necks: the
halves of a lot were not alike. With a single lot in common nobody can tell the one from the other.

A lot against the others of its supplier (`methods/against_others`): lots and shops are fitted together, so that a shop
whose gauge reads high makes no lot stand out. Lots that no chain of shops and common lots joins are never held against
each other.

Source: Student's t on paired differences: NIST/SEMATECH e-Handbook, section 1.3.5.3.
"""

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.against_others import LEAST, errors, held, levels
from analysis.methods.partial_pooling import among_many, equal
from analysis.studies.shops.same_model import ALPHA
from ingest.terms import tables

FEWEST = 5  # necks of a lot that a shop measured
LOTS_LEAST = LEAST  # lots joined with each other, of which one may stand out
GAUGE, NECKS, ALIKE, ONE_LOT = "gauge", "necks", "alike", "one lot"
TEXT, COUNT, NUMBER = pl.String(), pl.Int64(), pl.Float64()
PAIRS: dict[str, pl.DataType] = {
    **dict.fromkeys(("characteristic", "shop", "other"), TEXT),
    **dict.fromkeys(("lots", "n", "n_other"), COUNT),
    # what the shop reads above the other on the same lots, 95 % (of one lot: of that lot); the chance of that, and of
    # differences that unlike from lot to lot, if there were none
    **dict.fromkeys(("off", "low", "high", "chance", "among_all", "uneven_chance", "uneven_among_all"), NUMBER),
    "what": TEXT,  # gauge | necks | alike | one lot
}
STANDING: dict[str, pl.DataType] = {
    **dict.fromkeys(("supplier", "lot", "characteristic", "shops"), TEXT),
    **dict.fromkeys(("lots", "n"), COUNT),
    **dict.fromkeys(("off", "low", "high", "chance", "among_all"), NUMBER),  # from the mean of the other lots, 95 %
    "apart": pl.Boolean(),
}
KEY = ["characteristic", "supplier", "lot"]
_NEEDED = {"shop": TEXT, **dict.fromkeys(KEY, TEXT), "n": COUNT, "mean": NUMBER, "sd": NUMBER}


def measured(lots: pl.DataFrame) -> pl.DataFrame:
    """Rows of `lots` of many shops (with the column `shop`) that say something: FEWEST necks, not all alike."""
    told = tables.shaped(lots, _NEEDED).filter((pl.col("lot") != "") & (pl.col("n") >= FEWEST) & (pl.col("sd") > 0))
    return told.filter(pl.len().over([*KEY, "shop"]) == 1).sort([*KEY, "shop"])


def pairs(lots: pl.DataFrame) -> pl.DataFrame:
    """PAIRS: a row two shops and characteristic with a lot in common."""
    told = measured(lots)
    both = told.join(told, on=KEY, suffix="_other").filter(pl.col("shop") < pl.col("shop_other"))
    if both.is_empty():
        return pl.DataFrame(schema=PAIRS)
    part, part_other = pl.col("sd") ** 2 / pl.col("n"), pl.col("sd_other") ** 2 / pl.col("n_other")
    both = both.with_columns(d=pl.col("mean") - pl.col("mean_other"), error=(part + part_other).sqrt()).with_columns(
        freedom=pl.col("error") ** 4 / (part**2 / (pl.col("n") - 1) + part_other**2 / (pl.col("n_other") - 1))
    )
    family = ["characteristic", "shop", "shop_other"]
    both = both.sort([*family, "supplier", "lot"])
    rows = both.group_by(family, maintain_order=True).agg(
        pl.len().alias("lots"),
        pl.col("n", "n_other").sum(),
        pl.col("d").mean().alias("off"),
        pl.when(pl.len() > 1).then(pl.col("d").std() / pl.len().sqrt()).otherwise(pl.col("error").first()).alias("se"),
        pl.when(pl.len() > 1).then(pl.len() - 1.0).otherwise(pl.col("freedom").first()).alias("df"),
    )
    off, se, df, count = (rows[name].to_numpy().astype(np.float64) for name in ("off", "se", "df", "lots"))
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = np.where(off == 0, 1.0, 2 * stats.t.sf(np.abs(off) / se, df))
    reach = stats.t.ppf(0.975, df) * se
    uneven = np.full(len(rows), np.nan)
    several = count > 1
    if several.any():
        kept = both.filter(pl.len().over(family) > 1)
        sizes = count[several].astype(np.int64)
        starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
        uneven[several] = equal(
            kept["d"].to_numpy(), kept["error"].to_numpy(), starts, freedom=kept["freedom"].to_numpy()
        )
    among = np.full(len(rows), np.nan)
    uneven_among = among.copy()
    if several.any():  # both questions are asked of every pair
        paid = among_many(np.concatenate([chance[several], uneven[several]]))
        among[several], uneven_among[several] = np.split(paid, 2)
    what = np.select([~several, among < ALPHA, uneven_among < ALPHA], [ONE_LOT, GAUGE, NECKS], default=ALIKE)
    return (
        rows.rename({"shop_other": "other"})
        .with_columns(
            low=pl.Series(off - reach),
            high=pl.Series(off + reach),
            chance=pl.Series(chance),
            among_all=pl.Series(among).fill_nan(None),
            uneven_chance=pl.Series(uneven).fill_nan(None),
            uneven_among_all=pl.Series(uneven_among).fill_nan(None),
            what=pl.Series(what),
        )
        .select(PAIRS.keys())
        .cast(dict(PAIRS))  # type: ignore[arg-type]
    )


def standing(lots: pl.DataFrame) -> pl.DataFrame:
    """STANDING: a row a lot and characteristic, of suppliers with LOTS_LEAST lots that shops join."""
    told = measured(lots)
    if told.is_empty():
        return pl.DataFrame(schema=STANDING)
    lot = tables.one_key(*(tables.rank(told[name]) for name in KEY))
    lot = np.unique(lot, return_inverse=True)[1]
    shop = tables.one_key(*(tables.rank(told[name]) for name in ("characteristic", "supplier", "shop")))
    shop = np.unique(shop, return_inverse=True)[1]
    fit = levels(lot, shop, told["mean"].to_numpy())
    own = errors(lot, fit.family, told["n"].to_numpy(), told["sd"].to_numpy())
    found = held(fit.level, own, fit.family)
    rows = (
        told.with_columns(_lot=pl.Series(lot))
        .group_by("_lot")
        .agg(pl.col(*KEY).first(), pl.col("shop").sort().str.join("; ").alias("shops"), pl.col("n").sum())
        .sort("_lot")
    )
    rows = rows.with_columns(
        lots=pl.Series(found.others + 1),
        off=pl.Series(found.off),
        low=pl.Series(found.low),
        high=pl.Series(found.high),
        chance=pl.Series(found.chance),
    ).filter(pl.Series(found.judged))
    among = among_many(rows["chance"].to_numpy()) if len(rows) else np.zeros(0)
    return (
        rows.with_columns(among_all=pl.Series(among, dtype=NUMBER))
        .with_columns(apart=pl.col("among_all") < ALPHA)
        .select(STANDING.keys())
        .cast(dict(STANDING))  # type: ignore[arg-type]
        .sort("characteristic", "supplier", "lot")
    )

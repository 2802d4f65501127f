"""Lots that stand apart from all others of their supplier, whether or not their necks lie within what was agreed.

A lot's mean is freed of its models', so that a lot of one model is held against what others had of that model, and of
the air, where bow is shown to follow it (`air`): a lot read in a damp month is held against others as at the same air.
It is held against the supplier's other lots that do not stand apart themselves, and against as much as these differ; in
one supplier of a hundred whose lots do not differ otherwise one stands apart by chance.

Beside it stands whether more necks of a lot lie outside its limits than chance puts there: the exact chance of so many
or more of all that lie outside, by the hypergeometric distribution, paid for all lots looked at (Holm's first step);
counted at the same air too.
"""

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.against_others import set_apart
from analysis.methods.segments import Ints, dense
from analysis.studies.necks import air, lots
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

FEWEST = 5  # necks of a lot and model
LEVEL = 0.01  # chance that any lot of a supplier stands apart where none differs
OFF, COUNT = pl.Float64(), pl.Int64()
STANDING: dict[str, pl.DataType] = {
    **dict.fromkeys(lots.KEY, pl.String()),
    **dict.fromkeys(("off", "off_low", "off_high"), OFF),  # mean of the lot less that of the others, 95 %
    "others": COUNT,  # lots of the supplier that it is held against: those that do not stand apart
    "others_apart": COUNT,  # its other lots that do
    "apart": pl.Boolean(),
}


def standing(snapshot: Snapshot) -> pl.DataFrame:
    """STANDING: a row a lot of which FEWEST necks of a model were measured."""
    cells = (
        snapshot.once(air.at_same_air)
        .filter((pl.col("supplier") != "") & (pl.col("lot") != ""))
        .group_by(*lots.KEY, "model")
        .agg(
            pl.len().alias("n"),
            pl.col("level").mean().alias("mean"),
            pl.col("level").std().alias("sd"),
            pl.col("rh").mean(),
        )
        .filter(pl.col("n") >= FEWEST)
        .sort("characteristic", "supplier", "lot", "model")
    )
    if cells.is_empty():
        return pl.DataFrame(schema=STANDING)

    def numbers(*names: str) -> Ints:
        return dense(tables.one_key(*(tables.rank(cells[name]) for name in names))).code

    lot, model = numbers(*lots.KEY), numbers("characteristic", "supplier", "model")
    found = set_apart(lot, model, cells["n"].to_numpy(), cells["mean"].to_numpy(), cells["sd"].to_numpy(), level=LEVEL)
    rows = cells.with_columns(pl.Series("_lot", lot)).unique("_lot", keep="first").sort("_lot").select(lots.KEY)
    rows = rows.with_columns(
        off=pl.Series(found.off),
        off_low=pl.Series(found.low),
        off_high=pl.Series(found.high),
        others=pl.Series(found.others),
        apart=pl.Series(found.apart),
    )
    own = ["supplier", "characteristic"]
    apart_of = pl.col("apart").sum().over(own) - pl.col("apart").cast(pl.Int64)
    return _with_air(snapshot, rows.with_columns(others_apart=apart_of.cast(pl.Int64)), cells).select(STANDING.keys())


def _with_air(snapshot: Snapshot, rows: pl.DataFrame, cells: pl.DataFrame) -> pl.DataFrame:
    """Intervals that also hold how surely the slope on the air is known, as far as a lot's air is not the others'."""
    errors = {name: one.error for name, one in snapshot.once(air.followed).items()}
    own = ["supplier", "characteristic"]
    of_lot = cells.group_by(lots.KEY).agg(((pl.col("rh") * pl.col("n")).sum() / pl.col("n").sum()).alias("rh"))
    told = rows.join(of_lot, on=lots.KEY, how="left", maintain_order="left").with_columns(
        _usual=pl.col("rh").filter(~pl.col("apart")).mean().over(own),
        _error=pl.col("characteristic").replace_strict(errors, default=0.0, return_dtype=pl.Float64),
    )
    half, by_air = (
        (pl.col("off_high") - pl.col("off_low")) / 2,
        2 * pl.col("_error") * (pl.col("rh") - pl.col("_usual")),
    )
    more = ((half**2 + by_air.fill_null(0.0) ** 2).sqrt() - half).fill_nan(0.0)
    return told.with_columns(off_low=pl.col("off_low") - more, off_high=pl.col("off_high") + more)


def more_outside(snapshot: Snapshot) -> pl.DataFrame:
    """KEY, more_outside: do more necks of a lot lie outside its limits, at the same air where bow follows it, than
    chance puts there among all lots of the characteristic? Lots without limits have no row; one lot alone has nothing
    to be held against.
    """
    rows = snapshot.once(lots.lot_rows).filter(pl.col("outside").is_not_null())
    same = (
        snapshot.once(air.at_same_air).group_by(lots.KEY).agg(pl.col("outside_level").sum().cast(pl.Int64).alias("bad"))
    )
    bad = rows.join(same, on=lots.KEY, how="left", maintain_order="left")["bad"]
    told = rows.select(*lots.KEY, "n", bad.alias("bad")).with_columns(
        pl.col("n", "bad").sum().over("characteristic").name.prefix("all_"), looked_at=pl.len().over("characteristic")
    )
    k, necks, all_bad, n = (told[name].to_numpy() for name in ("bad", "all_n", "all_bad", "n"))
    chance = stats.hypergeom.sf(k - 1, necks, all_bad, n) * told["looked_at"].to_numpy()
    return told.select(lots.KEY).with_columns(more_outside=pl.Series(np.asarray(chance <= LEVEL), dtype=pl.Boolean))

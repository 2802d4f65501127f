"""Lots that stand apart from all others of their supplier, whether or not their necks lie within what was agreed.

A lot's mean is freed of its models', so that a lot of one model is held against what others had of that model. It is
held against as much as the supplier's other lots differ among themselves; in one supplier of a hundred whose lots do
not differ otherwise one stands apart by chance.

Beside it stands whether more necks of a lot lie outside its limits than chance puts there: the exact chance of so many
or more of all that lie outside, by the hypergeometric distribution, paid for all lots looked at (Holm's first step).
"""

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.against_others import set_apart
from analysis.methods.segments import Ints, dense
from analysis.studies.necks import lots
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

FEWEST = 5  # necks of a lot and model
LEVEL = 0.01  # chance that any lot of a supplier stands apart where none differs
OFF, COUNT = pl.Float64(), pl.Int64()
STANDING: dict[str, pl.DataType] = {
    **dict.fromkeys(lots.KEY, pl.String()),
    **dict.fromkeys(("off", "off_low", "off_high"), OFF),  # mean of the lot less that of the others, 95 %
    "others": COUNT,
    "apart": pl.Boolean(),
}


def standing(snapshot: Snapshot) -> pl.DataFrame:
    """STANDING: a row a lot of which FEWEST necks of a model were measured."""
    cells = (
        snapshot.once(lots.necks)
        .filter((pl.col("supplier") != "") & (pl.col("lot") != ""))
        .group_by(*lots.KEY, "model")
        .agg(pl.len().alias("n"), pl.col("value").mean().alias("mean"), pl.col("value").std().alias("sd"))
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
    return rows.with_columns(
        off=pl.Series(found.off),
        off_low=pl.Series(found.low),
        off_high=pl.Series(found.high),
        others=pl.Series(found.others),
        apart=pl.Series(found.apart),
    ).select(STANDING.keys())


def more_outside(snapshot: Snapshot) -> pl.DataFrame:
    """KEY, more_outside: do more necks of a lot lie outside its limits than chance puts there among all lots of the
    characteristic? Lots without limits have no row; one lot alone has nothing to be held against.
    """
    rows = snapshot.once(lots.lot_rows).filter(pl.col("outside").is_not_null())
    bad = (rows["outside"] * rows["n"]).round(0).cast(pl.Int64)
    told = rows.select(*lots.KEY, "n", bad.alias("bad")).with_columns(
        pl.col("n", "bad").sum().over("characteristic").name.prefix("all_"), looked_at=pl.len().over("characteristic")
    )
    k, necks, all_bad, n = (told[name].to_numpy() for name in ("bad", "all_n", "all_bad", "n"))
    chance = stats.hypergeom.sf(k - 1, necks, all_bad, n) * told["looked_at"].to_numpy()
    return told.select(lots.KEY).with_columns(more_outside=pl.Series(np.asarray(chance <= LEVEL), dtype=pl.Boolean))

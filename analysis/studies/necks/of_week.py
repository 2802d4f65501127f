"""What of incoming necks one week's review tells: lots measured in it, and necks read again after the rest in it."""

from datetime import date, timedelta

import polars as pl

from analysis.methods.problems import UnusableData
from analysis.studies.necks import after_rest, air, apart, lots, sent_back
from ingest.store.snapshot import Snapshot

DAYS = timedelta(days=6)
TEXT, COUNT, REAL = pl.String(), pl.Int64(), pl.Float64()
RESTED: dict[str, pl.DataType] = {
    **dict.fromkeys(("supplier", "characteristic", "first_lot"), TEXT),
    **dict.fromkeys(("lots", "of_lots"), COUNT),  # lots that lie apart, the latest ones, of all of the supplier's
    "hours": REAL,  # between the two readings
    **dict.fromkeys(("change", "change_low", "change_high", "others"), REAL),  # mm after straightening
    **dict.fromkeys(("found", "n", "other_found", "other_n"), COUNT),  # sent back to straightening, of so many judged
    **dict.fromkeys(("more", "low", "high"), REAL),  # share sent back less the others' at the same mix, 95 %
}


def measured(snapshot: Snapshot, week: date) -> pl.DataFrame:
    """Rows of `lots.judged` of lots measured in the week (its first day), most outside first, with agreed_limit
    (canonical unit).
    """
    every = snapshot.once(lots.necks)
    here = every.filter(pl.col("day").is_between(week, week + DAYS)).select("supplier", "lot").unique()
    agreed = snapshot.table("lots").select("supplier", "lot", "agreed_limit").unique(["supplier", "lot"], keep="last")
    theirs = every.join(here, on=["supplier", "lot"], how="semi", maintain_order="left")  # not those of all years
    rows = lots.judged(theirs, snapshot.shop, lots.quantities(snapshot)).join(
        agreed, on=["supplier", "lot"], how="left"
    )
    return rows.sort(-pl.col("outside"), *lots.KEY)


def apart_of(snapshot: Snapshot, some: pl.DataFrame) -> pl.DataFrame:
    """Of the lots measured in the week those that stand apart, the farthest first. some : rows of `measured`."""
    far = snapshot.once(apart.standing).filter("apart")
    rows = far.join(some.select(*lots.KEY, "mean"), on=lots.KEY, maintain_order="left")
    rows = rows.join(snapshot.once(air.by_lot), on=lots.KEY, how="left", maintain_order="left")
    return rows.sort(-pl.col("off").abs(), *lots.KEY)


def rested(snapshot: Snapshot, week: date) -> pl.DataFrame:
    """RESTED: suppliers whose latest lots come back after straightening, a neck of them read in the week, and of which
    more is sent back to it than of the others' at the same mix, the most first.
    """
    try:
        every = after_rest.by_supplier(snapshot)
    except UnusableData:
        return pl.DataFrame(schema=RESTED)
    some = [one for one in every if one.apart is not None and one.lasts and one.apart.off.mean * one.incoming > 0]
    if not some:
        return pl.DataFrame(schema=RESTED)
    here = snapshot.once(after_rest.pairs).filter(pl.col("day").is_between(week, week + DAYS))
    seen, back = set(here.select("supplier", "lot").iter_rows()), sent_back.by_supplier(snapshot)
    told = []
    for one in some:
        sent = back.get(one.supplier)
        if one.apart is None or sent is None or sent.shares.low <= 0:
            continue
        if not any((one.supplier, lot) in seen for lot in one.names):
            continue
        level, shares = one.apart.level, sent.shares
        told.append(
            {
                "supplier": one.supplier,
                "characteristic": one.characteristic,
                "first_lot": one.names[0],
                "lots": len(one.names),
                "of_lots": one.lots,
                "hours": one.hours,
                "change": level.mean,
                "change_low": level.low,
                "change_high": level.high,
                "others": one.apart.others.mean,
                "found": shares.found,
                "n": shares.n,
                "other_found": shares.other_found,
                "other_n": shares.other_n,
                "more": shares.more,
                "low": shares.low,
                "high": shares.high,
            }
        )
    return pl.DataFrame(told, schema=RESTED).sort("more", descending=True)

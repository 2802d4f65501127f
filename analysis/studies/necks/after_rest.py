"""What a neck does after it was straightened: bow read after the rest less the bow that straightening left it with, by
supplier and lot.

Counted is a neck whose first straightening passed and which did nothing but rest until it was read again, at the rest
or at the first bench after it; at the same air, where bow follows it (`air`). Of each supplier the lots one after
another in time that lie farthest from those of the others are looked at (`methods/stretches.py`), models like against
like.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.against_others import errors, levels
from analysis.methods.intervals import mean_t
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Ints
from analysis.methods.stretches import Lots, Size, Stretch, farthest, whole
from analysis.studies.necks import air, bow, lots
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

FEWEST = 5  # necks of a lot and model
LEVEL = 0.01  # chance that any supplier's lots are said to lie apart where none do
OF_VISITS = ("visit", "serial", "round", "role", "stage", "outcome", "first_pass")
OF_READINGS = ("visit", "characteristic", "position", "moment", "only_left", "value", "taken_at", "role")
UNREAD = "no neck of a named supplier and lot has its bow read as straightening left it and again after the rest"
REAL, COUNT = pl.Float64(), pl.Int64()
AFTER_REST: dict[str, pl.DataType] = {
    **dict.fromkeys(lots.KEY, pl.String()),
    "n": COUNT,  # necks read both times
    "hours": REAL,  # between, of the middle neck
    "left": REAL,  # mean that straightening left, mm
    "after": REAL,  # and that was read after the rest
    **dict.fromkeys(("change", "change_low", "change_high"), REAL),  # at the same air, 95 %
    # at the lots of a stretch that lies apart: from the other suppliers' lots of the same days, the whole stretch
    **dict.fromkeys(("off", "off_low", "off_high"), REAL),
    "apart": pl.Boolean(),
}


@dataclass(frozen=True)
class AfterRest:
    """What one supplier's necks do after straightening."""

    supplier: str
    characteristic: str
    hours: float  # between the two readings, of the middle neck
    incoming: float  # mean bow as they come, mm
    necks: int
    lots: int
    change: Size  # all its lots, each as much
    apart: Stretch | None  # lots shown to lie apart, as far as the gauge can tell; None: none are
    names: list[str]  # of these lots, in time order
    necks_apart: int
    lasts: bool  # they are its latest ones
    before: Size | None  # its lots before them; None where none were


def pairs(snapshot: Snapshot) -> pl.DataFrame:
    """A row a neck of a named supplier and lot read both times: serial, supplier, lot, model, day (of the second
    reading), hours between, left, after, change (after less left, at the same air); mm, means of its edges.
    """
    told, name = snapshot.once(story), bow.neck_bow(snapshot)
    readings = tables.plain(told.readings.select(OF_READINGS).filter(pl.col("characteristic") == name))
    readings = readings.filter(pl.col("value").is_not_null() & pl.col("visit").is_not_null())
    if readings["role"].n_unique() < 2:  # as they come in alone
        raise UnusableData(UNREAD)
    seen = _rested(told.visits.select(OF_VISITS).filter(pl.col("round") == 1), snapshot.shop.straightening)
    left = (
        readings.filter(pl.col("visit").is_in(seen["from"].unique().implode()))
        .sort("visit", pl.col("moment") == "left", maintain_order=True)
        .unique(["visit", "position"], keep="last", maintain_order=True)
    )
    again = readings.filter((pl.col("moment") == "found") | pl.col("only_left")).join(seen, on="visit")
    both = again.select("serial", "visit", "position", "from", "value", "taken_at").join(
        left.select(pl.col("visit").alias("from"), "position", left="value", left_at="taken_at"),
        on=["from", "position"],
    )
    first = both.filter(pl.col("visit") == pl.col("visit").min().over("serial"))
    necks = first.group_by("serial").agg(
        pl.col("visit", "from", "taken_at", "left_at").first(), pl.col("left").mean(), after=pl.col("value").mean()
    )
    of = tables.plain(told.visits.select(("visit", "supplier", "lot", "model", "day")))
    rows = necks.join(of, on="visit").filter((pl.col("supplier") != "") & (pl.col("lot") != "")).sort("visit")
    if rows.is_empty():
        raise UnusableData(UNREAD)
    hours = (pl.col("taken_at") - pl.col("left_at")).dt.total_seconds() / 3600
    change = pl.col("after") - pl.col("left") - _by_air(snapshot, rows, name)
    return rows.with_columns(characteristic=pl.lit(name), hours=hours, change=change).drop("visit", "from", "left_at")


def _rested(visits: pl.DataFrame, straightening: list[str]) -> pl.DataFrame:
    """visit, serial and `from` of visits before which a neck that was straightened has done nothing but rest; visits :
    of round 1, instrument after instrument, in time order.
    """
    rest = pl.col("role") == "rest"
    same = pl.col("serial") == pl.col("serial").shift(1)
    row = pl.int_range(pl.len())
    seen = visits.with_columns(
        rested=rest | (rest.shift(1) & same), before=pl.when(~rest).then(row).shift(1).forward_fill()
    )
    some = seen.filter(pl.col("rested") & pl.col("before").is_not_null())
    earlier = visits[some["before"]].select(
        pl.col("visit").alias("from"),
        (pl.col("stage").is_in(straightening) & pl.col("first_pass") & (pl.col("outcome") == "pass")).alias("done"),
        pl.col("serial").alias("of"),
    )
    both = pl.concat([some.select("visit", "serial"), earlier], how="horizontal")
    return both.filter("done" & (pl.col("of") == pl.col("serial"))).select("visit", "serial", "from")


def _by_air(snapshot: Snapshot, rows: pl.DataFrame, name: str) -> pl.Series:
    """What of each change goes with air that was another; 0 where bow is not shown to follow it."""
    slope = air.of(snapshot, name).slope
    if not slope:
        return pl.zeros(len(rows), eager=True)
    earlier = rows.select(visit="from", taken_at="left_at")
    return (slope * (air.near(snapshot, rows) - air.near(snapshot, earlier))).fill_null(0.0)


def by_supplier(snapshot: Snapshot) -> list[AfterRest]:
    """A row a supplier with lots of which FEWEST necks of a model were read both times; raises UnusableData without."""
    return snapshot.once(_judged)


def lot_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`after_rest` of the figures: AFTER_REST, a row a lot; none where no neck is read both times."""
    try:
        rows, found = snapshot.once(pairs), {one.supplier: one for one in by_supplier(snapshot)}
    except UnusableData:
        return pl.DataFrame(schema=AFTER_REST)
    of_lots = (
        rows.group_by(lots.KEY)
        .agg(
            pl.len().cast(COUNT).alias("n"),
            pl.col("hours").median(),
            pl.col("left", "after", "change").mean(),
            pl.col("change").std().alias("sd"),
            pl.col("taken_at").min(),
        )
        .sort("characteristic", "supplier", "taken_at", "lot")
    )
    n, mean, sd = (of_lots[one].cast(REAL).fill_null(np.nan).to_numpy() for one in ("n", "change", "sd"))
    low, high = np.full(len(n), np.nan), np.full(len(n), np.nan)
    some = n >= 2
    if some.any():
        low[some], high[some] = mean_t(mean[some], sd[some], n[some])
    apart = {(one.supplier, lot): one.apart for one in found.values() for lot in one.names}
    each = [apart.get(key) for key in of_lots.select("supplier", "lot").iter_rows()]
    return of_lots.with_columns(
        pl.Series("change_low", low).fill_nan(None),
        pl.Series("change_high", high).fill_nan(None),
        pl.Series("off", [one.off.mean if one else None for one in each], dtype=REAL),
        pl.Series("off_low", [one.off.low if one else None for one in each], dtype=REAL),
        pl.Series("off_high", [one.off.high if one else None for one in each], dtype=REAL),
        pl.Series("apart", [one is not None for one in each], dtype=pl.Boolean),
    ).select(AFTER_REST.keys())


def _judged(snapshot: Snapshot) -> list[AfterRest]:
    rows = snapshot.once(pairs)
    cells = (
        rows.group_by("supplier", "lot", "model")
        .agg(
            pl.len().alias("n"),
            pl.col("change").mean(),
            pl.col("change").std().alias("sd"),
            pl.col("day").min().alias("first"),
            pl.col("day").max().alias("last"),
        )
        .filter(pl.col("n") >= FEWEST)
        .sort("first", "supplier", "lot", "model")
    )
    if cells.is_empty():
        raise UnusableData(f"no lot has {FEWEST} necks read as straightening left them and again after the rest")
    lot, model = air.codes(cells, "supplier", "lot"), air.codes(cells, "model")
    n, mean = cells["n"].to_numpy(), cells["change"].to_numpy()
    fit = levels(lot, model, mean)
    offset = float(np.average(fit.offset[model], weights=n))
    each = (
        cells.with_columns(pl.Series("at", lot))
        .group_by("at")
        .agg(pl.col("supplier", "lot").first(), pl.col("first").min(), pl.col("last").max(), pl.col("n").sum())
    )
    each = each.sort("at").with_columns(
        pl.Series("level", fit.level + offset),
        pl.Series("error", errors(lot, fit.family, n, cells["sd"].to_numpy())),
        pl.Series("family", fit.family),
    )
    each = each.sort("first", "lot")
    many = each["supplier"].n_unique()
    return [_of_one(snapshot, rows, each, supplier, many) for supplier in each["supplier"].unique().sort().to_list()]


def _of_one(snapshot: Snapshot, rows: pl.DataFrame, each: pl.DataFrame, supplier: str, many: int) -> AfterRest:
    """each : a row a lot of all suppliers, in time order."""
    own = each.filter(pl.col("supplier") == supplier)
    usual = own["family"].mode(maintain_order=True)[0]  # lots that models lead to
    mine, others = own.filter(pl.col("family") == usual), each.filter(pl.col("family") == usual)
    held = farthest(_laid(mine), _laid(others.filter(pl.col("supplier") != supplier)))
    name = str(rows["characteristic"][0])
    if held is not None and (held.chance * many > LEVEL or abs(held.off.mean) < _least(snapshot, name)):
        held = None
    some = mine[held.first : held.last + 1] if held is not None else mine.clear()
    necks = rows.filter(pl.col("supplier") == supplier)
    came = snapshot.once(lots.necks).filter((pl.col("characteristic") == name) & (pl.col("supplier") == supplier))
    return AfterRest(
        supplier,
        name,
        float(necks["hours"].median()),  # type: ignore[arg-type]
        float(came["value"].mean() or 0.0),  # type: ignore[arg-type]
        int(own["n"].sum()),
        own.height,
        whole(_laid(own)),
        held,
        some["lot"].to_list(),
        int(some["n"].sum()),
        held is not None and held.last == mine.height - 1,
        whole(_laid(mine[: held.first])) if held is not None and held.first else None,
    )


def _least(snapshot: Snapshot, name: str) -> float:
    """Half a step of the coarsest gauge: less than it can tell, however many readings say so."""
    return max((gauge.step or 0.0 for gauge in snapshot.shop.gauges if name in gauge.measures), default=0.0) / 2


def _laid(rows: pl.DataFrame) -> Lots:
    return Lots(rows["level"].to_numpy(), rows["error"].to_numpy(), _days(rows["first"]), _days(rows["last"]))


def _days(days: pl.Series) -> Ints:
    return days.cast(pl.Int32).cast(pl.Int64).to_numpy()

"""What bow takes at the bench by supplier and by lot: minutes more a neck and hours together, at the same air, models
and hands like against like (`alike`).

Minutes are those at neck straightening, or all paid ones of the instrument where no bench straightens. A supplier's
usual lots stand against those of the others, a lot that stands apart against its supplier's usual ones. What goes with
bow need not come of it.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats
from analysis.studies.necks import air, apart, bow, lots, suppliers
from analysis.studies.necks.alike import Alike, Lot, laid, named
from ingest.store.snapshot import Snapshot

STRAIGHTENING, MINUTES = "straightening", "minutes"
MINUTES_NAMES = ("minutes", "minutes_low", "minutes_high", "n_minutes")
APART_NAMES = ("apart_minutes", "apart_low", "apart_high", "apart_n")
DAMPER = 4.0  # % RH off the usual air, from which on necks count as read in another


@dataclass(frozen=True)
class Spent:
    """Minutes more a neck, 95 %, and of how many necks."""

    necks: int
    minutes: float
    low: float
    high: float

    @property
    def hours(self) -> tuple[float, float, float]:
        """All of them together, with the ends of the interval."""
        one, low, high = (self.necks * part / 60 for part in (self.minutes, self.low, self.high))
        return one, low, high

    @property
    def less(self) -> "Spent":
        """The same as minutes less."""
        return Spent(self.necks, -self.minutes, -self.high, -self.low)

    @property
    def shown(self) -> bool:
        """Does the interval leave nothing more out?"""
        return self.low > 0 or self.high < 0


@dataclass(frozen=True)
class Costs:
    """What necks of one characteristic took at the bench."""

    measure: str  # of bow.MEASURES
    suppliers: dict[str, Spent]  # usual lots, more than the others' usual ones
    lots: dict[Lot, Spent]  # lots that stand apart, more than their supplier's usual ones
    apart: dict[str, Spent]  # a supplier's lots that stand apart, together
    air: Spent | None  # necks read in air that bows more than the usual, whoever's they are; None: bow does not follow


def costs(snapshot: Snapshot, characteristic: str | None = None) -> Costs:
    """By supplier and lot, of judged instruments; raises UnusableData without minutes, or with too few lots."""
    name = characteristic or bow.neck_bow(snapshot)
    measure = STRAIGHTENING if snapshot.shop.straightening else MINUTES
    spent = bow.instruments(snapshot, name)
    if measure == STRAIGHTENING:  # models that are straightened only
        spent = spent.filter(pl.col("straightener") != "")
    bow.timed(snapshot, spent, measure)
    necks = named(snapshot, name).filter(pl.col("serial") != "").unique("serial", keep="first", maintain_order=True)
    rows = necks.join(spent.select("serial", "straightener", measure), on="serial", maintain_order="left")
    if rows.is_empty():
        raise UnusableData("no judged neck of a named supplier and lot has minutes on file: load more logs")
    followed = air.of(snapshot, name)
    found = laid(rows, measure, ["model", "straightener"], followed)
    several = len(found.lots) > 1
    mine = {one: [lot for lot in found.apart if lot[0] == one] for one in found.suppliers}
    told = {one: _spent(found, found.against(one), found.necks[one]) for one in found.lots if several}
    return Costs(
        measure,
        {one: each for one, each in told.items() if each is not None},
        {lot: each for lot in found.apart if (each := _spent(found, found.of_lots([lot]), found.necks_apart[lot]))},
        {
            one: each
            for one, some in mine.items()
            if some and (each := _spent(found, found.of_lots(some), sum(found.necks_apart[lot] for lot in some)))
        },
        _of_air(found, rows, followed),
    )


def supplier_figures(snapshot: Snapshot) -> pl.DataFrame:
    """`suppliers` of the figures: SUPPLIERS, and of the necks of most receiving readings minutes, minutes_low,
    minutes_high (a neck, usual lots more than the others'), n_minutes (judged necks of these), and the same of its lots
    that stand apart beyond its usual ones: apart_minutes, apart_low, apart_high, apart_n. Null where none can be told.
    """
    rows = snapshot.once(suppliers.supplier_rows)
    found = snapshot.once(_or_none)
    usual, far = (found[1].suppliers, found[1].apart) if found else ({}, {})
    keys = [(name, supplier) for name, supplier in rows.select("characteristic", "supplier").iter_rows()]
    of = found[0] if found else ""
    return rows.with_columns(
        *_columns([usual.get(supplier) if name == of else None for name, supplier in keys], MINUTES_NAMES),
        *_columns([far.get(supplier) if name == of else None for name, supplier in keys], APART_NAMES),
    )


def lot_figures(snapshot: Snapshot) -> pl.DataFrame:
    """`lots_alike` of the figures: lots held against the others at the same air. lots.KEY, n, rh (of its air, % RH),
    mean (in the usual air), outside (necks that would lie outside there; null without limits), off, off_low, off_high,
    others, others_apart, apart (of `apart.standing`), and of lots that stand apart minutes, minutes_low, minutes_high
    (a neck, more than its supplier's usual lots), n_minutes.
    """
    of_lots = (
        snapshot.once(air.at_same_air)
        .group_by(lots.KEY)
        .agg(
            pl.len().cast(pl.Int64).alias("n"),
            pl.col("rh").mean(),
            pl.col("level").mean().alias("mean"),
            pl.when(pl.col("outside_level").is_not_null().all())
            .then(pl.col("outside_level").sum())
            .cast(pl.Int64)
            .alias("outside"),
        )
        .sort(lots.KEY)
    )
    rows = of_lots.join(snapshot.once(apart.standing), on=lots.KEY, how="left", maintain_order="left")
    found = snapshot.once(_or_none)
    keys = rows.select("characteristic", "supplier", "lot").iter_rows()
    each = [found[1].lots.get((one, lot)) if found and name == found[0] else None for name, one, lot in keys]
    return rows.with_columns(*_columns(each, MINUTES_NAMES))


def _or_none(snapshot: Snapshot) -> tuple[str, Costs] | None:
    """The characteristic of incoming necks and its costs, where they can be told."""
    try:
        return bow.neck_bow(snapshot), costs(snapshot)
    except UnusableData:
        return None


def _columns(each: list[Spent | None], names: tuple[str, str, str, str]) -> list[pl.Series]:
    told = [(one.minutes, one.low, one.high, one.necks) if one else (None,) * 4 for one in each]
    kinds = (pl.Float64(), pl.Float64(), pl.Float64(), pl.Int64())
    return [pl.Series(names[at], [one[at] for one in told], dtype=kinds[at]) for at in range(4)]


def _spent(found: Alike, turn: Floats, necks: int) -> Spent | None:
    mean, low, high = (float(part[0]) for part in found.fit.told(turn))
    return None if np.isnan(mean) else Spent(necks, mean, low, high)


def _of_air(found: Alike, rows: pl.DataFrame, followed: air.Followed) -> Spent | None:
    if not followed.shown or followed.usual is None:
        return None
    off = (rows["rh"] - followed.usual).drop_nulls().to_numpy()
    damper = off[np.sign(followed.slope) * off >= DAMPER]
    return _spent(found, found.of_air(float(damper.mean())), len(damper)) if len(damper) else None

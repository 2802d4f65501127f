"""Necks of several suppliers laid out to be held against each other alike: at the same air, models (and hands) like
against like, lots that stand apart by themselves.

The usual lots of a supplier are those that do not stand apart (`apart`): a few bad ones are told by themselves and pull
no mean. Lots, not necks, are taken as independent (`methods/random_lots.py`).
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.problems import UnusableData
from analysis.methods.random_lots import ByLot, by_lot
from analysis.methods.segments import Floats
from analysis.studies.necks import air, apart, lots
from ingest.store.snapshot import Snapshot

Lot = tuple[str, str]  # supplier and name


@dataclass(frozen=True)
class Alike:
    """One fit of one measure; contrasts (k,) of its columns: suppliers, lots apart, models and hands, the air."""

    suppliers: list[str]
    apart: list[Lot]
    lots: dict[str, int]  # usual lots by supplier
    necks: dict[str, int]  # and their necks
    necks_apart: dict[Lot, int]
    columns: Floats
    usual: Floats  # (k,) models and hands of all usual necks, in the usual air
    own: dict[str, Floats]  # the same of each supplier's
    fit: ByLot

    def level(self, supplier: str) -> Floats:
        """A supplier's usual lots, less what models and hands add."""
        return self._mark(self.suppliers.index(supplier))

    def against(self, supplier: str) -> Floats:
        """A supplier's usual lots less those of all others, each lot as much."""
        turn = self.level(supplier)
        others = {name: many for name, many in self.lots.items() if name != supplier}
        for name, many in others.items():
            turn -= many / sum(others.values()) * self.level(name)
        return turn

    def of_lots(self, some: list[Lot]) -> Floats:
        """Lots that stand apart less their suppliers' usual ones, each neck as much."""
        many = sum(self.necks_apart[lot] for lot in some)
        marks = [self.necks_apart[lot] / many * self._mark(len(self.suppliers) + self.apart.index(lot)) for lot in some]
        return np.asarray(np.sum(marks, axis=0), dtype=np.float64)

    def of_air(self, more: float) -> Floats:
        """What so much more % RH goes with; only where the air is a column."""
        return more * self._mark(self.columns.shape[1] - 1)

    def _mark(self, at: int) -> Floats:
        turn = np.zeros(self.columns.shape[1])
        turn[at] = 1.0
        return turn


def named(snapshot: Snapshot, characteristic: str) -> pl.DataFrame:
    """The rows of `air.at_same_air` of one characteristic with a supplier and a lot, and `apart`: of a lot that stands
    apart.
    """
    far = snapshot.once(apart.standing).filter("apart").select(*lots.KEY, "apart")
    rows = snapshot.once(air.at_same_air).filter(
        (pl.col("characteristic") == characteristic) & (pl.col("supplier") != "") & (pl.col("lot") != "")
    )
    return rows.join(far, on=lots.KEY, how="left", maintain_order="left").with_columns(pl.col("apart").fill_null(False))


def laid(rows: pl.DataFrame, measure: str, mix: list[str], followed: air.Followed) -> Alike:
    """The fit of a column of rows of `named`; mix : columns whose values each have a level of their own. Raises
    UnusableData with too few lots to say how far lots differ.
    """
    if rows.is_empty():
        raise UnusableData("no neck of a named supplier and lot has been measured; load more logs")
    suppliers = rows["supplier"].unique().sort().to_list()
    far = rows.filter("apart").group_by("supplier", "lot").len().sort("supplier", "lot").rows()
    necks_apart = {(supplier, name): many for supplier, name, many in far}
    usual = rows.filter(~pl.col("apart"))
    marks = [pl.col("supplier") == one for one in suppliers]
    marks += [(pl.col("supplier") == supplier) & (pl.col("lot") == name) for supplier, name in necks_apart]
    first = len(marks)
    marks += [pl.col(name) == value for name in mix for value in rows[name].unique().sort().to_list()]
    end = len(marks)
    table = rows.select(mark.cast(pl.Float64).alias(f"{k}") for k, mark in enumerate(marks))
    if followed.shown:
        table = table.with_columns(air=(rows["rh"] - followed.usual).fill_null(0.0))
    columns = np.asarray(table.to_numpy(), dtype=np.float64)
    counts = usual.group_by("supplier").agg(pl.col("lot").n_unique().alias("lots"), pl.len().alias("n"))
    counts = counts.sort("supplier")
    return Alike(
        suppliers,
        list(necks_apart),
        dict(counts.select("supplier", "lots").rows()),
        dict(counts.select("supplier", "n").rows()),
        necks_apart,
        columns,
        _mix(columns, ~rows["apart"].to_numpy(), first, end),
        {one: _mix(columns, (rows["supplier"] == one).to_numpy(), first, end) for one in suppliers},
        by_lot(rows[measure].cast(pl.Float64).to_numpy(), columns, air.codes(rows, "supplier", "lot")),
    )


def _mix(columns: Floats, some: np.ndarray, first: int, end: int) -> Floats:
    mean = np.zeros(columns.shape[1])
    mean[first:end] = columns[some, first:end].mean(axis=0)
    return mean

"""Whose necks come more bowed: each supplier's usual lots against those of the others, at the same air, models like
against like (`alike`); and each two suppliers.
"""

from itertools import combinations
from typing import Any

import numpy as np
import polars as pl

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats
from analysis.studies.necks import air
from analysis.studies.necks.alike import Alike, laid, named
from ingest.store.snapshot import Snapshot

CHANCE = 0.05  # that any supplier, or any two, are said to differ where none do
REAL, COUNT = pl.Float64(), pl.Int64()
OFF = dict.fromkeys(("off", "off_low", "off_high"), REAL)
SUPPLIERS: dict[str, pl.DataType] = {
    "supplier": pl.String(),
    "characteristic": pl.String(),
    "lots": COUNT,  # usual ones
    "n": COUNT,  # necks of these
    "lots_apart": COUNT,
    "n_apart": COUNT,
    # of the usual lots, at the usual air, in the models of all usual necks (its own where no model leads to others)
    **dict.fromkeys(("mean", "mean_low", "mean_high"), REAL),
    **OFF,  # less the mean of the others' usual lots; null: nothing to be held against
    "others": COUNT,  # other suppliers
    "other_lots": COUNT,
    "differs": pl.Boolean(),  # paid for the suppliers looked at
}
PAIRS: dict[str, pl.DataType] = {
    "characteristic": pl.String(),
    "supplier": pl.String(),
    "other": pl.String(),
    **OFF,
    "differs": pl.Boolean(),  # paid for the pairs looked at
}


def supplier_rows(snapshot: Snapshot) -> pl.DataFrame:
    """SUPPLIERS: a row a supplier of named lots and characteristic; intervals, 95 %, are null with too few lots to say
    how far lots differ.
    """
    told: list[dict[str, Any]] = []
    for name, found in snapshot.once(_laid).items():
        if isinstance(found, Alike):
            told += _rows(name, found)
        else:
            means = found.group_by("supplier", maintain_order=True).agg(
                pl.col("lot").n_unique().alias("lots"), pl.len().alias("n"), pl.col("level").mean().alias("mean")
            )
            others = {"others": means.height - 1, "lots_apart": 0, "n_apart": 0, "characteristic": name}
            lots = int(means["lots"].sum())
            told += [row | others | {"other_lots": lots - row["lots"]} for row in means.iter_rows(named=True)]
    return pl.DataFrame(told, schema=SUPPLIERS)


def pair_rows(snapshot: Snapshot) -> pl.DataFrame:
    """PAIRS: a row two suppliers of a characteristic that models lead from one to the other, the more bowed first."""
    told: list[dict[str, Any]] = []
    for name, found in snapshot.once(_laid).items():
        if isinstance(found, Alike) and len(found.lots) > 1:
            pairs = list(combinations(found.lots, 2))
            turns = np.array([found.level(one) - found.level(other) for one, other in pairs])
            for (one, other), off in zip(pairs, _off(found, turns), strict=True):
                if off["off"] is None:
                    continue
                if off["off"] < 0:
                    one, other = other, one
                    off = off | {"off": -off["off"], "off_low": -off["off_high"], "off_high": -off["off_low"]}
                told.append({"characteristic": name, "supplier": one, "other": other} | off)
    return pl.DataFrame(told, schema=PAIRS)


def _laid(snapshot: Snapshot) -> dict[str, Alike | pl.DataFrame]:
    """By characteristic; the rows themselves where they are too few."""
    told: dict[str, Alike | pl.DataFrame] = {}
    for name, followed in snapshot.once(air.followed).items():
        rows = named(snapshot, name)
        try:
            told[name] = laid(rows, "level" if not followed.shown else "value", ["model"], followed)
        except UnusableData:
            told[name] = rows
    return told


def _rows(name: str, found: Alike) -> list[dict[str, Any]]:
    means = np.array([found.level(one) + found.usual for one in found.lots])
    own = np.array([found.level(one) + found.own[one] for one in found.lots])
    by_all = np.asarray(found.fit.told(means))
    levels = np.where(np.isnan(by_all[0]), found.fit.told(own), by_all)
    several = len(found.lots) > 1
    offs = _off(found, np.array([found.against(one) for one in found.lots])) if several else [{}]
    many = sum(found.lots.values())
    return [
        {
            "supplier": one,
            "characteristic": name,
            "lots": found.lots[one],
            "n": found.necks[one],
            "lots_apart": sum(lot[0] == one for lot in found.apart),
            "n_apart": sum(n for lot, n in found.necks_apart.items() if lot[0] == one),
            "others": len(found.lots) - 1,
            "other_lots": many - found.lots[one],
        }
        | dict(zip(("mean", "mean_low", "mean_high"), map(float, level), strict=True))
        | off
        for one, level, off in zip(found.lots, levels.T, offs, strict=True)
    ]


def _off(found: Alike, turns: Floats) -> list[dict[str, Any]]:
    """Contrasts with their intervals, and whether each leaves 0 out, paid for all of them; null: cannot be told."""
    off, low, high = found.fit.told(turns)
    _, paid_low, paid_high = found.fit.told(turns, 1 - CHANCE / len(turns))
    told = []
    for at in range(len(turns)):
        if np.isnan(off[at]):
            told.append(dict.fromkeys((*OFF, "differs")))
        else:
            differs = bool(paid_low[at] > 0 or paid_high[at] < 0)
            told.append(
                {"off": float(off[at]), "off_low": float(low[at]), "off_high": float(high[at]), "differs": differs}
            )
    return told

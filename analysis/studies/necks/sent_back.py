"""What came back to straightening of a supplier's lots that lie apart after the rest (`after_rest`), against the other
suppliers' instruments of the same models and weeks.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.share_difference import Shares, difference
from analysis.studies.necks import after_rest, air
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True)
class SentBack:
    """Judged instruments, and how many of them a send-back brought to straightening again."""

    shares: Shares
    minutes: float | None  # of work a send-back, of the supplier's; None without one


def by_supplier(snapshot: Snapshot) -> dict[str, SentBack]:
    """By supplier with lots that lie apart; raises UnusableData as `after_rest.by_supplier`."""
    told, shop = snapshot.once(story), snapshot.shop
    loops = told.loops.filter((pl.col("round") == 1) & pl.col("caused_at").is_in(shop.straightening))
    came = loops.group_by("serial").agg(pl.len().alias("loops"), pl.col("minutes").sum())
    rows = (
        told.instruments.filter(pl.col("judged") & (pl.col("supplier") != "") & (pl.col("lot") != ""))
        .select("serial", "supplier", "lot", "setup", "week")
        .join(came, on="serial", how="left", maintain_order="left")
    )
    found = {}
    for one in after_rest.by_supplier(snapshot):
        if one.apart is None or rows.is_empty():
            continue
        mine = (pl.col("supplier") == one.supplier) & pl.col("lot").is_in(one.names)
        some = rows.filter(mine | (pl.col("supplier") != one.supplier)).with_columns(mine=mine)
        shares = difference(
            some["loops"].is_not_null().to_numpy(),
            some["mine"].to_numpy(),
            air.codes(some.with_columns(pl.col("week").cast(pl.String)), "setup", "week"),
            air.codes(some, "supplier", "lot"),
        )
        if shares is not None:
            back = some.filter(pl.col("mine") & pl.col("loops").is_not_null())
            spent = float(np.sum(back["minutes"].to_numpy())) / int(back["loops"].sum()) if back.height else None
            found[one.supplier] = SentBack(shares, spent)
    return found

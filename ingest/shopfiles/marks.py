"""Limits that lie between two marks of the gauge that is to judge them: a reading next to one decides nothing."""

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, floor

import polars as pl

from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import EVEN, Gauge


@dataclass(frozen=True)
class BetweenMarks:
    """One limit of one line of specs.csv, canonical units."""

    line: int
    characteristic: str
    column: str  # lower | upper
    limit: float
    gauge: str
    below: float  # the nearest marks
    above: float


def between_marks(rows: pl.DataFrame, shop: Shop) -> tuple[BetweenMarks, ...]:
    """Every limit of the rows of specs.csv that lies between two marks of a gauge declared for its characteristic, in
    file order.
    """
    gauges = [(characteristic, gauge) for gauge in shop.gauges if gauge.step for characteristic in gauge.measures]
    found = []
    for row in rows.iter_rows(named=True):
        for column in ("lower", "upper"):
            limit = row[column]
            if limit is None:
                continue
            for characteristic, gauge in gauges:
                marks = nearest(limit, gauge) if characteristic == row["characteristic"] else None
                if marks:
                    found.append(BetweenMarks(row["line"], characteristic, column, limit, gauge.key, *marks))
    return tuple(found)


def nearest(limit: float, gauge: Gauge) -> tuple[float, float] | None:
    """The marks next to a limit that lies between two of them; None where it lies on one, or beyond the last leaf.

    Even marks count from 0; a hump has the marks of a hollow, below 0.
    """
    size, step = abs(limit), gauge.step or 0.0
    if gauge.uneven_marks:
        ends = next(
            ((low, high) for low, high in pairwise((0.0, *gauge.uneven_marks)) if low + EVEN < size < high - EVEN), None
        )
    elif step <= 0 or abs(size / step - round(size / step)) * step <= EVEN:
        ends = None
    else:
        ends = (floor(size / step) * step, ceil(size / step) * step)
    return ends if ends is None or limit >= 0 else (-ends[1], -ends[0])

"""Shares and counts: dot and interval with n of N at the right; a Pareto as bars with an interval line, all others last
and grey.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.dots import DotRow, dots

Figure = dict[str, Any]


@dataclass(frozen=True)
class ShareRow:
    """A share as a fraction of 1 with its interval; `right` is its n of N."""

    name: str
    share: float | None
    low: float | None
    high: float | None
    right: str
    subject: bool = False  # in blue
    key: str = ""


@dataclass(frozen=True)
class BarRow:
    """A count with its interval; `others` is the last row, all the rest together."""

    name: str
    count: float
    low: float | None
    high: float | None
    others: bool = False
    key: str = ""
    words: str = ""  # in place of the count


def shares(rows: Sequence[ShareRow], *, width: int = style.WIDER_HALF, narrow: bool = False) -> Figure:
    """Dot and interval of each share on one axis from 0 %."""
    drawn = [
        DotRow(
            r.name,
            r.share,
            r.low,
            r.high,
            r.right,
            key=r.key,
            bold=r.subject,
            colour=style.FOCUS if r.subject else style.INK,
            told=f"{r.name}: {r.right}, {numbers.share_range(r.low, r.high, 1)}",
        )
        for r in rows
    ]
    return dots(
        drawn,
        write=lambda x: numbers.with_unit(numbers.plain(100 * x, 0 if _whole(rows) else 1), "%"),
        low=0,
        width=width,
        narrow=narrow,
    )


def _whole(rows: Sequence[ShareRow]) -> bool:
    return max((r.high or r.share or 0 for r in rows), default=0) > 0.03


def pareto(rows: Sequence[BarRow], *, width: int = style.HALF, came_back: bool = True, narrow: bool = False) -> Figure:
    """Bars, longest first as given, each with the interval of its count; in the colour of what came back unless told
    otherwise.
    """
    if not rows:
        return style.empty(
            "Nothing came back in this time." if came_back else "Nothing to count here.", height=60, narrow=narrow
        )
    width = style.NARROW if narrow else width
    pitch = 27
    left = min(width * 0.5, max(len(row.name) for row in rows) * 7.2 + 12)
    ends = [row.words or numbers.count(row.count) for row in rows]
    right = width - max(map(len, ends)) * style.CHARACTER * 14 / 13 - 18
    most = max((max(row.count, row.high or 0) for row in rows), default=1) or 1
    figure = style.sheet_of_pixels(width, pitch * len(rows) + 4)
    shapes, texts, spots = figure["shapes"], figure["annotations"], []
    for k, (row, end) in enumerate(zip(rows, ends, strict=True)):
        y = pitch * k + 14
        fill, edge = (
            (style.LINE, style.INK2)
            if row.others
            else (style.BACK, style.BACKMARK)
            if came_back
            else (style.INK3, style.INK)
        )
        x1 = left + (right - left) * row.count / most
        shapes.append(style.box(left, y - 6, x1, y + 6, fill))
        texts.append(style.words(0, y, _fit(row.name, left - 8), size=14))
        reach = x1
        if row.low is not None and row.high is not None:
            a, reach = (left + (right - left) * x / most for x in (row.low, row.high))
            shapes.append(style.line(a, y, reach, y, edge, 1.6))
        texts.append(style.words(max(reach, x1), y, end, size=14, bold=True, colour=style.INK, xshift=8))
        spots.append((left + (x1 - left) / 2, y, row.key, row.name))
    return {"data": [style.touch("bars", 20, spots)], "layout": figure}


def _fit(text: str, room: float) -> str:
    fits = int(room / 7.2)
    return text if len(text) <= fits else text[: max(fits - 1, 1)].rstrip() + "."

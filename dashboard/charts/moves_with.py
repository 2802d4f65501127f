"""What a shift moves together with: how much of it each candidate explains, as dot and interval; those that stand out
are blue and bracketed.
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
class Candidate:
    """One thing looked at, in words, and what it explains of the shift; `named` where it stands out (those named cannot
    be told apart).
    """

    name: str
    size: float | None
    low: float | None
    high: float | None
    named: bool = False


def moves_with(
    candidates: Sequence[Candidate], *, decimals: int = 2, width: int = style.WIDER_HALF, narrow: bool = False
) -> Figure:
    """The list, named ones first as given; sizes in the unit of the characteristic."""
    rows = [
        DotRow(
            c.name,
            c.size,
            c.low,
            c.high,
            bold=c.named,
            colour=style.FOCUS if c.named else style.INK3,
            told=_told(c, decimals),
        )
        for c in candidates
    ]
    figure = dots(
        rows,
        write=lambda x: numbers.signed(x, decimals) if abs(x) > 1e-12 else "0",
        zero=True,
        pitch=30,
        width=width,
        narrow=narrow,
    )
    several = sum(c.named for c in candidates)
    for text in figure["layout"]["annotations"][-len(rows) :] if rows else []:
        text["x"] = 10 if several > 1 else 0
    for text in figure["layout"]["annotations"]:
        if any(text["text"] == row.name for row in rows):
            text["x"] = 10 if several > 1 else 0
    if several > 1:
        pitch = 44 if narrow else 30
        top, bottom = 4, pitch * several - 4
        figure["layout"]["shapes"].append(
            style.path(f"M5,{top}L1,{top}L1,{bottom}L5,{bottom}", edge=style.FOCUS, width=2)
        )
    return figure


def _told(candidate: Candidate, decimals: int) -> str:
    if candidate.size is None:
        return candidate.name
    return (
        f"{candidate.name}: {numbers.signed(candidate.size, decimals)} "
        f"({numbers.span(candidate.low, candidate.high, decimals)})"
    )

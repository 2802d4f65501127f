"""Where a value of a chart stands: px from the left of a nominal width, px from the top, and shifts that never stretch.

A chart is drawn for a nominal width and stretches sideways to the real one. Lines and areas stretch with it; marks and
words hang on a share of the width, so that they keep their shape.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

BEGAN = datetime(2000, 1, 1)
TOKEN = re.compile(r"[A-Za-z]|-?(?:\d+\.?\d*|\.\d+)(?:e-?\d+)?")


@lru_cache(maxsize=65_536)
def _moment(text: str) -> float:
    return (datetime.fromisoformat(text) - BEGAN).total_seconds()


def number(value: Any) -> float:
    """A value of an axis as a number; an ISO date and time as seconds."""
    return _moment(value) if isinstance(value, str) else float(value)


@dataclass(frozen=True)
class Place:
    """A point: px from the left of the plot's nominal width, px it is shifted by at every width, px from the top."""

    x: float
    dx: float
    y: float


@dataclass(frozen=True)
class Plot:
    """The inner part of a chart: nominal size in px and the ends of its two axes."""

    width: float
    height: float
    left: float
    right: float
    bottom: float
    top: float

    def x(self, value: Any, ref: str = "x") -> float:
        """Nominal px from the left."""
        if ref == "paper":
            return self.width * float(value)
        return self.width * (number(value) - self.left) / ((self.right - self.left) or 1)

    def y(self, value: Any, ref: str = "y") -> float:
        """Px from the top."""
        if ref == "paper":
            return self.height * (1 - float(value))
        return self.height * (self.top - number(value)) / ((self.top - self.bottom) or 1)

    def of_shape(self, shape: Mapping[str, Any], x: Any, y: Any) -> Place:
        """A corner of a shape: in its axes, or in px round its anchor, where up is more."""
        ref_x, ref_y = shape.get("xref", "x"), shape.get("yref", "y")
        if shape.get("xsizemode") == "pixel":
            at, dx = self.x(shape["xanchor"], ref_x), float(x)
        else:
            at, dx = self.x(x, ref_x), 0.0
        if shape.get("ysizemode") == "pixel":
            return Place(at, dx, self.y(shape["yanchor"], ref_y) - float(y))
        return Place(at, dx, self.y(y, ref_y))


def plot_of(layout: Mapping[str, Any], width: float) -> Plot:
    """The inner part of a chart that is `width` px wide in all."""
    margin = layout["margin"]
    left, right = (number(end) for end in layout["xaxis"]["range"])
    bottom, top = (number(end) for end in layout["yaxis"]["range"])
    inner = max(width - margin["l"] - margin["r"], 1)
    return Plot(inner, max(layout["height"] - margin["t"] - margin["b"], 1), left, right, bottom, top)


def walk(path: str, plot: Plot, shape: Mapping[str, Any]) -> list[tuple[str, list[Place]]]:
    """An SVG path of absolute M, L, C, Q and Z in a shape's own terms as commands with their places."""
    told: list[tuple[str, list[Place]]] = []
    held: list[str] = []
    for token in TOKEN.findall(path):
        if token.isalpha():
            told.append((token, []))
            held = []
            continue
        held.append(token)
        if len(held) == 2:
            told[-1][1].append(plot.of_shape(shape, float(held[0]), float(held[1])))
            held = []
    return told


def short(value: float) -> str:
    """A figure for SVG: two decimals, no more than needed."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def percent(value: float, width: float) -> str:
    """A nominal place as a share of the real width."""
    text = f"{100 * value / (width or 1):.3f}".rstrip("0").rstrip(".")
    return f"{'0' if text in ('-0', '') else text}%"

"""Marks drawn on a chart, in px round an anchor so that they keep their shape at every width."""

from __future__ import annotations

from typing import Any

from dashboard.charts import style

Figure = dict[str, Any]


def glyph(kind: str, x: Any, y: Any) -> list[Figure]:
    """The shapes of a mark, 18 px, its middle at x, y of a sheet of pixels: take | bring | too-few | not-shown."""
    at = {"xsizemode": "pixel", "ysizemode": "pixel", "xanchor": x, "yanchor": y}
    if kind in ("take", "shown"):
        return [style.path("M-6,-.5L-1.5,-5L6.5,4.5", edge=style.INK, width=2.2, **at)]
    if kind == "bring":
        return [
            style.path("M-8,3Q0,-9 8,3Z", fill=style.LIGHT_FILL, edge=style.MOVED, width=1.6, **at),
            style.path("M-9,4L9,4", edge=style.INK, width=2.4, **at),
        ]
    if kind == "too-few":
        shapes = [style.path("M-9,1L9,1", edge=style.INK3, width=1.5, **at)]
        return shapes + [_disc(x, y, dx, -3.5, 1.7, style.INK3) for dx in (-6, 0, 6)]
    if kind == "not-shown":
        return [
            {
                "type": "circle",
                "opacity": 1,
                "layer": "above",
                **at,
                "x0": -7,
                "x1": 7,
                "y0": -7,
                "y1": 7,
                "line": {"color": style.INK2, "width": 1.8},
            },
            style.path("M-3.5,0L3.5,0", edge=style.INK2, width=1.8, **at),
        ]
    return []


def _disc(x: Any, y: Any, dx: float, dy: float, radius: float, colour: str) -> Figure:
    at = {"xsizemode": "pixel", "ysizemode": "pixel", "xanchor": x, "yanchor": y}
    ends = {"x0": dx - radius, "x1": dx + radius, "y0": dy - radius, "y1": dy + radius}
    return {
        "type": "circle",
        "opacity": 1,
        "layer": "above",
        **at,
        **ends,
        "fillcolor": colour,
        "line": {"width": 0, "color": colour},
    }

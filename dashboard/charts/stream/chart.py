"""The chart of one stream: what was asked as the board, what was done as lines on it, and light where the average has
left the edge.

Bottom to top: board, frets, edges and inlays; gap of the average; limits of one reading; edge; light; readings;
average; nut, capo, words. Rails of fixed px stand above (words of changes and closed signals) and below (began between,
run marks, time). Nothing is computed here: `StreamView` holds every array in the unit it is shown in, on the shop's
clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboard.charts import style
from dashboard.charts.stream.marks import RAIL
from dashboard.charts.stream.sides import Sides
from dashboard.charts.stream.view import Asked, Began, Change, Limits, Odd, Run, Signal, StreamView
from dashboard.charts.timeline import iso

__all__ = ["Asked", "Began", "Change", "Limits", "Odd", "Run", "Signal", "StreamView", "stream"]

Figure = dict[str, Any]


def stream(view: StreamView, *, narrow: bool = False, width: int | None = None, inner: int | None = None) -> Figure:
    """The stream chart; `empty` words where there is no reading. On paper: `width` of the chart and height of its inner
    part, px.
    """
    if not len(view.taken_at):
        return style.empty("No readings of this series here.", narrow=narrow)
    return _Drawing(view, narrow, width, inner).figure()


class _Drawing(Sides):
    """The whole chart, in the order in which one thing lies on another."""

    def figure(self) -> Figure:
        self.board()
        self.lines()
        self.light()
        self.readings()
        self.average()
        self.nut()
        self.odd()
        self.signals()
        self.above()
        self.began_and_runs()
        self.figures_at_the_sides()
        return self.finished()

    def finished(self) -> Figure:
        shapes, texts = self.time.drawn(self.axis_at, narrow=self.narrow)
        lines = (
            []
            if self.narrow or self.paper or not self.view.asked
            else ["marks along the week: a vertical gap in the board is a Monday"]
        )
        lines += _folded([text for text in self.below if text], (self.width - 24) / (style.CHARACTER * 12 / 13))
        for k, text in enumerate(lines):
            at: dict[str, Any] = {
                "xref": "paper",
                "yref": "paper",
                "xshift": 2 - self.left if self.narrow else 0,
                "yshift": -self.axis_at - 40 - 18 * k,
            }
            self.texts.append(style.words(0, 0, text, size=12, colour=style.INK3, **at))
        bottom = self.axis_at + 28 + 18 * len(lines) + (6 if lines else 0)
        top = self.first_rail + 12 + RAIL * max(self.words.used - 1, 0) if self.words.used else 26
        figure = style.layout(
            top + self.inner + bottom,
            (self.left, self.right, top, bottom),
            narrow=self.narrow,
            xaxis=style.axis(iso(self.time.start), iso(self.time.end), type="date"),  # type: ignore[arg-type]
            yaxis=style.axis(self.low, self.high),
            shapes=self.shapes + shapes,
            annotations=self.texts + texts,
        )
        return {"data": self.traces, "layout": figure}


def _folded(words: Sequence[str], characters: float) -> list[str]:
    """Left-over words joined into lines of so many characters."""
    lines: list[str] = []
    for text in words:
        if lines and len(lines[-1]) + len(text) + 2 <= characters:
            lines[-1] += "; " + text
        else:
            lines.append(text)
    return lines

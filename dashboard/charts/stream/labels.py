"""Where the words of a stream chart stand: rails above, room on the board, and the figures at its right."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from dashboard import numbers
from dashboard.charts import style

if TYPE_CHECKING:
    from dashboard.charts.stream.view import StreamView


class Words:
    """Keeps what is taken: rails above the plot, and boxes on it. All px are from the left of the chart and the top of
    the plot.
    """

    def __init__(self, left: float, right: float, rails: int) -> None:
        self.left, self.right = left, right
        self.rails: list[list[tuple[float, float]]] = [[] for _ in range(rails)]
        self.boxes: list[tuple[float, float, float]] = []
        self.used = 0

    def free(self, x0: float, x1: float, y: float) -> bool:
        """Whether a line of text at y fits between x0 and x1; if so it is taken."""
        if (
            x0 < self.left - 30
            or x1 > self.right + 8
            or any(abs(y - b) < style.APART and x0 < a1 + 6 and x1 > a0 - 6 for a0, a1, b in self.boxes)
        ):
            return False
        self.boxes.append((x0, x1, y))
        return True

    def above(self, x: float, width: float, before: float = 0) -> tuple[int, str, float] | None:
        """Rail, the side of the text at its upright, and px where the whole begins; None where no rail has room."""
        whole = width + before
        for rail in range(len(self.rails)):
            for side, start in (("left", x + 12), ("right", x - 12 - whole)):
                first = x - 7 if side == "left" else start
                last = start + whole if side == "left" else x + 7
                if first < self.left + 22 * (len(self.rails) < 3) - 38 * (len(self.rails) > 2) or last > self.right + 4:
                    continue
                if style.first_free(self.rails[rail : rail + 1], first, last) is not None:
                    self.used = max(self.used, rail + 1)
                    return rail, side, start
        return None


@dataclass(frozen=True)
class Label:
    """A figure at the right of the chart: where it wishes to stand and where it does, px from the top of the plot."""

    wished: float
    text: str
    colour: str
    bold: bool = False
    size: int = 14
    rank: int = 0  # the highest goes first when there is no room
    now: bool = False
    placed: float = 0.0


def done_labels(view: StreamView, moved: bool, y_px: Callable[[float], float], inner: float) -> tuple[list[Label], str]:
    """The figures of what was done, pushed apart, and the same as one line for a phone."""

    def said(value: float) -> str:
        return numbers.plain(value, view.decimals)

    labels: list[Label] = []
    line = ""
    last = view.limits[-1] if view.limits else None
    now = (
        next((float(v) for v in reversed(list(view.average)) if not math.isnan(v)), None)
        if view.average is not None
        else None
    )
    if now is not None:
        colour = style.MOVEDTEXT if moved else style.INK
        labels.append(
            Label(
                y_px(now),
                f"{said(now)}  runs now" if moved else f"{said(now)}  average now",
                colour,
                bold=True,
                now=True,
            )
        )
    if last is not None:
        labels.append(Label(y_px(last.centre), f"{said(last.centre)}  centre line", style.INK, bold=True, rank=1))
        line = f"centre line {said(last.centre)}"
        limits = [x for x in (last.lower, last.upper) if x is not None]
        labels += [Label(y_px(x), f"{said(x)}  limit, one reading", style.INK2, rank=2) for x in limits]
        if limits:
            line += f"; {'limits' if len(limits) > 1 else 'limit'} of one reading {', '.join(said(x) for x in limits)}"
    for side in (view.gap_low, view.gap_high):
        end = next((float(v) for v in reversed(list(side)) if not math.isnan(v)), None) if side is not None else None
        if end is not None:
            labels.append(
                Label(
                    y_px(end),
                    f"{said(end)}  limit, average",
                    style.INK3,
                    size=13,
                    rank=3 if now is None or y_px(end) > y_px(now) else 4,
                )
            )
    labels = [label for label in labels if -1 <= label.wished <= inner + 1]
    while True:
        # the order of the values is kept; a tie keeps the order above
        order = sorted(range(len(labels)), key=lambda i: (labels[i].wished, labels[i].rank))
        labels = [labels[i] for i in order]
        places = style.push_apart([label.wished for label in labels], 4, inner - 4)
        placed = [replace(label, placed=place) for label, place in zip(labels, places, strict=True)]
        worst = max((abs(label.placed - label.wished) for label in placed), default=0)
        ranks = [label.rank for label in placed]
        if worst <= 14 or max(ranks, default=0) < 3:
            return placed, line
        labels.pop(ranks.index(max(ranks)))

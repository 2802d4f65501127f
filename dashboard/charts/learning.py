"""Learning curve: minutes (or send-backs) against instruments done; the qualified band as board, the curve blue with
its band.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.dots import ticks
from dashboard.charts.plane import area, curve, plane, points

Figure = dict[str, Any]


@dataclass(frozen=True)
class LearningView:
    """values (n,) in order of instruments; the fitted curve with its band over `x`; what qualified people take."""

    values: Sequence[float]
    serials: Sequence[str]
    x: Sequence[float] = ()
    curve: Sequence[float] = ()
    low: Sequence[float] = ()
    high: Sequence[float] = ()
    qualified: tuple[float, float] | None = None
    now: str = ""  # "12.7 min now"
    qualified_words: str = ""  # "8.5 to 12.5"
    unit: str = "min"
    x_words: str = "instrument, in order"
    decimals: int = 0
    units: Sequence[int] = ()  # which instrument each value stands at; none: 1, 2, ... in order
    hands: str = "qualified"  # whose `qualified` is, in a word or two


def learning(view: LearningView, *, narrow: bool = False) -> Figure:
    """Dots, band, curve, and at its end where it stands now."""
    n = max([len(view.values), *view.units])
    if not n and not len(view.curve):
        return style.empty("No instrument of this person here yet.", narrow=narrow)
    last = max([n, *view.x])
    alone = () if len(view.values) else (0.0, *view.low, *view.high)  # a curve without dots stands in its band
    ends = [*view.values, *view.curve, *(view.qualified or ()), *alone]
    top, bottom = max(ends) * 1.06, min(0.0, *ends)
    bottom = min(ends) * 0.75 if bottom >= 0 else bottom
    marks = sorted({1.0, *[t for t in ticks(1, last, 3) if t > 1 and last - t > last * 0.12], float(last)})
    layout = plane(
        (1 - last * 0.01, last * 1.005 + 0.5),
        (bottom, top),
        x_words=view.x_words,
        y_words=view.unit,
        x_ticks=marks,
        right=124,
        narrow=narrow,
    )
    texts, at = layout["annotations"], {"xref": "paper"}
    if view.qualified:
        low, high = view.qualified
        layout["shapes"].append(style.box(0, low, 1, high, style.BOARD, **at))
        layout["shapes"] += [style.line(0, y, 1, y, style.BOARDEDGE, 2, layer="below", **at) for y in view.qualified]
    told = [
        f"{serial}<br>{numbers.with_unit(numbers.plain(v, view.decimals), view.unit)}"
        for serial, v in zip(view.serials, view.values, strict=True)
    ]
    data = [points(view.units or range(1, n + 1), view.values, {"size": 4, "color": style.INK3, "opacity": 0.75}, told)]
    inner = 290 - 78

    def px(value: float) -> float:
        return float(inner * (top - value) / (top - bottom))

    labels: list[tuple[float, str, str, bool]] = []
    if len(view.curve):
        data += [area(view.x, view.low, view.high, style.FOCUS + "2E"), curve(view.x, view.curve, style.FOCUS, 2.6)]
        data.append(points([view.x[-1]], [view.curve[-1]], {"size": 10, "color": style.FOCUS}))
        labels.append((px(view.curve[-1]), view.now, style.FOCUSTEXT, True))
    if view.qualified and view.qualified_words:
        labels.append((px(sum(view.qualified) / 2), f"{view.hands}:<br>{view.qualified_words}", style.BOARDTEXT, False))
    if narrow:
        if labels and labels[0][3]:
            at_y = min(max(labels[0][0] - 22, 8), inner - 8)
            texts.append(
                style.words(
                    1,
                    1,
                    view.now,
                    size=14,
                    bold=True,
                    colour=style.FOCUSTEXT,
                    at="right",
                    xref="paper",
                    yref="paper",
                    yshift=-at_y,
                    halo=style.CARD,
                )
            )
        if view.qualified and view.qualified_words:
            said = f"{view.hands}: {view.qualified_words}"
            texts.append(
                style.words(
                    1, 0, said, size=12, colour=style.BOARDTEXT, at="right", xref="paper", yref="paper", yshift=-41
                )
            )
    else:
        for place, (_, text, colour, bold) in zip(
            style.push_apart([label[0] for label in labels], 8, inner - 14, 34), labels, strict=True
        ):
            texts.append(
                style.words(
                    1, 1, text, size=14, bold=bold, colour=colour, xref="paper", yref="paper", xshift=12, yshift=-place
                )
            )
    return {"data": data, "layout": layout}

"""Evidence, instrument by instrument: the path of the sequential test between `holds` and `practise`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.charts import style
from dashboard.charts.plane import curve, points

Figure = dict[str, Any]
WIDTH, HEIGHT = 240, 72


@dataclass(frozen=True)
class EvidenceView:
    """The test's figure after each instrument and its two boundaries; `least` instruments are needed before anything is
    said.
    """

    path: Sequence[float]
    shown: float
    practise: float
    n_words: str = ""  # "44"


def evidence(view: EvidenceView, *, narrow: bool = False) -> Figure:
    """One path, 72 px high; it may end outside the boundaries it crossed."""
    width = style.NARROW if narrow else WIDTH
    right = width - 60
    low, high = min([view.practise, *view.path]), max([view.shown, *view.path])

    def y(value: float) -> float:
        return 10 + 48 * (high - value) / ((high - low) or 1)

    figure = style.sheet_of_pixels(width, HEIGHT)
    shapes, texts = figure["shapes"], figure["annotations"]
    top, bottom = y(view.shown), y(view.practise)
    shapes.append(style.line(4, top, right, top, style.BOARDEDGE, 2))
    shapes.append(style.line(4, bottom, right, bottom, style.RULE, 1.2, dash="4px,3px"))
    texts += [
        style.words(right + 4, top, "holds", size=12, colour=style.BOARDTEXT),
        style.words(right + 4, bottom, "practise", size=12, colour=style.INK3),
    ]
    n = len(view.path)
    if not n:
        return {"data": [], "layout": figure}
    step = (right - 14) / max(n + 6, 40)
    x, line = [6 + step * k for k in range(n)], [y(v) for v in view.path]
    end = line[-1]
    shift = -13 if end > (top + bottom) / 2 else 13
    texts.append(
        style.words(
            min(x[-1] + 8, right - 12),
            end + shift,
            view.n_words or str(n),
            size=12,
            bold=True,
            colour=style.FOCUSTEXT,
            halo=style.CARD,
        )
    )
    return {
        "data": [curve(x, line, style.FOCUS, 2.2), points([x[-1]], [end], {"size": 9, "color": style.FOCUS})],
        "layout": figure,
    }

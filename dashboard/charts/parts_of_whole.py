"""Where the differences sit: shares of variance one after another, a step lower each; and counts by age as bars."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboard import numbers
from dashboard.charts import style

Figure = dict[str, Any]


def variance(
    rows: Sequence[tuple[str, float]], *, quiet_last: bool = True, width: int = style.HALF, narrow: bool = False
) -> Figure:
    """Each (name, share of 1) begins where the one above ends; the last, as a rule the gauge, in grey."""
    if not rows:
        return style.empty("Too few lots to say where the differences sit.", height=60, narrow=narrow)
    width = style.NARROW if narrow else width
    pitch, right = 48, width - 56
    figure = style.sheet_of_pixels(width, pitch * len(rows) + 4)
    shapes, texts, so_far = figure["shapes"], figure["annotations"], 0.0
    for k, (name, part) in enumerate(rows):
        y = pitch * k
        texts.append(style.words(0, y + 12, name, size=14))
        x0, x1 = right * so_far, right * min(so_far + part, 1)
        shapes.append(style.line(0, y + 32, right, y + 32, style.LINE, layer="below"))
        shapes.append(
            style.box(
                x0, y + 25, max(x1, x0 + 1.5), y + 39, style.RULE if quiet_last and k == len(rows) - 1 else style.INK2
            )
        )
        texts.append(
            style.words(
                width,
                y + 32,
                numbers.with_unit(numbers.plain(100 * part, 0), "%"),
                size=14,
                bold=True,
                colour=style.INK,
                at="right",
            )
        )
        so_far += part
    return {"data": [], "layout": figure}


def ages(rows: Sequence[tuple[str, int]], *, width: int = style.HALF, narrow: bool = False) -> Figure:
    """(name, count) from the youngest on, as upright bars with their counts; nothing is drawn where there is none."""
    if not rows:
        return style.empty("Nothing is on the bench.", height=60, narrow=narrow)
    width = style.NARROW if narrow else width
    pitch, high = width / len(rows), 66
    most = max(max(count for _, count in rows), 1)
    figure = style.sheet_of_pixels(width, high + 44)
    shapes, texts = figure["shapes"], figure["annotations"]
    shapes.append(style.line(0, high + 20, width, high + 20, style.LINE, layer="below"))
    for k, (name, count) in enumerate(rows):
        x, tall = pitch * (k + 0.5), high * count / most
        if count:
            shapes.append(
                style.box(x - pitch * 0.42, high + 20 - max(tall, 1.5), x + pitch * 0.42, high + 20, style.INK2)
            )
            texts.append(style.words(x, high + 10 - tall, numbers.count(count), at="center"))
        texts.append(style.words(x, high + 33, name, size=12, at="center", colour=style.INK3))
    return {"data": [], "layout": figure}

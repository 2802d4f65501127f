"""The figures at both ends of a stream: limits, edge and what is asked, each beside its line."""

from __future__ import annotations

from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.stream.labels import done_labels
from dashboard.charts.stream.marks import Marks


class Sides(Marks):
    """A stream with its marks, and the figures of its lines at the sides."""

    def figures_at_the_sides(self) -> None:
        """Figures of the limits: what is asked at the left, what is done at the right."""
        view = self.view
        asked = view.asked[-1] if view.asked else None
        heading: dict[str, Any] = {"yref": "paper", "xref": "paper", "yshift": 14}
        if asked:
            wanted = [x for x in (asked.upper, asked.target, asked.lower) if x is not None]
            for value, y in zip(
                wanted, style.push_apart([self.y_px(v) for v in wanted], 6, self.inner - 6), strict=True
            ):
                said = numbers.plain(value, view.decimals)
                at: dict[str, Any] = {"at": "right", "xref": "paper", "yref": "paper", "xshift": -7, "yshift": -y}
                self.texts.append(style.words(0, 1, said, size=14, colour=style.BOARDTEXT, **at))
        said = f"asked, {view.unit}".rstrip(", ") if asked else "no limits asked"
        self.texts.append(
            style.words(
                0, 1, said, size=12 if self.narrow else 13, colour=style.BOARDTEXT, xshift=8 - self.left, **heading
            )
        )
        if not self.narrow:
            self.texts.append(
                style.words(1, 1, f"done, {view.unit}".rstrip(", "), colour=style.INK3, xshift=10, **heading)
            )
        labels, line = done_labels(self.view, bool(self.open), self.y_px, self.inner)
        if self.narrow:
            if line:
                self.below.insert(0, line)
            now = next((label for label in labels if label.now), None)
            if now:
                y = now.wished + (-16 if now.wished > 40 else 16)
                words = f"runs at {now.text.split(' ')[0]}"
                x = self.time.left + self.time.plot
                if not self.words.free(x - style.width_of(words, 14), x, y):
                    y = now.wished + 20
                self.texts.append(
                    style.words(
                        1,
                        1,
                        words,
                        size=14,
                        bold=True,
                        at="right",
                        xref="paper",
                        yref="paper",
                        yshift=-y,
                        colour=now.colour,
                        halo=style.BOARD if view.asked else style.CARD,
                    )
                )
            return
        for label in labels:
            if abs(label.placed - label.wished) > 6:
                at = {
                    "xref": "paper",
                    "yref": "paper",
                    "xsizemode": "pixel",
                    "ysizemode": "pixel",
                    "xanchor": 1,
                    "yanchor": 1,
                }
                self.shapes.append(style.line(1, -label.wished, 9, -label.placed, style.RULE, **at))
            self.texts.append(
                style.words(
                    1,
                    1,
                    label.text,
                    size=label.size,
                    colour=label.colour,
                    bold=label.bold,
                    xref="paper",
                    yref="paper",
                    xshift=11,
                    yshift=-label.placed,
                )
            )

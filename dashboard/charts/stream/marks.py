"""The marks of a stream chart and their words: nut, odd instruments, wedges, capos, clamp, run marks, figures at the
sides.
"""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

from dashboard.charts import style
from dashboard.charts.stream.ground import Ground
from dashboard.charts.timeline import iso

Figure = dict[str, Any]
RAIL = 19  # px from one rail of words to the next


class Marks(Ground):
    """Draws on the ground what is said about it."""

    def board_ends(self) -> tuple[float, float]:
        """Top and bottom of the board in px from the top of the plot; the plot's where nothing was asked."""
        uppers = [a.upper for a in self.view.asked if a.upper is not None]
        lowers = [a.lower for a in self.view.asked if a.lower is not None]
        return (self.y_px(max(uppers)) if uppers else 6.0), (self.y_px(min(lowers)) if lowers else self.inner - 26.0)

    def upright(
        self, when: datetime, top: float, bottom: float, colour: str, width: float, dash: str = "solid"
    ) -> None:
        """An upright from px to px, both from the top of the plot."""
        at: dict[str, Any] = {"yref": "paper", "ysizemode": "pixel", "yanchor": 1}
        self.shapes.append(style.line(iso(when), -top, iso(when), -bottom, colour, width, dash=dash, **at))

    def say(self, when: datetime, y: float, text: str, **more: Any) -> None:
        """Words at a moment, y px from the top of the plot."""
        self.texts.append(style.words(iso(when), 1, text, xref="x", yref="paper", yshift=-y, **more))

    def nut(self) -> None:
        """Where the stream begins to be judged."""
        when = self.view.judged_from
        if when is None or not self.time.start < when <= self.time.end:
            return
        top, bottom = self.board_ends()
        self.upright(when, top - 4, bottom + 4, style.INK, 4)
        y, x = min(bottom + 18, self.inner - 8), self.time.px(when)
        sides = (
            ("first 100" if self.narrow else "first {} readings")
            .replace("100", str(self.view.baseline))
            .format(self.view.baseline),
            "judged" if self.narrow else "judged from here",
        )
        if self.words.free(x - 8 - style.width_of(sides[0], 12), x - 6, y):
            self.say(when, y, sides[0], size=12, colour=style.INK3, at="right", xshift=-7, halo=style.CARD)
        if self.words.free(x + 6, x + 8 + style.width_of(sides[1], 12), y):
            self.say(when, y, sides[1], size=12, colour=style.INK3, xshift=7, halo=style.CARD)

    def odd(self) -> None:
        """Single odd instruments, each with its words."""
        for odd in self.view.odd:
            y, x = self.y_px(self.within(odd.value)), self.time.px(odd.at)
            self.traces.append(
                {
                    "type": "scatter",
                    "mode": "markers",
                    "x": [iso(odd.at)],
                    "y": [self.within(odd.value)],
                    "name": "odd",
                    "cliponaxis": False,
                    "marker": {"symbol": "diamond-open", "size": 12, "color": style.INK, "line": {"width": 1.8}},
                    "customdata": [[odd.words]],
                    "hovertemplate": "%{customdata[0]}<extra></extra>",
                }
            )
            size = 12 if self.narrow else 13
            wide = style.width_of(odd.words, size)
            if self.words.free(x - 12 - wide, x - 8, y):
                self.say(
                    odd.at,
                    y,
                    odd.words,
                    size=size,
                    colour=style.INK,
                    bold=True,
                    at="right",
                    xshift=-11,
                    halo=style.CARD,
                )
            elif self.words.free(x + 8, x + 12 + wide, y):
                self.say(odd.at, y, odd.words, size=size, colour=style.INK, bold=True, xshift=11, halo=style.CARD)
            else:
                self.below.append(odd.words)

    def signals(self) -> None:
        """Wedges where signals opened, words beside them."""
        view = self.view
        top, bottom = self.board_ends()
        for signal in self.open:
            i = self.stretch(signal.opened_at, None)[0]
            if i == len(view.taken_at):
                continue
            start = (
                view.average[i]
                if view.average is not None and not math.isnan(view.average[i])
                else float(view.values[i])
            )
            y = top + 16 if signal.direction == "up" else bottom - 16  # near the board's edge it ran to
            self.upright(signal.opened_at, self.y_px(self.within(start)), y, style.MOVED, 1.4)
            wedge = "M0,0L16,0L16,12Z" if signal.direction == "up" else "M0,12L16,12L16,0Z"
            anchor: dict[str, Any] = {
                "xref": "x",
                "yref": "paper",
                "xsizemode": "pixel",
                "ysizemode": "pixel",
                "xanchor": iso(signal.opened_at),
                "yanchor": 1 - (y + 6) / self.inner,
            }
            self.shapes.append(style.path(wedge, fill=style.LIGHT_FILL, edge=style.MOVED, width=1.6, **anchor))
            x, size = self.time.px(signal.opened_at), 13
            wide = style.width_of(signal.words, size)
            ground = style.BOARD if view.asked else style.CARD
            if x + 20 + wide <= self.time.left + self.time.plot + 6 and self.words.free(x + 20, x + 20 + wide, y):
                self.say(signal.opened_at, y, signal.words, colour=style.MOVEDTEXT, bold=True, xshift=20, halo=ground)
            elif self.words.free(x - 6 - wide, x - 6, y):
                self.say(
                    signal.opened_at,
                    y,
                    signal.words,
                    colour=style.MOVEDTEXT,
                    bold=True,
                    at="right",
                    xshift=-6,
                    halo=ground,
                )
            else:
                self.below.append(signal.words)

    def above(self) -> None:
        """Changes, limits set anew and closed signals: a mark each, its words in the first rail with room."""
        top, bottom = self.board_ends()
        todo: list[tuple[datetime, str, str]] = [(c.at, c.words, "capo") for c in self.view.changes]
        todo += [(c.at, c.words, "anew") for c in self.view.anew]
        todo += [(s.closed_at, s.words, "closed") for s in self.view.signals if s.closed_at is not None]
        for when, text, kind in sorted(
            todo, key=lambda entry: entry[0], reverse=True
        ):  # the newest has the first choice
            if not self.time.start <= when <= self.time.end:
                continue
            x, before = self.time.px(when), 22 if kind == "closed" else 0
            placed = self.words.above(x, style.width_of(text), before)
            rail = placed[0] if placed else 0
            y = -self.first_rail - RAIL * rail
            if kind == "capo":
                self.upright(when, y, bottom, style.INK, 1.2)
                anchor: dict[str, Any] = {
                    "xref": "x",
                    "yref": "paper",
                    "xsizemode": "pixel",
                    "ysizemode": "pixel",
                    "xanchor": iso(when),
                    "yanchor": 1,
                }
                self.shapes.append(style.path(_rounded_bar(-y), fill=style.INK, **anchor))
            elif kind == "anew":
                self.upright(when, y, bottom, style.INK, 1.2, "2px,3px")
                anchor = {
                    "xref": "x",
                    "yref": "paper",
                    "xsizemode": "pixel",
                    "ysizemode": "pixel",
                    "xanchor": iso(when),
                    "yanchor": 1,
                }
                self.shapes.append(
                    style.path(f"M-7,{-y - 2} L-2,{-y - 2} M2,{-y + 2} L7,{-y + 2}", edge=style.INK, width=2, **anchor)
                )
            else:
                self.upright(when, y + 8 if placed else top + 8, top + 60, style.INK3, 1)
            if not placed:
                self.below.append(text)
                if kind == "closed":
                    self.hollow_wedge(when, -7, top)
                continue
            side = placed[1]
            shift = -12 if side == "right" else 12 + before
            bold = kind != "closed"
            self.say(
                when,
                y,
                text,
                colour=style.INK if bold else style.INK2,
                bold=bold,
                at=side,
                xshift=shift,
                bgcolor=style.CARD,
            )
            if kind == "closed":
                self.hollow_wedge(when, placed[2] - x, y)

    def hollow_wedge(self, when: datetime, x: float, y: float) -> None:
        """A wedge of a signal gone by."""
        anchor: dict[str, Any] = {
            "xref": "x",
            "yref": "paper",
            "xsizemode": "pixel",
            "ysizemode": "pixel",
            "xanchor": iso(when),
            "yanchor": 1,
        }
        self.shapes.append(
            style.path(f"M{x},{-y - 4} L{x + 14},{-y - 4} L{x + 14},{-y + 5} Z", edge=style.INK3, width=1.4, **anchor)
        )

    def began_and_runs(self) -> None:
        """When the change began, with its interval, and the runs of rules."""
        at: dict[str, Any] = {"xref": "x", "yref": "paper", "ysizemode": "pixel", "yanchor": 0}
        began = self.view.began
        rail: list[list[tuple[float, float]]] = [[]]
        if began:
            y = -20
            self.shapes.append(style.line(iso(began.at), 0, iso(began.at), -13, style.INK, 1.2, **at))
            self.shapes.append(style.line(iso(began.low), y, iso(began.high), y, style.MOVED, 9, **at))
            for end in (began.low, began.high):
                self.shapes.append(
                    {
                        "type": "circle",
                        "opacity": 1,
                        "layer": "above",
                        "xref": "x",
                        "yref": "paper",
                        "xsizemode": "pixel",
                        "ysizemode": "pixel",
                        "xanchor": iso(end),
                        "yanchor": 0,
                        "x0": -4.5,
                        "x1": 4.5,
                        "y0": y - 4.5,
                        "y1": y + 4.5,
                        "fillcolor": style.MOVED,
                        "line": {"width": 0, "color": style.MOVED},
                    }
                )
            self.shapes.append(style.line(iso(began.at), y + 8, iso(began.at), y - 8, style.INK, 2.5, **at))
            x0, x1, wide = self.time.px(began.low), self.time.px(began.high), style.width_of(began.words)
            if x0 - 12 - wide >= self.time.left - 30:
                self.below_plot(began.low, y, began.words, at="right", xshift=-12)
            elif x1 + 12 + wide <= self.width:
                self.below_plot(began.high, y, began.words, xshift=12)
            else:
                self.below.append(began.words)
        for run in sorted(self.view.runs, key=lambda r: r.from_at, reverse=True):
            if run.to_at < self.time.start or run.from_at > self.time.end:
                continue
            x0, x1 = self.time.px(max(run.from_at, self.time.start)), self.time.px(run.to_at)
            wide = style.width_of(run.rule, 12)
            if style.first_free(rail, x0 - wide - 8, max(x1, x0 + 5)) is None:
                if style.first_free(rail, x0 - 2, max(x1, x0 + 5)) is None:
                    continue
                wide = 0
            y = -42
            ends = [iso(max(run.from_at, self.time.start)), iso(run.to_at)]
            self.shapes.append(style.line(ends[0], y - 3, ends[1], y - 3, style.INK3, 1.4, **at))
            for place in ends:
                self.shapes.append(style.line(place, y - 3, place, y + 3, style.INK3, 1.4, **at))
            if wide and x0 - wide - 6 >= 0:
                self.below_plot(
                    max(run.from_at, self.time.start),
                    y,
                    run.rule,
                    at="right",
                    xshift=-6,
                    size=12,
                    colour=style.INK3,
                    bold=False,
                )

    def below_plot(self, when: datetime, y: float, text: str, **more: Any) -> None:
        """Words under the plot, at a moment."""
        asked: Figure = {"colour": style.MOVEDTEXT, "bold": True, "halo": style.CARD, **more}
        self.texts.append(style.words(iso(when), 0, text, xref="x", yref="paper", yshift=y, **asked))


def _rounded_bar(y: float) -> str:
    """The capo's bar: 7 by 14 px, round at both ends, its middle at y."""
    a, b = y + 3.5, y - 3.5
    return (
        f"M-3.5,{a} L-3.5,{b} Q-3.5,{b - 3.5} 0,{b - 3.5} Q3.5,{b - 3.5} 3.5,{b} L3.5,{a} Q3.5,{a + 3.5} "
        f"0,{a + 3.5} Q-3.5,{a + 3.5} -3.5,{a} Z"
    )

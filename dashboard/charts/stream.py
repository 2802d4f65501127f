"""The chart of one stream: what was asked as the board, what was done as lines on it, and light where the average has left the edge.

Bottom to top: board, frets, edges and inlays; gap of the average; limits of one reading; edge; light; readings; average; nut, capo, words.
Rails of fixed px stand above (words of changes and closed signals) and below (began between, run marks, time). Nothing is computed here:
`StreamView` holds every array in the unit it is shown in, on the shop's clock.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.stream_labels import Words, done_labels
from dashboard.charts.timeline import Timeline, iso

Figure = dict[str, Any]


@dataclass(frozen=True)
class Asked:
    """Target and limits of the work, over the dates they held; None where there is none on that side."""

    from_at: datetime
    to_at: datetime
    target: float | None
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class Limits:
    """The edge and the limits of one reading, over the dates they held; limits None while they are provisional or thin."""

    from_at: datetime
    to_at: datetime
    centre: float
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class Signal:
    """An opening: `opened_at` is the opening reading, `light_from` where its light begins (began-at), `words` what stands beside its wedge."""

    opened_at: datetime
    closed_at: datetime | None
    direction: str  # up | down
    words: str
    light_from: datetime | None = None


@dataclass(frozen=True)
class Began:
    """When the shift began: likeliest moment and the set around it, with its words."""

    at: datetime
    low: datetime
    high: datetime
    words: str


@dataclass(frozen=True)
class Change:
    """A dated change on the bench, or limits put on file anew."""

    at: datetime
    words: str


@dataclass(frozen=True)
class Run:
    """Members of a run, under our name of the rule."""

    from_at: datetime
    to_at: datetime
    rule: str


@dataclass(frozen=True)
class Odd:
    """One instrument far from the rest: when, how much, and its words."""

    at: datetime
    value: float
    words: str


@dataclass(frozen=True)
class StreamView:
    """Everything one stream chart shows. Sequences beside `taken_at` (n,) are (n,) too, oldest first; NaN where there is nothing to draw."""

    taken_at: Sequence[datetime]
    values: Sequence[float]
    serials: Sequence[str]
    unit: str = "mm"
    decimals: int = 2
    average: Sequence[float] | None = None  # the running average that judges; None in `width` mode
    gap_low: Sequence[float] | None = None  # where it may wander
    gap_high: Sequence[float] | None = None
    limits: Sequence[Limits] = ()
    asked: Sequence[Asked] = ()
    baseline: int = 0  # readings left of the nut
    judged_from: datetime | None = None  # the nut; None: not judged yet
    signals: Sequence[Signal] = ()
    began: Began | None = None
    changes: Sequence[Change] = ()
    anew: Sequence[Change] = ()  # limits put on file
    runs: Sequence[Run] = ()
    odd: Sequence[Odd] = ()
    outside: Sequence[int] = ()  # places in taken_at of readings outside what was asked
    notes: Sequence[str] = ()  # one per reading: what the pointer is told beside serial, time and value (corrected, provisional, ...)
    kinds: Sequence[str] = ()  # one per reading: who, lot or gauge, drawn by shape; the subject first in kind_names
    kind_names: Sequence[str] = field(default=())  # at most four


KIND_MARKS = (
    ("circle", style.FOCUS, style.FOCUS),
    ("diamond", style.INK, style.INK),
    ("triangle-up", style.SKY, style.INK),
    ("circle-open", style.INK, style.INK),
)
RAIL = 19  # px from one rail of words to the next


def stream(view: StreamView, *, narrow: bool = False) -> Figure:
    """The stream chart; `empty` words where there is no reading."""
    if not len(view.taken_at):
        return style.empty("No readings of this stream here.", narrow=narrow)
    return _Drawing(view, narrow).figure()


class _Drawing:
    """Geometry of one chart and what has been drawn so far."""

    def __init__(self, view: StreamView, narrow: bool) -> None:
        self.view, self.narrow = view, narrow
        self.left, self.right = (40, 12) if narrow else (58, 176)
        self.width = style.NARROW if narrow else style.WIDE
        self.inner = 300 if narrow else 330
        times = list(view.taken_at) + ([view.began.low, view.began.high] if view.began else [])
        first, last = min(times), max(times)
        pad = max((last - first) * 0.012, timedelta(hours=6))
        if last - first < timedelta(days=5):
            pad = timedelta(days=3)
        plot = self.width - self.left - self.right
        self.time = Timeline(first - pad, last + pad, self.left, plot, named_from=first)
        self.low, self.high = self._range()
        self.shapes: list[Figure] = []
        self.texts: list[Figure] = []
        self.traces: list[Figure] = []
        self.below: list[str] = []  # words that found no room on the chart
        self.words = Words(self.left, self.left + plot, rails=3 if narrow else 2)
        self.first_rail = 33 if narrow else 14  # px above the plot; on a phone the heading stands under the rails
        self.axis_at = 58 if view.runs else 38 if view.began else 16  # px under the plot

    # geometry

    def _range(self) -> tuple[float, float]:
        view = self.view
        lines = [x for a in view.asked for x in (a.lower, a.upper, a.target) if x is not None]
        lines += [x for part in view.limits for x in (part.lower, part.centre, part.upper) if x is not None]
        lines += _real(view.average) + _real(view.gap_low) + _real(view.gap_high)
        values = _real(view.values)
        low, high = (min(lines), max(lines)) if lines else (min(values), max(values))
        room = (high - low) * 0.6 or max(abs(high), 1.0) * 0.1  # a reading far away stands at the border and says its value
        low, high = min(low, max(min(values), low - room)), max(high, min(max(values), high + room))
        if high - low < 1e-9:
            low, high = low - 0.5, high + 0.5
        px = (high - low) / (self.inner - 52)
        return low - 34 * px, high + 18 * px

    def y_px(self, value: float) -> float:
        """Px from the top of the plot."""
        return self.inner * (self.high - value) / (self.high - self.low)

    def within(self, value: float) -> float:
        return min(max(value, self.low), self.high)

    def figure(self) -> Figure:
        self._board()
        self._lines()
        self._light()
        self._readings()
        self._average()
        self._nut()
        self._odd()
        self._signals()
        self._above()
        self._began_and_runs()
        self._figures_at_the_sides()
        return self._finished()

    # what was asked

    def _board(self) -> None:
        for part in self.view.asked:
            x0, x1 = iso(max(part.from_at, self.time.start)), iso(min(part.to_at, self.time.end))
            if x0 >= x1:
                continue
            if part.lower is not None or part.upper is not None:
                low = part.lower if part.lower is not None else self.low
                high = part.upper if part.upper is not None else self.high
                self.shapes.append(style.box(x0, low, x1, high, style.BOARD))
                for week in self.time.weeks():
                    if x0 <= iso(week) <= x1:
                        self.shapes.append(style.line(iso(week), low, iso(week), high, style.CARD, 2, layer="below"))
            for limit in (part.lower, part.upper):
                if limit is not None:
                    self.shapes.append(style.line(x0, limit, x1, limit, style.BOARDEDGE, 2, layer="below"))
            if part.target is not None:
                self.shapes.append(style.line(x0, part.target, x1, part.target, style.BOARDEDGE, 2.4, dash="2.4px,8px", layer="below"))

    # what was done

    def _lines(self) -> None:
        view, limits_x, limits_y, edge_x, edge_y = self.view, [], [], [], []
        if view.gap_low is not None and view.gap_high is not None:
            low, high = list(view.gap_low), list(view.gap_high)
            for a, b in _stretches([not (math.isnan(x) or math.isnan(y)) for x, y in zip(low, high, strict=True)], view.taken_at, view.anew):
                x = [iso(t) for t in view.taken_at[a:b]]
                self.traces.append(_filled(x + x[::-1], low[a:b] + high[a:b][::-1], style.CARD + "B8"))
                for side in (low, high):
                    self.traces.append(_lined(x, side[a:b], style.INK2, 1))
        breathe = self.time.shift(self.time.start, 3) - self.time.start
        for part in view.limits:
            start, end = max(part.from_at, self.time.start), min(part.to_at, self.time.end)
            if start >= end:
                continue
            if start > self.time.start:
                start = min(start + breathe, end)
            if end < self.time.end:
                end = max(end - breathe, start)
            edge_x += [iso(start), iso(end), None]
            edge_y += [part.centre, part.centre, None]
            for limit in (part.lower, part.upper):
                if limit is not None:
                    limits_x += [iso(start), iso(end), None]
                    limits_y += [limit, limit, None]
        if limits_x:
            self.traces.append({**_lined(limits_x, limits_y, style.INK, 1), "line": {"color": style.INK, "width": 1, "dash": "7px,4px"}})
        if edge_x:
            self.traces.append(_lined(edge_x, edge_y, style.INK2, 1.3))

    def _edge_at(self, when: datetime) -> float | None:
        for part in self.view.limits:
            if part.from_at <= when <= part.to_at:
                return part.centre
        return self.view.limits[-1].centre if self.view.limits else None

    def _stretch(self, start: datetime, end: datetime | None) -> tuple[int, int]:
        taken = self.view.taken_at
        first = next((i for i, t in enumerate(taken) if t >= start), len(taken))
        last = len(taken) if end is None else next((i for i, t in enumerate(taken) if t > end), len(taken))
        return first, last

    def _between(self, a: int, b: int, line: Sequence[float], direction: str) -> tuple[list[str], list[float]]:
        """The area between the edge and a line, on the side the signal went to."""
        x, y, foot = [], [], []
        for i in range(a, b):
            edge = self._edge_at(self.view.taken_at[i])
            if edge is None or math.isnan(line[i]):
                continue
            x.append(iso(self.view.taken_at[i]))
            y.append(self.within(max(line[i], edge) if direction == "up" else min(line[i], edge)))
            foot.append(edge)
        return x + x[::-1], y + foot[::-1]

    def _light(self) -> None:
        view = self.view
        for signal in view.signals:
            if view.average is not None:
                areas = [(*self._stretch(signal.light_from or signal.opened_at, signal.closed_at), view.average)]
            else:  # no average judges: light between the edge and each run that fired while the signal was open
                areas = [(*self._stretch(run.from_at, run.to_at), view.values) for run in view.runs if _meets(run, signal)]
                areas = areas or [(*self._stretch(signal.opened_at, signal.opened_at), view.values)]
            for a, b, line in areas:
                x, y = self._between(a, b, line, signal.direction)
                if len(x) < 4:
                    continue
                if signal.closed_at is None:
                    self.traces.append(_filled(x, y, style.LIGHT_FILL))
                else:
                    hatch = {"shape": "/", "fgcolor": style.INK3, "bgcolor": style.BOARD, "size": 6, "solidity": 0.22, "fillmode": "overlay"}
                    self.traces.append({**_filled(x, y, style.BOARD), "fillpattern": {**hatch, "bgcolor": style.CARD}})

    def _readings(self) -> None:
        view = self.view
        n = len(view.taken_at)
        x = [iso(t) for t in view.taken_at]
        y = [self.within(float(v)) for v in view.values]
        notes = list(view.notes) or [""] * n
        told = [
            [serial, numbers.with_unit(numbers.plain(float(value), view.decimals), view.unit), note]
            for serial, value, note in zip(view.serials, view.values, notes, strict=True)
        ]
        hover = "%{customdata[0]}<br>%{x|%a %-d %b, %H:%M}<br>%{customdata[1]}<br>%{customdata[2]}<extra></extra>"
        apart = set(view.outside) | {i for odd in view.odd for i in range(n) if view.taken_at[i] == odd.at and float(view.values[i]) == odd.value}

        def add(places: list[int], marker: Figure, name: str) -> None:
            if places:
                self.traces.append({
                    "type": "scatter", "mode": "markers", "name": name, "x": [x[i] for i in places], "y": [y[i] for i in places],
                    "customdata": [told[i] for i in places], "hovertemplate": hover, "marker": marker, "cliponaxis": False,
                })  # fmt: skip

        rest = [i for i in range(n) if i not in apart]
        if view.kinds:
            for name, (symbol, colour, edge) in zip(view.kind_names, KIND_MARKS, strict=False):
                marker = {"symbol": symbol, "size": 7, "color": colour, "line": {"width": 1, "color": edge}, "opacity": 0.9}
                add([i for i in rest if view.kinds[i] == name], marker, name)
            rest = [i for i in rest if view.kinds[i] not in set(view.kind_names[:4])]
        small = 3 if n > 900 or self.narrow else 4
        add(
            [i for i in rest if i < view.baseline],
            {"symbol": "circle-open", "size": small + 1, "color": style.INK3, "line": {"width": 1}},
            "baseline",
        )
        add([i for i in rest if i >= view.baseline], {"symbol": "circle", "size": small, "color": style.INK2, "opacity": 0.65}, "readings")
        marks = {"symbol": "x-thin", "size": 8, "color": style.INK, "line": {"width": 1.8, "color": style.INK}}
        add([i for i in view.outside if i not in {j for odd in view.odd for j in range(n) if view.taken_at[j] == odd.at}], marks, "outside")

    def _average(self) -> None:
        view = self.view
        if view.average is None:
            return
        for a, b in _stretches([not math.isnan(v) for v in view.average], view.taken_at, view.anew):
            x = [iso(t) for t in view.taken_at[a:b]]
            self.traces.append(_lined(x, [self.within(v) for v in view.average[a:b]], style.INK, 2.4))
        for signal in view.signals:
            if signal.closed_at is None:
                a, b = self._stretch(signal.light_from or signal.opened_at, None)
                self.traces.append(_lined([iso(t) for t in view.taken_at[a:b]], [self.within(v) for v in view.average[a:b]], style.MOVED, 3))
        last = next((i for i in range(len(view.average) - 1, -1, -1) if not math.isnan(view.average[i])), None)
        if last is not None:
            colour = style.MOVED if self.open else style.INK
            dot = {"size": 9, "color": colour}
            self.traces.append({
                "type": "scatter", "mode": "markers", "x": [iso(view.taken_at[last])], "y": [self.within(view.average[last])], "marker": dot,
                "hoverinfo": "skip",
            })  # fmt: skip

    @property
    def open(self) -> list[Signal]:
        return [signal for signal in self.view.signals if signal.closed_at is None]

    # marks and words

    def _board_ends(self) -> tuple[float, float]:
        """Top and bottom of the board in px from the top of the plot; the plot's where nothing was asked."""
        uppers = [a.upper for a in self.view.asked if a.upper is not None]
        lowers = [a.lower for a in self.view.asked if a.lower is not None]
        return (self.y_px(max(uppers)) if uppers else 6.0), (self.y_px(min(lowers)) if lowers else self.inner - 26.0)

    def _upright(self, when: datetime, top: float, bottom: float, colour: str, width: float, dash: str = "solid") -> None:
        """An upright from px to px, both from the top of the plot."""
        at = {"yref": "paper", "ysizemode": "pixel", "yanchor": 1}
        self.shapes.append(style.line(iso(when), -top, iso(when), -bottom, colour, width, dash=dash, **at))

    def _say(self, when: datetime, y: float, text: str, **more: Any) -> None:
        """Words at a moment, y px from the top of the plot."""
        self.texts.append(style.words(iso(when), 1, text, xref="x", yref="paper", yshift=-y, **more))

    def _nut(self) -> None:
        when = self.view.judged_from
        if when is None or not self.time.start < when <= self.time.end:
            return
        top, bottom = self._board_ends()
        self._upright(when, top - 4, bottom + 4, style.INK, 4)
        y, x = min(bottom + 18, self.inner - 8), self.time.px(when)
        sides = (
            ("first 100" if self.narrow else "first {} readings").replace("100", str(self.view.baseline)).format(self.view.baseline),
            "judged" if self.narrow else "judged from here",
        )
        if self.words.free(x - 8 - style.width_of(sides[0], 12), x - 6, y):
            self._say(when, y, sides[0], size=12, colour=style.INK3, at="right", xshift=-7, halo=style.CARD)
        if self.words.free(x + 6, x + 8 + style.width_of(sides[1], 12), y):
            self._say(when, y, sides[1], size=12, colour=style.INK3, xshift=7, halo=style.CARD)

    def _odd(self) -> None:
        for odd in self.view.odd:
            y, x = self.y_px(self.within(odd.value)), self.time.px(odd.at)
            self.traces.append({
                "type": "scatter", "mode": "markers", "x": [iso(odd.at)], "y": [self.within(odd.value)], "name": "odd", "cliponaxis": False,
                "marker": {"symbol": "diamond-open", "size": 12, "color": style.INK, "line": {"width": 1.8}}, "customdata": [[odd.words]],
                "hovertemplate": "%{customdata[0]}<extra></extra>",
            })  # fmt: skip
            size = 12 if self.narrow else 13
            wide = style.width_of(odd.words, size)
            if self.words.free(x - 12 - wide, x - 8, y):
                self._say(odd.at, y, odd.words, size=size, colour=style.INK, bold=True, at="right", xshift=-11, halo=style.CARD)
            elif self.words.free(x + 8, x + 12 + wide, y):
                self._say(odd.at, y, odd.words, size=size, colour=style.INK, bold=True, xshift=11, halo=style.CARD)
            else:
                self.below.append(odd.words)

    def _signals(self) -> None:
        view = self.view
        top, bottom = self._board_ends()
        for signal in self.open:
            i = self._stretch(signal.opened_at, None)[0]
            if i == len(view.taken_at):
                continue
            start = view.average[i] if view.average is not None and not math.isnan(view.average[i]) else float(view.values[i])
            y = top + 16 if signal.direction == "up" else bottom - 16  # near the board's edge it ran to
            self._upright(signal.opened_at, self.y_px(self.within(start)), y, style.MOVED, 1.4)
            wedge = "M0,0L16,0L16,12Z" if signal.direction == "up" else "M0,12L16,12L16,0Z"
            anchor = {
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
                self._say(signal.opened_at, y, signal.words, colour=style.MOVEDTEXT, bold=True, xshift=20, halo=ground)
            elif self.words.free(x - 6 - wide, x - 6, y):
                self._say(signal.opened_at, y, signal.words, colour=style.MOVEDTEXT, bold=True, at="right", xshift=-6, halo=ground)
            else:
                self.below.append(signal.words)

    def _above(self) -> None:
        """Changes, limits set anew and closed signals: a mark each, its words in the first rail with room."""
        top, bottom = self._board_ends()
        todo: list[tuple[datetime, str, str]] = [(c.at, c.words, "capo") for c in self.view.changes]
        todo += [(c.at, c.words, "anew") for c in self.view.anew]
        todo += [(s.closed_at, s.words, "closed") for s in self.view.signals if s.closed_at is not None]
        for when, text, kind in sorted(todo, key=lambda entry: entry[0], reverse=True):  # the newest has the first choice
            if not self.time.start <= when <= self.time.end:
                continue
            x, before = self.time.px(when), 22 if kind == "closed" else 0
            placed = self.words.above(x, style.width_of(text), before)
            rail = placed[0] if placed else 0
            y = -self.first_rail - RAIL * rail
            if kind == "capo":
                self._upright(when, y, bottom, style.INK, 1.2)
                anchor = {"xref": "x", "yref": "paper", "xsizemode": "pixel", "ysizemode": "pixel", "xanchor": iso(when), "yanchor": 1}
                self.shapes.append(style.path(_rounded_bar(-y), fill=style.INK, **anchor))
            elif kind == "anew":
                self._upright(when, y, bottom, style.INK, 1.2, "2px,3px")
                anchor = {"xref": "x", "yref": "paper", "xsizemode": "pixel", "ysizemode": "pixel", "xanchor": iso(when), "yanchor": 1}
                self.shapes.append(style.path(f"M-7,{-y - 2} L-2,{-y - 2} M2,{-y + 2} L7,{-y + 2}", edge=style.INK, width=2, **anchor))
            else:
                self._upright(when, y + 8 if placed else top + 8, top + 60, style.INK3, 1)
            if not placed:
                self.below.append(text)
                if kind == "closed":
                    self._hollow_wedge(when, -7, top)
                continue
            side = placed[1]
            shift = -12 if side == "right" else 12 + before
            bold = kind != "closed"
            self._say(when, y, text, colour=style.INK if bold else style.INK2, bold=bold, at=side, xshift=shift, bgcolor=style.CARD)
            if kind == "closed":
                self._hollow_wedge(when, placed[2] - x, y)

    def _hollow_wedge(self, when: datetime, x: float, y: float) -> None:
        anchor = {"xref": "x", "yref": "paper", "xsizemode": "pixel", "ysizemode": "pixel", "xanchor": iso(when), "yanchor": 1}
        self.shapes.append(style.path(f"M{x},{-y - 4} L{x + 14},{-y - 4} L{x + 14},{-y + 5} Z", edge=style.INK3, width=1.4, **anchor))

    def _began_and_runs(self) -> None:
        at = {"xref": "x", "yref": "paper", "ysizemode": "pixel", "yanchor": 0}
        began = self.view.began
        rails = [[], []]
        if began:
            y = -20
            self.shapes.append(style.line(iso(began.at), 0, iso(began.at), -13, style.INK, 1.2, **at))
            self.shapes.append(style.line(iso(began.low), y, iso(began.high), y, style.MOVED, 9, **at))
            for end in (began.low, began.high):
                self.shapes.append({
                    "type": "circle", "opacity": 1, "layer": "above", "xref": "x", "yref": "paper", "xsizemode": "pixel", "ysizemode": "pixel",
                    "xanchor": iso(end), "yanchor": 0, "x0": -4.5, "x1": 4.5, "y0": y - 4.5, "y1": y + 4.5, "fillcolor": style.MOVED,
                    "line": {"width": 0, "color": style.MOVED},
                })  # fmt: skip
            self.shapes.append(style.line(iso(began.at), y + 8, iso(began.at), y - 8, style.INK, 2.5, **at))
            x0, x1, wide = self.time.px(began.low), self.time.px(began.high), style.width_of(began.words)
            if x0 - 12 - wide >= self.time.left - 30:
                self._below_plot(began.low, y, began.words, at="right", xshift=-12)
            elif x1 + 12 + wide <= self.width:
                self._below_plot(began.high, y, began.words, xshift=12)
            else:
                self.below.append(began.words)
        for run in sorted(self.view.runs, key=lambda r: r.from_at, reverse=True):
            if run.to_at < self.time.start or run.from_at > self.time.end:
                continue
            x0, x1 = self.time.px(max(run.from_at, self.time.start)), self.time.px(run.to_at)
            wide = style.width_of(run.rule, 12)
            if style.first_free(rails[:1], x0 - wide - 8, max(x1, x0 + 5)) is None:
                if style.first_free(rails[1:], x0, max(x1, x0 + 5)) is None:
                    continue
                wide = 0
            y = -42
            ends = [iso(max(run.from_at, self.time.start)), iso(run.to_at)]
            self.shapes.append(style.line(ends[0], y - 3, ends[1], y - 3, style.INK3, 1.4, **at))
            for end in ends:
                self.shapes.append(style.line(end, y - 3, end, y + 3, style.INK3, 1.4, **at))
            if wide and x0 - wide - 6 >= 0:
                self._below_plot(max(run.from_at, self.time.start), y, run.rule, at="right", xshift=-6, size=12, colour=style.INK3, bold=False)

    def _below_plot(self, when: datetime, y: float, text: str, **more: Any) -> None:
        asked: Figure = {"colour": style.MOVEDTEXT, "bold": True, "halo": style.CARD, **more}
        self.texts.append(style.words(iso(when), 0, text, xref="x", yref="paper", yshift=y, **asked))

    def _figures_at_the_sides(self) -> None:
        view = self.view
        asked = view.asked[-1] if view.asked else None
        heading = {"yref": "paper", "xref": "paper", "yshift": 14}
        if asked:
            wanted = [x for x in (asked.upper, asked.target, asked.lower) if x is not None]
            for value, y in zip(wanted, style.push_apart([self.y_px(v) for v in wanted], 6, self.inner - 6), strict=True):
                said = numbers.plain(value, view.decimals)
                at = {"at": "right", "xref": "paper", "yref": "paper", "xshift": -7, "yshift": -y}
                self.texts.append(style.words(0, 1, said, size=14, colour=style.BOARDTEXT, **at))
        said = f"asked, {view.unit}".rstrip(", ") if asked else "no limits asked"
        self.texts.append(style.words(0, 1, said, size=12 if self.narrow else 13, colour=style.BOARDTEXT, xshift=8 - self.left, **heading))
        if not self.narrow:
            self.texts.append(style.words(1, 1, f"done, {view.unit}".rstrip(", "), colour=style.INK3, xshift=10, **heading))
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
                    style.words(1, 1, words, size=14, bold=True, at="right", xref="paper", yref="paper", yshift=-y, colour=now.colour,
                                halo=style.BOARD if view.asked else style.CARD)
                )  # fmt: skip
            return
        for label in labels:
            if abs(label.placed - label.wished) > 6:
                at = {"xref": "paper", "yref": "paper", "xsizemode": "pixel", "ysizemode": "pixel", "xanchor": 1, "yanchor": 1}
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

    def _finished(self) -> Figure:
        shapes, texts = self.time.drawn(self.axis_at, narrow=self.narrow)
        lines = [] if self.narrow or not self.view.asked else ["marks along the week: a vertical gap in the board is a Monday"]
        lines += _folded(self.below, (self.width - 24) / (style.CHARACTER * 12 / 13))
        for k, text in enumerate(lines):
            at = {"xref": "paper", "yref": "paper", "xshift": 2 - self.left if self.narrow else 0, "yshift": -self.axis_at - 40 - 18 * k}
            self.texts.append(style.words(0, 0, text, size=12, colour=style.INK3, **at))
        bottom = self.axis_at + 28 + 18 * len(lines) + (6 if lines else 0)
        top = self.first_rail + 12 + RAIL * max(self.words.used - 1, 0) if self.words.used else 26
        figure = style.layout(
            top + self.inner + bottom, (self.left, self.right, top, bottom), narrow=self.narrow,
            xaxis=style.axis(iso(self.time.start), iso(self.time.end), type="date"),  # type: ignore[arg-type]
            yaxis=style.axis(self.low, self.high), shapes=self.shapes + shapes, annotations=self.texts + texts,
        )  # fmt: skip
        return {"data": self.traces, "layout": figure}


def _rounded_bar(y: float) -> str:
    """The capo's bar: 7 by 14 px, round at both ends, its middle at y."""
    a, b = y + 3.5, y - 3.5
    return f"M-3.5,{a} L-3.5,{b} Q-3.5,{b - 3.5} 0,{b - 3.5} Q3.5,{b - 3.5} 3.5,{b} L3.5,{a} Q3.5,{a + 3.5} 0,{a + 3.5} Q-3.5,{a + 3.5} -3.5,{a} Z"


def _real(values: Sequence[float] | None) -> list[float]:
    return [] if values is None else [float(v) for v in values if not math.isnan(float(v))]


def _meets(run: Run, signal: Signal) -> bool:
    return run.to_at >= signal.opened_at and (signal.closed_at is None or run.from_at <= signal.closed_at)


def _stretches(there: Sequence[bool], taken_at: Sequence[datetime], anew: Sequence[Change]) -> list[tuple[int, int]]:
    """Stretches without a hole, cut where limits were set anew."""
    found, start = [], None
    for i, yes in enumerate(there):
        cut = start is not None and any(taken_at[i - 1] < change.at <= taken_at[i] for change in anew)
        if start is not None and (not yes or cut):
            found.append((start, i))
            start = None
        if yes and start is None:
            start = i
    return [*found, (start, len(there))] if start is not None else found


def _filled(x: list[str], y: list[float], colour: str) -> Figure:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "fill": "toself",
        "fillcolor": colour,
        "line": {"width": 0, "color": colour[:7]},
        "hoverinfo": "skip",
    }


def _lined(x: list[Any], y: list[Any], colour: str, width: float) -> Figure:
    return {"type": "scatter", "mode": "lines", "x": x, "y": y, "line": {"color": colour, "width": width}, "hoverinfo": "skip"}


def _folded(words: Sequence[str], characters: float) -> list[str]:
    """Left-over words joined into lines of so many characters."""
    lines: list[str] = []
    for text in words:
        if lines and len(lines[-1]) + len(text) + 2 <= characters:
            lines[-1] += "; " + text
        else:
            lines.append(text)
    return lines

"""The ground of a stream chart and what was done on it: board, gap, edge, limits, light, readings, average."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from dashboard import numbers
from dashboard.charts import style
from dashboard.charts.stream.labels import Words
from dashboard.charts.stream.view import Change, Run, Signal, StreamView
from dashboard.charts.timeline import Timeline, iso

Figure = dict[str, Any]

KIND_MARKS = (
    ("circle", style.FOCUS, style.FOCUS),
    ("diamond", style.INK, style.INK),
    ("triangle-up", style.SKY, style.INK),
    ("circle-open", style.INK, style.INK),
)


class Ground:
    """Geometry of one chart, what has been drawn so far, and everything under its marks."""

    def __init__(self, view: StreamView, narrow: bool, width: int | None = None, inner: int | None = None) -> None:
        self.view, self.narrow, self.paper = view, narrow, width is not None
        self.left, self.right = (40, 12) if narrow else (58, 176)
        self.width = width or (style.NARROW if narrow else style.WIDE)
        self.inner = inner or (300 if narrow else 330)
        times = list(view.taken_at) + ([view.began.low, view.began.high] if view.began else [])
        first, last = min(times), max(times)
        pad = max((last - first) * 0.012, timedelta(hours=6))
        if last - first < timedelta(days=5):
            pad = timedelta(days=3)
        plot = self.width - self.left - self.right
        self.time = Timeline(first - pad, last + pad, self.left, plot, named_from=first)
        self.low, self.high = self.range()
        self.shapes: list[Figure] = []
        self.texts: list[Figure] = []
        self.traces: list[Figure] = []
        self.below: list[str] = []  # words that found no room on the chart
        self.words = Words(self.left, self.left + plot, rails=3 if narrow else 2)
        self.first_rail = 33 if narrow else 14  # px above the plot; on a phone the heading stands under the rails
        self.axis_at = 58 if view.runs else 38 if view.began else 16  # px under the plot

    # geometry

    def range(self) -> tuple[float, float]:
        """Lowest and highest value shown."""
        view = self.view
        lines = [x for a in view.asked for x in (a.lower, a.upper, a.target) if x is not None]
        lines += [x for part in view.limits for x in (part.lower, part.centre, part.upper) if x is not None]
        lines += _real(view.average) + _real(view.gap_low) + _real(view.gap_high)
        values = _real(view.values)
        low, high = (min(lines), max(lines)) if lines else (min(values), max(values))
        room = (high - low) * 0.6 or max(
            abs(high), 1.0
        ) * 0.1  # a reading far away stands at the border and says its value
        low, high = min(low, max(min(values), low - room)), max(high, min(max(values), high + room))
        if high - low < 1e-9:
            low, high = low - 0.5, high + 0.5
        px = (high - low) / (self.inner - 52)
        return low - 34 * px, high + 18 * px

    def y_px(self, value: float) -> float:
        """Px from the top of the plot."""
        return self.inner * (self.high - value) / (self.high - self.low)

    def within(self, value: float) -> float:
        """A value, kept within what is shown."""
        return min(max(value, self.low), self.high)

    # what was asked

    def board(self) -> None:
        """What is asked, as the board the readings lie on."""
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
                self.shapes.append(
                    style.line(x0, part.target, x1, part.target, style.BOARDEDGE, 2.4, dash="2.4px,8px", layer="below")
                )

    # what was done

    def lines(self) -> None:
        """Centre and limits, era by era."""
        view, limits_x, limits_y, edge_x, edge_y = self.view, [], [], [], []
        if view.gap_low is not None and view.gap_high is not None:
            low, high = list(view.gap_low), list(view.gap_high)
            for a, b in _stretches(
                [not (math.isnan(x) or math.isnan(y)) for x, y in zip(low, high, strict=True)], view.taken_at, view.anew
            ):
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
            self.traces.append(
                {
                    **_lined(limits_x, limits_y, style.INK, 1),
                    "line": {"color": style.INK, "width": 1, "dash": "7px,4px"},
                }
            )
        if edge_x:
            self.traces.append(_lined(edge_x, edge_y, style.INK2, 1.3))

    def edge_at(self, when: datetime) -> float | None:
        """The centre in force at a moment; None where there is none."""
        for part in self.view.limits:
            if part.from_at <= when <= part.to_at:
                return part.centre
        return self.view.limits[-1].centre if self.view.limits else None

    def stretch(self, start: datetime, end: datetime | None) -> tuple[int, int]:
        """First and last place of the readings between two moments."""
        taken = self.view.taken_at
        first = next((i for i, t in enumerate(taken) if t >= start), len(taken))
        last = len(taken) if end is None else next((i for i, t in enumerate(taken) if t > end), len(taken))
        return first, last

    def between(self, a: int, b: int, line: Sequence[float], direction: str) -> tuple[list[str], list[float]]:
        """The area between the edge and a line, on the side the signal went to."""
        x, y, foot = [], [], []
        for i in range(a, b):
            edge = self.edge_at(self.view.taken_at[i])
            if edge is None or math.isnan(line[i]):
                continue
            x.append(iso(self.view.taken_at[i]))
            y.append(self.within(max(line[i], edge) if direction == "up" else min(line[i], edge)))
            foot.append(edge)
        return x + x[::-1], y + foot[::-1]

    def light(self) -> None:
        """The light between the centre and the average while a signal is open."""
        view = self.view
        for signal in view.signals:
            if view.average is not None:
                areas = [(*self.stretch(signal.light_from or signal.opened_at, signal.closed_at), view.average)]
            else:  # no average judges: light between the edge and each run that fired while the signal was open
                areas = [
                    (*self.stretch(run.from_at, run.to_at), view.values) for run in view.runs if _meets(run, signal)
                ]
                areas = areas or [(*self.stretch(signal.opened_at, signal.opened_at), view.values)]
            for a, b, line in areas:
                x, y = self.between(a, b, line, signal.direction)
                if len(x) < 4:
                    continue
                if signal.closed_at is None:
                    self.traces.append(_filled(x, y, style.LIGHT_FILL))
                else:
                    hatch = {
                        "shape": "/",
                        "fgcolor": style.INK3,
                        "bgcolor": style.BOARD,
                        "size": 6,
                        "solidity": 0.22,
                        "fillmode": "overlay",
                    }
                    self.traces.append({**_filled(x, y, style.BOARD), "fillpattern": {**hatch, "bgcolor": style.CARD}})

    def readings(self) -> None:
        """The readings as dots; outside ones, corrected ones and odd ones in their own marks."""
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
        odd = {(o.at, o.value) for o in view.odd}
        odd_places = {i for i in range(n) if (view.taken_at[i], float(view.values[i])) in odd}
        apart = set(view.outside) | odd_places

        def add(places: list[int], marker: Figure, name: str) -> None:
            if places:
                self.traces.append(
                    {
                        "type": "scatter",
                        "mode": "markers",
                        "name": name,
                        "x": [x[i] for i in places],
                        "y": [y[i] for i in places],
                        "customdata": [told[i] for i in places],
                        "hovertemplate": hover,
                        "marker": marker,
                        "cliponaxis": False,
                    }
                )

        rest = [i for i in range(n) if i not in apart]
        if view.kinds:
            for name, (symbol, colour, edge) in zip(view.kind_names, KIND_MARKS, strict=False):
                marker = {
                    "symbol": symbol,
                    "size": 7,
                    "color": colour,
                    "line": {"width": 1, "color": edge},
                    "opacity": 0.9,
                }
                add([i for i in rest if view.kinds[i] == name], marker, name)
            rest = [i for i in rest if view.kinds[i] not in set(view.kind_names[:4])]
        small = 3 if n > 900 or self.narrow else 4
        add(
            [i for i in rest if i < view.baseline],
            {"symbol": "circle-open", "size": small + 1, "color": style.INK3, "line": {"width": 1}},
            "baseline",
        )
        add(
            [i for i in rest if i >= view.baseline],
            {"symbol": "circle", "size": small, "color": style.INK2, "opacity": 0.65},
            "readings",
        )
        marks = {"symbol": "x-thin", "size": 8, "color": style.INK, "line": {"width": 1.8, "color": style.INK}}
        add([i for i in view.outside if i not in odd_places], marks, "outside")
        add(
            list(view.corrected),
            {"symbol": "circle-open", "size": 12, "color": style.INK, "line": {"width": 1.6}},
            "corrected",
        )

    def average(self) -> None:
        """The average and the gap it may run in."""
        view = self.view
        if view.average is None:
            return
        for a, b in _stretches([not math.isnan(v) for v in view.average], view.taken_at, view.anew):
            x = [iso(t) for t in view.taken_at[a:b]]
            self.traces.append(_lined(x, [self.within(v) for v in view.average[a:b]], style.INK, 2.4))
        for signal in view.signals:
            if signal.closed_at is None:
                a, b = self.stretch(signal.light_from or signal.opened_at, None)
                self.traces.append(
                    _lined(
                        [iso(t) for t in view.taken_at[a:b]],
                        [self.within(v) for v in view.average[a:b]],
                        style.MOVED,
                        3,
                    )
                )
        last = next((i for i in range(len(view.average) - 1, -1, -1) if not math.isnan(view.average[i])), None)
        if last is not None:
            colour = style.MOVED if self.open else style.INK
            dot = {"size": 9, "color": colour}
            self.traces.append(
                {
                    "type": "scatter",
                    "mode": "markers",
                    "x": [iso(view.taken_at[last])],
                    "y": [self.within(view.average[last])],
                    "marker": dot,
                    "hoverinfo": "skip",
                }
            )

    @property
    def open(self) -> list[Signal]:
        """Signals not closed at the end of the time shown."""
        return [signal for signal in self.view.signals if signal.closed_at is None]


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
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "line": {"color": colour, "width": width},
        "hoverinfo": "skip",
    }

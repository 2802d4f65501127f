"""A stream to move about in: its whole time at first, then any stretch of it that is dragged over.

The one chart that moves, so the one that a chart library draws in the browser; the figure is checked by it here.
"""

from __future__ import annotations

from typing import Any

from dashboard import numbers
from dashboard.charts.stream.view import StreamView
from dashboard.charts.style import DARK, FONT, LIGHT, Figure

HEIGHT = 420
CONFIG: Any = {  # double click: all of it again
    "displaylogo": False,
    "scrollZoom": False,
    "displayModeBar": True,
    "modeBarButtons": [["zoom2d", "pan2d", "zoomIn2d", "zoomOut2d", "resetScale2d"]],
}


def closer(view: StreamView, *, dark: bool = False) -> Figure:
    """Readings, running average, edge and what was asked of one stream, over all its time."""
    from plotly import graph_objects as go  # slow to load, and seldom asked for

    tone = DARK if dark else LIGHT
    notes = view.notes or [""] * len(view.serials)
    value = f"%{{y:.{view.decimals}f}}"
    said = [[serial, note.strip()] for serial, note in zip(view.serials, notes, strict=True)]
    traces: list[Any] = [
        go.Scatter(
            x=list(view.taken_at),
            y=list(view.values),
            customdata=said,
            mode="markers",
            name="reading",
            marker={"color": tone["ink3"], "size": 5},
            hovertemplate=f"%{{customdata[0]}}<br>{numbers.with_unit(value, view.unit)}, %{{x|%d %b %Y, %H:%M}}"
            "<br>%{customdata[1]}<extra></extra>",
        )
    ]
    if view.outside:
        traces.append(
            go.Scatter(
                x=[view.taken_at[k] for k in view.outside],
                y=[view.values[k] for k in view.outside],
                mode="markers",
                name="outside what was asked",
                marker={
                    "color": tone["ink"],
                    "size": 9,
                    "symbol": "x-thin",
                    "line": {"width": 2, "color": tone["ink"]},
                },
                hoverinfo="skip",
            )
        )
    if view.average is not None:
        traces.append(_line(view.taken_at, view.average, "running average", tone["moved"], 2))
    for limits in view.limits:
        traces.append(
            _line(
                [limits.from_at, limits.to_at], [limits.centre] * 2, "centre line: mean of the baseline", tone["ink"], 1
            )
        )
    layout = go.Layout(
        template=None,
        height=HEIGHT,
        paper_bgcolor=tone["card"],
        plot_bgcolor=tone["card"],
        font={"family": FONT, "size": 13, "color": tone["ink2"]},
        margin={"l": 56, "r": 16, "t": 34, "b": 40},
        showlegend=False,
        hovermode="closest",
        hoverlabel={"bgcolor": tone["card"], "bordercolor": tone["line"], "font": {"color": tone["ink"]}},
        dragmode="zoom",
        modebar={"bgcolor": tone["card"], "color": tone["ink3"], "activecolor": tone["ink"]},
        xaxis={"type": "date", "gridcolor": tone["line"], "linecolor": tone["line"]},
        yaxis={"title": {"text": view.unit}, "gridcolor": tone["line"], "zeroline": False},
        shapes=_asked(view, tone) + _dates(view, tone),
        annotations=[
            {
                "x": change.at,
                "y": 1,
                "yref": "paper",
                "yanchor": "bottom",
                "showarrow": False,
                "text": change.words.split(",")[0],
                "font": {"size": 12, "color": tone["ink3"]},
            }
            for change in view.changes
        ],
    )
    figure: Figure = go.Figure(traces, layout).to_plotly_json()
    return figure


def _line(x: Any, y: Any, name: str, colour: str, width: float) -> Any:
    from plotly import graph_objects as go

    return go.Scatter(
        x=list(x), y=list(y), mode="lines", name=name, line={"color": colour, "width": width}, hoverinfo="skip"
    )


def _asked(view: StreamView, tone: dict[str, str]) -> list[dict[str, Any]]:
    """The board between the limits of the work, and a line where there is but one."""
    shapes: list[dict[str, Any]] = []
    for one in view.asked:
        ends = {"x0": one.from_at, "x1": one.to_at, "layer": "below"}
        if one.lower is not None and one.upper is not None:
            shapes.append(
                {
                    "type": "rect",
                    "y0": one.lower,
                    "y1": one.upper,
                    "fillcolor": tone["board"],
                    "line": {"width": 0},
                    **ends,
                }
            )
        for at in (one.lower, one.upper):
            if at is not None:
                shapes.append(
                    {"type": "line", "y0": at, "y1": at, "line": {"color": tone["boardedge"], "width": 1}, **ends}
                )
    return shapes


def _dates(view: StreamView, tone: dict[str, str]) -> list[dict[str, Any]]:
    """A line down at each dated change."""
    line = {"color": tone["ink3"], "width": 1, "dash": "dot"}
    return [
        {"type": "line", "x0": change.at, "x1": change.at, "y0": 0, "y1": 1, "yref": "paper", "line": line}
        for change in view.changes
    ]

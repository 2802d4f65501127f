"""A stream looked at closer: a chart to drag over, made when somebody asks for it."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from analysis.methods.problems import UnusableData
from dashboard import kept, parts
from dashboard.charts.stream.closer import CONFIG, closer
from dashboard.desk import desk
from dashboard.pages.drift.on_chart import chart_view
from dashboard.pages.drift.seen import Seen, look

BUTTON, PLACE, STREAM, CHART = "drift-closer", "drift-closer-place", "drift-closer-stream", "drift-closer-chart"
SAYS = "Drag over a stretch of time to see it closer; double click for all of it. The readings stand as a table above."


def opener(seen: Seen) -> html.Div:
    """The button, and the place where the chart will stand."""
    return html.Div(
        [
            dcc.Store(id=STREAM, data=seen.key),
            html.Button(
                "Look closer, over any stretch of time",
                id=BUTTON,
                type="button",
                className="button no-print",
                n_clicks=0,
            ),
            html.Div(id=PLACE, className="no-print"),
        ]
    )


def connect(app: Dash) -> None:
    """The button's callback."""
    app.callback(
        Output(PLACE, "children"),
        Input(BUTTON, "n_clicks"),
        State(STREAM, "data"),
        State("scheme", "computedColorScheme"),
        prevent_initial_call=True,
    )(opened)


def opened(clicks: int | None, key: Any, scheme: str | None) -> Any:
    """The chart of the stream, over all the time on file."""
    if not clicks:
        return no_update
    if key is None or not kept.fits(STREAM, key):
        return parts.problem_state("This series cannot be found; open it again from the rack.")
    try:
        seen = look(key, key["tech"], None, desk.here().snapshot().as_of)
    except UnusableData as problem:
        return parts.problem_state(f"{problem}.")
    figure = closer(chart_view(seen, "", desk.here().snapshot().shop), dark=scheme == "dark")
    return [html.P(SAYS, className="small"), dcc.Graph(id=CHART, figure=figure, config=CONFIG)]

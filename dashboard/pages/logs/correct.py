"""One reading corrected where it is seen: what stands in the cell, the value to lay over it, who and why."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard import numbers, parts
from dashboard.address import address
from dashboard.desk import desk
from dashboard.sentences import shared as sentences

PATH, NAME = "/logs/correct", "Correct a reading"
VALUE, WHO, WHY, DO, BACK, SAID, CELL = (
    "logs-correct-value",
    "logs-correct-who",
    "logs-correct-why",
    "logs-correct-do",
    "logs-correct-back",
    "logs-correct-said",
    "logs-correct-cell",
)
PATIENCE = 120.0  # seconds that a correction waits for its log to be read


class Headings:
    """Under which heading each reading stands in its log; made once for a page of readings.

    columns : the snapshot's table of that name.
    """

    def __init__(self, columns: pl.DataFrame) -> None:
        self._of: dict[tuple[str, str], list[dict[str, Any]]] = {}
        for column in columns.filter(pl.col("field") == "reading").iter_rows(named=True):
            self._of.setdefault((column["log_id"], column["characteristic"]), []).append(column)

    def of(self, row: dict[str, Any]) -> str:
        """The heading of a reading (log_id, stage, characteristic, position, moment); '' where several columns may be
        meant.
        """
        mine = [
            column
            for column in self._of.get((row["log_id"], row["characteristic"]), ())
            if column["stage"] in ("", row["stage"]) and row["position"] in column["position"].split("/")
        ]
        same = [column for column in mine if column["moment"] == row.get("moment", "found")]
        found = {column["heading"] for column in same or mine}
        return str(found.pop()) if len(found) == 1 else ""


def way(row: dict[str, Any], headings: Headings) -> Any:
    """A link to the form for one reading (log_id, line, stage, characteristic, position, moment, serial)."""
    heading = headings.of(row)
    if not heading:
        return ""
    to = address(PATH, log=row["log_id"], line=row["line"], column=heading, serial=row["serial"])
    return dcc.Link("correct", href=to, className="small")


def layout(log: str = "", line: str = "", column: str = "", serial: str = "", **_address: str) -> Any:
    """The form for one cell, with what was decided about it before."""
    snapshot = desk.here().snapshot()
    names = dict(snapshot.table("logs", "log_id", "name").iter_rows())
    if log not in names or not line.isdigit() or not column:
        return parts.page(
            parts.page_head("No such cell.", "Its log was taken out, or the address is not whole."),
            parts.empty_state("Readings are corrected from the table they stand in.", "All logs", "/logs"),
        )
    number = int(line)
    held = snapshot.table("readings").filter((pl.col("log_id") == log) & (pl.col("line") == number))
    headings = snapshot.table("columns").filter((pl.col("log_id") == log) & (pl.col("heading") == column))
    own = headings.with_columns(pl.col("position").str.split("/")).explode("position")
    here = held.join(own.select("characteristic", "position").unique(), on=["characteristic", "position"], how="semi")
    raw = ", ".join(here["raw"].unique(maintain_order=True).to_list()) or "nothing that was read"
    before = snapshot.table("corrections").filter(
        (pl.col("log_id") == log) & (pl.col("line") == number) & (pl.col("column") == column)
    )
    told = [
        html.Li(
            f"{numbers.day(row['at'])}: "
            + ("taken back" if row["undone"] else f"is {row['value']!r}")
            + f", by {row['who']}: {row['why']}"
        )
        for row in before.iter_rows(named=True)
    ]
    stands = before.height > 0 and not before["undone"][-1]
    what = sentences.places(snapshot.shop, here.select("characteristic", "position").unique(maintain_order=True).rows())
    name = f"{what[0]} ({column})" if len(what) == 1 and what[0] != column else column
    now: list[Any] = [" It counts as ", html.Code(before["value"][-1]), " now."] if stands else []
    say = html.P([html.B(f"{names[log]}, line {line}: "), f"{name} was typed ", html.Code(raw), ".", *now])
    fields = [parts.text_field("It should say", VALUE), parts.who_field(WHO, "Who"), parts.text_field("Why", WHY)]
    buttons = [
        html.Button("Correct it", id=DO, className="button primary"),
        html.Button(
            "What was typed counts again", id=BACK, className="button", style={} if stands else {"display": "none"}
        ),
    ]
    story = [dcc.Link(f"The story of {serial}", href=address("/logs/instrument", serial=serial))] if serial else []
    note = "The original stays as it came; the value is marked wherever it shows, and can be taken back."
    return parts.page(
        parts.page_head(f"Correct a reading of {serial}." if serial else "Correct a reading.", note),
        parts.sheet(
            "This reading",
            "",
            [
                say,
                html.Ul(told, className="small"),
                html.Div(fields, className="ruled"),
                html.Div(buttons, className="acts"),
                html.P(id=SAID, role="status"),
                *story,
                dcc.Store(id=CELL, data=[log, number, column]),
            ],
        ),
    )


def connect(app: Dash) -> None:
    """Its one callback."""
    app.callback(
        Output(SAID, "children"),
        Input(DO, "n_clicks"),
        Input(BACK, "n_clicks"),
        State(CELL, "data"),
        State(VALUE, "value"),
        State(WHO, "value"),
        State(WHY, "value"),
        prevent_initial_call=True,
    )(correct)


def correct(
    do: int | None, back: int | None, cell: list[Any], value: str | None, who: str | None, why: str | None
) -> Any:
    """Lay the value over the cell, or take the correction back; what became of it."""
    from dash import ctx

    if not (do or back):
        return no_update
    if not (who or "").strip() or not (why or "").strip():
        return "A correction wants who makes it and why."
    undo = ctx.triggered_id == BACK
    if not undo and not (value or "").strip():
        return "Write the value as it should have been typed."
    log, line, column = str(cell[0]), int(cell[1]), str(cell[2])
    jobs = desk.here().jobs
    text = None if undo else str(value).strip()
    job = jobs.wait(jobs.correct(log, line, column, text, str(who).strip(), str(why).strip()), PATIENCE)
    if job.state != "done":
        return job.problem
    return "What was typed counts again." if undo else f"Corrected: {column} is {text} from now on, wherever it shows."

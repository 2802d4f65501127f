"""Columns of an unknown sheet, mapped in the open: what each is taken for, how sure, by what, changed from a list, with
the count of what would be read.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from dashboard import numbers, parts
from ingest.beginning.asking import LEAVE
from ingest.beginning.counted import Counted, together
from ingest.beginning.new import Proposal
from ingest.beginning.starting_values import MEASURES, STAGES
from ingest.beginning.survey import ColumnSeen, Survey

PICK = "logs-new-column"
KEEP = "keep as text"
NOT_YET = "not said yet"  # kept as text too, and said to be unread
APART = " \x1f "
Columns = dict[tuple[str, str, str], str]  # what is said of columns, by file, tab and heading
MOST_OPEN = 5  # likely columns that stand open
ORDER = {"": 0, "unsure": 0, "likely": 1, "sure": 2, "said": 2}
SHAPES = {"instrument": "an instrument", "measurement": "a measurement", "study": "a trial"}
FIELDS = {  # what a column may hold beside a measurement, in words
    "serial": "serial number",
    "model": "model",
    "stage": "stage or bench",
    "tech": "who did it",
    "date": "day",
    "started_at": "started",
    "finished_at": "finished",
    "minutes": "minutes",
    "outcome": "result",
    "fault": "what was wrong",
    "fault_at": "where it was wrong",
    "sent_back_to": "sent back to",
    "cause": "caused at",
    "supplier": "supplier",
    "lot": "lot",
    "neck": "neck number",
    "job": "job or order",
    "string_set": "string set",
    "gauge": "gauge",
    "rh": "humidity",
    "temperature": "temperature",
    "note": "note",
    "rows": "says which rows are meant",
}
OF_A_MEASUREMENT = {
    "what": "what was measured",
    "value": "value",
    "value found": "value, as found",
    "value left": "value, as left",
    "unit": "unit",
    "position": "where it was measured",
    "moment": "found or left",
}
SIDES = ("", "bass", "treble", *"123456")
PLACES = {"action": SIDES, "nut": SIDES, "neck_bow": SIDES[:3], "intonation": SIDES[3:], "tuning": SIDES[3:]}


def shown(seen: Survey) -> html.Section:
    """One kind of sheet, column by column: those to be looked at first, the sure ones folded into one line, and so are
    many that are likely.
    """
    right = (
        f"{numbers.count(seen.rows)} {'row' if seen.rows == 1 else 'rows'}, a row {SHAPES.get(seen.shape, 'a visit')}"
    )
    columns = sorted(seen.columns, key=lambda column: ORDER[column.guess.level if column.guess.field else ""])
    sure = [column for column in columns if _is_sure(column)]
    likely = [column for column in columns if column.guess.field and column.guess.level == "likely"]
    likely = likely if len(likely) > MOST_OPEN else []
    open_ = [_column(seen, column) for column in columns if column not in sure and column not in likely]
    told: list[Any] = [html.Div(open_, className="mapped")] if open_ else []
    told += [_folded(seen, likely, "likely", open=False)] if likely else []
    told += [_folded(seen, sure, "sure", open=not open_ and not likely)] if sure else []
    return parts.sheet(seen.title, right, [*told, *(html.P(note, className="small") for note in seen.notes)])


def _folded(seen: Survey, columns: Sequence[ColumnSeen], how: str, *, open: bool) -> html.Details:
    """Columns under one line that names them, and says of those that are likely what they are taken for."""
    names = ", ".join(column.heading + (f" ({_words(seen, column)})" if how == "likely" else "") for column in columns)
    many = f"{numbers.count(len(columns))} {'column is' if len(columns) == 1 else 'columns are'} {how}: {names}"
    inside = html.Div([_column(seen, column) for column in columns], className="mapped")
    return html.Details([html.Summary(many), inside], className="behind", open=open)


def _words(seen: Survey, column: ColumnSeen) -> str:
    """What a column is taken for, as the list has it in words."""
    return _labels(choices(seen, column))[value_of(column)]


def _labels(of: Sequence[dict[str, str]]) -> dict[str, str]:
    return {one["value"]: one["label"] for one in of}


def _is_sure(column: ColumnSeen) -> bool:
    return bool(column.guess.field) and column.guess.sure


def _column(seen: Survey, column: ColumnSeen) -> html.Div:
    """One column: heading and cells, what it is taken for as a list, how sure and why, how many cells."""
    guess = column.guess
    cells: list[Any] = [part for cell in column.samples[:4] for part in (html.Code(cell[:24]), " ")]
    word = {"said": "said", "sure": "sure", "likely": "likely", "unsure": "perhaps"}.get(guess.level, "")
    how = f"{word}, by {guess.why}" if guess.field and word else "not known: say what it is, or leave it"
    data = choices(seen, column)
    labels = _labels(data)
    target = guess.target(guess.stage)
    perhaps = f": {labels.get(target, target)}?" if guess.level == "unsure" else ""
    id = {"type": PICK, "key": key_of(seen, column.heading)}
    choose = parts.field("", id, value_of(column), data, **parts.aria(label=f"{column.heading} is"))
    return html.Div(
        [
            html.Div([html.B(column.heading), html.Div(cells, className="small")]),
            choose,
            html.Div(
                [
                    html.Span(f"{how}{perhaps} · "),
                    html.Span(f"{numbers.count(column.filled)} cells", className="figure"),
                ],
                className="small",
            ),
        ],
        className="mapped-column",
    )


def key_of(seen: Survey, heading: str) -> str:
    """The column of a sheet as one text."""
    return APART.join((seen.name, seen.tab, heading))


def value_of(column: ColumnSeen) -> str:
    """What a column is taken for, as the list has it."""
    guess = column.guess
    if guess.field == "ignore":
        return LEAVE
    if not guess.taken:
        return NOT_YET
    return KEEP if guess.field == "other" else guess.target(guess.stage)


def defaults(proposal: Proposal) -> dict[str, str]:
    """What every column is taken for before anybody changes it."""
    return {key_of(seen, column.heading): value_of(column) for seen in proposal.surveys for column in seen.columns}


def held(proposal: Proposal, answers: Mapping[str, str], columns: Columns) -> dict[str, dict[str, str]]:
    """What is shown, as the browser keeps it until the next change: answers, what each column is taken for, and what
    somebody has said of columns.
    """
    told = {ask.key: answers.get(ask.key, ask.default) for ask in proposal.asks}
    return {
        "answers": {key: answer for key, answer in told.items() if answer},
        "shown": defaults(proposal),
        "said": {APART.join(place): meaning for place, meaning in columns.items()},
    }


def said_before(kept: Mapping[str, Mapping[str, str]] | None) -> Columns:
    """What somebody had said of columns before this change."""
    out = {}
    for place, meaning in (kept["said"] if kept else {}).items():
        name, tab, heading = place.split(APART)
        out[name, tab, heading] = meaning
    return out


def picked(values: Mapping[str, str], before: Mapping[str, str]) -> dict[tuple[str, str, str], str]:
    """What somebody changed: (file, tab, heading) -> meaning as shop.toml writes it."""
    out = {}
    for key, value in values.items():
        if value and value not in (before.get(key), NOT_YET):
            name, tab, heading = key.split(APART)
            out[name, tab, heading] = {LEAVE: "ignore", KEEP: "other"}.get(value, value)
    return out


def choices(seen: Survey, column: ColumnSeen) -> list[dict[str, str]]:
    """Everything a column may be taken for."""
    stages = list(dict.fromkeys(other.guess.stage for other in seen.columns if other.guess.stage))
    names = {stage.key: stage.name for stage in STAGES}
    at = [("", "")] + [(f" @ {stage}", f", at {names.get(stage, stage).lower()}") for stage in stages]
    fields = FIELDS | (OF_A_MEASUREMENT if seen.shape == "measurement" else {})
    found = {value_of(column): value_of(column), KEEP: KEEP, LEAVE: LEAVE}
    for key, words in fields.items():
        for stage, told in (
            at if key in ("tech", "date", "started_at", "finished_at", "outcome", "fault", "note") else at[:1]
        ):
            found[f"{key}{stage}"] = f"{words}{told}"
    moments = (("", ""), (" found", ", as found"), (" left", ", as left"))
    for measured, words in measurements().items():
        for moment, as_ in moments:
            for stage, told in at:
                found[f"{measured}{moment}{stage}"] = f"{words}{as_}{told}"
    return [{"value": value, "label": label} for value, label in found.items()]


def measurements() -> dict[str, str]:
    """Every measurement of the trade with its places, as shop.toml writes it, and in words."""
    return {
        f"{item.key} {place}".strip(): item.name + (f", {'string ' if place.isdigit() else ''}{place}" if place else "")
        for item in MEASURES
        for place in PLACES.get(item.key, ("",))
    }


def counts(each: Sequence[Counted], proposal: Proposal) -> list[Any]:
    """What would be read as the columns are taken now, what it needs besides, and what stays unread."""
    lines: list[Any] = []
    for file in together(each):
        lines.append(html.P(file.told()) if not file.problem else parts.ask(file.told()))
        if file.aside:
            lines.append(html.Ul([html.Li(line) for line in file.why()], className="small"))
        if file.columns:
            told = ", ".join(f"{name} {numbers.count(n)}" for name, n in file.columns)
            lines.append(html.P(f"Readings: {told}.", className="small"))
    lines.append(html.P(needs(proposal), className="small"))
    lines += [parts.ask(line) for line in proposal.unread]
    lines += [html.P(line, className="small") for line in proposal.left]
    return lines


def needs(proposal: Proposal) -> str:
    """What the shop file gets besides the sheet itself."""
    table = tomllib.loads(proposal.shop_toml)
    limits = max(0, proposal.specs_csv.count("\n") - 1)
    told = [
        _some(table, "stage", "stages"),
        _some(table, "characteristic", "measurements"),
        _some(table, "model", "models"),
        _some(table, "fault", "faults"),
        f"{len(table.get('tech', []))} people" if table.get("tech") else "",
        f"{limits} starting {'limit' if limits == 1 else 'limits'}, not yours" if limits else "",
    ]
    return "With it: " + "; ".join(word for word in told if word) + "." if any(told) else "It needs nothing besides."


def _some(table: Mapping[str, Any], kind: str, word: str) -> str:
    names = [str(entry.get("name") or entry.get("key")) for entry in table.get(kind, [])]
    names = [] if kind == "model" and names == ["all models"] else names  # a sheet that names none
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return f"{word} {', '.join(names[:6])}{more}" if names else ""

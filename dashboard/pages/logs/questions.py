"""The questions on Logs: rows and cells set aside by reason, the answers one takes, and what is to be looked at
once.
"""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import dcc, html

from analysis.studies.story.waiting import waiting as waiting_questions
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from ingest.store import carried
from ingest.verbs import unlisted
from ingest.verbs.original_rows import cells_of, place_of

PATH = "/logs"
AGAIN, VALUE, WHO, WHY, SAID = "logs-again", "logs-value", "logs-who", "logs-why", "logs-said"
CELL = "logs-cell"  # of a row set aside whole
CORRECT, REAL, KEEP, TAKE = "logs-correct", "logs-real", "logs-keep", "logs-take"
SHOWN, TEN = 60, 10
VERDICTS = {REAL: "it is real", KEEP: "keep held", TAKE: "take new"}
REAL_WORDS, CONFLICT_WORDS = ("real",), ("conflict", "other values", "same visit")


def waiting() -> pl.DataFrame:
    """Questions nobody has answered yet, newest log first."""
    return desk.ask(waiting_questions)


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 60 else line[:57] + "..."


def _cell_field(log_id: str, name: str, line: int, column: str) -> html.Div:
    """Which cell of a row set aside whole is to be put right; hidden where the question is about one cell."""
    here = desk.here()
    cells = {} if column else cells_of(here.folder, here.snapshot().shop, log_id, name, line)
    shown = here.veil().line(log_id, list(cells.values()))
    options = [
        {"label": f"{heading}: {_short(text) or 'empty'}", "value": heading}
        for heading, text in zip(cells, shown, strict=True)
    ]
    choose = dcc.Dropdown(options, id=CELL, placeholder="Which cell of the row")
    shown_at = {"display": "none"} if column else {"minWidth": "16rem"}
    return html.Div(html.Label([html.Span("Cell"), choose], htmlFor=CELL), className="field", style=shown_at)


def answer_to(question: str, asked: pl.DataFrame) -> html.Section:
    """One question, in full, and the answers it takes."""
    log_id, line, column = parsed(question)
    found = asked.filter((pl.col("log_id") == log_id) & (pl.col("line") == line) & (pl.col("column") == column))
    if found.is_empty():
        return parts.sheet(
            "This question",
            "",
            parts.empty_state("It has been answered, or its log was taken out.", "All questions", PATH),
        )
    row = found.row(0, named=True)
    real = any(word in (row["reason"] + row["wanted"]) for word in REAL_WORDS)
    conflict = any(word in row["reason"] for word in CONFLICT_WORDS)
    buttons = [
        html.Button("Correct it", id=CORRECT, className="button primary"),
        html.Button("It is real", id=REAL, className="button", style={} if real else {"display": "none"}),
        html.Button("Keep what is held", id=KEEP, className="button", style={} if conflict else {"display": "none"}),
        html.Button("Take the new one", id=TAKE, className="button", style={} if conflict else {"display": "none"}),
    ]
    fields = [
        _cell_field(log_id, row["name"], line, column),
        parts.text_field("Value to lay over it", VALUE),
        parts.who_field(WHO, "Who"),
        parts.text_field("Why", WHY),
    ]
    say = html.P(
        [
            html.B(f"{place_of(desk.here().folder, log_id, row['name'], line)}: "),
            f"{row['column'] or 'the row'} is ",
            html.Code(row["raw"]),
            f"; wanted {row['wanted']}.",
        ]
    )
    note = (
        "A correction is laid over what was typed: the original stays as it came, and the value is marked wherever "
        "it shows."
    )
    return parts.sheet(
        "This question",
        row["reason"],
        [
            say,
            html.Div(fields, className="ruled"),
            html.Div(buttons, className="acts"),
            html.P(id=SAID, role="status"),
            html.P(note, className="small"),
        ],
    )


def parsed(question: str) -> tuple[str, int, str]:
    """A question's key as log, line and column."""
    log_id, _, rest = question.partition(":")
    line, _, column = rest.partition(":")
    return log_id, int(line) if line.isascii() and line.isdigit() else -1, column


def look_once() -> list[Any]:
    """Words no list knows and instruments with two values of one thing: nothing is set aside for the latter, each
    stands once.
    """
    words = desk.ask(unlisted.on_file)
    if desk.here().snapshot().shop.people.show != "names":  # a line with a name in it, or with no name, helps nobody
        words = words.filter(pl.col("field") != "tech")
    return [*_words(words), *_two_values(desk.ask(carried.on_file))]


def _words(found: pl.DataFrame) -> list[html.Details]:
    if found.is_empty():
        return []
    rows = [
        {
            "word": html.Code(_short(row["word"])),
            "as": row["field"],
            "rows": numbers.count(row["rows"]),
            "near": row["near"] or "none comes near",
            "paste": html.Div(
                [
                    html.Pre(row["paste"], className="paste"),
                    html.Span(unlisted.where(row["field"], row["near"]), className="small"),
                ]
            ),
        }
        for row in found.head(SHOWN).iter_rows(named=True)
    ]
    columns = [
        ("word", "As typed"),
        ("as", "Read as", "wide-only"),
        ("rows", "Rows", "n"),
        ("near", "Closest known", "wide-only"),
        ("paste", "For shop.toml"),
    ]
    note = (
        "Unlisted stages, models and outcomes set their rows aside; techs, faults and gauges are kept as typed. "
        "Paste, then ask again."
    )
    body = [parts.plain_table(rows, columns), *_more(found), html.P(note, className="small")]
    return [html.Details([html.Summary("Words nobody has listed, as lines for shop.toml"), *body], className="behind")]


def _two_values(found: pl.DataFrame) -> list[html.Section]:
    if found.is_empty():
        return []
    rows = [
        {
            "serial": dcc.Link(row["serial"], href=addresses.address("/logs/instrument", serial=row["serial"])),
            "field": row["field"].replace("_", " "),
            "one": f"{row['value']}: {row['name']}, line {row['line']}",
            "other": f"{row['other']}: {row['other_name']}, line {row['other_line']}",
        }
        for row in found.head(SHOWN).iter_rows(named=True)
    ]
    columns = [("serial", "Instrument"), ("field", "What"), ("one", "First in time"), ("other", "Also")]
    note = (
        "An instrument has one of these. The first in time order counts until you correct the other; no row is set "
        "aside for it."
    )
    return [
        parts.sheet(
            "Two values where an instrument has one",
            "which is right?",
            [parts.plain_table(rows, columns), *_more(found), html.P(note, className="small")],
        )
    ]


def _more(found: pl.DataFrame) -> list[html.P]:
    return [html.P(f"and {numbers.count(len(found) - SHOWN)} more", className="small")] if len(found) > SHOWN else []

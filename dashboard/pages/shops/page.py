"""What only several shops together can tell: layout, no arithmetic. Nobody is named: no study of it knows a person."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import Dash, html

from dashboard import numbers, parts
from dashboard.charts.shops import ShopsView, shops
from dashboard.desk import desk
from dashboard.desk.several import Found
from dashboard.exports.several import FIGURES
from dashboard.pages.shops.drawn import views
from dashboard.sentences.shops_together import Finding, findings, headline
from ingest.terms.problems import Problem

PATH, NAME = "/shops", "Shops"
SHOWN = 2  # findings of one list that stand open
UNDER = (
    "Figures as each shop published them; what is told is beyond chance among all that was asked, and of shops that "
    "are alike in everything one such page in fifty at most tells something. Whose hands they were is not asked."
)
LISTS = {  # list -> the name of its sheet
    "same_matter": "One matter in several shops",
    "same_model": "One model in several shops",
    "same_change": "One change, each shop on its day",
    "lots_standing_out": "Suppliers' lots wherever they went",
    "same_rework": "Rework at the same mix",
    "same_lots": "Shops on the same lots",
}


def layout(**_address: str) -> Any:
    """The page; where no place is known, how one is named."""
    together = desk.here().several
    if together is None:
        text = "No place is named where several shops are read together. Stop, and say: truerun serve --shops TARGET"
        return parts.page(parts.page_head("Several shops are not read here."), parts.empty_state(text))
    try:
        found = together.found(FIGURES)
    except Problem as problem:
        head = parts.page_head("Several shops cannot be read now.", "The other pages stand.")
        return parts.page(head, parts.problem_state(f"{problem}."))
    told = findings(found.told.shops, found.told.tables["meanings"], found.lists)
    drawn = {LISTS[name]: (name, *view) for name, view in views(found).items()}
    loud = [_sheet(one, drawn.get(one.name)) for one in told if one.act]
    quiet = [one for one in told if not one.act]
    return parts.page(
        parts.page_head(headline(told, len(found.told.shops)), f"{_who(found)} {UNDER}"),
        *(parts.row("66", *loud[place : place + 2]) for place in range(0, len(loud) - 1, 2)),
        *(loud[-1:] if len(loud) % 2 else ()),
        *([_quiet(quiet)] if quiet else []),
        _not_taken(found),
        html.Div(
            [parts.save_whole("shops"), html.A("The paper of this", href="/papers/shops", className="button")],
            className="no-print",
        ),
    )


def _who(found: Found) -> str:
    heads = found.told.shops
    newest = heads.sort("as_of").row(-1, named=True)
    many = numbers.count(len(heads))
    ours = f"; {found.ours}, which looks on, in blue" if found.ours in heads["shop"].to_list() else ""
    return f"{many} shops, the newest readings of {numbers.day(newest['as_of'])}{ours}."


def _sheet(one: Finding, drawn: tuple[str, str, ShopsView] | None) -> html.Section:
    body: list[Any] = [html.P(text, className="say") for text in one.say[:SHOWN]]
    if drawn is not None:
        name, right, view = drawn
        chart = parts.graph(parts.both(shops, view), f"{one.say[0] if one.say else one.head}", f"shops-{name}")
        body = [*body[:1], html.P(f"{right}.", className="small"), chart, *body[1:]]
    if more := one.say[SHOWN:]:
        many = f"{numbers.in_words(len(more), capital=True)} more"
        body.append(parts.behind([html.P(text) for text in more], many))
    return parts.sheet(
        one.name, "", [html.P(one.head, className="small"), *body, html.P([html.B("Do next: "), one.act])]
    )


def _quiet(quiet: list[Finding]) -> html.Section:
    lines = [html.P([html.B(f"{one.name}: "), one.head]) for one in quiet]
    more = [html.P(text) for one in quiet for text in one.say]
    return parts.sheet(
        "As usual", "asked, and nothing beyond chance", [*lines, *([parts.behind(more)] if more else [])]
    )


def _not_taken(found: Found) -> Any:
    if not found.told.said:
        return html.Div()
    return parts.fold(
        "Not taken as it is",
        f"{numbers.count(len(found.told.said))} lines: what was left out, late, or put into other words or units",
        [html.P(text) for text in found.told.said],
    )


def saved(**_asked: str) -> tuple[str, pl.DataFrame]:
    """One model in all shops, canonical units, unrounded; the other lists by `truerun shops TARGET --out`."""
    together = desk.here().several
    if together is None:
        return "shops.csv", pl.DataFrame(schema={"shop": pl.String})
    return "shops.csv", together.found(FIGURES).lists["same_model"]


def connect(app: Dash) -> None:
    """Nothing sets anything off here."""

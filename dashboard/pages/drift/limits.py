"""Limits on file of one stream: the baseline a person names, what makes it unsteady, the limits it gives; and what the
budget buys.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import polars as pl
from dash import Dash, Input, Output, State, ctx, dcc, html, no_update

from analysis.methods.problems import UnusableData
from analysis.studies.drift.limits import limits_proposal
from analysis.studies.drift.streams import WIDTH_DRAWN
from analysis.studies.matters import register
from dashboard import numbers, parts
from dashboard.address import address
from dashboard.desk import desk
from dashboard.pages import days
from dashboard.pages.drift.book import WRITTEN
from dashboard.pages.drift.seen import KEY, Seen
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

FROM, TO, SCOPE, LEFT_OUT = "drift-from", "drift-to", "drift-scope", "drift-left-out"
WHO, WHY, TRY, FILE, OFF = "drift-limits-who", "drift-limits-why", "drift-try", "drift-file", "drift-off"
FORM = {"first": FROM, "last": TO, "scope": SCOPE, "left_out": LEFT_OUT, "who": WHO, "why": WHY}
FOUND, ABOUT, TRIED = "drift-proposal", "drift-limits-about", "drift-tried"
STREAM, MATTER, MODEL, SHOP = "stream", "matter", "model", "shop"
SHOWN = 12


def sheet(seen: Seen, shop: Shop) -> html.Section:
    """The form, and below it every limit ever put on file for this stream."""
    matter = desk.ask(register.of_stream, **seen.key)
    streams = matter.matter.streams if matter is not None and matter.matter is not None and matter.waits else 0
    whole = [(MATTER, "All series of this matter")] if streams > 1 else []
    scopes = [*whole, (STREAM, "This series"), (MODEL, f"All series of {seen.row['model']}"), (SHOP, "The whole shop")]
    form = html.Div(
        [
            html.P(
                "Name the days whose readings shall be the baseline. The limits judge from the day after it, and are "
                "drawn at the dates they hold.",
                className="small",
            ),
            html.Div(
                [
                    days.field("Baseline from", FROM),
                    days.field("to", TO),
                    parts.field(
                        "For", SCOPE, scopes[0][0], [{"value": value, "label": label} for value, label in scopes]
                    ),
                ],
                className="pair three",
            ),
            html.Div(
                [
                    parts.text_field("Serials left out (comma between)", LEFT_OUT),
                    parts.who_field(WHO, "Who"),
                    parts.text_field("Why", WHY),
                ],
                className="pair three",
            ),
            html.Div(
                [
                    html.Button("Show what they would be", id=TRY, className="button"),
                    html.Button("Put on file", id=FILE, className="button primary"),
                    html.Button(
                        "Take off file", id=OFF, className="button", style={} if _on_file(seen) else {"display": "none"}
                    ),
                ],
                className="acts",
            ),
            html.Div(id=FOUND, role="status"),
            dcc.Store(id=ABOUT, data=seen.key),
            dcc.Store(id=TRIED),
        ],
        className="no-print book-form",
    )
    return parts.sheet(
        "Limits on file",
        "from a baseline somebody names; until then from the first readings",
        [form, _history(seen, shop)],
    )


def _filed(seen: Seen) -> pl.DataFrame:
    held = desk.here().snapshot().table("limits_on_file")
    return held.filter(*[pl.col(name) == value for name, value in seen.key.items()]).sort("sequence", descending=True)


def _on_file(seen: Seen) -> bool:
    filed = _filed(seen)
    return len(filed) > 0 and filed["n"][0] > 0


def _history(seen: Seen, shop: Shop) -> Any:
    filed = _filed(seen)
    if filed.is_empty():
        least = numbers.count(shop.judging.baseline_readings)
        return html.P(f"None yet: this series is judged by its first {least} readings.", className="small")
    rows = [
        {
            "edge": sentences.amount(shop, line["characteristic"], line["centre"]) if line["n"] else "off file",
            "baseline": numbers.days(line["baseline_from"], line["baseline_to"], seen.now) if line["n"] else "",
            "n": numbers.count(line["n"]) if line["n"] else "",
            "holds": numbers.day(sentences.local(shop, line["holds_from"]), seen.now),
            "who": f"{line['who']}, {numbers.day(sentences.local(shop, line['at']), seen.now)}",
            "why": line["why"],
        }
        for line in filed.iter_rows(named=True)
    ]
    dated = (("baseline", "Baseline"), ("n", "Readings", "n wide-only"), ("holds", "Holds from"))
    columns = [("edge", "Centre line"), *dated, ("who", "Written by"), ("why", "Why")]
    return parts.plain_table(rows, columns, caption="Limits put on file for this series, newest first")


def connect(app: Dash) -> None:
    """The page's callbacks."""
    app.callback(
        [Output(FOUND, "children"), Output(TRIED, "data"), Output(WRITTEN, "data", allow_duplicate=True)],
        inputs={"presses": [Input(button, "n_clicks") for button in (TRY, FILE, OFF)]},
        state={
            "form": {name: State(field, "value") for name, field in FORM.items()},
            "about": State(ABOUT, "data"),
            "tried": State(TRIED, "data"),
            "written": State(WRITTEN, "data"),
        },
        prevent_initial_call=True,
    )(pressed)


def pressed(
    presses: Sequence[int | None],
    form: dict[str, str | None],
    about: dict[str, str],
    tried: list[Any] | None,
    written: int | None,
) -> tuple[Any, Any, Any]:
    """One of the three buttons of the form, with what its fields hold."""
    if not any(presses):
        return no_update, no_update, no_update
    if ctx.triggered_id == OFF:
        said = take_off(about, form["who"], form["why"])
        return (said, no_update, no_update) if said else ("Taken off file.", None, (written or 0) + 1)
    told, now, done = put(about, **form, tried=tried, file_it=ctx.triggered_id == FILE)
    return told, now, (written or 0) + 1 if done else no_update


def put(
    about: dict[str, str],
    first: str | None,
    last: str | None,
    *,
    scope: str | None,
    left_out: str | None,
    who: str | None,
    why: str | None,
    tried: list[Any] | None,
    file_it: bool,
) -> tuple[Any, Any, bool]:
    """(what is shown, what was tried, whether it stands on file). Limits nobody has looked at are shown first and filed
    at the second press.
    """
    try:
        begin, end = days.read(first), days.read(last)
    except ValueError as fault:
        return str(fault), None, False
    if begin is None or end is None:
        return "Name the first and the last day of the baseline.", None, False
    if end < begin:
        return "The baseline ends before it begins.", None, False
    scope = scope or STREAM
    without = sorted({serial.strip() for serial in (left_out or "").split(",") if serial.strip()})
    name, reason = (who or "").strip(), (why or "").strip()
    if without and file_it and not reason:
        return "Serials are left out: say why.", None, False
    try:
        rows, unsteady = proposal(about, begin, end, scope, tuple(without))
    except UnusableData as problem:
        return str(problem), None, False
    if rows.is_empty():
        least = desk.here().snapshot().shop.judging.least_readings
        return (
            f"Too few readings in that baseline: wanted at least {least} that are not all the same. Name more days.",
            None,
            False,
        )
    now = [begin.isoformat(), end.isoformat(), scope, *without]
    shown = told(rows, unsteady, about)
    if not file_it:
        return shown, now, False
    if not name or not reason:
        return [html.P("Say who puts them on file, and why."), *shown], now, False
    if now != tried:
        return [html.P("Look at them first; press once more to put them on file."), *shown], now, False
    desk.here().write_limits(rows, who=name, why=reason)
    return "Put on file.", None, True


def proposal(
    about: dict[str, str], first: date, last: date, scope: str, left_out: tuple[str, ...]
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Limits and what speaks against them, for the stream, its model or the shop."""
    narrowed: dict[str, str] = {
        STREAM: {"model": about["model"], "characteristic": about["characteristic"]},
        MODEL: {"model": about["model"]},
        MATTER: {},
        SHOP: {},
    }[scope]
    both = desk.ask(limits_proposal, from_date=first, to_date=last, left_out=left_out, as_of=None, **narrowed)
    if scope == MATTER:
        key: dict[str, Any] = {name: str(about[name]) for name in KEY}
        one = desk.ask(register.of_stream, **key)
        rows = desk.ask(register.members, key=one.key) if one is not None else []
        held = [{name: str(row[name]) for name in KEY} for row in rows]
        mine = pl.DataFrame(held, schema=dict.fromkeys(KEY, pl.String)).unique()
        limits, unsteady = (each.join(mine, on=list(KEY), how="semi") for each in both)
        return limits, unsteady
    if scope == STREAM:
        same = [pl.col(name) == about[name] for name in KEY]
        return both[0].filter(*same), both[1].filter(*same)
    return both


def told(rows: pl.DataFrame, unsteady: pl.DataFrame, about: dict[str, str]) -> list[Any]:
    """The points that make the baseline unsteady first, then the limits."""
    shop = desk.here().snapshot().shop
    shown: list[Any] = [html.P([parts.picture("question"), " ", html.B(sentences_drift.unsteady(len(rows), unsteady))])]
    if len(unsteady):
        lines = [
            {
                "serial": dcc.Link(
                    row["serial"], href=address("/logs/instrument", serial=row["serial"]), className="serial"
                ),
                "stream": sentences_drift.stream_name(shop, row),
                "value": sentences.amount(shop, row["characteristic"], row["value"]),
                "why": row["why"],
                "day": numbers.day(sentences.local(shop, row["taken_at"])),
            }
            for row in unsteady.head(SHOWN).iter_rows(named=True)
        ]
        columns = [
            ("serial", "Serial"),
            ("stream", "Stream", "wide-only"),
            ("value", "Reading", "n"),
            ("why", "Why"),
            ("day", "Taken", "n"),
        ]
        shown.append(parts.plain_table(lines, columns))
    else:
        shown[0] = html.P(sentences_drift.unsteady(len(rows), unsteady))
    mine = rows.filter(*[pl.col(name) == about[name] for name in KEY])
    width = shop.judging.width or WIDTH_DRAWN
    if len(mine):
        shown.append(html.P(sentences_drift.proposed(mine.row(0, named=True), width, shop)))
    if len(rows) > 1:
        shown.append(
            html.P(
                f"{numbers.count(len(rows))} series have readings enough for limits from these days.", className="small"
            )
        )
    return shown


def take_off(about: dict[str, str], who: str | None, why: str | None) -> str:
    """The stream's first readings count again; '' once that stands in the book."""
    if not (who or "").strip() or not (why or "").strip():
        return "Say who takes them off file, and why."
    snapshot = desk.here().snapshot()
    row = pl.DataFrame([{name: about[name] for name in KEY}]).with_columns(
        holds_from=pl.lit(snapshot.as_of), n=pl.lit(0, dtype=pl.Int64)
    )
    desk.here().write_limits(row, who=str(who).strip(), why=str(why).strip())
    return ""

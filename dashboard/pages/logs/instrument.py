"""One instrument's whole story: visits, readings and faults in time order, each with its file and line."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import Dash, html

from analysis.studies.room.play_test import of_serial
from analysis.studies.story.lookup import Life, instrument
from analysis.studies.story.seen_again import untold
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages.held import held
from dashboard.pages.logs import confirm, correct, walk
from dashboard.pages.logs.readings import limits, value_of
from dashboard.sentences import cautions
from dashboard.sentences import play_test as words
from dashboard.sentences import shared as sentences
from dashboard.sentences import walk as walked
from ingest.shopfiles.shop import Shop

PATH, NAME = "/logs/instrument", "Instrument"
OPEN = 24  # readings that stand open; more are folded to a line
MINUTES = {"typed": "typed", "clock": "by the clock", "planned": "planned"}


def layout(serial: str = "", **_address: str) -> Any:
    """The page as its address asks for it."""
    shop = desk.here().snapshot().shop
    found = desk.ask(instrument, serial=serial) if serial else None
    if found is None:
        say = f"No log names an instrument {serial}." if serial else "No instrument was asked for."
        return parts.page(
            parts.page_head(say, "A serial is looked up as it stands in the logs."),
            parts.empty_state("Look for it on its log.", "Open Logs", "/logs"),
        )
    row = found.instrument
    many = "send-back" if len(found.loops) == 1 else "send-backs"
    about = ", ".join(str(row[name]) for name in ("model", "supplier", "lot") if row[name])
    visits = f"{numbers.count(len(found.visits))} visits, {numbers.count(len(found.loops))} {many}"
    return parts.page(
        parts.page_head(
            walked.headline(found, shop, untold=row["standing"] == "lost" and serial in desk.ask(untold)),
            f"{about}. {visits}.",
        ),
        held(walk.NAME, walk.sheet, found, shop),
        held("Play test", _played, serial, shop),
        confirm.form(shop) if len(found.loops) else None,
        _visits(found, shop),
        _readings(found, shop),
    )


def _played(serial: str, shop: Shop) -> html.Section | None:
    """What its first play test says, all strings together; nothing where it says nothing."""
    said = desk.ask(of_serial, serial=serial)
    if not said:
        return None
    return parts.sheet(
        "What the play test says",
        "all strings together",
        [
            *[html.P(words.line(shop, one)) for one in said],
            html.P(cautions.beside(shop, [one.stage for one in said]), className="caution"),
        ],
    )


def _visits(found: Life, shop: Shop) -> html.Section:
    people = shop.people.show != "none"
    faults = {key: part for (key,), part in found.faults.group_by("visit", maintain_order=True)}
    readings = {
        key: part
        for (key,), part in found.readings.filter(pl.col("value").is_not_null()).group_by("visit", maintain_order=True)
    }
    rows = []
    for row in found.visits.iter_rows(named=True):
        told = (
            [
                f"{f['fault']}{' at ' + f['fault_at'] if f['fault_at'] else ''}"
                for f in faults[row["visit"]].iter_rows(named=True)
            ]
            if row["visit"] in faults
            else []
        )
        known = row["time_known"]
        when = numbers.clock(sentences.local(shop, row["taken_at"])) if known else numbers.weekday(row["day"])
        stage = shop.stage_name(row["stage"])
        stage += f", pass {row['pass_no']}" if row["pass_no"] > 1 else ""
        stage += f", round {row['round']}" if row["round"] > 1 else ""
        rows.append(
            {
                "when": when,
                "stage": [html.Span(stage), parts.on_a_phone(when)],
                "tech": row["tech"],
                "outcome": [*_outcome(row, shop), *([parts.on_a_phone("; ".join(told))] if told else [])],
                "fault": "; ".join(told),
                "read": _read(readings[row["visit"]], shop) if row["visit"] in readings else "",
                "minutes": f"{numbers.minutes(row['minutes'])} {MINUTES.get(row['minutes_from'], '')}",
                "loop": "came back" if row["loop"] is not None else "",
                "note": row["note"],
                "where": f"{row['file']}, line {row['line']}",
            }
        )
    columns = [
        ("when", "When", "nowrap wide-only"),
        ("stage", "Stage"),
        *([("tech", "Worked by", "wide-only")] if people else []),
        ("outcome", "Outcome"),
        ("fault", "Fault", "wide-only"),
        ("read", "Readings", "wide-only"),
        ("minutes", "Minutes", "n nowrap wide-only"),
        ("loop", "", "wide-only"),
        ("note", "Note", "wide-only"),
        ("where", "File and line", "wide-only"),
    ]
    return parts.sheet("Visits", "in time order", parts.plain_table(rows, columns))


def _read(rows: pl.DataFrame, shop: Shop) -> str:
    """The readings of one visit in a line: how many, and those outside; each stands below."""
    beyond = rows.filter(pl.col("outside"))
    names = [
        sentences.characteristic(shop, *pair).lower()
        for pair in beyond.select("characteristic", "position").iter_rows()
    ]
    outside = [
        f"{name} {sentences.amount(shop, *pair)}"
        for name, pair in zip(names, beyond.select("characteristic", "value").iter_rows(), strict=True)
    ]
    return (
        numbers.count(len(rows))
        + (f", outside: {', '.join(outside[:3])}" if outside else "")
        + (", ..." if len(outside) > 3 else "")
    )


def _outcome(row: dict[str, Any], shop: Shop) -> list[Any]:
    if row["outcome"] == "send back":
        to = shop.stage_name(row["sent_to"]).lower() if row["sent_to"] else "a stage not named"
        sure = "" if row["confirmed"] else ", not confirmed"
        caught = {"serial": row["serial"], "caught_at": row["stage"], "opened_at": row["taken_at"]}
        one = {**caught, "caused_at": row["caused_at"], "confirmed": row["confirmed"]}
        return [parts.mark("came-back", f"sent back to {to}{sure}"), *confirm.buttons(one, shop)]
    if row["outcome_typed"] == "open" and row["outcome"] == "pass":
        return ["open, taken as passed: a later stage follows"]
    return [row["outcome"]]


def _readings(found: Life, shop: Shop) -> html.Section | html.Details:
    stages = dict(found.visits.select("visit", "stage").iter_rows())
    headings = correct.Headings(desk.here().snapshot().table("columns"))
    rows = []
    for row in found.readings.filter(pl.col("value").is_not_null() | (pl.col("raw") != "")).iter_rows(named=True):
        rows.append(
            {
                "stage": shop.stage_name(stages.get(row["visit"], row["stage"])),
                "what": sentences.characteristic(shop, row["characteristic"], row["position"]),
                "moment": "after touch-up" if row["moment"] == "left" else "as found",
                "value": value_of(shop, row) if row["value"] is not None else "no number",
                "raw": row["raw"],
                "limits": limits(shop, row),
                "mark": [
                    parts.mark("outside") if row["outside"] else "",
                    html.Span(sentences.flag_words(row["flag"]), className="small"),
                ],
                "gauge": row["gauge"],
                "where": [f"{row['file']}, line {row['line']} ", correct.way(row, headings)],
            }
        )
    columns = [
        ("stage", "Stage"),
        ("what", "Reading"),
        ("moment", "Moment", "wide-only"),
        ("value", "Value", "n"),
        ("raw", "As typed", "wide-only"),
        ("limits", "Limits", "n wide-only"),
        ("mark", ""),
        ("gauge", "Gauge", "wide-only"),
        ("where", "File and line", "wide-only"),
    ]
    if not rows:
        return parts.sheet("Readings", "by visit", html.P("No reading is on file for it.", className="small"))
    finding = f"{numbers.count(len(rows))} by visit, as typed, each with its file and line"
    return parts.fold("Readings", finding, parts.plain_table(rows, columns), open=len(rows) <= OPEN)


def connect(app: Dash) -> None:
    """Links only."""

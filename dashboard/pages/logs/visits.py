"""The send-backs behind a number, each with its instrument, file and line."""

from __future__ import annotations

from typing import Any

from dash import Dash, dcc

from analysis.studies.story.lookup import send_backs
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages.logs import confirm
from dashboard.pages.logs.readings import day
from dashboard.sentences import rework as sentences_rework
from dashboard.tables import leaf

PATH, NAME = "/logs/visits", "Send-backs"
SHOWN = 32  # on a page


def layout(
    caused_at: str = "",
    caught_at: str = "",
    fault: str = "",
    model: str = "",
    to: str = "",
    confirmed: str = "",
    **more: str,
) -> Any:
    """The page as its address asks for it."""
    shop = desk.here().snapshot().shop
    sure = {"1": True, "0": False}.get(confirmed)
    judged = (day(more.get("judged_from")), day(more.get("judged_to")))
    found = desk.ask(
        send_backs,
        caused_at=caused_at,
        caught_at=caught_at,
        fault=fault,
        model=model,
        first=day(more.get("from")),
        last=day(to),
        confirmed=sure,
        judged=(judged[0], judged[1]) if all(judged) else None,
    )
    about = [
        part
        for part in (
            f"caused at {sentences_rework.place(shop, caused_at)}" if caused_at else "",
            f"caught at {sentences_rework.place(shop, caught_at)}" if caught_at else "",
            fault,
            f"on {model}" if model else "",
            f"judged {numbers.days(judged[0], judged[1])}" if judged[0] and judged[1] else "",
            "cause not confirmed" if sure is False else "cause confirmed" if sure else "",
        )
        if part
    ]
    many = "send-back" if len(found) == 1 else "send-backs"
    head = parts.page_head(
        f"{numbers.count(len(found))} {many}{', ' if about else ''}{', '.join(about)}.",
        "The newest first; minutes are the work done again.",
    )
    if found.is_empty():
        return parts.page(head, parts.empty_state("No send-back fits what was asked.", "Open Rework", "/rework"))
    asked: dict[str, str | None] = {
        "caused_at": caused_at,
        "caught_at": caught_at,
        "fault": fault,
        "model": model,
        "to": to,
    }
    asked |= {"confirmed": confirmed, **{name: more.get(name) for name in ("judged_from", "judged_to", "from", "page")}}
    at, leaves = leaf(len(found), SHOWN, "visits", PATH, asked)
    rows = []
    for row in found.slice(at, SHOWN).iter_rows(named=True):
        link = dcc.Link(
            row["serial"], href=addresses.address("/logs/instrument", serial=row["serial"]), className="serial"
        )
        rows.append(
            {
                "serial": [
                    link,
                    parts.on_a_phone(f"{numbers.day(row['opened_day'])}, {shop.stage_name(row['caught_at']).lower()}"),
                ],
                "model": row["model"],
                "when": numbers.day(row["opened_day"]),
                "caught": shop.stage_name(row["caught_at"]),
                "caused": sentences_rework.place(shop, row["caused_at"]),
                "sure": [
                    parts.on_a_phone(sentences_rework.place(shop, row["caused_at"]), ": "),
                    "confirmed" if row["confirmed"] else "sent to, not confirmed",
                    *confirm.buttons(row, shop),
                ],
                "fault": [row["fault"] or "no fault named", parts.on_a_phone(numbers.minutes(row["minutes"]))],
                "minutes": numbers.minutes(row["minutes"]),
                "hours": numbers.plain(row["hours"] / 24, 1) + (" so far" if row["open"] else ""),
                "where": f"{row['file']}, line {row['line']}",
            }
        )
    columns = [
        ("serial", "Instrument"),
        ("model", "Model", "wide-only"),
        ("when", "Caught on", "wide-only"),
        ("caught", "Caught at", "wide-only"),
        ("caused", "Caused at", "wide-only"),
        ("sure", "Cause"),
        ("fault", "First fault"),
        ("minutes", "Minutes", "n wide-only"),
        ("hours", "Days away", "n wide-only"),
        ("where", "File and line", "wide-only"),
    ]
    return parts.page(
        head,
        confirm.form(shop),
        parts.sheet("Send-backs", "each opens its instrument", [parts.plain_table(rows, columns), *leaves]),
    )


def connect(app: Dash) -> None:
    """The page's callbacks, which serve an instrument's story too."""
    confirm.connect(app)

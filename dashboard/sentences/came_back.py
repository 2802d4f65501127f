"""What came back in a week: as a finding, and way by way on the paper, each with what the weeks before had of it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import polars as pl

from analysis.review import Review
from dashboard import numbers
from dashboard.address import address
from dashboard.sentences import shared
from dashboard.sentences.rework import money
from dashboard.sentences.shared import Sentence
from dashboard.sentences.unread import outcomes_missing
from ingest.shopfiles.shop import Shop

UNCONFIRMED = "Sent there, and nobody has confirmed the cause. "


def came_back(found: Review, shop: Shop) -> Sentence | None:
    """The largest share of what came back in the week."""
    if found.flows.is_empty():
        return None
    if found.flows["minutes"].sum() <= 0:
        return _came_back_uncosted(found, shop)
    row = found.flows.row(0, named=True)
    count, minutes, sure = int(row["count"]), float(row["minutes"]), float(row["minutes_confirmed"])
    before = found.flows_before.filter(
        (found.flows_before["caused_at"] == row["caused_at"]) & (found.flows_before["caught_at"] == row["caught_at"])
    )
    n = weeks_before(found)
    usual = float(before["minutes"].sum()) / max(n, 1)
    all_minutes = float(found.flows["minutes"].sum())
    rest = (
        f", {numbers.hours_of(minutes)} of work, {numbers.share(minutes / all_minutes, 100)} of what came back "
        "this week."
    )
    confirmed = f"{numbers.hours_of(sure)} confirmed, the rest sent there and not confirmed. " if sure else UNCONFIRMED
    sent = "" if sure >= minutes - 0.5 else confirmed
    many = "instrument" if count == 1 else "instruments"
    lead = (
        f"{shop.stage_name(row['caught_at'])} sent {numbers.count(count)} {many} back to "
        f"{shared.cause(shop, row['caused_at'])}"
    )
    why = f"{sent}{_before(n, numbers.hours_of(usual))}"
    link = address("/rework", weeks=1, week=found.week, caused_at=row["caused_at"], caught_at=row["caught_at"])
    return Sentence("came-back", "came back", lead, rest, why, link, "Rework")


def weeks_before(found: Review) -> int:
    """How many of the four weeks before are on file: a week without logs is no week without send-backs."""
    first = found.week - timedelta(weeks=4)
    return len(found.weeks.filter((pl.col("week") >= first) & (pl.col("week") < found.week)))


def _before(weeks: int, usual: str) -> str:
    """`The four weeks before: 4.3 h a week.`"""
    if not weeks:
        return "No week before it is on file."
    if weeks == 1:
        return f"The week before: {usual}."
    return f"The {numbers.in_words(weeks)} weeks before: {usual} a week."


def _came_back_uncosted(found: Review, shop: Shop) -> Sentence:
    """What came back, by its number, where no minutes are on file for the work that it made."""
    row = found.flows.sort("count", descending=True, maintain_order=True).row(0, named=True)
    count = int(row["count"])
    same = (pl.col("caused_at") == row["caused_at"]) & (pl.col("caught_at") == row["caught_at"])
    n = weeks_before(found)
    usual = float(found.flows_before.filter(same)["count"].sum()) / max(n, 1)
    where = f" to {shared.cause(shop, row['caused_at'])}" if row["caused_at"] != "unknown" else ""
    lead = (
        f"{shop.stage_name(row['caught_at'])} sent {numbers.count(count)} "
        f"{'instrument' if count == 1 else 'instruments'} back{where}"
    )
    why = f"{_before(n, numbers.plain(usual, 1))} What it cost is not known: no minutes are on file."
    link = address("/rework", weeks=1, week=found.week, caused_at=row["caused_at"], caught_at=row["caught_at"])
    rest = "." if where else ", and no log says what caused it."
    return Sentence("came-back", "came back", lead, rest, why, link, "Rework")


def way_back(found: Review, shop: Shop, total: Mapping[str, Any], row: Mapping[str, Any]) -> dict[str, str]:
    """One way back of the week: caught, cause, send-backs, hours, the confirmed part, and the four weeks before (by
    number where no work on what came back is on file).
    """
    same = (pl.col("caused_at") == row["caused_at"]) & (pl.col("caught_at") == row["caught_at"])
    usual, weeks = found.flows_before.filter(same), max(weeks_before(found), 1)
    before = (
        numbers.hours_of(float(usual["minutes"].sum()) / weeks)
        if total["minutes"]
        else numbers.plain(float(usual["count"].sum()) / weeks, 1)
    )
    return {
        "caught": shop.stage_name(row["caught_at"]),
        "cause": shared.cause(shop, row["caused_at"]),
        "count": numbers.count(row["count"]),
        "confirmed": numbers.of(row["count_confirmed"], row["count"]),
        "hours": numbers.hours_of(row["minutes"]),
        "share": numbers.share(row["minutes"] / total["minutes"], 100) if total["minutes"] else numbers.NONE,
        "before": before,
    }


def all_of_it(found: Review, total: Mapping[str, Any], shop: Shop) -> str:
    """All that came back: send-backs, hours, money and how much of the minutes is planned rather than clocked."""
    n = int(total["count"])
    if outcomes_missing(found.unread):
        return "Send-backs are not read: no log says how a visit ended."
    this = found.weeks.filter(found.weeks["week"] == found.week)
    judged = int(this["judged"].sum())
    if not n and judged and this["never_sent_back"][0] is None:
        return f"Send-backs are not read: {shared.ends_unread(judged)}"
    if not n:
        return "Nothing was sent back."
    many = "send-back" if n == 1 else "send-backs"
    if not total["minutes"]:
        return f"{numbers.count(n)} {many}; no work on {'it' if n == 1 else 'them'} is on file yet."
    cost = money(total["cost"], shop)
    planned = total["planned_share"]
    from_plan = f", {numbers.share(planned, 100)} of the minutes planned, not clocked" if planned else ""
    still = (
        f" {numbers.in_words(int(total['open']), capital=True)} still open, counted so far." if total["open"] else ""
    )
    return f"{numbers.count(n)} {many}, {numbers.hours_of(total['minutes'])} of work{cost}{from_plan}.{still}"

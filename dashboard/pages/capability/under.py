"""What stands under the headline of Capability: what readings these are, what is left out; or why there are none."""

from __future__ import annotations

import polars as pl
from dash import html

from analysis.studies.room import capability
from analysis.studies.room.left_out import left_out
from analysis.studies.story.conformity import BUILT, SET, SHIPPED
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.pages import gauges
from dashboard.pages import period as periods
from dashboard.pages.held import held
from dashboard.sentences import left_out as sentences_left
from dashboard.sentences import room as words
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

MEANING = {
    BUILT: "first play-test readings",
    SET: "first final-inspection readings",
    SHIPPED: "last final-inspection readings, after inspection sorted them",
}


def nothing(shop: Shop, address: dict[str, str]) -> html.Div:
    """Nothing to judge: what is missing, what to do, and the way to the nearest that there is."""
    missing = sentences_left.nothing(desk.ask(left_out), shop)
    under = "Capability stands here once readings with limits are loaded."
    nearest = ("See what was read on Drift", addresses.address("/drift", stage="all"))
    text = missing or "No reading is on file yet."
    return parts.page(
        parts.page_head("Nothing to judge yet.", "" if missing else under),
        parts.empty_state(text, *(nearest if missing else ("Load a log", "/logs"))),
        held(gauges.NAME, gauges.inside, shop, address),
    )


def under(seen: pl.DataFrame, when: str, period: periods.Period, *, whole: bool) -> str:
    """Which readings they are, under which limits, how many series, and what is read and left out of them."""
    shop = desk.here().snapshot().shop
    force = f"{period.words()}, under the limits in force at their end" if period else "under the limits now in force"
    rest = " What is folded below is of all days." if period else ""
    left = ", and what was left of what is set there" if when == SET and _sets_at_final() else ""
    read = _of_bench(seen, shop) if when == SET else ""
    starting = f" {sentences.STARTING}" if seen["starting"].any() else ""
    thin = int(seen["flags"].str.contains(capability.THIN).sum())
    few = f", {numbers.count(thin)} of them with too few readings to say" if thin else ""
    missing = sentences_left.note(desk.ask(left_out), shop) if whole and when == SET else ""
    return (
        f"{when.capitalize()}: {read or MEANING[when] + left}, {force}. {numbers.count(len(seen))} series{few}."
        f"{' ' + missing if missing else ''}{starting}{rest}"
    )


def _of_bench(seen: pl.DataFrame, shop: Shop) -> str:
    """What was read as set where some of it is of the bench and not of the end; '' where all is of the end."""
    rows = [(row["characteristic"], words.at_bench(shop, row)) for row in seen.iter_rows(named=True)]
    benches = {key: bench for key, bench in rows if bench}
    if not benches:
        return ""
    left = "as the bench that sets it left it on the first pass: of the bench, not of the end"
    if all(bench for _, bench in rows):
        return f"no final inspection reads what is judged here; each stands {left}"
    names = numbers.listed([shop.characteristic_name(key).lower() for key in benches])
    return f"{MEANING[SET]}; what none reads ({names}) {left}"


def _sets_at_final() -> bool:
    """Is anything set at the final inspection itself, as in a shop of one bench?"""
    shop = desk.here().snapshot().shop
    finals = {stage.key for stage in shop.stages if stage.role == "final"}
    return any(finals & set(one.set_stages) for one in shop.characteristics)

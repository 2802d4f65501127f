"""What moved, on Drift: matters with their streams, largest first; all that ran true as one heap."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import polars as pl
from dash import html

from analysis.studies.drift import states
from analysis.studies.matters.in_sight import InSight
from analysis.studies.matters.records import Matter
from dashboard import numbers, parts
from dashboard.charts.moved import MatterRow, Moved, MovedView, moved
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import matters as sentences
from dashboard.sentences import shared
from ingest.shopfiles.shop import Shop

NAME, MOST = "What moved", 7
KEY = ("characteristic", "position", "model", "stage")


def sheet(
    found: InSight, here: pl.DataFrame, chosen: str, leads: Callable[[str], str], *, shop: Shop, now: date
) -> html.Section:
    """The sheet, over the streams in sight. chosen : key of the stream looked at."""
    rows = found.streams.join(here.select(KEY), on=list(KEY), how="semi", maintain_order="left")
    view, left = moved_view(found, rows, chosen, shop=shop, now=now)
    say = finding(view, rows)
    chart = parts.graph(parts.both(moved, view), say, "drift-moved", _table(rows, shop, now), leads=leads)
    more = (
        [html.P(f"and {numbers.count(left)} more matters; a stage or model chosen above shows them.")] if left else []
    )
    right = "a dot a stream; light: how far the matter reaches; a matter is what one cause moved"
    return parts.sheet(NAME, right, [chart, *more])


def finding(view: MovedView, rows: pl.DataFrame) -> str:
    """The chart in a sentence."""
    if not view.rows:
        return f"Nothing moved; {view.steady_words}."
    first = view.rows[0]
    return f"{first.name}: {first.under} {numbers.in_words(len(view.rows), capital=True)} in all. {view.steady_words}."


def moved_view(found: InSight, rows: pl.DataFrame, chosen: str, *, shop: Shop, now: date) -> tuple[MovedView, int]:
    """What the chart is given, and how many matters are left over."""
    out = rows.filter((pl.col("state") == states.MOVED) & pl.col("moved_share").is_not_null())
    told = []
    for (key,), part in out.group_by(pl.col("matter").fill_null(""), maintain_order=True):
        matter = found.matters.get(str(key))
        for own in [part] if matter is not None else part.iter_slices(1):
            told.append(_row(matter, own, chosen, shop, now))
    told.sort(key=lambda row: -max(abs(stream.percent) for stream in row.streams))
    steady = [100 * share for share in rows.filter(pl.col("state") == states.STEADY)["moved_share"].drop_nulls()]
    thin = int((rows["state"] == states.THIN).sum())
    words = f"{numbers.count(len(steady))} {'stream' if len(steady) == 1 else 'streams'} ran true"
    if steady:
        low, high = (numbers.plain(abs(end), 0) for end in (min(*steady, 0), max(*steady, 0)))
        words += f", between {low} % below and {high} % above their centre line"
    few = f"{numbers.count(thin)} thin: fewer than {shop.judging.least_readings} readings, or no spread" if thin else ""
    return MovedView(told[:MOST], steady, words, few), max(len(told) - MOST, 0)


def _row(matter: Matter | None, part: pl.DataFrame, chosen: str, shop: Shop, now: date) -> MatterRow:
    far = part.sort(pl.col("moved_share").abs(), descending=True).row(0, named=True)
    streams = [
        Moved(
            100 * row["moved_share"],
            f"{sentences_drift.stream_name(shop, row)}: {sentences_drift.moved_line(row, shop, now)}",
            _key(row),
            row["tolerance"] is not None,
        )
        for row in part.iter_rows(named=True)
    ]
    way = "up" if far["moved_share"] >= 0 else "down"
    name = sentences.name(matter, shop) if matter is not None else sentences_drift.stream_name(shop, far)
    short = f"{far['model']} {far['position']}".strip()
    line = sentences_drift.moved_by(far, shop)  # since when stands at the right
    many = f"{numbers.count(len(streams))} streams here; most on {short}: "
    under = f"{many if len(streams) > 1 else ''}{line}."
    keys = {stream.key for stream in streams}
    right = _right(matter, shop, now)
    return MatterRow(
        f"{name} moved {way}", under[:1].upper() + under[1:], right, streams, short, _key(far), chosen in keys
    )


def _key(row: dict[str, Any]) -> str:
    return "|".join(str(row[name]) for name in KEY)


def _right(matter: Matter | None, shop: Shop, now: date) -> list[str]:
    """Since when, together with what, and how far its action is; four short lines."""
    from dashboard.charts import style

    if matter is None:
        return []
    began = matter.began_at or matter.opened_at
    since = f"since {numbers.day(shared.local(shop, began), now)}"
    told = style.wrap(sentences.together(matter.moves_with, shop), 250, 6.2)
    return [since, *told[:2], _state(matter, now)]


def _state(matter: Matter, now: date) -> str:
    """`open, with nobody`, `action: Mara by 25 Nov`, `known until 30 Nov`."""
    if matter.state == "known" and matter.known_until:
        return f"known until {numbers.day(matter.known_until, now)}"
    if matter.action and matter.owner and matter.due:
        return f"{matter.state}: {matter.owner} by {numbers.day(matter.due, now)}"
    return "open, with nobody" if matter.state == "open" else matter.state


def _table(rows: pl.DataFrame, shop: Shop, now: date) -> html.Div:
    out = rows.filter(pl.col("state") == states.MOVED)
    told = [
        {"what": sentences_drift.stream_name(shop, row, stage=True), "how": sentences_drift.moved_line(row, shop, now)}
        for row in out.iter_rows(named=True)
    ]
    return parts.plain_table(told, [("what", "Stream"), ("how", "Moved")])

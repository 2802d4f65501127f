"""An instrument's story as a picture: the bench as a line, its loops, its readings on their boards."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import html

from analysis.studies.story.lookup import Life
from dashboard import numbers, parts
from dashboard.charts.walked import Board, Loop, WalkView, walked
from dashboard.sentences import rework as sentences_rework
from dashboard.sentences import shared as sentences
from dashboard.sentences import walk as words
from ingest.shopfiles.shop import Shop

NAME = "Its way over the bench"
MOST = 14  # boards drawn; all readings stand in the table below
LOOPS = 8  # send-backs drawn, the first ones


def sheet(found: Life, shop: Shop) -> html.Section:
    """The picture with its sentence."""
    view, left = walk_view(found, shop)
    say = words.walk(found)
    told = [html.P(say)]
    if left:
        told.append(html.P(f"{numbers.count(left)} more readings stand in the table.", className="small"))
    key = html.P(
        "A dot at each bench it came to, a large one where it came again. Arrows lead back to where it was sent, "
        "dashed where nobody confirmed the cause. Readings: the last value a dot, earlier ones rings, outside a cross; "
        "the board is what is asked.",
        className="small",
    )
    chart = parts.graph(parts.both(walked, view), say, "logs-walk")
    return parts.sheet(NAME, "first visit to last", [chart, *told, key])


def walk_view(found: Life, shop: Shop) -> tuple[WalkView, int]:
    """What the picture is given, and how many readings are left over."""
    order = {stage.key: place for place, stage in enumerate(shop.stages, start=1)}
    came = found.visits["stage"].to_list()
    last = order.get(came[-1]) if came else None
    loops = [
        Loop(
            row["fault"] or "no fault named",
            order.get(row["caught_at"]),
            order.get(row["caused_at"], 0 if row["caused_at"] == "supplier" else None),
            bool(row["confirmed"]),
            words.loop(row, shop),
        )
        for row in found.loops.sort("opened_at").head(LOOPS).iter_rows(named=True)
    ]
    boards = _boards(found, shop)
    view = WalkView(
        [shop.stage_name(stage.key) for stage in shop.stages],
        [came.count(stage.key) for stage in shop.stages],
        last,
        f"last seen: {sentences_rework.named(shop, came[-1]).lower()}" if came else "",
        loops,
        [board for _, board in sorted(boards[:MOST], key=lambda one: one[0])],
    )
    return view, max(len(boards) - MOST, 0)


def _boards(found: Life, shop: Shop) -> list[tuple[int, Board]]:
    """A board a characteristic and position with its place in the shop's order; outside first, single frets last."""
    rows = found.readings.filter(pl.col("value").is_not_null())
    order = {item.key: place for place, item in enumerate(shop.characteristics)}
    told: list[tuple[bool, bool, int, Board]] = []
    for (key, position), part in rows.group_by("characteristic", "position", maintain_order=True):
        values, outside = part["value"].to_list(), part["outside"].fill_null(False).to_list()
        limits = part.filter(pl.col("lower").is_not_null() | pl.col("upper").is_not_null())
        asked: dict[str, Any] = limits.select("lower", "upper", "target").row(-1, named=True) if len(limits) else {}
        at_last = part.row(-1, named=True)
        beyond = None
        if outside[-1]:
            above = at_last["upper"] is not None and at_last["value"] > at_last["upper"]
            beyond = at_last["upper" if above else "lower"]
        text = words.values(shop, str(key), values, beyond)
        short = words.values(shop, str(key), values[-1:], beyond)
        ends = {
            side: sentences.amount(shop, str(key), asked[side]).partition(numbers.NBSP)[0]
            for side in ("lower", "upper")
            if asked.get(side) is not None
        }
        name = sentences.characteristic(shop, str(key), str(position))
        low, high = ends.get("lower", ""), ends.get("upper", "")
        board = Board(name, values, outside, text, **asked, short=short, low=low, high=high)
        place = 100 * order.get(str(key), len(order)) + _place(shop, str(key), str(position), len(told))
        told.append((any(outside), "fret" in str(position), place, board))
    told.sort(key=lambda one: (not one[0], one[1], one[2]))
    return [(place, board) for _, _, place, board in told]


def _place(shop: Shop, key: str, position: str, came: int) -> int:
    """A position's place among those of its characteristic; one that shop.toml does not list as it came, behind."""
    item = shop.by_characteristic.get(key)
    listed = list(item.positions) if item else []
    return listed.index(position) if position in listed else min(len(listed) + came, 99)

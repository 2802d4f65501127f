"""The charts of several shops: which rows of each list are drawn, in which order and unit."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from analysis.studies.drift.streams import KEY
from analysis.studies.shops.same_model import ROOM
from dashboard import numbers
from dashboard.charts.shops import DAYS, TIMES, ShopRow, ShopsView, day_number
from dashboard.desk.several import Found
from dashboard.sentences.shops import Words
from dashboard.sentences.shops_together import zones

MOST = 8  # rows of a chart: those told, then the others nearest to them
Row = dict[str, Any]


def views(found: Found) -> dict[str, tuple[str, ShopsView]]:
    """By the name of each list (FIGURES) what its chart shows, in words, and the chart; none where nothing is told."""
    makers: dict[str, Callable[[Found, Words], tuple[str, ShopsView] | None]] = {
        "same_matter": matter,
        "same_model": model,
        "same_change": change,
        "lots_standing_out": lots,
        "same_rework": rework,
        "same_lots": pairs,
    }
    words = Words(found.told.tables["meanings"])
    made = {name: maker(found, words) for name, maker in makers.items()}
    return {name: one for name, one in made.items() if one is not None}


def matter(found: Found, words: Words) -> tuple[str, ShopsView] | None:
    """When the surest common matter began in each shop."""
    one = found.lists["same_matter"].filter(pl.col("one") & (pl.col("number") == pl.col("number").filter("one").min()))
    if one.is_empty():
        return None
    clocks, key = zones(found.told.shops), one["characteristic"][0]

    def at(row: Row, name: str) -> float:
        when = row[name]
        assert isinstance(when, datetime)
        return day_number(when.astimezone(ZoneInfo(clocks.get(str(row["shop"]), "UTC"))).date())

    rows = [
        ShopRow(
            row["shop"],
            at(row, "began_at"),
            at(row, "began_low"),
            at(row, "began_high"),
            words.amount(key, row["size"], sign=True),
            row["shop"] == found.ours,
        )
        for row in one.sort("began_at").head(MOST).iter_rows(named=True)
    ]
    return "When it began in each shop, and by how much", ShopsView(rows, DAYS)


def model(found: Found, words: Words) -> tuple[str, ShopsView] | None:
    """Each shop's figure on the stream on which shops differ most surely."""
    apart = found.lists["same_model"].filter("apart").sort("chance")
    if apart.is_empty():
        return None
    key = ["question", *KEY]
    first = apart.row(0, named=True)
    mine = found.lists["same_model"].filter(*(pl.col(name) == first[name] for name in key))
    value = ("value", "low", "high") if mine["value"].null_count() == 0 else ("own", "own_low", "own_high")
    far = (pl.col("apart") | (pl.col("shop") == found.ours), pl.col("chance"))
    drawn = mine.sort(far[0], descending=True, maintain_order=True).head(MOST).sort(value[0])
    unit, decimals = ("", 2) if first["question"] == ROOM else words.unit(first["characteristic"])
    rows = [
        _of_shop(found, row, value, f"n {numbers.count(row['n'])}", out=row["apart"])
        for row in drawn.iter_rows(named=True)
    ]
    return f"{words.stream(first)}: {first['question']}, 95 % intervals", ShopsView(rows, unit, decimals)


def change(found: Found, words: Words) -> tuple[str, ShopsView] | None:
    """How far the surest change moved each shop."""
    moved = found.lists["same_change"].filter("moved").sort("chance")
    if moved.is_empty():
        return None
    key, first = ["kind", "what", "target", *KEY], moved.row(0, named=True)
    mine = found.lists["same_change"].filter(*(pl.col(name).eq_missing(pl.lit(first[name])) for name in key))
    unit, decimals = words.unit(first["characteristic"])
    rows = [
        _of_shop(found, row, ("size", "size_low", "size_high"), _day(row["said_on"]), out=row["moved"])
        for row in mine.sort("moved", "said_on", descending=[True, False]).head(MOST).iter_rows(named=True)
    ]
    return f"{first['what']}, {words.stream(first)}: after less before", ShopsView(rows, unit, decimals, zero=True)


def lots(found: Found, words: Words) -> tuple[str, ShopsView] | None:
    """Lots of the suppliers of those that stand out."""
    rows = found.lists["lots_standing_out"]
    out = rows.filter("apart").sort("chance")
    if out.is_empty():
        return None
    first = out.row(0, named=True)
    mine = rows.filter(pl.col("characteristic") == first["characteristic"], pl.col("supplier") == first["supplier"])
    unit, decimals = words.unit(first["characteristic"])
    drawn = mine.sort("apart", pl.col("off").abs(), descending=True).head(MOST).sort("off", descending=True)
    told = [
        ShopRow(f"lot {row['lot']}", row["off"], row["low"], row["high"], _shops(row["shops"]), out=row["apart"])
        for row in drawn.iter_rows(named=True)
    ]
    name = words.name("characteristic", first["characteristic"])
    return f"{name}, lots of {first['supplier']} from their others", ShopsView(told, unit, decimals, zero=True)


def rework(found: Found, words: Words) -> tuple[str, ShopsView] | None:
    """What came back of the stage on which shops differ most surely, over what was to be expected."""
    out = found.lists["same_rework"].filter("apart").sort("chance")
    if out.is_empty():
        return None
    stage = out["stage"][0]
    mine = found.lists["same_rework"].filter(stage=stage)
    value = ("value", "low", "high") if mine["value"].null_count() == 0 else ("ratio", "ratio_low", "ratio_high")
    drawn = mine.sort(pl.col("apart") | (pl.col("shop") == found.ours), descending=True).head(MOST).sort(value[0])
    rows = [
        _of_shop(found, row, value, numbers.of(row["came_back"], row["instruments"]), out=row["apart"])
        for row in drawn.iter_rows(named=True)
    ]
    return f"{words.name('stage', stage)}: what came back, over what is expected at the mix", ShopsView(rows, TIMES, 1)


def pairs(found: Found, words: Words) -> tuple[str, ShopsView] | None:
    """What shops read apart on the same lots, where it is the gauge: one from all others, else two by two."""
    if found.lists["same_gauge"]["apart"].any():
        return _against_all(found, words)
    out = found.lists["same_lots"].filter(what="gauge").sort("chance")
    if out.is_empty():
        return None
    key = out["characteristic"][0]
    unit, decimals = words.unit(key)
    rows = [
        ShopRow(
            f"{row['shop']} less {row['other']}",
            row["off"],
            row["low"],
            row["high"],
            f"{numbers.count(row['lots'])} lots",
            found.ours in (row["shop"], row["other"]),
            True,
        )
        for row in out.filter(characteristic=key).head(MOST).iter_rows(named=True)
    ]
    name = words.name("characteristic", key)
    return f"{name} on the same lots", ShopsView(rows, unit, decimals, zero=True)


def _against_all(found: Found, words: Words) -> tuple[str, ShopsView]:
    every = found.lists["same_gauge"]
    key = every.filter("apart").sort("chance")["characteristic"][0]
    unit, decimals = words.unit(key)
    drawn = every.filter(characteristic=key).sort(pl.col("apart"), pl.col("off").abs(), descending=True).head(MOST)
    rows = [
        _of_shop(found, row, ("off", "low", "high"), f"{numbers.count(row['lots'])} lots", out=row["apart"])
        for row in drawn.sort("off").iter_rows(named=True)
    ]
    name = words.name("characteristic", key)
    return f"{name} on the same lots, from all other shops", ShopsView(rows, unit, decimals, zero=True)


def _of_shop(found: Found, row: Row, names: tuple[str, str, str], right: str, *, out: Any) -> ShopRow:
    """A row of one shop; names : of its figure and the two ends."""
    value, low, high = (row[name] for name in names)
    return ShopRow(str(row["shop"]), value, low, high, right, row["shop"] == found.ours, out)


def _day(when: date) -> str:
    return numbers.day(when)


def _shops(names: str) -> str:
    many = len(names.split("; "))
    return f"{numbers.count(many)} {'shop' if many == 1 else 'shops'}"

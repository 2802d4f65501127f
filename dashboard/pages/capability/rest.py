"""Two sheets of the Capability page: what the rest does to what was set, and what goes with the air."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import dcc, html

from analysis.methods.lagged_slope import LEAST_DAYS
from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import HUMIDITY, Matter
from analysis.studies.room import across, climate, settling, wood
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts import style
from dashboard.charts.settling import SettlingRow
from dashboard.charts.settling import settling as settling_chart
from dashboard.desk import desk
from dashboard.sentences import air as words
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

DRAWN, TOLD = 8, 6  # rows of one unit drawn; rows of the air told
FEW = 30
STEP = 10.0  # % RH that a slope is told for
KEY = ["model", "characteristic", "position"]
AWAY = (pl.col("low") > 0) | (pl.col("high") < 0)
EXPLAINS = 0.1  # of the spread; below it the air is not told of: among many rows a few stand out by chance


def settling_sheet(shop: Shop, characteristic: str | None, model: str | None) -> html.Section:
    """Mean change over the rest, a chart for each unit; what moved most against what is known of it first. Below it
    what changed where another bench lies between, which is no pair.
    """
    title, right = "What the rest does", "first final reading less the last before the rest, 95 % interval"
    every = _chosen(desk.ask(settling.settling_rows), characteristic, model)
    few = every.filter(pl.col("n") < FEW)
    beyond = _across(desk.ask(across.across_rows).join(few, on=KEY, how="semi", maintain_order="left"), shop)
    found = every.filter(pl.col("mean").is_not_null() & pl.col("low").is_not_null())
    if found.is_empty():
        text = "No instrument was read at pitch both before the rest and at its first final inspection."
        if beyond:
            text = "No instrument was read at pitch right before the rest and at its first final inspection."
        return parts.sheet(title, right, [parts.empty_state(text, "Open Logs", "/logs"), *beyond])
    clear = (pl.col("low") > 0) | (pl.col("high") < 0)
    moved = found.filter(clear).height
    say = (
        f"{numbers.of_in_words(moved, len(found))} {'is' if moved == 1 else 'are'} seen to move over the rest."
        if moved
        else f"None of {numbers.count(len(found))} is seen to move over the rest."
    )
    kinds = {key: (sentences.quantity(shop, key), shop.length_of(key)) for key in found["characteristic"].unique()}
    kinds = {key: (kind, length if kind == "length" else "") for key, (kind, length) in kinds.items()}
    drawn: list[Any] = []
    for kind, length in sorted(set(kinds.values())):
        alike = [key for key, one in kinds.items() if one == (kind, length)]
        rows = found.filter(pl.col("characteristic").is_in(alike))
        rows = rows.sort((pl.col("mean") / (pl.col("high") - pl.col("low")).clip(1e-12)).abs(), descending=True)
        shown = rows.head(DRAWN)
        unit, digits = numbers.unit_of(kind, shown=length), numbers.decimals_of(kind, shown=length, mean=True)
        scale = numbers.in_unit(1.0, kind, shown=length)
        told = [
            SettlingRow(
                f"{sentences.characteristic(shop, row['characteristic'], row['position'])}, {row['model']}",
                row["mean"] * scale,
                row["low"] * scale,
                row["high"] * scale,
                row["n"],
                row["left_out"],
            )
            for row in shown.iter_rows(named=True)
        ]
        chart = parts.both(settling_chart, told, unit=unit, decimals=digits, width=style.WIDE)
        drawn.append(parts.graph(chart, say, f"capability-settling-{length or kind}", _pairs(rows, shop)))
    left = numbers.count(int(every["left_out"].sum()))
    small = (
        f"{say} Left out ({left}): no reading at pitch right before the rest, or a visit between. Under {FEW} "
        "pairs is few."
    )
    return parts.sheet(title, right, [*drawn, html.P(small, className="small"), *beyond])


def _pairs(rows: pl.DataFrame, shop: Shop) -> html.Div:
    told = []
    for row in rows.iter_rows(named=True):
        told.append(
            {
                "what": parts.to_readings(_readings(row), _name(row, shop)),
                "mean": sentences.amount(shop, row["characteristic"], row["mean"], sign=True, mean=True),
                "range": _ends(row, shop),
                "n": f"{numbers.count(row['n'])}{', few' if row['n'] < FEW else ''}",
                "left": numbers.count(row["left_out"]),
            }
        )
    columns = [
        ("what", "Reading"),
        ("mean", "Change", "n"),
        ("range", "95 % interval", "n"),
        ("n", "Pairs", "n"),
        ("left", "Left out", "n wide-only"),
    ]
    return parts.plain_table(told, columns)


def _across(rows: pl.DataFrame, shop: Shop) -> list[Any]:
    """A table of what too few pairs show or none, for another bench lies between: of what surely differs what differs
    most against what is known of it first, small samples last.
    """
    if rows.is_empty():
        return []
    certain = (pl.col("mean") / (pl.col("high") - pl.col("low")).clip(1e-12)).abs()
    clear = rows.filter(AWAY).sort(pl.col("n") < FEW, -certain, maintain_order=True)
    means = [_mean(row, shop) for row in clear.iter_rows(named=True)]
    clear = clear.filter(pl.Series([mean[0] in f"+{numbers.MINUS}" for mean in means], dtype=pl.Boolean))  # no 0.00 mm
    shown = clear.head(DRAWN)
    say = html.P(words.across(int(rows["n"].sum()), len(rows), len(clear), len(shown)))
    if shown.is_empty():
        return [say]
    told = []
    for row in shown.iter_rows(named=True):
        told.append(
            {
                "what": parts.to_readings(_readings(row), _name(row, shop)),
                "mean": _mean(row, shop),
                "range": _ends(row, shop),
                "n": f"{numbers.count(row['n'])}{', few' if row['n'] < FEW else ''}",
                "between": numbers.listed([shop.stage_name(stage) for stage in row["between"] or []]),
            }
        )
    columns = [
        ("what", "Reading"),
        ("mean", "Difference", "n"),
        ("range", "95 % interval", "n"),
        ("n", "Instruments", "n"),
        ("between", "Between"),
    ]
    return [say, parts.plain_table(told, columns)]


def _mean(row: dict[str, Any], shop: Shop) -> str:
    return sentences.amount(shop, row["characteristic"], row["mean"], sign=True, mean=True)


def _readings(row: dict[str, Any]) -> str:
    return addresses.address(
        "/logs/readings",
        characteristic=row["characteristic"],
        position=row["position"],
        model=row["model"],
        role="final",
    )


def _name(row: dict[str, Any], shop: Shop) -> str:
    return f"{sentences.characteristic(shop, row['characteristic'], row['position'])}, {row['model']}"


def _ends(row: dict[str, Any], shop: Shop, factor: float = 1.0) -> str:
    ends = (
        sentences.amount(shop, row["characteristic"], factor * row[end], sign=True, mean=True)
        for end in ("low", "high")
    )
    return " to ".join(ends)


def air_sheet(shop: Shop, characteristic: str | None, model: str | None) -> html.Section:
    """Where the air takes wood, and what goes with relative humidity, for ten per cent more, where it explains a tenth
    of the spread: from day to day first, then what goes with it only as slowly as it drifts itself; and the open
    matters that name it.
    """
    heading = desk.ask(wood.wood)
    where = [html.P(words.heading(heading))] if heading else []
    title, right = "What goes with the air", f"for {numbers.plain(STEP, 0)} % RH more, 95 % interval"
    found = _chosen(desk.ask(climate.climate_rows), characteristic, model)
    slow = _chosen(desk.ask(climate.slow_slopes), characteristic, model)
    matters = _named(characteristic, model)
    said = [
        html.P([words.matter(one, shop), " ", dcc.Link("See Week", href="/"), "."], className="small")
        for one in matters
    ]
    known = found.filter(pl.col("slope").is_not_null())
    if known.is_empty():
        text = (
            "Too few days with humidity on file to say; wanted climate.csv, or rh with the visits, on "
            f"{LEAST_DAYS} days."
        )
        return parts.sheet(title, right, [*where, parts.empty_state(text, "Open Logs", "/logs"), *said])
    clear = known.filter(AWAY & (pl.col("share_explained") >= EXPLAINS)).sort("share_explained", descending=True)
    named = {(key, setup) for one in matters for key in one.characteristics for setup in one.models}
    by_matter = pl.Series(
        [each in named for each in slow.select("characteristic", "model").iter_rows()], dtype=pl.Boolean
    )
    slow = slow.filter((AWAY | by_matter) & (pl.col("share") >= EXPLAINS))
    slow = slow.join(clear, on=KEY, how="anti", maintain_order="left").sort("share", descending=True)
    if clear.is_empty() and slow.is_empty():
        return parts.sheet(title, right, [*where, html.P(words.none(len(known), named=bool(matters))), *said])
    told = [_follows(row, shop) for row in clear.head(TOLD).iter_rows(named=True)]
    told += [_follows(row, shop) for row in slow.head(TOLD).iter_rows(named=True)]
    columns = [
        ("what", "Reading"),
        ("change", "Change"),
        ("lag", "Air of", "wide-only"),
        ("share", "Of its spread", "n"),
    ]
    judged = words.JUDGED if shop.judging.air else words.NOT_JUDGED
    say = [words.follow(len(clear), len(known), len(slow)), *([judged] if len(clear) else [])]
    slowly = [html.P(words.slowly(len(slow), len(known), slow.filter(~AWAY).height))] if len(slow) else []
    return parts.sheet(
        title,
        right,
        [*where, *slowly, parts.plain_table(told, columns), html.P(" ".join(say), className="small"), *said],
    )


def _follows(row: dict[str, Any], shop: Shop) -> dict[str, Any]:
    """One row of what goes with the air; without a lag it goes with it from week to week."""
    mean = sentences.amount(shop, row["characteristic"], STEP * row["slope"], sign=True, mean=True)
    hours = row.get("lag_hours")
    lag = "week by week" if hours is None else numbers.with_unit(numbers.plain(hours, 0), "h before")
    share = row["share_explained"] if "share_explained" in row else row["share"]
    return {
        "what": parts.to_readings(_readings(row), _name(row, shop)),
        "change": f"{mean} ({_ends(row, shop, STEP)})",
        "lag": "same hour" if hours == 0 else lag,
        "share": numbers.with_unit(numbers.plain(100 * share, 0), "%"),
    }


def _named(characteristic: str | None, model: str | None) -> list[Matter]:
    """The open matters that move together with the humidity."""
    return [
        one
        for one in desk.ask(open_matters)
        if one.shown
        and any(each.factor == HUMIDITY for each in one.moves_with.named)
        and (not characteristic or characteristic in one.characteristics)
        and (not model or model in one.models)
    ]


def _chosen(rows: pl.DataFrame, characteristic: str | None, model: str | None) -> pl.DataFrame:
    if characteristic:
        rows = rows.filter(pl.col("characteristic") == characteristic)
    return rows.filter(pl.col("model") == model) if model else rows

"""Two sheets of the Capability page: what the rest does to what was set, and what goes with the air."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import html

from analysis.methods.lagged_slope import LEAST_DAYS
from analysis.studies.room import climate, settling, wood
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts import style
from dashboard.charts.settling import SettlingRow
from dashboard.charts.settling import settling as settling_chart
from dashboard.desk import desk
from dashboard.sentences import air
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

DRAWN, TOLD = 8, 6  # rows of one unit drawn; rows of the air told
FEW = 30
STEP = 10.0  # % RH that a slope is told for
EXPLAINS = 0.1  # of the spread; below it the air is not told of: among many rows a few stand out by chance


def settling_sheet(shop: Shop, characteristic: str | None, model: str | None) -> html.Section:
    """Mean change over the rest, a chart for each unit; what moved most against what is known of it first."""
    title, right = "What the rest does", "first final reading less the last before the rest, 95 % interval"
    found = _chosen(desk.ask(settling.settling_rows), characteristic, model).filter(
        pl.col("mean").is_not_null() & pl.col("low").is_not_null()
    )
    if found.is_empty():
        text = "No instrument was read at pitch both before the rest and at its first final inspection."
        return parts.sheet(title, right, parts.empty_state(text, "Open Logs", "/logs"))
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
    left = numbers.count(int(found["left_out"].sum()))
    small = (
        f"{say} Left out ({left}): no reading at pitch right before the rest, or a visit between. Under {FEW} "
        "pairs is few."
    )
    return parts.sheet(title, right, [*drawn, html.P(small, className="small")])


def _pairs(rows: pl.DataFrame, shop: Shop) -> html.Div:
    told = []
    for row in rows.iter_rows(named=True):
        href = addresses.address(
            "/logs/readings",
            characteristic=row["characteristic"],
            position=row["position"],
            model=row["model"],
            role="final",
        )
        name = f"{sentences.characteristic(shop, row['characteristic'], row['position'])}, {row['model']}"
        ends = (
            sentences.amount(shop, row["characteristic"], row[end], sign=True, mean=True) for end in ("low", "high")
        )
        told.append(
            {
                "what": parts.to_readings(href, name),
                "mean": sentences.amount(shop, row["characteristic"], row["mean"], sign=True, mean=True),
                "range": " to ".join(ends),
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


def air_sheet(shop: Shop, characteristic: str | None, model: str | None) -> html.Section:
    """Where the air takes wood, and what goes with relative humidity, for ten per cent more, where it explains a tenth
    of the spread.
    """
    heading = desk.ask(wood.wood)
    where = [html.P(air.heading(heading))] if heading else []
    title, right = "What goes with the air", f"for {numbers.plain(STEP, 0)} % RH more, 95 % interval"
    found = _chosen(desk.ask(climate.climate_rows), characteristic, model)
    known = found.filter(pl.col("slope").is_not_null())
    if known.is_empty():
        text = (
            "Too few days with humidity on file to say; wanted climate.csv, or rh with the visits, on "
            f"{LEAST_DAYS} days."
        )
        return parts.sheet(title, right, [*where, parts.empty_state(text, "Open Logs", "/logs")])
    away = (pl.col("low") > 0) | (pl.col("high") < 0)
    clear = known.filter(away & (pl.col("share_explained") >= EXPLAINS)).sort("share_explained", descending=True)
    if clear.is_empty():
        none = f"Of {numbers.count(len(known))} readings none is seen to follow the humidity by a tenth of its spread."
        return parts.sheet(title, right, [*where, html.P(none)])
    told = []
    for row in clear.head(TOLD).iter_rows(named=True):
        href = addresses.address(
            "/logs/readings",
            characteristic=row["characteristic"],
            position=row["position"],
            model=row["model"],
            role="final",
        )
        name = f"{sentences.characteristic(shop, row['characteristic'], row['position'])}, {row['model']}"
        mean, low, high = (
            sentences.amount(shop, row["characteristic"], STEP * row[end], sign=True, mean=True)
            for end in ("slope", "low", "high")
        )
        told.append(
            {
                "what": parts.to_readings(href, name),
                "change": f"{mean} ({low} to {high})",
                "lag": "same hour"
                if not row["lag_hours"]
                else numbers.with_unit(numbers.plain(row["lag_hours"], 0), "h before"),
                "share": numbers.with_unit(numbers.plain(100 * row["share_explained"], 0), "%"),
            }
        )
    columns = [
        ("what", "Reading"),
        ("change", "Change"),
        ("lag", "Air of", "wide-only"),
        ("share", "Of its spread", "n"),
    ]
    say = (
        f"{numbers.count(len(clear))} of {numbers.count(len(known))} follow the humidity. What moves together need "
        "not be a cause; no reading is corrected by this. "
    )
    say += (
        "Charts of series whose baseline follows the air judge what it does not explain."
        if shop.judging.air
        else "With air = true under [judging] in shop.toml, charts of series whose baseline follows the air judge "
        "what it does not explain."
    )
    return parts.sheet(title, right, [*where, parts.plain_table(told, columns), html.P(say, className="small")])


def _chosen(rows: pl.DataFrame, characteristic: str | None, model: str | None) -> pl.DataFrame:
    if characteristic:
        rows = rows.filter(pl.col("characteristic") == characteristic)
    return rows.filter(pl.col("model") == model) if model else rows

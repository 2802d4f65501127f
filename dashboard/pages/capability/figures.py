"""The capability figures as a table: a row a stream and limits in force, with bounds and flags; and as it is saved."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl
from dash import html

from analysis.studies.room import capability
from analysis.studies.room.beside import with_gauge_out
from analysis.studies.story.conformity import BUILT, SET, SHIPPED, set_at_bench_alone
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import shared as sentences
from dashboard.tables import leafed
from ingest.shopfiles.shop import Shop

EVERYBODY, PER_TECH = "everybody", "each tech"
FEW = 30
SHOWN = 60  # rows of people; then a count


def _rows(when: str, characteristic: str | None, model: str | None, by: str | None) -> pl.DataFrame:
    """The capability figures asked for: of every stage where a characteristic is chosen, else of the stage whose
    readings are shown.
    """
    rows = desk.ask(with_gauge_out).filter(pl.col("position") != capability.ANY)
    rows = rows.filter((pl.col("tech") != "") if by == PER_TECH else (pl.col("tech") == ""))
    if characteristic:
        rows = rows.filter(pl.col("characteristic") == characteristic)
    if model:
        rows = rows.filter(pl.col("model") == model)
    role = "test" if when == BUILT else "final"
    here = [stage.key for stage in desk.here().snapshot().shop.stages if stage.role == role]
    at_end = pl.col("stage").is_in(here)
    if when == SET:
        bench = desk.ask(set_at_bench_alone).select("characteristic", "stage").rows()
        at_end |= pl.concat_str("characteristic", "stage", separator="\n").is_in(["\n".join(one) for one in bench])
    return rows if characteristic else rows.filter(at_end)


def sheet(shop: Shop, when: str, asked: Mapping[str, Any]) -> html.Section:
    """The capability figures of every stage, or each tech's own: by stream and spec in force."""
    characteristic, model, by = asked["characteristic"], asked["model"], asked["by"]
    rows = _rows(when, characteristic, model, by)
    columns = [
        ("what", "Series"),
        ("stage", "Stage", "wide-only"),
        ("since", "Limits since", "wide-only"),
        ("n", "n", "n wide-only"),
        ("mean", "Mean", "n wide-only"),
        ("sd", "sd short, long", "n wide-only"),
        ("cpk", "Cpk", "n wide-only"),
        ("ppk", "Ppk (95 %)", "n"),
        ("parts", "Ppk, gauge out", "n wide-only"),
        ("out", "Outside (95 %)", "n"),
        ("on", "On the limit", "n wide-only"),
        ("expected", "Expected in a million (95 %)", "n wide-only"),
        ("flags", "Read with care", "wide-only"),
    ]
    right = (
        "a row for each series and limits in force; choose a characteristic to see every stage"
        if not characteristic
        else "every stage"
    )
    if rows.is_empty():
        return parts.sheet("The figures", right, html.P("No series with limits here.", className="small"))
    if rows["stage"].n_unique() == 1:
        del columns[1]
    told = [_line(row, shop) for row in rows.iter_rows(named=True)]
    save = parts.save_whole("capability", when=when, characteristic=characteristic, model=model, by=by)
    if by != PER_TECH:
        return parts.sheet(
            "The figures", right, [leafed(told, columns, "capability-figures", "/capability", asked), save]
        )
    # People stand in the shop's order and cannot be sorted by a figure: that would be a ranking without its
    # uncertainty.
    columns.insert(1, ("tech", "Set by"))
    linked = [{**line, "what": parts.to_readings(line["href"], line["what"])} for line in told[:SHOWN]]
    left = f"and {numbers.count(len(told) - SHOWN)} more; choose a characteristic or a model"
    more = [html.P(left, className="small")] if len(told) > SHOWN else []
    coaching = "Figures of single people are for coaching; local law and agreements decide their use."
    return parts.sheet(
        "The figures", right, [html.P(coaching, className="caution"), parts.plain_table(linked, columns), *more, save]
    )


def _line(row: dict[str, Any], shop: Shop) -> dict[str, Any]:
    kind, shown = sentences.quantity(shop, row["characteristic"]), shop.length_of(row["characteristic"])
    scale = numbers.in_unit(1.0, kind, shown=shown)
    digits, unit = numbers.decimals_of(kind, shown=shown, mean=True), numbers.unit_of(kind, shown=shown)
    short, long = (
        numbers.with_unit(numbers.plain(row[name] and scale * row[name], digits + 1), unit)
        for name in ("sd_short", "sd_long")
    )
    short = short.partition(numbers.NBSP)[0] if numbers.NONE not in (short, long) else short
    href = addresses.address(
        "/logs/readings",
        characteristic=row["characteristic"],
        position=row["position"],
        model=row["model"],
        stage=row["stage"],
        tech=row["tech"],
    )
    bounds = f" ({numbers.span(row['ppk_low'], row['ppk_high'])})" if row["ppk_low"] is not None else ""
    out = numbers.of(row["nonconforming"], row["n"]) if row["nonconforming"] is not None else numbers.NONE
    share = (
        f" ({numbers.share_range(row['nonconforming_low'], row['nonconforming_high'], row['n'])})"
        if row["nonconforming"] is not None
        else ""
    )
    few = ["few"] if row["n"] < FEW and capability.THIN not in row["flags"] else []
    return {
        "what": f"{sentences.characteristic(shop, row['characteristic'], row['position'])}, {row['model']}",
        "href": href,
        "tech": row["tech"],
        "stage": shop.stage_name(row["stage"]),
        "since": numbers.day(sentences.local(shop, row["first_at"])),
        "since_at": row["first_at"].isoformat(),
        "n": _independent(row),
        "n_at": row["n"],
        "ppk_at": row["ppk"],
        "cpk_at": row["cpk"],
        "mean_at": row["mean"],
        "sd_at": row["sd_long"],
        "out_at": row["nonconforming"] / row["n"] if row["nonconforming"] is not None else None,
        "mean": sentences.amount(shop, row["characteristic"], row["mean"], mean=True),
        "sd": f"{short}, {long}",
        "cpk": numbers.plain(row["cpk"]) if row["cpk"] is not None else numbers.NONE,
        "ppk": (numbers.plain(row["ppk"]) + bounds) if row["ppk"] is not None else numbers.NONE,
        "parts": numbers.plain(row["ppk_parts"]) if row["ppk_parts"] is not None else numbers.NONE,
        "on": numbers.count(row["on_limit"]) if row["on_limit"] is not None else numbers.NONE,
        "expected": _expected(row),
        "out": out + share,
        "flags": ", ".join([word for word in row["flags"].split(";") if word] + few),
    }


def _independent(row: dict[str, Any]) -> str:
    """n, and how many independent readings it carries where that is fewer."""
    few = row["n_effective"] is not None and round(row["n_effective"]) < row["n"]
    return (
        f"{numbers.count(row['n'])}, as {numbers.count(round(row['n_effective']))}" if few else numbers.count(row["n"])
    )


def _expected(row: dict[str, Any]) -> str:
    """Readings expected outside in a million with their interval, where they can be told."""
    if row["expected_ppm"] is None:
        return "not told"
    span = numbers.span(row["expected_ppm_low"], row["expected_ppm_high"], 0)
    return f"{numbers.plain(row['expected_ppm'], 0)} ({span})"


def saved(**asked: str) -> tuple[str, pl.DataFrame]:
    """The figures as a person saves them: canonical units, unrounded; filters as in the page's address."""
    shown = desk.here().snapshot().shop.people.show
    when = addresses.chosen(asked.get("when"), (BUILT, SET, SHIPPED), SET) or SET
    rows = _rows(
        when,
        asked.get("characteristic") or None,
        asked.get("model") or None,
        asked.get("by") if shown != "none" else EVERYBODY,
    )
    return "capability.csv", rows.select(capability.CAPABILITY.keys())

"""Capability: every model and characteristic on its board, and the rows behind it with their bounds and flags."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import Dash, html

from analysis.studies.room import capability
from analysis.studies.room.beside import with_gauge_out
from analysis.studies.room.room import room
from analysis.studies.story.conformity import BUILT, SET, SHIPPED
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts.capability_map import MapCell, MapView, capability_map
from dashboard.desk import desk
from dashboard.pages import planning
from dashboard.pages.capability import beside
from dashboard.pages.capability import rest as capability_rest
from dashboard.pages.held import held
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

PATH, NAME = "/capability", "Capability"
WHEN, CHARACTERISTIC, MODEL, BY = "capability-when", "capability-characteristic", "capability-model", "capability-by"
ALL, EVERYBODY, PER_TECH = "all", "everybody", "each tech"
MEANING = {
    BUILT: "first play-test readings",
    SET: "first final-inspection readings",
    SHIPPED: "last final-inspection readings, after inspection sorted them",
}
FEW = 30
SHOWN = 60  # rows of people; then a count


def layout(
    when: str | None = None,
    characteristic: str | None = None,
    model: str | None = None,
    by: str | None = None,
    **_address: str,
) -> Any:
    """The page as its address asks for it."""
    snapshot = desk.here().snapshot()
    shop = snapshot.shop
    when = addresses.chosen(when, (BUILT, SET, SHIPPED), SET) or SET
    found = desk.ask(room, when=when)
    if found.is_empty():
        empty = parts.empty_state(
            "No reading of a final inspection or play test is on file yet.", "Load a log", "/logs"
        )
        return parts.page(
            parts.page_head("Nothing to judge yet.", "Capability stands here once readings with limits are loaded."),
            empty,
        )
    characteristic = addresses.chosen(characteristic, found["characteristic"].unique().to_list(), None)
    model = addresses.chosen(model, found["model"].unique().to_list(), None)
    by = addresses.chosen(by, (EVERYBODY, PER_TECH), EVERYBODY) if shop.people.show != "none" else EVERYBODY
    seen = found.filter(
        (pl.col("characteristic") == (characteristic or pl.col("characteristic")))
        & (pl.col("model") == (model or pl.col("model")))
    )
    return parts.page(
        parts.page_head(_headline(seen, shop, when), _under(seen, when)),
        _filters(found, shop, when, characteristic, model, by or EVERYBODY),
        held("All models at a glance", _map, seen, shop, when),
        held("The figures", _table, shop, when, characteristic, model, by),
        held(beside.NAME, beside.sheet, shop, characteristic, model),
        parts.row(
            "66",
            held("What the rest does", capability_rest.settling_sheet, shop, characteristic, model),
            held("What goes with the air", capability_rest.air_sheet, shop, characteristic, model),
        ),
        held(planning.NAME, planning.ppk),
    )


def _headline(seen: pl.DataFrame, shop: Shop, when: str) -> str:
    """What is furthest from fitting between its limits, if that can be said."""
    limited = seen.filter(pl.col("ppk").is_not_null() & ~pl.col("flags").str.contains(capability.THIN))
    if limited.is_empty():
        return "No stream with limits has readings enough to say how much room is left."
    tight = limited.filter(pl.col("ppk_high") < 1)
    if tight.is_empty():
        worst = limited.sort("ppk").row(0, named=True)
        return f"Nothing clearly needs more than its tolerance; {_what(shop, worst)} has the least room."
    worst = tight.sort("ppk").row(0, named=True)
    need = "needs more than its tolerance" if len(tight) == 1 else "need more than their tolerance"
    many = f"{numbers.in_words(len(tight), capital=True)} of {numbers.count(len(limited))} {need}"
    share = numbers.share_range(worst["share_low"], worst["share_high"], worst["n"])
    return f"{many}, {_what(shop, worst)} most: {numbers.of(worst['outside'], worst['n'])} outside {when} ({share})."


def _what(shop: Shop, row: dict[str, Any]) -> str:
    return f"{sentences.characteristic(shop, row['characteristic'], row['position']).lower()} on {row['model']}"


def _under(seen: pl.DataFrame, when: str) -> str:
    return f"{when.capitalize()}: {MEANING[when]}, under the limits now in force. {numbers.count(len(seen))} streams."


def _filters(
    found: pl.DataFrame, shop: Shop, when: str, characteristic: str | None, model: str | None, by: str
) -> html.Div:
    every = [{"value": ALL, "label": "All"}]
    kinds = [
        {"value": key, "label": shop.characteristic_name(key)}
        for key in found["characteristic"].unique(maintain_order=True)
    ]
    return parts.fields(
        parts.field("Readings", WHEN, when, [{"value": w, "label": w.capitalize()} for w in (BUILT, SET, SHIPPED)]),
        parts.field("Characteristic", CHARACTERISTIC, characteristic or ALL, every + kinds),
        parts.field(
            "Model",
            MODEL,
            model or ALL,
            every + [{"value": m, "label": m} for m in sorted(found["model"].unique().to_list())],
        ),
        parts.field(
            "Table for",
            BY,
            by,
            [{"value": b, "label": b.capitalize()} for b in (EVERYBODY, PER_TECH)],
            style={"display": "none"} if shop.people.show == "none" else {},
        ),
    )


def _map(seen: pl.DataFrame, shop: Shop, when: str) -> html.Section:
    order = {item.key: place for place, item in enumerate(shop.characteristics)}
    place = pl.col("characteristic").replace_strict(order, default=len(order), return_dtype=pl.Int64)
    rows = seen.select("characteristic", "position").unique().sort(place, "position")
    places = {(c, p): k for k, (c, p) in enumerate(rows.iter_rows())}
    columns = {m: k for k, m in enumerate(sorted(seen["model"].unique().to_list()))}
    cells = [
        _cell(row, places[row["characteristic"], row["position"]], columns[row["model"]], shop)
        for row in seen.iter_rows(named=True)
    ]
    view = MapView([sentences.characteristic(shop, c, p) for c, p in places], list(columns), cells)
    finding = _headline(seen, shop, when)
    line = "middle 99.7 % of readings; thick: middle half; hole: mean"
    key = parts.key(("board", "asked: limits"), ("interval", line), ("outside", "the line leaves the board"))
    say = (
        "Ppk with its 95 % bounds stands below each. A stream that is not steady, thin or read too coarsely says "
        "so: its Ppk is no promise."
    )
    small = html.P(say, className="small")
    chart = parts.graph(parts.both(capability_map, view), finding, "capability-map")
    return parts.sheet("All models at a glance", "one scale, shares of the tolerance", [chart, key, small])


def _cell(row: dict[str, Any], place: int, column: int, shop: Shop) -> MapCell:
    lower, upper = row["lower"], row["upper"]
    if (lower is None and upper is None) or row["sd"] is None:
        instead = (
            "no limits"
            if row["sd"] is not None
            else f"{numbers.count(row['n'])} {'reading' if row['n'] == 1 else 'readings'}"
        )
        return MapCell(place, column, instead=instead)
    width = (upper - lower) if lower is not None and upper is not None else max(row["high"] - row["low"], 1e-12)
    base = lower if lower is not None else upper - width
    shares = {name: (row[name] - base) / width for name in ("low", "quarter", "mean", "three_quarters", "high")}
    flags = ", ".join(word for word in row["flags"].split(";") if word)
    told = (
        f"{_what(shop, row)}: {numbers.of(row['outside'], row['n'])} outside, "
        f"{numbers.share_range(row['share_low'], row['share_high'], row['n'])}"
    )
    ppk = numbers.plain(row["ppk"]) if row["ppk"] is not None else ""
    bounds = numbers.span(row["ppk_low"], row["ppk_high"]) if row["ppk_low"] is not None else ""
    return MapCell(
        place,
        column,
        has_lower=lower is not None,
        has_upper=upper is not None,
        ppk=ppk,
        bounds=bounds,
        flags=flags,
        told=told,
        key=f"{row['characteristic']}|{row['position']}|{row['model']}",
        **shares,
    )


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
    return rows if characteristic else rows.filter(pl.col("stage").is_in(here))


def _table(shop: Shop, when: str, characteristic: str | None, model: str | None, by: str | None) -> html.Section:
    """The capability figures of every stage, or each tech's own: by stream and spec in force."""
    rows = _rows(when, characteristic, model, by)
    columns = [
        ("what", "Stream"),
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
        "a row a stream and limits in force; choose a characteristic to see every stage"
        if not characteristic
        else "every stage"
    )
    if rows.is_empty():
        return parts.sheet("The figures", right, html.P("No stream with limits here.", className="small"))
    if rows["stage"].n_unique() == 1:
        del columns[1]
    told = [_line(row, shop) for row in rows.iter_rows(named=True)]
    save = parts.save_whole("capability", when=when, characteristic=characteristic, model=model, by=by)
    if by != PER_TECH:
        return parts.sheet("The figures", right, [parts.grid(told, columns, "capability-figures"), save])
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
    kind, shown = sentences.quantity(shop, row["characteristic"]), shop.shop.length
    scale = numbers.in_unit(1.0, kind, shown=shown)

    def amount(value: float | None, more: int = 0) -> str:
        if value is None:
            return numbers.NONE
        return numbers.plain(scale * value, numbers.decimals_of(kind, shown=shown, mean=True) + more)

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
        "mean": amount(row["mean"]),
        "sd": f"{amount(row['sd_short'], 1)}, {amount(row['sd_long'], 1)}",
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


def connect(app: Dash) -> None:
    """The page's callbacks."""
    parts.filters_to_address(
        app, PATH, {"when": WHEN, "characteristic": CHARACTERISTIC, "model": MODEL, "by": BY}, everything=ALL
    )

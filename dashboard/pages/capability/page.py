"""Capability: who needs more than the tolerance, the hungriest first; one stream in full; the rest folded."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from typing import Any

import polars as pl
from dash import Dash, html

from analysis.studies.room import capability
from analysis.studies.room.coarse_of_late import coarse_of_late
from analysis.studies.room.need import needs, readings_reach
from analysis.studies.story.conformity import BUILT, SET, SHIPPED
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts.room_left import Need, NeedRow, room_left
from dashboard.desk import desk, gauges_now
from dashboard.pages import days, gauges, planning
from dashboard.pages import period as periods
from dashboard.pages.capability import beside, figures, one, under
from dashboard.pages.capability import rest as capability_rest
from dashboard.pages.capability.figures import EVERYBODY, PER_TECH, saved
from dashboard.pages.folds import Fold, folded
from dashboard.pages.held import held
from dashboard.sentences import coarse as sentences_coarse
from dashboard.sentences import gauges as sentences_gauges
from dashboard.sentences import room as words
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

__all__ = ["NAME", "PATH", "connect", "layout", "saved"]

PATH, NAME = "/capability", "Capability"
WHEN, CHARACTERISTIC, MODEL, BY = "capability-when", "capability-characteristic", "capability-model", "capability-by"
SINCE, UNTIL = "capability-since", "capability-until"
ALL = "all"
OVER = timedelta(weeks=2)  # without a reading outside: it is said since when
TIGHT = pl.col("ppk_high") < 1  # surely needs more than its tolerance


def layout(
    when: str | None = None,
    characteristic: str | None = None,
    model: str | None = None,
    by: str | None = None,
    **address: str,
) -> Any:
    """The page as its address asks for it; `from`, `to`: only readings of these days."""
    snapshot = desk.here().snapshot()
    shop = snapshot.shop
    when = addresses.chosen(when, (BUILT, SET, SHIPPED), SET) or SET
    period = periods.read(address)
    every = found = desk.ask(needs, when=when)
    if period:
        found = desk.ask(needs, when=when, first=period.first, last=period.last)
    known = every if every.columns or when == SET else desk.ask(needs, when=SET)
    if not every.columns and not known.is_empty():  # none as it is asked for: the fields lead back to those there are
        head = parts.page_head(f"No reading with limits {when}.", "Readings as set are on file.")
        fields = _filters(known, shop, (when, None, None, EVERYBODY), period)
        return parts.page(head, fields, parts.empty_state("As set there are some.", "As set", PATH))
    if every.columns and found.is_empty() and not every.is_empty():
        return _empty(every, shop, period, {"when": when, "characteristic": characteristic, "model": model})
    if found.is_empty():
        return under.nothing(shop, address)
    characteristic = addresses.chosen(characteristic, found["characteristic"].unique().to_list(), None)
    model = addresses.chosen(model, found["model"].unique().to_list(), None)
    by = addresses.chosen(by, (EVERYBODY, PER_TECH), EVERYBODY) if shop.people.show != "none" else EVERYBODY
    asked = {"when": when if when != SET else None, "characteristic": characteristic, "model": model}
    asked |= {"by": by if by == PER_TECH else None, "stream": address.get("stream"), "open": address.get("open")}
    asked |= {name: address.get(name) for name in ("sort", "page", "word")} | period.address
    seen = found.filter(
        (pl.col("characteristic") == (characteristic or pl.col("characteristic")))
        & (pl.col("model") == (model or pl.col("model")))
    )
    chosen = one.chosen(found, asked["stream"])
    resting = sentences_gauges.every(gauges_now.out_of_order(), shop)
    late = desk.ask(coarse_of_late)
    late = late.filter(pl.col("characteristic").is_in(seen["characteristic"].unique().to_list()))
    grain = sentences_coarse.every(late, shop, sentences.local(shop, desk.here().snapshot().as_of).date())
    return parts.page(
        parts.page_head(
            gauges.headline() if asked["open"] == "gauges" else _headline(seen, shop, when),
            under.under(seen, when, period, whole=not characteristic and not model),
        ),
        _filters(found, shop, (when, characteristic, model, by or EVERYBODY), period),
        *([step] if (step := _next(seen, shop)) else []),
        *([html.P(resting, className="small")] if resting else []),
        *([html.P(grain, className="small")] if grain else []),
        held("Room left", _room_left, seen, asked, shop, when),
        *([held("One series", one.sheet, chosen, shop, when, period)] if chosen is not None else []),
        folded(_folds(asked, shop), PATH, asked),
    )


def _empty(every: pl.DataFrame, shop: Shop, period: periods.Period, asked: dict[str, str | None]) -> html.Div:
    """No reading in these days: says so, with the way back to all of them."""
    first, last = desk.ask(readings_reach, when=str(asked["when"]))
    head = parts.page_head(
        f"No reading with limits {asked['when']} {period.words()}".rstrip() + ".",
        f"On file are readings from {numbers.day(first)} {first.year} to {numbers.day(last)} {last.year}.",
    )
    fields = _filters(every, shop, (str(asked["when"]), None, None, EVERYBODY), period)
    return parts.page(head, fields, parts.empty_state("Other days have some.", "All days", PATH))


def _folds(asked: dict[str, str | None], shop: Shop) -> list[Fold]:
    characteristic, model = asked["characteristic"], asked["model"]
    when, by = asked["when"] or SET, asked["by"]
    return [
        Fold(
            "figures",
            "The figures",
            "every series with limits: Ppk, Cpk, shares outside, as a table to sort and save",
            lambda: figures.sheet(shop, when, {**asked, "by": by}),
        ),
        Fold("gauges", gauges.NAME, gauges.headline(), lambda: gauges.inside(shop, asked)),
        Fold(
            "beside",
            beside.NAME,
            "received apart from as set, and next month at this pace",
            lambda: beside.sheet(shop, characteristic, model),
        ),
        Fold(
            "rest",
            "What the rest does",
            "first final reading less the last before the rest",
            lambda: capability_rest.settling_sheet(shop, characteristic, model),
        ),
        Fold(
            "air",
            "What goes with the air",
            "readings that follow the humidity by a tenth of their spread",
            lambda: capability_rest.air_sheet(shop, characteristic, model),
        ),
        Fold("plan", planning.NAME, "instruments that a Ppk above 1.33 asks for", planning.ppk),
    ]


def _headline(seen: pl.DataFrame, shop: Shop, when: str) -> str:
    """What is furthest from fitting between its limits, if that can be said."""
    limited = _sure(seen)
    if limited.is_empty():
        return "No series with limits has readings enough to say how much room is left."
    tight = limited.filter(TIGHT)
    if tight.is_empty():
        worst = limited.sort("ppk").row(0, named=True)
        return f"Nothing clearly needs more than its tolerance; {words.what(shop, worst)} has the least room."
    worst, of = _worst(tight)
    many = _many(tight, len(limited))
    read = words.when_read(shop, worst, when)
    share = numbers.share_range(worst["share_low"], worst["share_high"], worst["n"])
    if not worst["outside"]:
        none = f"though none of {numbers.count(worst['n'])} was outside {read} ({share})"
        return f"{many}, {of}{words.what(shop, worst)} most: it {one.need_words(worst)}, {none}."
    over = worst["last_day"] - worst["outside_last"] > OVER
    since = f", none since {numbers.day(worst['outside_last'], worst['last_day'])}" if over else ""
    out = f"{numbers.of(worst['outside'], worst['n'])} outside {read}"
    return f"{many}, {of}{words.what(shop, worst)} most: {out} ({share}){since}."


def _many(tight: pl.DataFrame, limited: int) -> str:
    """How many need more than their tolerance; of those that moved meanwhile it is said that they first need their
    cause.
    """
    moved = tight.filter(pl.col("flags").str.contains(capability.NOT_STEADY)).height
    counted = len(tight) - moved or len(tight)
    need = "series needs more than its tolerance" if counted == 1 else "series need more than their tolerance"
    many = f"{numbers.of_in_words(counted, limited)} {need}"
    if not moved:
        return many
    if moved == len(tight):
        return f"{many} (moved meanwhile: what moved them comes first)"
    more = f"{numbers.in_words(moved)} more moved meanwhile and need{'s' if moved == 1 else ''}"
    return f"{many} ({more} {'its' if moved == 1 else 'their'} cause first)"


def _worst(tight: pl.DataFrame) -> tuple[dict[str, Any], str]:
    """What needs most of those that are steady, else of all, and of which that is said: what has moved meanwhile needs
    no other tolerance, it needs its cause.
    """
    rows = tight.sort("ppk")
    steady = rows.filter(~pl.col("flags").str.contains(f"{capability.NOT_STEADY}|{capability.SLIPS}"))
    first, worst = (part.row(0, named=True) for part in (rows, steady if len(steady) else rows))
    return worst, "" if first == worst else "of the steady ones "


def _next(seen: pl.DataFrame, shop: Shop) -> html.P | None:
    """What to do about what needs most; nothing where nothing clearly does."""
    tight = _sure(seen).filter(TIGHT)
    if tight.is_empty():
        return None
    return html.P([html.B("Next: "), words.next_step(shop, _worst(tight)[0])], className="next")


def _sure(seen: pl.DataFrame) -> pl.DataFrame:
    """The series with readings enough to say how much room is left."""
    return seen.filter(~pl.col("flags").str.contains(capability.THIN))


def _filters(
    found: pl.DataFrame, shop: Shop, chosen: tuple[str, str | None, str | None, str], period: periods.Period
) -> html.Div:
    when, characteristic, model, by = chosen
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
            every
            + [{"value": m, "label": sentences.model(shop, m)} for m in sorted(found["model"].unique().to_list())],
        ),
        parts.field(
            "Table for",
            BY,
            by,
            [{"value": b, "label": b.capitalize()} for b in (EVERYBODY, PER_TECH)],
            style={"display": "none"} if shop.people.show == "none" else {},
        ),
        *periods.fields(period, SINCE, UNTIL),
    )


def _room_left(seen: pl.DataFrame, asked: dict[str, str | None], shop: Shop, when: str) -> html.Section:
    """A row a characteristic, a dot a model at the share of its tolerance that it needs."""
    rows = _need_rows(seen, shop)
    needs = seen.filter(pl.col("need").is_not_null())
    sure = needs.filter(~pl.col("flags").str.contains(capability.THIN))
    far = (sure if len(sure) else needs)["need"].max()  # a thin one beyond stands at the edge
    view = parts.both(room_left, rows, end=end_of(float(str(far or 1.0))))
    chart = parts.graph(
        view, _headline(seen, shop, when), "capability-room", _table(rows), leads=partial(to_stream, asked)
    )
    right = "a dot a model, the greatest need first; each opens its readings"
    return parts.sheet("Room left", right, [chart, html.P(words.DOTS, className="small")])


def end_of(largest: float) -> float:
    """Where the axis ends: past the largest need, at twice the tolerance or more."""
    return max(2.2, largest * 1.06)


def to_stream(asked: dict[str, str | None], key: str) -> str:
    """Where a dot leads: its stream, below on this page."""
    told = key.split("|")
    if len(told) != 3:
        return ""
    characteristic, position, model = told
    return addresses.address(PATH, **{**asked, "stream": f"{characteristic}|{position}|{model}"})


def _need_rows(seen: pl.DataFrame, shop: Shop) -> list[NeedRow]:
    rows = []
    for (key, position), part in seen.group_by("characteristic", "position", maintain_order=True):
        needs = [_need(row, shop) for row in part.iter_rows(named=True)]
        most, clear = part.row(0, named=True), int(part["more"].sum())
        say = f"{numbers.of(clear, len(part))} need more" if clear else "none clearly needs more"
        if most["outside"]:
            say += f"; {most['model']}: {numbers.of(most['outside'], most['n'])} out"
        rows.append(NeedRow(sentences.characteristic(shop, str(key), str(position)), needs, say))
    return rows


def _need(row: dict[str, Any], shop: Shop) -> Need:
    doubt = "" if row["promise"] else f", {one.doubts(row)}"
    at = f" at {bench}" if (bench := words.at_bench(shop, row)) else ""
    told = (
        f"{words.what(shop, row)}: {one.need_words(row)}; {numbers.of(row['outside'], row['n'])} outside{at}, "
        f"{numbers.share_range(row['share_low'], row['share_high'], row['n'])}{doubt}"
    )
    key = f"{row['characteristic']}|{row['position']}|{row['model']}"
    return Need(row["model"], row["need"], row["need_low"], row["need_high"], row["promise"], key, told)


def _table(rows: list[NeedRow]) -> html.Div:
    told = [{"what": row.name, "models": len(row.needs), "most": row.needs[0].told} for row in rows]
    return parts.plain_table(told, [("what", "Characteristic"), ("models", "Models", "n"), ("most", "Needs most")])


def connect(app: Dash) -> None:
    """The page's callbacks."""
    parts.filters_to_address(
        app,
        PATH,
        {"when": WHEN, "characteristic": CHARACTERISTIC, "model": MODEL, "by": BY, "from": SINCE, "to": UNTIL},
        everything=ALL,
        usual={"when": SET, "by": EVERYBODY},
        typed=days.FROM_TO,
    )

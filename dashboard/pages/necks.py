"""Necks: what came lot by lot, what bow goes with, where the differences sit, and what the talk with a supplier
needs.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import polars as pl
from dash import Dash, html

from analysis.methods.problems import UnusableData
from analysis.studies.necks import bow, lots, necks, offers
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts.cost import CostView, cost
from dashboard.charts.lots import DEEP, LotRow, LotsView
from dashboard.charts.lots import lots as lot_strip
from dashboard.charts.parts_of_whole import variance
from dashboard.desk import desk
from dashboard.pages import planning
from dashboard.pages.held import held
from dashboard.sentences import necks as sentences_necks
from ingest.shopfiles.shop import Shop

PATH, NAME = "/necks", "Necks"
COSTED = 3  # lots in doubt whose cost is told
SUPPLIER, MODEL, GOES = "necks-supplier", "necks-model", "necks-goes"
ALL = "all"
STRIPS = 10  # lots drawn, newest first; all stand in the table


def layout(
    supplier: str | None = None,
    model: str | None = None,
    goes: str | None = None,
    lot: str | None = None,
    **_address: str,
) -> Any:
    """The page as its address asks for it."""
    snapshot = desk.here().snapshot()
    shop = snapshot.shop
    found = desk.ask(necks.by_lot)
    if found.is_empty():
        empty = parts.empty_state(
            "No neck has been measured at receiving yet. Wanted: bow at a receiving stage, with supplier and lot.",
            "Load a log",
            "/logs",
        )
        return parts.page(
            parts.page_head("No incoming neck to judge yet.", "Lots stand here once receiving logs are loaded."), empty
        )
    name = desk.ask(bow.neck_bow)
    found = found.filter(pl.col("characteristic") == name)
    models = sorted({one for text in found["models"].to_list() for one in text.split(", ")})
    supplier = addresses.chosen(supplier, found["supplier"].unique().to_list(), None)
    model = addresses.chosen(model, models, None)
    measure = addresses.chosen(goes, bow.MEASURES, None) or first_measure(shop)
    seen = found.filter(pl.col("supplier") == supplier) if supplier else found
    seen = seen.filter(pl.col("models").str.split(", ").list.contains(model)) if model else seen
    seen = seen.filter(pl.col("lot") == lot) if lot and lot in seen["lot"].to_list() else seen
    if seen.is_empty():
        seen = found
    rows = newest_first(seen, shop)
    return parts.page(
        parts.page_head(sentences_necks.headline(rows, shop), _under(rows, shop, name)),
        _filters(found, models, supplier, model, measure),
        held("Lots", _strips, rows, shop, name),
        held("Lot by lot", _table, rows, shop, name),
        parts.row(
            "75",
            held("What goes with bow", _goes, shop, measure, rows),
            held("Where necks differ", _differences, name, model, rows),
        ),
        held("For the talk", _talk, rows, shop, supplier),
        held(planning.NAME, planning.suppliers, shop, name, model),
    )


def first_measure(shop: Shop) -> str:
    """What bow is held against first: minutes at neck straightening, in a shop that has such a stage."""
    return "straightening" if shop.rod_stages("relief") else "minutes"


def newest_first(found: pl.DataFrame, shop: Shop) -> list[dict[str, Any]]:
    """Rows of necks.by_lot by the day they came."""
    return sorted(
        found.iter_rows(named=True), key=lambda row: (sentences_necks.received(row, shop), row["lot"]), reverse=True
    )


def to_draw(rows: list[dict[str, Any]], most: int) -> list[dict[str, Any]]:
    """Which lots are drawn: those that the plan does not take, at most half of them all, and the newest; newest
    first.
    """
    doubtful = [row for row in rows if row["verdict"] == lots.REJECT][: most // 2]
    others = [row for row in rows if row not in doubtful][: most - len(doubtful)]
    return [row for row in rows if row in doubtful or row in others]


def _under(rows: list[dict[str, Any]], shop: Shop, name: str) -> str:
    many = (
        f"{numbers.count(len(rows))} {'lot' if len(rows) == 1 else 'lots'}, "
        f"{numbers.count(sum(row['n'] for row in rows))} necks"
    )
    return (
        f"{shop.characteristic_name(name)} at receiving, first reading, the larger of the edges where two are read. "
        f"{many}. "
        f"{sentences_necks.linked(desk.ask(necks.parts))}"
    )


def _filters(found: pl.DataFrame, models: list[str], supplier: str | None, model: str | None, measure: str) -> html.Div:
    every = [{"value": ALL, "label": "All"}]
    suppliers = [
        {"value": one, "label": one or "no supplier named"}
        for one in sorted(found["supplier"].unique().to_list())
        if one
    ]
    return parts.fields(
        parts.field("Supplier", SUPPLIER, supplier or ALL, every + suppliers),
        parts.field("Model", MODEL, model or ALL, every + [{"value": one, "label": one} for one in models]),
        parts.field(
            "Bow against",
            GOES,
            measure,
            [{"value": one, "label": words[:1].upper() + words[1:]} for one, words in sentences_necks.GOES.items()],
            style={"minWidth": "330px"},
        ),
    )


def strip(shop: Shop, rows: list[dict[str, Any]], name: str, *, links: bool = True) -> LotsView:
    """The lots as they are drawn, a supplier's together; `links` to each lot's readings."""
    measured = desk.ask(lots.necks).filter(pl.col("characteristic") == name)
    values = dict(measured.group_by("supplier", "lot", maintain_order=True))
    plans = plans_in_words()
    scale = numbers.in_unit(1.0, "length", shown=shop.shop.length)
    order = {one: place for place, one in enumerate(dict.fromkeys(row["supplier"] for row in rows))}
    drawn = []
    for row in sorted(rows, key=lambda row: order[row["supplier"]]):  # a supplier's lots stay newest first
        group = values[row["supplier"], row["lot"]]
        verdict, words = sentences_necks.VERDICTS.get(row["verdict"] or "", ("", ""))
        words = sentences_necks.more(row, plans) if row["verdict"] == lots.TOO_FEW else words
        half = (row["mean_high"] - row["mean"]) * scale if row["mean_high"] is not None else None
        href = (
            addresses.address("/logs/readings", characteristic=name, supplier=row["supplier"], lot=row["lot"])
            if links
            else ""
        )
        drawn.append(
            LotRow(
                row["supplier"],
                row["lot"] or "no lot named",
                numbers.day(sentences_necks.received(row, shop)),
                (group["value"] * scale).to_list(),
                [serial or part for serial, part in zip(group["serial"], group["part"], strict=True)],
                _scaled(row["lower"], scale),
                _scaled(row["upper"], scale),
                row["mean"] * scale,
                half,
                f"{sentences_necks.outside(row)} outside" if row["outside"] is not None else "",
                sentences_necks.in_strip(row),
                verdict,
                words,
                row["verdict"] == lots.REJECT,
                href,
                sentences_necks.on_limit_in_strip(row),
                marks(group),
            )
        )
    return LotsView(drawn, shop.shop.length, numbers.decimals_of("length", shown=shop.shop.length), DEEP / scale)


def marks(measured: pl.DataFrame) -> str:
    """A letter a neck for the charts: x outside, = on the limit, - inside."""
    told = measured.select(
        pl.when("outside").then(pl.lit("x")).when("on_limit").then(pl.lit("=")).otherwise(pl.lit("-")).alias("mark")
    )
    return "".join(told["mark"])


def _scaled(value: float | None, scale: float) -> float | None:
    return None if value is None else value * scale


def plans_in_words() -> list[necks.PlanWords]:
    """What each agreed plan does; one that takes every lot is left to shop.toml's own complaint."""
    shop = desk.here().snapshot().shop
    return [
        desk.ask(necks.plan_words, plan=plan) for plan in shop.plans if plan.accept is None or plan.accept < plan.sample
    ]


def _strips(rows: list[dict[str, Any]], shop: Shop, name: str) -> html.Section:
    shown = to_draw(rows, STRIPS)
    left = f"{numbers.count(len(rows) - len(shown))} other lots stand in the table." if len(rows) > len(shown) else ""
    chart = parts.graph(
        parts.both(lot_strip, strip(shop, shown, name)), sentences_necks.headline(rows, shop), "necks-lots"
    )
    words = {sentences_necks.limits(row, shop) for row in shown}
    asked = (
        f"on the board: within {words.pop()}"
        if len(words) == 1
        else "on the board: within the limits in force for each lot"
    )
    told = [
        html.P(text, className="small")
        for one in plans_in_words()
        if one.characteristic == name
        for text in sentences_necks.plan(one, shop)
    ]
    said = told or [
        html.P("No plan is agreed (a [[plan]] in shop.toml), so no lot is taken or refused here.", className="small")
    ]
    title = "Lots, newest first" if len(shown) == len(rows) else "Lots not taken, and the newest"
    return parts.sheet(
        title,
        f"one dot a neck, crosses outside, rings on the limit; {asked}; necks drawn sixty times too deep",
        [chart, html.P(left, className="small"), *said, _offers(name)],
    )


def _offers(name: str) -> Any:
    """Which plan to agree on: cost against risk."""
    rows = [
        {
            "plan": sentences_necks.offered(offer),
            "good": numbers.share(offer.accepted_at[0], 100),
            "half": numbers.share(offer.accepted_at[1], 100),
            "bad": numbers.share(offer.accepted_at[2], 100),
            "minutes": numbers.count(round(offer.minutes)),
            "file": numbers.of(offer.refused, offer.judged) if offer.judged else numbers.NONE,
        }
        for offer in desk.ask(offers.offers, characteristic=name)
    ]
    columns = [
        ("plan", "Plan"),
        ("good", "Outside, passes 19 in 20", "n wide-only"),
        ("half", "Passes half the time", "n"),
        ("bad", "Passes 1 in 10", "n"),
        ("minutes", "Minutes a lot", "n"),
        ("file", "Lots on file refused", "n wide-only"),
    ]
    return parts.behind(parts.plain_table(rows, columns), "Which plan to agree on: what each would let through")


def _table(rows: list[dict[str, Any]], shop: Shop, name: str) -> html.Section:
    unit = shop.shop.length
    plans = plans_in_words()
    told = []
    for row in rows:
        href = addresses.address("/logs/readings", characteristic=name, supplier=row["supplier"], lot=row["lot"])
        words = sentences_necks.VERDICTS.get(row["verdict"] or "", ("", "no plan"))[1]
        measured = sentences_necks.VERDICTS.get(row["measured_verdict"] or "", ("", numbers.NONE))[1]
        told.append(
            {
                "lot": parts.to_readings(href, row["lot"] or "no lot named"),
                "supplier": row["supplier"],
                "day": numbers.day(sentences_necks.received(row, shop)),
                "n": f"{numbers.count(row['n'])}{', few' if row['few'] else ''}",
                "mean": sentences_necks.mean(row, shop),
                "sd": sentences_necks.sd(row, shop),
                "edges": sentences_necks.edges(row, shop),
                "ppk": sentences_necks.ppk(row),
                "outside": sentences_necks.outside_in_table(row),
                "expected": numbers.share(row["expected_outside"], row["n"]),
                "verdict": sentences_necks.more(row, plans) if row["verdict"] == lots.TOO_FEW else words,
                "measured": measured,
                "state": sentences_necks.state(row),
            }
        )
    columns = [
        ("lot", "Lot"),
        ("supplier", "Supplier", "wide-only"),
        ("day", "Came", "n wide-only"),
        ("n", "n", "n"),
        ("mean", f"Mean, {unit} (95 %)", "n"),
        ("sd", f"Spread, {unit} (95 %)", "n wide-only"),
        ("edges", "Edges, bass less treble", "n wide-only"),
        ("ppk", "Ppk (95 %)", "n wide-only"),
        ("outside", "Outside (95 %)", "n"),
        ("expected", "By mean and spread", "n wide-only"),
        ("verdict", "Plan by counting"),
        ("measured", "By measuring", "wide-only"),
        ("state", "Measured at", "wide-only"),
    ]
    table = parts.behind(
        parts.plain_table(told, columns, caption="Every lot with its figures"),
        f"The figures of {numbers.count(len(rows))} lots",
    )
    say = (
        "Ppk holds only for bow that follows a normal curve; beside it stands the count, which needs none. "
        f"{sentences_necks.gauge(rows[0])}"
    )
    return parts.sheet("Lot by lot", "against the purchase limits in force", [table, html.P(say, className="small")])


def _goes(shop: Shop, measure: str, rows: list[dict[str, Any]]) -> html.Section:
    title, right = "What goes with bow", sentences_necks.GOES[measure]
    try:
        found = desk.ask(bow.goes_with, measure=measure)
    except UnusableData as problem:
        return parts.sheet(title, right, parts.problem_state(str(problem)))
    say = sentences_necks.per_tenth(found, shop)
    chart = parts.graph(
        parts.both(cost, cost_view(found, shop, rows[0]["upper"])), say, "necks-bow", _steps(found, shop)
    )
    said = [html.P(say)]
    if measure in ("minutes", "straightening"):
        try:
            stops = sentences_necks.where_it_stops(desk.ask(bow.limits), shop)
        except UnusableData as problem:
            stops = f"Where the next tenth stops paying: {problem}."
        said.append(html.P(stops))
    doubtful = [row for row in rows if row["verdict"] == lots.REJECT][:COSTED]
    told = lot_costs(doubtful, measure) if doubtful else {}
    said += [html.P(sentences_necks.lot_cost(cost, lot, measure, shop)) for lot, cost in told.items()]
    said.append(
        html.P(
            "What goes with bow need not come of it. Intervals take lots, not necks, as independent.", className="small"
        )
    )
    return parts.sheet(title, right, [chart, *said])


def lot_costs(rows: list[dict[str, Any]], measure: str) -> dict[str, bow.LotCost]:
    """What went with the bow of these lots, by the lot's name; those without judged necks are left out."""
    try:
        every = desk.ask(bow.cost_of_lots, measure=measure)
    except UnusableData:
        return {}
    found = {row["lot"]: every.get((row["supplier"], row["lot"])) for row in rows}
    return {lot: cost for lot, cost in found.items() if cost is not None}


def cost_view(found: bow.Goes, shop: Shop, agreed: float | None) -> CostView:
    """What goes with bow, as it is drawn."""
    scale = numbers.in_unit(1.0, "length", shown=shop.shop.length)
    share = 100.0 if found.measure in ("send_backs", "rejected") else 1.0
    unit = "in a hundred" if share > 1 else "min"
    words = f"{numbers.plain(found.slope * share, 1)} {unit} a tenth of a mm"
    if found.bends < sentences_necks.BENT and found.levels:
        last = found.levels[-1]
        words = f"{numbers.signed(last.more * share, 1)} {unit} at {sentences_necks.length(shop, last.bow)}"
    return CostView(
        ((found.step_from + bow.STEP / 2) * scale).tolist(),
        (share * found.step_mean).tolist(),
        (share * found.step_low).tolist(),
        (share * found.step_high).tolist(),
        found.step_n.tolist(),
        (found.line_x * scale).tolist(),
        (share * found.line).tolist(),
        (share * found.line_low).tolist(),
        (share * found.line_high).tolist(),
        _scaled(agreed, scale),
        f"agreed: {sentences_necks.length(shop, agreed)}" if agreed is not None else "",
        words,
        f"bow at receiving, {shop.shop.length}",
        "in a hundred" if share > 1 else "min",
    )


def _steps(found: bow.Goes, shop: Shop) -> html.Div:
    share, digits = (100.0, 1) if found.measure in ("send_backs", "rejected") else (1.0, 1)
    rows = [
        {
            "bow": f"from {sentences_necks.length(shop, start)}",
            "n": numbers.count(n),
            "mean": numbers.plain(share * mean, digits),
            "range": numbers.span_in_table(share * low, share * high, digits),
        }
        for start, n, mean, low, high in zip(
            found.step_from, found.step_n, found.step_mean, found.step_low, found.step_high, strict=True
        )
    ]
    return parts.plain_table(
        rows, [("bow", "Bow"), ("n", "Necks", "n"), ("mean", "Mean", "n"), ("range", "95 % interval", "n")]
    )


def _differences(name: str, model: str | None, rows: list[dict[str, Any]]) -> html.Section:
    title, right = "Where the differences sit", "share of variance"
    try:
        found = (
            desk.ask(necks.variance, characteristic=name, model=model)
            if model
            else desk.ask(necks.variance, characteristic=name)
        )
    except UnusableData as problem:
        return parts.sheet(title, right, parts.problem_state(str(problem)))
    drawn, say = sentences_necks.split(found, rows[0]["gauge_share"])
    chart = parts.graph(
        parts.both(variance, drawn, quiet_last=rows[0]["gauge_share"] is not None), say, "necks-variance"
    )
    return parts.sheet(
        title, right, [chart, html.P(say, className="small"), html.P(sentences_necks.gauge(rows[0]), className="small")]
    )


def _talk(rows: list[dict[str, Any]], shop: Shop, supplier: str | None) -> html.Section:
    """What is at hand for the talk with one supplier, and the packet."""
    doubtful = [row for row in rows if row["verdict"] == lots.REJECT]
    who = supplier or (doubtful or rows)[0]["supplier"]
    own = [row for row in rows if row["supplier"] == who]
    row = next((one for one in own if one["verdict"] == lots.REJECT), own[0])
    agreed = agreed_on(row["characteristic"], who)
    asks = [
        (
            agreed is not None,
            f"Limits agreed on {numbers.day(agreed)} {agreed.year}"
            if agreed
            else "Day the limits were agreed: not in specs.csv",
        ),
        (
            row["rh"] is not None,
            f"Air when measured: {sentences_necks.state(row) if row['rh'] is not None else 'humidity not on file'}",
        ),
        (
            row["hours_acclimatised"] is not None,
            f"Hours in the room: {'on file' if row['hours_acclimatised'] is not None else 'not on file'}",
        ),
        (row["gauge_share"] is not None, sentences_necks.gauge(row).rstrip(".")),
        (
            row["n"] >= sentences_necks.FEW,
            f"{numbers.count(row['n'])} necks of lot {row['lot']} measured{', few' if row['few'] else ''}",
        ),
        (False, "Photographs with straightedge and scale, necks kept for measuring together: bring them"),
    ]
    lines = [html.P([parts.picture("take" if held else "question"), " ", text]) for held, text in asks]
    links = [
        html.A(
            "Print the neck packet",
            href=addresses.address("/papers/necks", supplier=who),
            target="_blank",
            className="button primary",
        ),
        html.A(
            "with money",
            href=addresses.address("/papers/necks", supplier=who, money=1),
            target="_blank",
            className="button",
        ),
    ]
    half = (len(lines) + 1) // 2
    body = [parts.row("66", html.Div(lines[:half]), html.Div(lines[half:])), html.Div(links, className="acts no-print")]
    return parts.sheet(
        f"For the talk with {who or 'the supplier'}", "the packet names no other supplier and no person", body
    )


def agreed_on(characteristic: str, supplier: str) -> date | None:
    """The last day on which limits that hold for a supplier's necks were agreed, of those in force; None where
    specs.csv has none.
    """
    snapshot = desk.here().snapshot()
    today = snapshot.as_of.astimezone(snapshot.shop.zone).date()
    in_force = pl.col("from_date").is_null() | (pl.col("from_date") <= today)
    rows = snapshot.specs.rows.filter(
        (pl.col("characteristic") == characteristic) & pl.col("supplier").is_in(["", supplier]) & in_force
    )
    return rows["agreed_on"].max()  # type: ignore[return-value]


def connect(app: Dash) -> None:
    """The page's callbacks."""
    parts.filters_to_address(app, PATH, {"supplier": SUPPLIER, "model": MODEL, "goes": GOES}, everything=ALL)

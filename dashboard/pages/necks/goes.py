"""What goes with bow on page Necks, and where necks differ."""

from __future__ import annotations

from typing import Any

from dash import html

from analysis.methods.problems import UnusableData
from analysis.studies.necks import bow, lots, necks
from dashboard import numbers, parts
from dashboard.charts.cost import CostView, cost
from dashboard.charts.parts_of_whole import variance
from dashboard.desk import desk
from dashboard.pages.necks.strips import scaled
from dashboard.pages.necks.talk import agreed_on
from dashboard.sentences import bow as sentences_bow
from dashboard.sentences import neck_gauge
from dashboard.sentences import necks as sentences_necks
from ingest.shopfiles.shop import Shop

COSTED = 3  # lots in doubt whose cost is told


def first_measure(shop: Shop) -> str:
    """What bow is held against first: minutes at neck straightening, in a shop that has such a stage."""
    return "straightening" if shop.straightening else "minutes"


def what_goes(shop: Shop, measure: str, rows: list[dict[str, Any]]) -> html.Section:
    """What goes with bow, and what went with that of the lots in doubt."""
    title, right = "What goes with bow", sentences_bow.GOES[measure]
    try:
        found = desk.ask(bow.goes_with, measure=measure)
    except UnusableData as problem:
        return parts.sheet(title, right, parts.problem_state(str(problem)))
    name = rows[0]["characteristic"]
    say = sentences_bow.per_tenth(found, shop, name)
    agreed = agreed_on(name, rows[0]["supplier"]) is not None
    view = cost_view(found, shop, name, rows[0]["upper"], word="agreed" if agreed else "limit")
    chart = parts.graph(parts.both(cost, view), say, "necks-bow", _steps(found, shop, name))
    said = [html.P(say)]
    if measure in ("minutes", "straightening"):
        try:
            stops = sentences_bow.where_it_stops(desk.ask(bow.limits), shop, name)
        except UnusableData as problem:
            stops = f"Where the next tenth stops paying: {problem}."
        said.append(html.P(stops))
    doubtful = [row for row in rows if row["verdict"] == lots.REJECT][:COSTED]
    told = lot_costs(doubtful, measure) if doubtful else {}
    said += [html.P(sentences_bow.lot_cost(cost, lot, measure, shop)) for lot, cost in told.items()]
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


def cost_view(found: bow.Goes, shop: Shop, name: str, agreed: float | None, *, word: str = "agreed") -> CostView:
    """What goes with bow, the characteristic `name`, as it is drawn; word : what the limit is called."""
    scale = numbers.in_unit(1.0, "length", shown=shop.length_of(name))
    share = 100.0 if found.measure in ("send_backs", "rejected") else 1.0
    unit = "in a hundred" if share > 1 else "min"
    words = f"{numbers.plain(found.slope * share, 1)} {unit} a tenth of a mm"
    if found.bends < sentences_bow.BENT and found.levels:
        last = found.levels[-1]
        words = f"{numbers.signed(last.more * share, 1)} {unit} at {sentences_necks.length(shop, name, last.bow)}"
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
        scaled(agreed, scale),
        f"{word}: {sentences_necks.length(shop, name, agreed)}" if agreed is not None else "",
        words,
        f"bow at receiving, {shop.length_of(name)}",
        "in a hundred" if share > 1 else "min",
    )


def _steps(found: bow.Goes, shop: Shop, name: str) -> html.Div:
    share, digits = (100.0, 1) if found.measure in ("send_backs", "rejected") else (1.0, 1)
    rows = [
        {
            "bow": f"from {sentences_necks.length(shop, name, start)}",
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


def differences(name: str, model: str | None, rows: list[dict[str, Any]]) -> html.Section:
    """Where the differences sit: between suppliers, lots or necks."""
    title, right = "Where the differences sit", "share of variance"
    try:
        found = (
            desk.ask(necks.variance, characteristic=name, model=model)
            if model
            else desk.ask(necks.variance, characteristic=name)
        )
    except UnusableData as problem:
        return parts.sheet(title, right, parts.problem_state(str(problem)))
    drawn, say = sentences_bow.split(found, rows[0]["gauge_share"])
    if found.groups > 1:
        say += " Of readings as they came, with the air and lots that stand apart in them."
    chart = parts.graph(
        parts.both(variance, drawn, quiet_last=rows[0]["gauge_share"] is not None), say, "necks-variance"
    )
    return parts.sheet(
        title, right, [chart, html.P(say, className="small"), html.P(neck_gauge.gauge(rows[0]), className="small")]
    )

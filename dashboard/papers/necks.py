"""The neck packet: evidence on the necks of one supplier for the talk with them. It names no other supplier, no person,
no file and no note.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import polars as pl

from analysis.methods.problems import UnusableData
from analysis.studies.matters import matters
from analysis.studies.matters.records import LOT
from analysis.studies.necks import bow, lots, necks
from analysis.studies.story.unread import unread as unread_rows
from dashboard import numbers
from dashboard.charts.lots import lots as lot_strip
from dashboard.charts.run import RunView, run
from dashboard.desk import desk, gauges_now
from dashboard.pages.necks import after_rest, goes, page, suppliers, talk
from dashboard.pages.necks import strips as drawn_lots
from dashboard.papers.neck_asks import ASKED, asked
from dashboard.papers.paper import Paper, computed_from, named
from dashboard.sentences import after_rest as sentences_rest
from dashboard.sentences import bow as sentences_bow
from dashboard.sentences import matters as sentences_matters
from dashboard.sentences import neck_gauge, unread
from dashboard.sentences import necks as sentences_necks
from dashboard.sentences import suppliers as sentences_suppliers
from dashboard.sentences import talk as sentences_talk
from dashboard.sentences.gauges import beside
from ingest.shopfiles.shop import Shop

STRIPS = 6  # lots drawn, as many as the first page holds
STATES = 4  # states in which lots were measured that are told one by one
Row = dict[str, Any]


def paper(supplier: str, *, money: bool = False, letter: bool = False) -> tuple[str, str]:
    """The packet as a name for its file and its HTML. UnusableData where no neck of the supplier is on file."""
    found = desk.ask(necks.by_lot)
    snapshot = desk.here().snapshot()
    shop = snapshot.shop
    name = desk.ask(bow.neck_bow)
    supplier = named(supplier, found["supplier"].unique().to_list())
    own = found.filter((pl.col("characteristic") == name) & (pl.col("supplier") == supplier))
    if own.is_empty():
        raise UnusableData(
            f"no neck of a supplier called {supplier!r} has been measured at receiving; write the name as it stands "
            "in the logs"
        )
    rows = page.newest_first(own, shop)
    drawn = drawn_lots.to_draw(rows, STRIPS)
    measured = desk.ask(lots.necks).filter((pl.col("characteristic") == name) & (pl.col("supplier") == supplier))
    made = Paper(f"Neck packet for {supplier}", shop.shop.name, computed_from(snapshot), letter=letter)
    first = sentences_necks.foremost(rows)
    headline = sentences_necks.headline(rows, shop)
    leads = after_rest.leading(supplier, shop) or suppliers.leading(name, supplier, shop)
    headline = headline if first is not None else leads or headline
    spent = suppliers.spent(name)
    took = {} if isinstance(spent, str) else {lot: one for (who, lot), one in spent.lots.items() if who == supplier}
    measure = goes.first_measure(shop)
    strip = drawn_lots.strip(
        shop, sorted(drawn, key=lambda row: (row is not first, not row["apart"])), name, links=False
    )
    words = {"bring to the supplier": "not taken", "take": "taken"}
    told = [
        replace(lot, verdict_words=words.get(lot.verdict_words, lot.verdict_words.removeprefix("measure ")))
        for lot in strip.lots
    ]
    strips = made.chart(lot_strip(replace(strip, lots=told), paper=True), headline, phone=lot_strip(strip, narrow=True))
    plans = [
        text
        for one in drawn_lots.plans_in_words()
        if one.characteristic == name and one.supplier in ("", supplier)
        for text in sentences_talk.plan(one, shop)
    ]
    return f"neck-packet-{_file_name(supplier)}", made.html(
        "necks.html",
        supplier=supplier,
        unread=_unread(shop),
        headline=headline,
        what=shop.characteristic_name(name),
        unit=shop.length_of(name),
        lots=[_lot(row, shop, drawn_lots.plans_in_words()) for row in rows],
        many=_many(rows),
        disposed=any(row["disposition"] for row in rows),
        strip=strips,
        left=len(rows) - len(drawn),
        run=_run(made, measured, drawn, shown=shop.length_of(name)),
        how=_how(rows, measured, shop),
        plans=plans,
        minutes=_minutes(shop, supplier, name, money=money),
        money=money,
        aside=sentences_talk.set_aside(desk.ask(necks.implausible, supplier=supplier).rows()),
        asks=asked(
            rows,
            shop,
            _told_of(rows, shop),
            snapshot.as_of.astimezone(shop.zone).date(),
            whole=suppliers.leading(name, supplier, shop),
            took={lot: sentences_suppliers.lot_took(one, measure) for lot, one in took.items()},
            rested=after_rest.asks(supplier, shop),
        ),
        rested=after_rest.of_one(supplier, shop, money=money),
        rested_lots=_rested(rows, shop),
        beside=suppliers.of_one(rows, shop, name, supplier, money=money),
        drawn=_drawn(rows, drawn),
        last_talk=sentences_talk.last_talk(
            desk.ask(necks.since_agreed, characteristic=name, supplier=supplier), shop, name
        ),
        costs=_costs(rows, shop, money),
        serials=serial_list(measured, drawn, shop.length_of(name)),
    )


def _unread(shop: Shop) -> list[str]:
    """What this packet needs and no log tells."""
    return unread.lines(desk.ask(unread_rows), shop, "packet")


def _file_name(supplier: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", supplier.lower()).strip("-") or "supplier"


def _many(rows: list[Row]) -> str:
    n = sum(row["n"] for row in rows)
    taken, refused, few = (
        sum(row["verdict"] == word for row in rows) for word in (lots.ACCEPT, lots.REJECT, lots.TOO_FEW)
    )
    rest = f", {numbers.in_words(few)} too few to say" if few else ""
    many = (
        f"{numbers.in_words(len(rows), capital=True)} {'lot' if len(rows) == 1 else 'lots'}, {numbers.count(n)} "
        "necks measured."
    )
    return (
        f"{many} By the agreed plan {numbers.in_words(taken)} taken, {numbers.in_words(refused)} not taken{rest}."
        if taken + refused
        else many
    )


def _lot(row: Row, shop: Shop, plans: list[necks.PlanWords]) -> Row:
    verdict = sentences_necks.VERDICTS.get(row["verdict"] or "", ("", "no plan"))[1]
    return {
        "lot": row["lot"] or "no lot named",
        "models": row["models"],
        "day": numbers.day(sentences_necks.received(row, shop)),
        "state": sentences_necks.state(row, short=True),
        "same": sentences_suppliers.at_usual_air(row, shop),
        "n": numbers.count(row["n"]),
        "of": f"of {numbers.count(row['quantity'])}" if row["quantity"] else "of a number not on file",
        "few": "few" if row["few"] else "",
        "mean": sentences_necks.mean(row, shop),
        "sd": sentences_necks.sd(row, shop),
        "edges": sentences_necks.edges(row, shop),
        "ppk": sentences_necks.ppk(row),
        "outside": sentences_necks.outside_in_table(row),
        "on_limit": numbers.count(row["on_limit"]) if row["on_limit"] is not None else numbers.NONE,
        "still": numbers.count(row["outside_still"]) if row["outside_still"] is not None else numbers.NONE,
        "disposition": row["disposition"] or "not said",
        "doubt": row["verdict"] == lots.REJECT,
        "verdict": {"bring to the supplier": "not taken", "take": "taken"}.get(verdict, verdict)
        if row["verdict"] != lots.TOO_FEW
        else sentences_talk.more(row, plans),
    }


def _rested(rows: list[Row], shop: Shop) -> list[dict[str, str]]:
    """Lot by lot, the newest first: bow as straightening left it and as it was read after the rest."""
    found = after_rest.by_lot()
    told = [(row, found[key]) for row in rows if (key := (row["supplier"], row["lot"])) in found]
    return [
        {
            "lot": row["lot"],
            "n": numbers.count(one["n"]),
            "left": sentences_necks.fine(shop, one["characteristic"], one["left"]),
            "after": sentences_necks.fine(shop, one["characteristic"], one["after"]),
            "change": sentences_rest.of_lot(one, shop),
        }
        for row, one in told
    ]


def _how(rows: list[Row], measured: pl.DataFrame, shop: Shop) -> list[str]:
    """How it was measured, as far as it is on file."""
    name = shop.characteristic_name(measured["characteristic"][0])
    names = [gauge for gauge in measured["gauge"].drop_nulls().unique().sort().to_list() if gauge]
    declared = [gauge for gauge in shop.gauges if gauge.key in names] or [
        gauge for gauge in shop.gauges if measured["characteristic"][0] in gauge.measures
    ]
    steps = (
        ", ".join(f"{gauge.name or gauge.key} (reads to {gauge.resolution or 'its leaves'})" for gauge in declared)
        or "not on file"
    )
    step = max((gauge.step or 0.0 for gauge in declared), default=0.0)
    positions = [position for position in measured["position"].unique().to_list() if position]
    edges = (
        "The larger of the edges of a neck counts, hollow above 0, hump below."
        if positions
        else "Hollow above 0, hump below."
    )
    resting = beside(gauges_now.out_of_order(), shop, str(measured["characteristic"][0]), names)
    resting = f"{resting} " if resting else ""
    limits = {sentences_necks.limits(row, shop) for row in rows}
    asked = (
        f"Limits in force: {limits.pop()}"
        if len(limits) == 1
        else "Limits in force differ between lots; each is judged by its own"
    )
    agreed = talk.agreed_on(measured["characteristic"][0], rows[0]["supplier"])
    if agreed:
        asked += f", agreed on {numbers.day(agreed)} {agreed.year}."
    elif talk.starting(measured["characteristic"][0]):
        asked += "; starting values of the program, agreed with nobody."
    else:
        asked += "; the day they were agreed is not on file."
    return [
        f"{name} at receiving, before any work on the neck; the first reading of each counts. {edges}",
        asked,
        f"Gauge: {steps}. {resting}{neck_gauge.gauge(rows[0])} {neck_gauge.uncertainty(rows[0], shop)}",
        neck_gauge.rule(rows[0], shop, step),
        *_states(rows),
    ]


def _states(rows: list[Row]) -> list[str]:
    """The air, the hours in the room and the rod: lots of one state together; of many states their range, each lot's
    own being in the table.
    """
    by_state: dict[str, list[str]] = {}
    for row in rows:
        by_state.setdefault(sentences_necks.state(row), []).append(row["lot"] or "no lot named")
    if len(by_state) == 1:
        return [f"Every lot measured at: {next(iter(by_state))}."]
    if len(by_state) <= STATES:
        return [f"Measured at {state}: {', '.join(names)}." for state, names in by_state.items()]
    return [f"Measured at {sentences_necks.states(rows)}; each lot's own stands in the table."]


def _run(made: Paper, measured: pl.DataFrame, drawn: list[Row], *, shown: str) -> Any:
    """Readings of the lots drawn in the order they were measured."""
    scale = numbers.in_unit(1.0, "length", shown=shown)
    order = {row["lot"]: place for place, row in enumerate(reversed(drawn))}
    rows = (
        measured.filter(pl.col("lot").is_in(list(order)))
        .with_columns(_order=pl.col("lot").replace_strict(order, return_dtype=pl.Int64))
        .sort("_order", "taken_at", "serial", "line")
    )
    counts = rows.group_by("lot", maintain_order=True).len().rows()
    same = rows.select("lower", "upper").n_unique() == 1
    lower, upper = rows.select("lower", "upper").row(0) if same else (None, None)
    names = [serial or neck or "no number" for serial, neck in rows.select("serial", "neck").fill_null("").iter_rows()]
    low, high = (None if limit is None else limit * scale for limit in (lower, upper))
    view = RunView((rows["value"] * scale).to_list(), names, counts, low, high, shown, marks=drawn_lots.marks(rows))
    return made.chart(
        run(view),
        phone=run(view, narrow=True),
        says=f"{numbers.count(len(rows))} necks in the order measured, lot after lot",
    )


def _minutes(shop: Shop, supplier: str, name: str, *, money: bool) -> list[str]:
    """What goes with bow at the bench, of this supplier's necks alone."""
    told = []
    for measure in dict.fromkeys((goes.first_measure(shop), "minutes")):
        words = sentences_bow.GOES[measure]
        try:
            found = desk.ask(bow.goes_with, measure=measure, supplier=supplier)
            told.append(f"{words.capitalize()}: {sentences_bow.per_tenth(found, shop, name, money=money)}")
        except UnusableData as problem:
            told.append(f"{words.capitalize()}: what more bow goes with cannot be said yet ({problem}).")
    return told


def _costs(rows: list[Row], shop: Shop, money: bool) -> list[str]:
    """What went with the bow of the lots not taken."""
    doubtful = [row for row in rows if row["verdict"] == lots.REJECT][:ASKED]
    measure = goes.first_measure(shop)
    found = goes.lot_costs(doubtful, measure)
    return [sentences_bow.lot_cost(cost, lot, measure, shop, money=money) for lot, cost in found.items()]


def _told_of(rows: list[Row], shop: Shop) -> dict[str, str]:
    """What the weekly review told of these necks' bow to move together with each of these lots, by lot; the newest."""
    name = rows[0]["characteristic"]
    told = {}
    for one in sorted(desk.ask(matters.matters), key=lambda one: one.opened_at):
        for cause in one.moves_with.named:
            if cause.factor == LOT and one.shown and name in one.characteristics:
                told[cause.level] = sentences_matters.name(one, shop)
    return {row["lot"]: told[row["lot"]] for row in rows if row["lot"] in told}


def _drawn(rows: list[Row], drawn: list[Row]) -> str:
    """Which lots are drawn."""
    if len(drawn) == len(rows):
        return "Lots, newest first"
    if any(row["verdict"] == lots.REJECT for row in rows):
        return "Lots not taken, and the newest"
    if sentences_necks.stand_apart(rows):
        return "Lots that stand apart, and the newest"
    return "The lot with most outside, and the newest" if sentences_necks.foremost(rows) else "The newest lots"


def serial_list(measured: pl.DataFrame, drawn: list[Row], shown: str) -> list[tuple[str, list[tuple[str, str, str]]]]:
    """Every neck of the lots drawn with its reading, with a digit more where readings have it; `x` where it lies
    outside, `=` on the limit.
    """
    scale, digits = numbers.in_unit(1.0, "length", shown=shown), numbers.decimals_of("length", shown=shown)
    read = measured["value"].drop_nulls() * scale
    digits += bool(((read - read.round(digits)).abs() > 0.1 * 10.0**-digits).any())
    told = []
    for row in drawn:
        own = measured.filter(pl.col("lot") == row["lot"])
        told.append(
            (
                row["lot"] or "no lot named",
                [
                    (
                        serial or neck or "no number",
                        numbers.plain(value * scale, digits),
                        "x" if out else "=" if on else "",
                    )
                    for serial, neck, value, out, on in own.select(
                        "serial", "neck", "value", "outside", "on_limit"
                    ).iter_rows()
                ],
            )
        )
    return told

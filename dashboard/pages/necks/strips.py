"""Lots as they are drawn on page Necks and in the packet, with the plans that judge them."""

from __future__ import annotations

from typing import Any

import polars as pl
from dash import html

from analysis.studies.necks import lots, necks, offers
from dashboard import address as addresses
from dashboard import numbers, parts
from dashboard.charts.lots import DEEP, LotRow, LotsView
from dashboard.charts.lots import lots as lot_strip
from dashboard.desk import desk
from dashboard.sentences import necks as sentences_necks
from dashboard.sentences import suppliers as sentences_suppliers
from dashboard.sentences import talk as sentences_talk
from ingest.shopfiles.shop import Shop

STRIPS = 10  # lots drawn, newest first; all stand in the table


def strip(shop: Shop, rows: list[dict[str, Any]], name: str, *, links: bool = True) -> LotsView:
    """The lots as they are drawn, a supplier's together; `links` to each lot's readings."""
    measured = desk.ask(lots.necks).filter(pl.col("characteristic") == name)
    values = dict(measured.group_by("supplier", "lot", maintain_order=True))
    plans = plans_in_words()
    shown = shop.length_of(name)
    scale = numbers.in_unit(1.0, "length", shown=shown)
    order = {one: place for place, one in enumerate(dict.fromkeys(row["supplier"] for row in rows))}
    drawn = []
    for row in sorted(rows, key=lambda row: order[row["supplier"]]):  # a supplier's lots stay as they are given
        group = values[row["supplier"], row["lot"]]
        verdict, words = sentences_necks.VERDICTS.get(row["verdict"] or "", ("", ""))
        words = sentences_talk.more(row, plans) if row["verdict"] == lots.TOO_FEW else words
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
                scaled(row["lower"], scale),
                scaled(row["upper"], scale),
                row["mean"] * scale,
                half,
                f"{sentences_necks.outside(row)} outside" if row["outside"] is not None else "",
                sentences_necks.in_strip(row),
                verdict,
                words,
                row["verdict"] == lots.REJECT,
                href,
                ", ".join(
                    text for text in (sentences_suppliers.in_strip(row), sentences_necks.on_limit_in_strip(row)) if text
                ),
                marks(group),
            )
        )
    return LotsView(drawn, shown, numbers.decimals_of("length", shown=shown), DEEP / scale)


def marks(measured: pl.DataFrame) -> str:
    """A letter a neck for the charts: x outside, = on the limit, - inside."""
    told = measured.select(
        pl.when("outside").then(pl.lit("x")).when("on_limit").then(pl.lit("=")).otherwise(pl.lit("-")).alias("mark")
    )
    return "".join(told["mark"])


def scaled(value: float | None, scale: float) -> float | None:
    """A value in the unit shown, none for none."""
    return None if value is None else value * scale


def plans_in_words() -> list[necks.PlanWords]:
    """What each agreed plan does; one that takes every lot is left to shop.toml's own complaint."""
    shop = desk.here().snapshot().shop
    return [
        desk.ask(necks.plan_words, plan=plan) for plan in shop.plans if plan.accept is None or plan.accept < plan.sample
    ]


def to_draw(rows: list[dict[str, Any]], most: int) -> list[dict[str, Any]]:
    """Which lots are drawn: the one that is spoken of first, those that the plan does not take or that stand apart, at
    most half of them all, and the newest; newest first.
    """
    first = sentences_necks.foremost(rows)
    doubtful = [row for row in rows if row["verdict"] == lots.REJECT or row["apart"] or row is first][: most // 2]
    others = [row for row in rows if row not in doubtful][: most - len(doubtful)]
    return [row for row in rows if row in doubtful or row in others]


def strips(rows: list[dict[str, Any]], shop: Shop, name: str) -> html.Section:
    """The lots not taken and the newest, what the plan does, and what is asked about them."""
    first = sentences_necks.foremost(rows)
    shown = sorted(  # else newest first
        to_draw(rows, STRIPS), key=lambda row: (row is not first, row["verdict"] != lots.REJECT, not row["apart"])
    )
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
    told: list[Any] = []
    for one in plans_in_words():
        if one.characteristic == name:
            lead, *more = [html.P(text, className="small") for text in sentences_talk.plan(one, shop)]
            told += [lead, *([parts.behind(html.Div(more), "What this plan lets through")] if more else [])]
    said = told or [
        html.P("No plan is agreed (a [[plan]] in shop.toml), so no lot is taken or refused here.", className="small")
    ]
    title = "Lots, newest first"
    if shown != rows:
        taken = first is None or first["verdict"] == lots.REJECT
        several = len(sentences_necks.stand_apart(shown)) > 1
        most = "The lots that stand apart" if several else "The lot that stands apart"
        most = most if first is not None and first["apart"] else "The lot with most outside"
        title = "Lots not taken, then the newest" if taken else f"{most}, then the newest"
    if first is None and not any(row["verdict"] == lots.REJECT for row in rows):
        title = "Lots, newest first"
    return parts.sheet(
        title,
        f"one dot a neck, crosses outside, rings on the limit; {asked}; the bow of the necks drawn sixty times",
        [chart, html.P(left, className="small"), *_asked(rows, name), *said, _offers(name)],
    )


def _asked(rows: list[dict[str, Any]], name: str) -> list[html.P]:
    """What lots.csv leaves open about the lots shown."""
    here = {(row["supplier"], row["lot"]) for row in rows}
    over = desk.ask(lots.more_than_came).filter(pl.col("characteristic") == name).iter_rows(named=True)
    told = [sentences_talk.more_than_came(row) for row in over if (row["supplier"], row["lot"]) in here]
    told += [sentences_talk.became_of(row) for row in rows if row["verdict"] == lots.REJECT and not row["disposition"]]
    return [html.P([parts.picture("question"), " ", text]) for text in told]


def _offers(name: str) -> Any:
    """Which plan to agree on: cost against risk."""
    rows = [
        {
            "plan": sentences_talk.offered(offer),
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

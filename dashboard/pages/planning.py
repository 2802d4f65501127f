"""How many to measure: a sheet for the page where the question arises."""

from __future__ import annotations

from dash import html

from analysis.methods.problems import UnusableData
from analysis.studies.necks import planning as of_necks
from analysis.studies.room import planning
from dashboard import numbers, parts
from dashboard.desk import desk
from dashboard.sentences import planning as words
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

NAME = "How many to measure"


def ppk() -> html.Section:
    """To show a Ppk above 1.33 (Capability)."""
    plans = planning.ppk_plans()
    rows = [
        {
            "ppk": numbers.plain(one.ppk),
            "n": numbers.count(one.nine_in_ten),
            "seen": numbers.NONE if one.seen is None else numbers.count(one.seen),
        }
        for one in plans
    ]
    columns = [
        ("ppk", "Ppk"),
        ("n", "If it truly is so: instruments, nine in ten", "n"),
        ("seen", "If the readings say so: from", "n"),
    ]
    say = html.P(words.ppk(plans))
    return parts.sheet(NAME, f"to show Ppk above {planning.ASKED}", [say, parts.plain_table(rows, columns)])


def gauges() -> html.Div:
    """To qualify a gauge (Gauges): how many parts, people and trials."""
    plans = planning.gauge_plans()
    rows = [
        {
            "size": f"{one.parts} parts, {one.people} people, {one.trials} trials",
            "n": numbers.count(one.parts * one.people * one.trials),
            "good": numbers.share(one.good, 100),
            "poor": numbers.share(one.poor, 100),
        }
        for one in plans
    ]
    columns = [
        ("size", "Study"),
        ("n", "Readings", "n"),
        ("good", f"Passes one of {numbers.share(planning.GOOD, 100)}", "n"),
        ("poor", f"Passes one of {numbers.share(planning.POOR, 100)}", "n"),
    ]
    most = numbers.share(planning.LIMIT, 100)
    aim = f"To qualify a gauge: its part and people's together at most {most} of the spread."
    return html.Div([html.P(f"{aim} {words.gauges(plans)}"), parts.plain_table(rows, columns)])


def suppliers(shop: Shop, name: str, model: str | None) -> html.Section:
    """To tell two suppliers apart (Necks)."""
    right = "to tell two suppliers apart, nine in ten; of each supplier"
    try:
        found = desk.ask(of_necks.tell_apart, characteristic=name, model=model)
    except UnusableData as problem:
        return parts.sheet(NAME, right, parts.problem_state(str(problem)))
    rows = [
        {"by": sentences.amount(shop, name, one.difference)}
        | {str(plan.each): f"{numbers.count(plan.lots)} lots, {numbers.count(plan.necks)} necks" for plan in one.plans}
        for one in found.rows
    ]
    columns = [("by", "Means differ by"), *[(str(each), f"{each} necks of a lot", "n") for each in of_necks.EACH]]
    return parts.sheet(NAME, right, [html.P(words.apart(found, shop, name)), parts.plain_table(rows, columns)])


def shift(shop: Shop, characteristic: str, sigma: float | None) -> list[html.P]:
    """To see a shift (Drift, one stream); nothing where its spread is not known."""
    if not sigma:
        return []
    return [html.P(words.shift(planning.shift_plans(float(sigma)), shop, characteristic), className="small")]

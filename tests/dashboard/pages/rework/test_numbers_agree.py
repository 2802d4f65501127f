"""Headline, chart, table, sentences and figures of Rework tell one number: on the demo and on three small shops."""

import re

import pytest

from analysis.studies.rework import rework
from analysis.studies.rework.returns import returns
from analysis.studies.story.scope import Scope
from analysis.studies.week.arrived import review_week
from dashboard import numbers
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.exports.figures import FIGURES
from dashboard.pages.rework import lanes as rework_lanes
from dashboard.pages.rework import page
from tests.dashboard.pages import moving_shop, people_shop, reworked_shop
from tests.dashboard.pages.said import said

HOURS = re.compile(r"(?:All|of the) ([\d,]+\.\d) hours of work that came back on all logs, \d+ weeks? are")
MONEY = re.compile(r"[\d,]+\.\d hours? are ([\d,]+) EUR")


@pytest.fixture(params=["demo", "tidy", "people", "moving"])
def looked_at(request, tmp_path):
    if request.param == "demo":
        counter = request.getfixturevalue("demo_desk")
    else:
        shop = {"tidy": reworked_shop, "people": people_shop, "moving": moving_shop}[request.param]
        counter = desk.Desk(shop.stands(tmp_path / "shop"))
    make_app(counter)
    return counter


def told(node) -> list[str]:
    """Every text of a component, in order."""
    if isinstance(node, str):
        return [node.replace(numbers.NBSP, " ")]
    if isinstance(node, list | tuple):
        return [text for child in node for text in told(child)]
    return told(getattr(node, "children", None)) if hasattr(node, "children") else []


def test_headline_arcs_table_and_figures_hold_the_same_work_and_money(looked_at):
    scope = Scope(last=looked_at.ask(review_week))
    found = looked_at.ask(rework.flows, scope=scope)
    words = told(page.layout(weeks="all"))
    headline = next(text for text in words if "came back on all logs" in text or text.startswith("Nothing was sent"))
    if found.rows.is_empty():
        assert headline.startswith("Nothing was sent back")
        return
    under = next(found[1] for found in map(MONEY.search, words) if found)
    hours, money = (float(text.replace(",", "")) for text in (HOURS.search(headline)[1], under))
    stages = looked_at.ask(rework.stages, scope=scope)
    send_backs = looked_at.ask(rework.send_backs, scope=scope)
    weeks = looked_at.ask(rework.weeks, scope=scope)
    for table in (stages, send_backs, weeks):
        assert table["loop_minutes"].sum() / 60 == pytest.approx(hours, abs=0.051)
        assert table["loop_cost"].sum() == pytest.approx(money, abs=0.51)
    # the chart's lanes and what stands below them, in hours of work and in money
    for width, whole in (("minutes", hours), ("cost", money)):
        view = looked_at_lanes(width)
        assert float(view.last[-1][1][0].replace(",", "")) == pytest.approx(whole, abs=1.0 if width == "cost" else 0.1)
        drawn = sum(lane.amount for lane in view.lanes)
        others = float(view.last[0][1][0].replace(",", "")) if len(view.last) > 1 else 0.0
        assert drawn + others == pytest.approx(whole, abs=1.0 if width == "cost" else 0.11)
    # what the pointer is told, and the table of those that cost most
    row = found.rows.row(0, named=True)
    text = said(page.layout(weeks="all")).replace(numbers.NBSP, " ")
    assert numbers.with_unit(numbers.plain(row["minutes"] / 60, 1), "h").replace(numbers.NBSP, " ") in text
    assert "Elapsed" not in text


def looked_at_lanes(width: str):
    """The view the lanes are drawn from, in that unit."""
    kept = []
    drawn = rework_lanes.lanes
    rework_lanes.lanes = lambda view, **_: kept.append(view) or drawn(view)
    try:
        page.layout(weeks="all", width=width)
    finally:
        rework_lanes.lanes = drawn
    return kept[0]


def test_figures_hold_what_the_page_adds_up(looked_at):
    snapshot = looked_at.snapshot()
    stages, send_backs = FIGURES["stages"](snapshot), FIGURES["send_backs"](snapshot)
    for one, other in (
        ("loop_minutes", "loop_minutes"),
        ("loop_hours", "loop_hours"),
        ("loop_cost", "loop_cost"),
        ("caused_here", "count"),
    ):
        assert stages[one].sum() == pytest.approx(send_backs[other].sum())
    assert stages["loop_cost"].sum() == pytest.approx(
        stages["loop_minutes"].sum() * snapshot.shop.shop.labour_per_hour / 60
    )
    found = looked_at.ask(returns, scope=Scope(last=looked_at.ask(review_week)))
    if found.height:
        text = said(page.layout(weeks="all", open="returns")).replace(numbers.NBSP, " ")
        assert f"{found.height} instrument" in text
        assert numbers.hours_of(float(found["minutes"].sum())).replace(numbers.NBSP, " ") in text

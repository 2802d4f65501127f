"""Rework as plain functions: what the page says of work that came back, where its numbers lead, and what it does with
little.
"""

from dataclasses import replace
from datetime import date

import polars as pl
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.drift.shares import Since
from analysis.studies.drift.shares_standing import Standing
from analysis.studies.people.catchers import Caught
from analysis.studies.rework import rework, savings
from analysis.studies.rework.stage_weeks import weekly_shares
from analysis.studies.story.scope import Scope
from dashboard import numbers
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.logs import visits as logs_visits
from dashboard.pages.rework import lanes as rework_lanes
from dashboard.pages.rework import page as page
from dashboard.pages.rework import rest
from dashboard.pages.rework import weekly as rework_weekly
from dashboard.sentences import rework as sentences_rework
from ingest.verbs.load import load
from tests.dashboard.pages import moving_shop, reworked_shop
from tests.dashboard.pages.said import said

BLAMING = ("mistake", "blame", "worst", "failed", "poor ", "bad ", "guilty", "culprit", "sloppy", "careless")


@pytest.fixture
def looked_at(reworked_desk):
    make_app(reworked_desk)
    return reworked_desk


def test_the_headline_is_the_work_that_came_back_and_its_largest_part(looked_at):
    # 16 of 160 came back: bridge 6 and final 5 minutes each, 176 minutes, all of it from final to the bridge
    text = said(page.layout())
    assert "All 2.9 hours of work that came back in 4 weeks are put down to bridge fitting. " in text
    assert "Final inspection caught 2.9 of them." in text
    assert "160 instruments judged" in text
    assert "Never sent back: 144 of 160, 90 %" in text


def test_every_sheet_has_something_to_say_on_one_model(looked_at):
    text = said(page.layout())
    for words in (
        "Open-string buzz comes back most: 16 of 16 send-backs.",
        "The cause of 0 % of the work is confirmed.",
        "Worth most: ",
        "every real saving lies within its line",
        "no log or shop file says what a part costs",
        "In this week alone no stage differs from its twelve weeks before by more than chance.",
    ):
        assert words in text, words
    assert "nothing was sent back, fixed or rejected for a cause at this stage" in said(page.layout(open="stages"))


def test_an_arc_in_the_address_lists_its_instruments_each_with_its_story(looked_at):
    text = said(page.layout(caused_at="bridge_fitting", caught_at="final_inspection"))
    assert "Caught at final inspection, caused at bridge fitting" in text
    assert text.count("/logs/instrument?serial=R-") >= 16


@pytest.mark.parametrize(
    "given", [{"model": "x"}, {"weeks": "x"}, {"width": "x"}, {"family": "x"}, {"caused_at": "x", "caught_at": ""}]
)
def test_an_address_that_fits_nothing_shows_all(looked_at, given):
    assert said(page.layout(**given)) == said(page.layout())


def test_the_unit_of_the_lanes_is_what_was_asked(looked_at):
    assert "2.9 h" in said(page.layout(width="minutes"))
    assert '"88"' in said(page.layout(width="cost")) or ">88<" in said(
        page.layout(width="cost")
    )  # 176 minutes at 30 an hour


def test_only_periods_that_are_on_file_are_offered_and_said(looked_at):
    text = said(page.layout(weeks="52"))
    assert "52 weeks" not in text
    assert '"13 weeks"' not in text  # but for the twelve before and this one, in words
    assert "All logs, 4 weeks" in text
    assert page._periods(date(2026, 3, 2), date(2026, 3, 9)) == {"1": "1 week", "all": "All logs, 2 weeks"}


def test_work_is_told_in_one_unit_and_days_stand_beside_it(looked_at):
    text = said(page.layout(open="away"))
    # bridge 6 + final 5 minutes of each of 16; two hours from send-back to the closing finish
    assert "Away meanwhile: 1.3 days in all, 0.1 days each on average" in text
    assert " min" not in text.split("The rest")[0].replace("minutes", "")
    assert "Hours lost" not in text


def test_a_lane_leads_to_its_instruments_and_keeps_the_filters_of_the_address(looked_at):
    assert rework_lanes.to_lane({"weeks": "13", "model": "LARK-25"}, "bridge_fitting|final_inspection") == (
        "/rework?weeks=13&model=LARK-25&caused_at=bridge_fitting&caught_at=final_inspection"
    )
    assert rework_lanes.to_lane({}, "bridge_fitting|") == "/rework?caused_at=bridge_fitting"


def test_the_widest_open_with_the_filters_that_stand(looked_at):
    text = said(page.layout(weeks="4", width="cost"))
    assert "/rework?weeks=4&amp;width=cost&amp;caused_at=bridge_fitting" in text


def test_a_week_of_a_stage_leads_to_the_send_backs_of_the_instruments_judged_in_it(looked_at):
    link = "/logs/visits?caused_at=bridge_fitting&judged_from=2026-03-23&judged_to=2026-03-29"
    assert link in said(page.layout())
    assert "4 send-backs, caused at bridge fitting, judged" in said(
        logs_visits.layout(caused_at="bridge_fitting", judged_from="2026-03-23", judged_to="2026-03-29")
    )


def test_work_not_judged_yet_stands_apart_from_the_weekly_shares(demo_desk):
    waiting = demo_desk.ask(rework.on_the_bench)
    for standing, words in (("bench", "on the bench"), ("hold", "on hold"), ("lost", "not seen for 30 days")):
        assert f"{int((waiting['standing'] == standing).sum())} {words}" in said(page.layout())


def test_no_send_back_is_said_and_all_logs_are_offered(tmp_path):
    counter = desk.Desk(reworked_shop.stands(tmp_path / "shop", every=0))
    make_app(counter)
    text = said(page.layout())
    assert "Nothing was sent back in 4 weeks." in text
    assert "/rework?weeks=all" in text
    assert "Never sent back: 160 of 160" in text


def test_an_empty_shop_says_what_to_do(tmp_path):
    make_app(desk.Desk(moving_shop.stands(tmp_path / "shop", with_logs=False)))
    assert "No log is loaded yet." in said(page.layout())


def test_on_the_demo_the_headline_and_the_savings_are_those_of_the_studies(demo_desk):
    text, shop = said(page.layout(weeks="all")), demo_desk.snapshot().shop
    last = date(2026, 11, 16)
    found = demo_desk.ask(rework.flows, scope=Scope(last=last))
    assert sentences_rework.headline(found, shop, "on all logs, 16 weeks", 1).replace("\u00a0", " ") in text
    worth = demo_desk.ask(savings.what_if, scope=Scope(last=last))
    assert sentences_rework.savings(worth.rows.row(0, named=True), shop).replace("\u00a0", " ") in text
    assert not [word for word in BLAMING if word in text.lower()]


def test_a_change_that_saves_nothing_is_not_among_those_worth_most(demo_desk, monkeypatch):
    found, shop, ask = demo_desk.ask(savings.what_if), demo_desk.snapshot().shop, demo_desk.ask
    for losing, said_of in (
        (2, "The three worth most of those that save any work"),
        (5, "None of the changes looked at"),
    ):
        worth = pl.when(pl.int_range(pl.len()) < pl.len() - losing).then("minutes").otherwise(-126.0)
        less = replace(found, rows=found.rows.with_columns(minutes=worth))
        monkeypatch.setattr(
            rest.desk, "ask", lambda what, less=less, **more: less if what is savings.what_if else ask(what, **more)
        )
        text = said(rest.savings(shop, Scope()))
        assert said_of in text
        assert "\u22122.1" not in text


def test_no_tech_of_the_demo_is_on_the_page(demo_desk):
    text = said(page.layout())
    for tech in demo_desk.snapshot().shop.techs:
        assert f'"{tech.key}' not in text
        assert not tech.name or tech.name not in text


def test_a_stage_that_stands_out_comes_first_with_its_mark_and_words(demo_desk):
    # a week of the demo in which some stage does; the last that does
    rows = demo_desk.ask(weekly_shares)
    out = rows.filter(rows["state"].is_in(["above", "below"]))
    assert len(out)
    row = out.sort("week").row(-1, named=True)
    shop = demo_desk.snapshot().shop
    say = sentences_rework.weekly_say(out.filter(out["week"] == row["week"]), shop)
    assert f"{shop.stage_name(row['stage'])}: {numbers.of(row['came_back'], row['instruments'])} came back to it" in say
    assert "than chance gives" in say
    from dashboard.pages.rework import weekly as rework_weekly

    text = said(rework_weekly.weekly(shop, Scope(), row["week"]))
    assert say.replace("\u00a0", " ") in text
    assert "state-moved" in text


def test_what_lasts_is_said_first_of_all_models_together_and_its_stage_is_shown(looked_at, monkeypatch):
    def lasts(_snapshot, *, week):
        assert week == date(2026, 3, 23)
        return [Standing("packing", date(2026, 3, 9), Since(9, 80, 2.0, 1.9, 9.0))]

    monkeypatch.setattr(rework_weekly, "standing", lasts)
    told = (
        "More than before at packing since the week of 9 Mar: 9 of 80 instruments (11 %) where some 2.0 (2 %) would be "
        "expected; 1.9 to 9.0 times as many."
    )
    text = said(page.layout())
    assert text.index(told) < text.index(
        "In this week alone no stage differs from its twelve weeks before by more than chance."
    )
    assert told not in said(page.layout(model="LARK-25"))


def standing_of(lasts):
    """A study that finds these, by a name of its own: answers are kept by it."""

    def found(_snapshot, *, week):
        return lasts

    found.__qualname__ = f"standing_of {lasts}"
    return found


def test_what_lasts_on_one_model_is_said_where_it_is_asked_for(looked_at, monkeypatch):
    for on, asked, there in (("LARK-25", None, True), ("LARK-25", "LARK-25", True), ("WREN", "LARK-25", False)):
        lasts = [Standing("packing", date(2026, 3, 9), Since(9, 80, 2.0, 1.9, 9.0), (on,))]
        monkeypatch.setattr(rework_weekly, "standing", standing_of(lasts))
        assert (f"More than before at packing on {on}" in said(page.layout(model=asked))) == there


def test_weeks_stand_where_what_lasts_cannot_be_worked_out(looked_at, monkeypatch):
    def breaks(_snapshot, *, week):
        raise UnusableData(f"no signal of the week of {week}")

    monkeypatch.setattr(rework_weekly, "standing", breaks)
    text = said(page.layout())
    assert "What lasts is not known. No signal of the week of 2026-03-23." in text
    assert "In this week alone no stage differs from its twelve weeks before by more than chance." in text


def test_a_few_instruments_are_called_few(demo_desk):
    row = (
        demo_desk.ask(weekly_shares).filter(weekly_shares(demo_desk.snapshot())["instruments"] < 30).row(-1, named=True)
    )
    assert sentences_rework.weekly_row(row)["share"].endswith(", few")


def test_two_days_are_the_whole_weeks_that_hold_them(tmp_path):
    make_app(desk.Desk(reworked_shop.stands(tmp_path / "shop")))
    text = said(page.layout(**{"from": "2026-03-03", "to": "2026-03-11"}))
    assert "in the weeks of 2 Mar to 9 Mar" in text
    assert "2 Mar to 15 Mar 2026" in text
    one = said(page.layout(**{"from": "2026-03-11", "to": "2026-03-11"}))
    assert "in the week of 9 Mar" in one


def test_send_backs_of_which_nobody_tells_the_stage_stand_in_the_weeks_and_no_stage_is_shown_as_clean(tmp_path):
    lines = [line.split(",") for line in (reworked_shop.HEAD, *reworked_shop.rows(10))]
    to = lines[0].index("sent_back_to")
    made = "\n".join(",".join(line[:to] + line[to + 1 :]) for line in lines)
    folder = moving_shop.stands(tmp_path / "shop", with_logs=False)
    (tmp_path / "bench.csv").write_text(f"{made}\n")
    load(folder, [tmp_path / "bench.csv"], now=moving_shop.NOW)
    desk.use(desk.Desk(folder))
    text = said(rework_weekly.weekly(desk.here().snapshot().shop, Scope(), date(2026, 3, 23)))
    assert "Stage not known" in text
    assert "4 of 40" in text
    assert "Bridge fitting" not in text


def test_days_after_all_that_is_on_file_are_said_to_hold_nothing(looked_at):
    text = said(page.layout(**{"from": "2027-12-01", "to": "2027-12-05"}))
    assert "No work of these days is on file." in text
    assert "The latest weeks" in text
    assert "hours of work" not in text


def test_of_what_comes_back_more_it_says_which_tester_sends_more_back_up_to_that_week(looked_at, monkeypatch):
    def one(_snapshot, stage, *, until):
        assert (stage, until) == ("packing", date(2026, 3, 23))
        return Caught("final_inspection", 2, date(2026, 3, 9), 20, 90, 4, 100, 4, 100, 5, 100)

    monkeypatch.setattr(rework_weekly, "caught_by_one", one)
    for low, high, there in ((1.9, 9.0, True), (0.1, 0.9, False)):
        lasts = [Standing("packing", date(2026, 3, 9), Since(9, 80, 2.0, low, high))]
        monkeypatch.setattr(rework_weekly, "standing", standing_of(lasts))
        said_of = "Packing: of those that one of two at final inspection tried since the week of 9 Mar 20 of 90 (22 %)"
        assert (said_of in said(page.layout())) == there

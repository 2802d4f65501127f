"""Week as plain functions: what the page says, where it begins, the weeks beside it, and what it does with little."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from analysis.methods.problems import UnusableData
from analysis.review import review
from analysis.studies.drift.rack import TICKS, place_of
from analysis.studies.room.settling import settling_rows
from dashboard.app import make_app
from dashboard.commands import cli
from dashboard.desk import desk, looking_back
from dashboard.exports.figures import write_figures
from dashboard.pages.book import deeds
from dashboard.pages.week import findings as findings_shown
from dashboard.pages.week import page, shown
from dashboard.papers import week as paper
from dashboard.sentences import findings
from dashboard.sentences.shared import Sentence
from ingest.verbs.load import load
from tests.dashboard.pages import moving_shop, reworked_shop, wide_shop
from tests.dashboard.pages.said import said

MOVED, BEFORE = date(2026, 3, 30), date(2026, 3, 23)  # the week of the step, and the one before it
ONE_DAY = "serial,model,stage,tech,started_at,finished_at,outcome,relief (mm)"


@pytest.fixture
def stands(moving_desk):
    return moving_desk.folder


@pytest.fixture
def looked_at(moving_desk):
    make_app(moving_desk)
    return moving_desk


def test_sentence_and_drawing_say_one_start(looked_at):
    made = shown.told(MOVED)
    matter = made.review.matters[0].matter
    began = made.drawn[0].view.began
    assert [each.date() for each in (began.at, began.low, began.high)] == [
        matter.began_at.date(), matter.began_low.date(), matter.began_high.date()
    ]  # fmt: skip


def test_a_series_that_is_back_while_its_matter_lasts_is_not_drawn(looked_at):
    made = looked_at.ask(review, week=MOVED)
    over = [replace(one.matter, main={**one.matter.main, "closed_at": made.last_day}) for one in made.matters]
    gone = [replace(one, matter=matter) for one, matter in zip(made.matters, over, strict=True)]
    assert shown._drawn(made, looked_at.snapshot().shop)
    assert shown._drawn(replace(made, matters=gone), looked_at.snapshot().shop) == []


def test_a_reading_that_lost_its_point_is_told_with_what_the_others_say_and_where_to_correct_it(tmp_path):
    folder = moving_shop.stands(tmp_path / "shop", with_logs=False)
    lines = moving_shop.log().splitlines()
    at = next(k for k, line in enumerate(lines) if line.startswith("LA-1190,LARK-25,final_inspection"))
    head, relief, *rest = lines[at].rsplit(",", 3)
    lines[at] = ",".join([head, f"{float(relief) * 10:.2f}", *rest])
    log = folder / "bench.csv"
    log.write_text("\n".join(lines) + "\n")
    load(folder, [log], now=moving_shop.NOW)
    made = moving_shop.desk(folder)
    make_app(made)
    (slip,) = review(made.snapshot()).slips.iter_rows(named=True)
    assert (slip["serial"], slip["characteristic"], slip["value"]) == ("LA-1190", "relief", float(relief) * 10)
    assert 0.05 < slip["low"] < slip["high"] < 0.35
    assert slip["others"] == moving_shop.N - 1
    text = said(page.layout()).replace("\u00a0", " ")
    assert "1 reading may be mistyped" in text
    assert f"Neck relief {float(relief) * 10:.2f} mm at final inspection; 199 others lie from 0.1" in text
    assert "/logs/instrument?serial=LA-1190" in str(page.layout())
    assert "1 reading may be mistyped" in paper.paper()[1]
    assert not len(review(made.snapshot(), week=date(2026, 3, 23)).slips)  # told once, in its own week


def test_a_week_without_such_a_reading_says_nothing_of_it(looked_at):
    assert "mistyped" not in said(page.layout())
    assert "mistyped" not in paper.paper()[1]


def test_the_agenda_stands_in_its_order(demo_desk):
    text = said(page.layout())
    names = [
        "What to know",
        "Is it a normal week?",
        "As set, outside limits",
        "Shipped outside, or without final",
        "On the bench",
        "Did the data arrive?",
        "Decision of the week",
        "Reviewed",
    ]
    places = [text.index(f'"{name}"') for name in names]
    assert places == sorted(places)


def test_what_the_rest_does_is_worked_out_for_the_paper_alone(demo_desk):
    assert shown.of_page().review.settling.is_empty()
    every = demo_desk.ask(settling_rows)
    assert shown.told().review.settling.equals(every)
    assert len(every)


def test_the_first_thing_said_is_the_first_thing_to_look_at(demo_desk):
    text, shop = said(page.layout()), demo_desk.snapshot().shop
    first = findings.week(demo_desk.ask(review), shop)[0]
    assert first.state.startswith("moved")
    assert (
        text.index(first.lead.replace("\u00a0", " ").rstrip("."))
        < text.index(f"See it on {first.page}")
        < text.index("What to know")
    )


def test_at_most_seven_sentences_and_each_leads_somewhere(demo_desk):
    told = findings.week(demo_desk.ask(review), demo_desk.snapshot().shop)
    assert 1 <= len(told) <= 7
    text = said(page.layout())
    for one in told:
        assert one.link
        assert one.lead.replace("\u00a0", " ") in text


def test_no_tech_of_the_demo_is_on_the_page(demo_desk):
    text = said(page.layout())
    for tech in demo_desk.snapshot().shop.techs:
        assert f'"{tech.key}"' not in text
        assert not tech.name or tech.name not in text


def test_an_earlier_week_is_one_step_away_and_stands_in_the_address(looked_at):
    assert f"/?week={BEFORE}" in said(page.layout())
    text = said(page.layout(week=f"{BEFORE}"))
    assert "Week of Monday 23 March 2026." in text
    assert "/?week=2026-03-16" in text
    assert "Week after, 30 Mar" in text


def test_a_past_week_is_told_as_it_stood_at_its_end(looked_at):
    # the step comes on 30 March: the week before knows nothing of it, though today's signals do
    now, then = said(page.layout()), said(page.layout(week="2026-03-25"))
    assert "Action treble on LARK-25 moved up" in now
    assert "Action treble on LARK-25 moved up" not in then
    assert "Readings as they stood at the end of Sun 29 Mar: what was read later is not seen." in then
    assert "Readings as they stood" not in now


def test_a_past_week_leads_to_what_was_seen_in_it(tmp_path):
    made = desk.Desk(moving_shop.stands(tmp_path / "shop"))
    desk.use(made)
    assert "to=" not in _drift_of(said(page.layout()))[0]
    head, *_, last = moving_shop.log().splitlines()
    row = last.replace(last.split(",")[0], "LATE1").replace(last.split(",")[4][:10], "2026-04-14")
    (tmp_path / "later.csv").write_text(f"{head}\n{row}\n")
    load(made.folder, [tmp_path / "later.csv"], now=moving_shop.NOW)
    for way in _drift_of(said(page.layout(week=f"{MOVED}"))):
        assert way.endswith("&from=2026-01-05&to=2026-04-05")


def _drift_of(text):
    ways = re.findall(r'"(/drift\?characteristic=action[^"]*)"', text)
    assert ways
    return ways


def test_page_paper_command_and_figures_of_a_past_week_say_the_same(looked_at, stands, tmp_path):
    asked = looking_back.asked(date(2026, 3, 25))
    assert asked == looking_back.Asked(
        BEFORE, datetime(2026, 3, 29, 22, 59, 59, 999999, tzinfo=UTC), MOVED
    )  # summer time began that Sunday
    with desk.as_it_stood(asked.end):
        found = looked_at.ask(review, week=asked.first)
        headline = findings.headline(found, looked_at.snapshot().shop)
        name, html = paper.paper(week=asked.first)
        list(write_figures(looked_at.snapshot(), tmp_path / "desk", as_json=False))
    assert headline in said(page.layout(week="2026-03-25"))
    served = make_app(looked_at).server.test_client().get("/papers/week?week=2026-03-25").text
    assert served == html
    assert cli.run(["week", "--shop", str(stands), "--of", "2026-03-25", "--out", str(tmp_path)]) == 0
    assert (tmp_path / f"{name}.html").read_text(encoding="utf-8") == html
    assert cli.run(["figures", "--shop", str(stands), "--of", "2026-03-29", "--out", str(tmp_path / "figures")]) == 0
    for table in ("signals", "weeks", "streams", "capability"):
        assert (tmp_path / "figures" / f"{table}.csv").read_bytes() == (tmp_path / "desk" / f"{table}.csv").read_bytes()
    weeks = pl.read_csv(tmp_path / "figures" / "weeks.csv")
    assert weeks["week"].max() == f"{BEFORE}"
    assert int(weeks.row(-1, named=True)["judged"]) == int(found.weeks.row(-1, named=True)["judged"])


def test_looking_back_ends_with_what_was_asked(looked_at):
    before = looked_at.snapshot().as_of
    with desk.as_it_stood(datetime(2026, 3, 20, tzinfo=UTC)):
        assert looked_at.snapshot().as_of == datetime(2026, 3, 20, tzinfo=UTC)
    assert looked_at.snapshot().as_of == before


def test_the_week_under_review_prints_as_it_is_shown(looked_at):
    assert '"/papers/week"' in said(page.layout())
    assert f'"/papers/week?week={BEFORE}"' in said(page.layout(week=f"{BEFORE}"))


@pytest.mark.parametrize("day", ["2019-01-01", "2031-01-01"])
def test_a_week_without_work_is_named_and_the_last_one_offered(looked_at, day):
    text = said(page.layout(week=day))
    assert "No such week." in text
    assert "wanted a day from 2026-03-02 to 2026-04-05" in text
    with pytest.raises(UnusableData, match="no work of the week"):
        looking_back.asked(date.fromisoformat(day))


def test_an_address_that_is_no_day_shows_the_last_week(looked_at):
    assert said(page.layout(week="yesterday")) == said(page.layout())


def test_an_empty_shop_says_what_to_do(tmp_path):
    make_app(desk.Desk(moving_shop.stands(tmp_path / "shop", with_logs=False)))
    text = said(page.layout())
    assert "No log is loaded yet; load one to see a week." in text
    assert said(page.layout(week="2026-03-25")) == text


def test_one_day_of_one_model_is_a_week_that_calls_itself_small(tmp_path):
    folder = moving_shop.stands(tmp_path / "shop", with_logs=False)
    lines = [
        f"A{k},LARK-25,{stage},T01,2026-03-02 {hour}:{k:02d},2026-03-02 {hour}:{k + 5:02d},pass,{value}"
        for k in range(7)
        for hour, stage, value in ((10, "bridge_fitting", ""), (11, "final_inspection", "0.2"))
    ]
    (folder / "day.csv").write_text("\n".join([ONE_DAY, *lines]) + "\n")
    load(folder, [folder / "day.csv"], now=moving_shop.NOW)
    make_app(desk.Desk(folder))
    text = said(page.layout())
    assert "7 instruments reached final inspection" in text
    assert "Few instruments so far." in text
    assert "Week before" not in text


def test_without_a_send_back_nothing_is_said_of_work_that_came_back(tmp_path):
    make_app(desk.Desk(reworked_shop.stands(tmp_path / "shop", every=0)))
    assert "state-came-back" not in said(page.layout())


def test_work_that_came_back_leads_to_that_week_on_rework(tmp_path):
    make_app(desk.Desk(reworked_shop.stands(tmp_path / "shop")))
    text = said(page.layout())
    assert "Final inspection sent 4 instruments back to bridge fitting" in text
    assert "/rework?weeks=1&week=2026-03-23&caused_at=bridge_fitting&caught_at=final_inspection" in text


def test_a_decision_on_a_past_week_stands_on_that_week(tmp_path):
    make_app(desk.Desk(moving_shop.stands(tmp_path / "shop")))
    said_by = {"action": "Measure 20 blanks", "owner": "R. Marsh", "due": "2026-04-10", "who": "R. Marsh"}
    assert deeds.write("new-2026-03-23", "decide", said_by) == ""
    assert "Measure 20 blanks" in said(page.layout(week="2026-03-23"))
    latest = said(page.layout())
    assert "Decision: Measure 20 blanks" in latest  # due in the week to come
    assert '"value": "Measure 20 blanks"' not in latest  # but not this week's decision


def test_forty_models_and_sixty_techs_are_a_week_of_few_rows(tmp_path):
    counter = desk.Desk(wide_shop.stands(tmp_path / "shop"))
    make_app(counter)
    text = said(page.layout())
    assert "Action treble on eight models moved up 0.3" in text
    assert text.count('"matter-row"') <= findings.MOST_MATTERS
    assert "0.00 mm (" not in text  # what is smaller than what is shown is said to be less
    assert "MODEL-00, MODEL-01, MODEL-02, MODEL-03" not in text


@pytest.mark.parametrize(
    ("rest", "line"),
    [
        (".", "The week before: 2."),
        ("", "The week before: 2."),
        (", 5.3 h of work.", "5.3 h of work. The week before: 2."),
    ],
)
def test_what_stands_under_a_finding_begins_with_a_word(rest, line):
    one = Sentence("came-back", "came back", "Final inspection sent 3 back", rest, "The week before: 2.")
    assert f"{findings_shown._rest(one)} {one.why}".strip() == line


def test_the_small_picture_of_what_moved_is_lit_from_the_day_that_its_sentence_says(looked_at):
    snapshot = looked_at.snapshot()
    (seen,) = review(snapshot).matters
    ticks = [snapshot.as_of - (TICKS - 1 - k) * timedelta(weeks=13) / (TICKS - 1) for k in range(TICKS)]
    assert seen.light_from == sum(tick < seen.matter.began_at for tick in ticks)
    before, since = seen.line[seen.light_from - 1], seen.line[-1]
    assert abs(before) < 0.5 < since
    assert place_of(snapshot, snapshot.as_of - timedelta(weeks=14)) == 0
    assert place_of(snapshot, snapshot.as_of + timedelta(days=1)) == TICKS - 1


@pytest.mark.parametrize(("rest", "told"), [(": 24 of 157", "24 of 157"), (", 19 %", "19 %"), (".", ""), ("", "")])
def test_what_stands_behind_a_lead_begins_a_line_without_what_joined_them(rest, told):
    assert findings_shown._rest(Sentence("came-back", "came back", "More", rest)) == told

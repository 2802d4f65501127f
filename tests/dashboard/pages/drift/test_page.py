"""Drift as plain functions: what the page says of a shop, where clicks lead, and what its forms write."""

import shutil
from dataclasses import replace
from datetime import date, timedelta
from types import SimpleNamespace

import polars as pl
import pytest
from dash import no_update

from analysis.review import review
from analysis.studies.drift import states
from analysis.studies.drift.rack import rack
from analysis.studies.drift.signals import signals
from analysis.studies.drift.stream_view import stream_view
from analysis.studies.matters import in_sight
from analysis.studies.matters.matters import open_matters
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.drift import asked as drift_asked
from dashboard.pages.drift import book as drift_book
from dashboard.pages.drift import closer, glance, moved
from dashboard.pages.drift import limits as drift_limits
from dashboard.pages.drift import page as drift
from dashboard.pages.drift import seen as drift_seen
from dashboard.sentences import ended as sentences_ended
from dashboard.sentences import findings
from dashboard.sentences import matters as sentences_matters
from tests.dashboard.pages import moving_shop
from tests.dashboard.pages.said import said

MOVED = {"characteristic": "action", "position": "treble", "model": "LARK-25", "stage": "final_inspection"}
ABOUT = {**MOVED, "tech": ""}


@pytest.fixture
def stands(moving_desk):
    return moving_desk.folder


@pytest.fixture
def looked_at(moving_desk):
    """The shop, for reading only."""
    make_app(moving_desk)
    return moving_desk


@pytest.fixture
def written_in(stands, tmp_path):
    """A copy of the shop to write into."""
    shutil.copytree(stands, tmp_path / "copy")
    counter = desk.Desk(tmp_path / "copy")
    make_app(counter)
    return counter


def page(**given):
    return said(drift.body(drift_asked.read(desk.here().snapshot().shop, given)))


def about(counter):
    """What the form of the moved stream is about."""
    row = counter.ask(signals).open.filter(stream=int(counter.ask(signals).open["stream"][0])).row(0, named=True)
    return {**ABOUT, "chart": row["chart"], "opened_at": row["opened_at"].isoformat(), "serial": row["serial"]}


def fields(stage, models, weeks):
    return {"stage": stage, "models": models, "tech": "", "state": "", "weeks": weeks, "since": "", "until": ""}


def test_the_headline_is_the_finding(looked_at):
    text = page()
    assert "One thing moved at final inspection: action treble on LARK-25, up 0." in text
    assert (
        "First-pass readings at final inspection, 13 weeks to 3 April 2026. 0.5 false signal a week is allowed for."
        in text
    )
    assert "1 moved" in text
    assert "5 steady" in text
    assert "3 thin" in text


def test_the_stream_that_moved_most_is_shown_with_its_size_date_and_share_outside(looked_at):
    text = page()
    asked = drift_asked.read(looked_at.snapshot().shop, {})
    found = looked_at.ask(rack, weeks=13, tech="").streams.row(0, named=True)
    assert {name: found[name] for name in MOVED} == MOVED
    assert found["shift"] == pytest.approx(moving_shop.MOVED_BY, abs=0.05)
    assert abs((found["began_at"].date() - moving_shop.day(moving_shop.STEP).date()).days) <= 1
    assert f"moved up {found['shift']:.2f} mm" in text
    assert "of its tolerance, since about" in text
    assert "outside since then (" in text
    assert asked.search == "?stage=final_inspection"


def test_a_steady_stream_says_that_it_ran_true(looked_at):
    text = page(characteristic="relief", model="LARK-25", stage="final_inspection")
    assert "Neck relief on LARK-25 ran true" in text
    assert "What it moves together with" not in text  # nothing to look for


def test_a_thin_stream_says_how_many_readings_it_has_and_how_many_are_needed(looked_at):
    text = page(characteristic="relief", model="WREN-S", stage="final_inspection")
    assert "9 readings; from 25 on limits are drawn. Too few to say." in text


def test_a_young_stream_is_judged_on_the_short_run_chart_and_says_so(looked_at):
    text = page(characteristic="action", position="bass", model="HERON-D", stage="final_inspection")
    assert "60 readings so far: its limits are provisional until there are 100." in text


def test_nobody_is_named_and_codes_stand_only_among_the_filters(looked_at):
    text = page()
    assert "Okafor" not in text
    assert "Lindqvist" not in text
    assert text.count("T01") == 2  # value and label of the filter


def test_where_the_shop_shows_nobody_everybody_is_the_only_choice(tmp_path):
    make_app(desk.Desk(moving_shop.stands(tmp_path / "shop", people="none", with_logs=False)))
    shop = desk.here().snapshot().shop
    assert drift_asked.read(shop, {"tech": "T01", "by": "set_by"}) == drift_asked.read(shop, {})


def test_an_empty_shop_says_what_to_do(tmp_path):
    make_app(desk.Desk(moving_shop.stands(tmp_path / "shop", with_logs=False)))
    text = page()
    assert "No readings to judge yet." in text
    assert "Load a log" in text


def test_an_edited_address_falls_back_to_what_there_is(looked_at):
    text = page(stage="attic", models="nonesuch", weeks="-3", state="purple", characteristic="nonesuch", by="weather")
    assert "action treble on LARK-25" in text


def test_a_state_in_the_address_without_a_stage_looks_at_every_stage(looked_at):
    assert drift_asked.read(looked_at.snapshot().shop, {"state": "thin"}).stage == drift_asked.ALL_STAGES
    assert "WREN-S" in page(state="thin")


def test_a_cell_of_the_rack_leads_to_its_stream_and_keeps_the_filters(looked_at):
    asked = drift_asked.read(looked_at.snapshot().shop, {"stage": "final_inspection", "weeks": "26", "open": "all"})
    assert glance.leads(asked, "relief||HERON-D|final_inspection") == (
        "/drift?stage=final_inspection&weeks=26&characteristic=relief&model=HERON-D#drift-one"
    )


def test_a_reading_leads_to_its_instrument(looked_at):
    assert drift.drift_stream.to_instrument("LA-1003") == "/logs/instrument?serial=LA-1003"
    assert drift.drift_stream.to_instrument("") == ""


def test_filters_go_into_the_address_and_the_same_filters_change_nothing(looked_at):
    assert (
        drift.filtered(fields("final_inspection", "HERON-D", "26"), "", "/drift")
        == "?stage=final_inspection&models=HERON-D&weeks=26"
    )
    assert drift.filtered(fields("final_inspection", "", "13"), "", "/drift") is no_update
    assert drift.filtered(fields("final_inspection", "HERON-D", "26"), "", "/logs") is no_update
    assert drift.shown_by("gauge", "", "/drift") == "?stage=final_inspection&by=gauge"
    assert drift.shown_by("gauge", "", "/logs") is no_update


def test_the_page_is_drawn_again_once_something_was_written_and_filters_go_by_the_address_alone(looked_at):
    assert drift.shown(None, "") is no_update
    assert "26 weeks" in said(drift.shown(1, "?weeks=26"))
    written = [
        known["inputs"] for out, known in make_app(looked_at).callback_map.items() if out == "drift-body.children"
    ]
    assert [[one["id"] for one in inputs] for inputs in written] == [["drift-written"]]


def test_readings_can_be_told_apart_by_gauge_and_by_who_set_them_only_in_codes(looked_at):
    assert "blue dot: Taper gauge" in page(by="gauge")
    text = page(by="set_by")
    assert "T01" in text
    assert "Okafor" not in text


def test_readings_far_out_because_their_stream_moved_are_not_called_odd(looked_at):
    text = page(open="odd")
    assert "None in these weeks." in text
    assert (
        "more readings lie beyond four times the usual spread because the series moved: part of the shift, not odd."
        in text
    )
    assert "odd instrument LA-" not in text


def test_what_it_moves_together_with_stands_in_words_and_as_a_chart(looked_at):
    text = page()
    assert "Moves together with the change of 30 Mar: saddle blanks." in text
    assert "Moving together is not the cause" in text
    assert "drift-moves" in text


def test_the_page_says_what_the_budget_buys(looked_at):
    text = page(open="buys")
    assert "What the budget buys" in text
    assert ", as set" in text


def test_a_cause_and_an_action_stand_in_the_book_and_on_the_page_at_once(written_in):
    tied = about(written_in)
    worked = written_in.ask(signals)
    assert (
        drift_book.write(
            drift_book.WRITE,
            tied,
            cause="blanks too tall",
            action="plane them",
            owner="Rowan",
            due="2026-04-10",
            who="Mara",
        )
        == ""
    )
    text = page()
    assert "Cause: blanks too tall" in text
    assert "Action: plane them (Rowan, by 10 Apr)" in text
    assert "Mara" in text
    assert written_in.ask(signals) is worked  # words move no figure: nothing is worked out anew


def test_the_form_says_what_is_missing(written_in):
    tied = about(written_in)
    assert drift_book.write(drift_book.WRITE, tied, cause="x").startswith("Say who writes this")
    assert drift_book.write(drift_book.WRITE, tied, who="Mara") == "Write a cause or an action first."
    assert "is not a date" in drift_book.write(drift_book.WRITE, tied, who="Mara", cause="x", due="soon")
    assert drift_book.write(drift_book.KNOWN, tied, who="Mara").startswith("Until when")
    assert "has passed" in drift_book.write(drift_book.KNOWN, tied, who="Mara", until="2026-03-01")
    assert drift_book.write(drift_book.CLOSE, tied, who="Mara").startswith("Say in a word why")
    assert written_in.snapshot().table("bench_book").is_empty()


def test_a_person_closes_a_signal_and_opens_it_again(written_in):
    tied = about(written_in)
    assert drift_book.write(drift_book.CLOSE, tied, who="Mara", cause="new blanks in") == ""
    text = page(**MOVED)
    assert "closed 3 Apr" in text or "Closed: new blanks in" in text
    assert drift_book.REOPEN in text
    assert drift_book.write(drift_book.REOPEN, tied, who="Mara") == ""
    assert "One thing moved at final inspection" in page()


def test_limits_are_looked_at_first_and_put_on_file_at_the_second_press(written_in):
    first, last = moving_shop.day(40).date().isoformat(), moving_shop.day(119).date().isoformat()
    given = {"scope": "stream", "left_out": "", "who": "Mara", "why": "steady weeks"}
    shown, tried, done = drift_limits.put(ABOUT, first, last, tried=None, file_it=True, **given)
    assert not done
    assert "press once more" in said(shown[0])
    assert "From 80 readings: centre line" in " ".join(said(part) for part in shown)
    assert drift_limits.put(ABOUT, first, last, tried=tried, file_it=True, **given) == ("Put on file.", None, True)
    seen = written_in.ask(stream_view, weeks=None, **ABOUT)
    assert seen.limits["on_file"].to_list() == [False, True]
    assert seen.limits["from_at"][1].date() > date.fromisoformat(last)
    assert "limits set anew" in page(**MOVED)
    assert "Mara" in page(**MOVED, open="limits")
    assert drift_limits.take_off(ABOUT, "Mara", "") != ""
    assert drift_limits.take_off(ABOUT, "Mara", "tried out") == ""
    assert written_in.snapshot().table("limits_on_file")["n"].to_list() == [80, 0]


def test_an_unsteady_baseline_names_the_points_that_make_it_so(written_in):
    first, last = moving_shop.day(100).date().isoformat(), moving_shop.day(199).date().isoformat()
    shown, _, done = drift_limits.put(
        ABOUT, first, last, scope="stream", left_out="", who="Mara", why="all of it", tried=None, file_it=False
    )
    text = " ".join(said(part) for part in shown)
    assert not done
    assert "The baseline is unsteady" in text
    assert "moved from here on" in text
    assert "LA-11" in text


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        ("", "", "Name the first and the last day"),
        ("soon", "2026-03-01", "is not a date"),
        ("2026-04-01", "2026-03-01", "ends before it begins"),
        ("2026-03-02", "2026-03-02", "Too few readings in that baseline"),
    ],
)
def test_a_baseline_that_cannot_be_used_says_why(looked_at, first, last, words):
    shown, tried, done = drift_limits.put(
        ABOUT, first, last, scope="stream", left_out="", who="Mara", why="why", tried=None, file_it=True
    )
    assert words in shown
    assert tried is None
    assert not done


def test_serials_are_left_out_only_with_a_reason(looked_at):
    shown, _, done = drift_limits.put(
        ABOUT,
        "2026-03-02",
        "2026-03-20",
        scope="stream",
        left_out="LA-1003",
        who="Mara",
        why="",
        tried=None,
        file_it=True,
    )
    assert shown == "Serials are left out: say why."
    assert not done


def test_a_shop_of_classical_limits_gets_charts_without_an_average_and_no_budget(stands, tmp_path):
    shutil.copytree(stands, tmp_path / "width")
    toml = tmp_path / "width" / "shop.toml"
    toml.write_text(
        toml.read_text().replace(
            "[judging]\nfalse_signals_per_week = 0.5\n", '[judging]\nwidth = 3.0\nrules = ["beyond", "one side"]\n'
        )
    )
    make_app(desk.Desk(tmp_path / "width"))
    text = page()
    assert "Classical limits at 3 spreads; what opens a signal: beyond, one side." in text
    assert "gap: where the average may stray" not in text
    assert "What the budget buys" not in text
    assert "moved up" in text


def test_without_a_reading_at_final_inspection_it_opens_where_something_is_measured(tmp_path):
    folder = moving_shop.stands(tmp_path / "shop", with_logs=False)
    log = folder / "bench.csv"
    lines = [line for line in moving_shop.log().splitlines(keepends=True) if "bridge_fitting" not in line]
    log.write_text("".join(lines).replace("final_inspection", "bridge_fitting"))
    moving_shop.load(folder, [log], now=moving_shop.NOW)
    make_app(moving_shop.desk(folder))
    assert drift_asked.read(desk.here().snapshot().shop, {}).stage == "bridge_fitting"
    assert "No series" not in page()


def test_a_stream_is_looked_at_closer_over_all_its_time(looked_at):
    told, chart = closer.opened(1, ABOUT, "light")
    assert told.children.startswith("Drag over")
    (readings,) = [one for one in chart.figure["data"] if one["name"] == "reading"]
    whole = looked_at.ask(stream_view, weeks=None, **ABOUT).readings
    assert len(readings["x"]) == len(whole)
    assert closer.opened(0, ABOUT, "light") is no_update


@pytest.mark.parametrize(
    "key", [None, [], {**ABOUT, "model": 3}, {"stage": ""}, {**ABOUT, "model": "no such model"}], ids=str
)
def test_a_stream_that_is_not_there_is_said_in_a_line(looked_at, key):
    assert "series" in said(closer.opened(1, key, None)).lower()


def test_a_period_of_ones_own_is_told_as_it_stood_at_its_end(tmp_path):
    counter = desk.Desk(moving_shop.stands(tmp_path / "shop"))
    make_app(counter)
    shop = counter.snapshot().shop
    now = said(drift.body(drift_asked.read(shop, {})))
    then = said(drift.body(drift_asked.read(shop, {"from": "2026-03-02", "to": "2026-03-27"})))
    assert "moved up" in now  # the step came on 30 March
    assert "moved up 0." not in then
    assert "27 Mar" in then
    asked = drift_asked.read(shop, {"from": "2026-03-02", "to": "2026-03-27"})
    assert asked.search == "?stage=final_inspection&weeks=&from=2026-03-02&to=2026-03-27".replace("&weeks=", "")
    assert drift.asked_for(asked.search) == asked


def test_week_and_drift_tell_a_matter_alike_and_a_stage_without_it_says_where_it_is(looked_at):
    matter = looked_at.ask(open_matters)[0]
    shop = looked_at.snapshot().shop
    told = sentences_matters.by(matter, shop).replace("\u00a0", " ")
    week = findings.first(looked_at.ask(review), shop)
    assert sentences_matters.by(matter, shop).partition(",")[0] in week
    here, away = page(), page(models="WREN-S")
    assert told in here
    assert "All readings of the matter together" in here
    assert "Out of this view one thing moved: action treble on LARK-25" in away
    assert "Moved, but in no series of this view: " in away
    assert told in away


def matter_of(key, *, shown=True, stage="final_inspection", model="LARK-25"):
    return SimpleNamespace(
        key=key,
        shown=shown,
        characteristics=["action"],
        positions=["treble"],
        models=[model],
        stages=[stage],
        to_target=False,
    )


def sight_of(matters, rows):
    streams = pl.DataFrame(
        rows,
        schema=[*moved.KEY, "state", "matter", "moved_share", "more_outside"],
        orient="row",
        infer_schema_length=None,
    )
    streams = streams.with_columns(pl.col("matter").cast(pl.String))
    streams = streams.with_columns(ended=pl.when(pl.col("matter") == "over").then("matter"))
    streams = streams.with_columns(matter=pl.when(pl.col("ended").is_null()).then("matter"))
    found = {one.key: one for one in matters}
    over = {key: found.pop(key) for key in ("over",) if key in found}
    return moved.in_view(in_sight.InSight(streams, found, over), streams)


def test_what_shows_no_move_is_watched_and_not_drawn():
    rows = [
        ("action", "treble", "LARK-25", "final_inspection", states.MOVED, "a", 0.2, 1.0),
        ("action", "bass", "LARK-25", "final_inspection", states.MOVED, "b", 0.1, None),
        ("relief", "", "LARK-25", "final_inspection", states.STEADY, None, 0.01, None),
    ]
    seen = sight_of([matter_of("a"), matter_of("b", shown=False)], rows)
    assert [one.matter.key for one in seen.things] == ["a"]
    assert [one.matter.key for one in seen.watched] == ["b"]
    assert seen.elsewhere == []


def test_several_series_that_moved_by_themselves_stand_beside_matters_of_which_one_is_watched():
    rows = [
        ("action", "treble", "LARK-25", "final_inspection", states.MOVED, "a", 0.4, 1.0),
        ("action", "bass", "LARK-25", "final_inspection", states.MOVED, "b", 0.1, None),
        *(("relief", "", model, "final_inspection", states.MOVED, None, 0.2, None) for model in ("LARK-25", "WREN-S")),
    ]
    seen = sight_of([matter_of("a"), matter_of("b", shown=False), matter_of("c", stage="bridge_fitting")], rows)
    assert [one.matter and one.matter.key for one in seen.things] == ["a", None, None]
    assert [one.matter.key for one in seen.watched] == ["b"]
    assert [one.key for one in seen.elsewhere] == ["c"]


def test_a_series_whose_matter_has_ended_is_back_and_not_said_to_have_moved():
    rows = [
        ("action", "treble", "LARK-25", "final_inspection", states.MOVED, "over", 0.4, 1.0),
        ("relief", "", "LARK-25", "final_inspection", states.STEADY, None, 0.01, None),
    ]
    seen = sight_of([matter_of("over")], rows)
    assert (seen.things, seen.watched, seen.elsewhere) == ([], [], [])
    assert [one.key for one in seen.back] == ["over"]


def test_drift_says_of_a_matter_that_has_ended_what_week_says(looked_at, monkeypatch):
    snapshot, shop = looked_at.snapshot(), looked_at.snapshot().shop
    (one,) = snapshot.once(open_matters)
    over = replace(one, back_since=snapshot.as_of, closed_at=snapshot.as_of)
    seen = in_sight.in_sight(snapshot)
    mine = pl.col("matter") == one.key
    streams = seen.streams.with_columns(
        matter=pl.lit(None, pl.String),
        ended=pl.when(mine).then("matter"),
        back_since=pl.when(mine).then(pl.lit(snapshot.as_of)),
    )
    for module in (drift, drift_asked):
        monkeypatch.setattr(
            module, "in_sight", lambda snapshot, **asked: in_sight.InSight(streams, {}, {over.key: over})
        )
    monkeypatch.setattr("dashboard.pages.drift.seen._matter", lambda signal: over)
    text = page(**MOVED)
    assert "Nothing moved at final inspection: 5 series ran true, and one came back where it was." in text
    assert "One thing moved" not in text
    assert "1 moved" not in text
    assert "1 back, the chart open still" in text
    told = sentences_ended.ended(over, shop, snapshot.as_of.date()).replace("\u00a0", " ")
    assert told in text
    assert "All readings of its matter together say that it is back since" in text


def test_drift_opens_with_several_series_that_moved_by_themselves(looked_at, monkeypatch):
    seen = in_sight.in_sight(looked_at.snapshot())
    by_itself = seen.streams.with_columns(
        state=pl.lit(states.MOVED), moved_share=pl.col("moved_share").fill_null(0.1), matter=pl.lit(None, pl.String)
    )
    for module in (drift, drift_asked):
        monkeypatch.setattr(module, "in_sight", lambda snapshot, **asked: in_sight.InSight(by_itself, seen.matters))
    text = page()
    assert "things moved" in text
    assert "first LARK" in text or "first WREN" in text or "first HERON" in text


def test_what_came_nearer_to_its_target_stands_behind_what_moved_away():
    rows = [
        ("action", "treble", "LARK-25", "final_inspection", states.MOVED, "a", 0.3, 5.0),
        ("action", "bass", "LARK-25", "final_inspection", states.MOVED, "b", 0.1, None),
    ]
    nearer = matter_of("a")
    nearer.to_target = True
    assert [one.matter.key for one in sight_of([nearer, matter_of("b")], rows).things] == ["b", "a"]


def test_a_matter_seen_only_by_all_its_readings_is_drawn_on_the_series_that_it_touches():
    rows = [
        ("action", "treble", "LARK-25", "final_inspection", states.STEADY, None, 0.12, None),
        ("action", "treble", "HERON-D", "final_inspection", states.STEADY, None, 0.01, None),
    ]
    seen = sight_of([matter_of("a"), matter_of("b", stage="bridge_fitting"), matter_of("c", shown=False)], rows)
    (thing,) = seen.things
    assert (thing.matter.key, thing.rows["model"].to_list()) == ("a", ["LARK-25"])
    assert [one.key for one in seen.elsewhere] == ["b", "c"]


def test_a_series_beyond_its_limits_whose_matter_shows_no_move_is_not_said_to_have_moved(looked_at, monkeypatch):
    snapshot = looked_at.snapshot()
    (one,) = snapshot.once(open_matters)
    quiet = replace(one, moves_with=replace(one.moves_with, candidates=[]), planned=None, size_low=-1.0, size_high=1.0)
    assert not quiet.shown
    monkeypatch.setattr("dashboard.pages.drift.seen._matter", lambda signal: quiet)
    text = page(**MOVED)
    assert "left its limits about" in text
    assert "this series alone" not in text  # no size in large type of what shows no move
    assert "readings in these weeks" in text
    assert "they show no move" in text
    assert "no move shown" in text


@pytest.mark.parametrize(("earlier", "apart"), [(0, False), (2, True)])
def test_where_a_series_and_its_matter_say_different_days_it_is_said_why(looked_at, monkeypatch, earlier, apart):
    (one,) = (each for each in looked_at.ask(open_matters) if "action" in each.characteristics)
    own = looked_at.ask(rack).streams.filter(pl.col("began_at").is_not_null())["began_at"][0]
    told = replace(one, began_at=own - timedelta(days=earlier))
    monkeypatch.setattr(in_sight, "open_matters", lambda _snapshot: [told])
    monkeypatch.setattr(
        drift_seen, "open_matter_of", lambda _snapshot: {("found", each.row): told for each in one.signals}
    )
    found = in_sight.in_sight(looked_at.snapshot())
    monkeypatch.setattr(drift, "in_sight", lambda _snapshot, **_more: found)
    monkeypatch.setattr(desk.here(), "ask", _unkept(looked_at))
    text = page(**MOVED).replace("\u00a0", " ")
    assert ("by itself since" in text) is apart
    assert ("A series by itself tells the day less surely" in text) is apart
    assert ("by this series alone; its matter on" in text) is apart


def _unkept(counter):
    """Asks the study itself: what was kept was worked out of other matters."""
    return lambda study, as_of=None, **options: study(counter.snapshot(as_of), **options)

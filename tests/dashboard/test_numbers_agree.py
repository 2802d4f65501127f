"""Numbers of one thing agree: headline, chart, table, paper and figures of every page, on four shops, each held against
its source.
"""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from analysis.review import review
from analysis.studies.drift import states
from analysis.studies.matters import register
from analysis.studies.matters.in_sight import in_sight
from analysis.studies.matters.matters import open_matters
from analysis.studies.necks import bow, lots, necks
from analysis.studies.people import targets
from analysis.studies.people.bands import set_readings
from analysis.studies.people.keeping import past_keeping
from analysis.studies.rework import rework
from analysis.studies.room import capability
from analysis.studies.room.beside import forecast
from analysis.studies.room.room import room
from analysis.studies.story.conformity import BUILT, SET, as_set
from analysis.studies.story.scope import Scope
from analysis.studies.story.story import story
from analysis.studies.week.arrived import review_week
from dashboard import numbers
from dashboard.app import make_app
from dashboard.exports.figures import FIGURES
from dashboard.pages.bench import page as bench_page
from dashboard.pages.book import page as book_page
from dashboard.pages.capability import beside
from dashboard.pages.capability import page as capability_page
from dashboard.pages.drift import page as drift_page
from dashboard.pages.logs import page as logs_page
from dashboard.pages.necks import page as necks_page
from dashboard.pages.necks import strips as necks_strips
from dashboard.pages.rework import page as rework_page
from dashboard.pages.week import page as week_page
from dashboard.papers import bench as card
from dashboard.papers import necks as packet
from dashboard.papers import week as review_paper
from dashboard.sentences import findings
from dashboard.sentences import matters as sentences_matters
from dashboard.sentences import necks as sentences_necks
from dashboard.sentences import targets as sentences_targets
from dashboard.tables import PAGE_ROWS
from tests.dashboard.pages.said import said
from tests.dashboard.papers.test_necks import words


@pytest.fixture(scope="module", params=["kept_demo_desk", "people_desk", "moving_desk", "reworked_desk"])
def looked_at(request):
    return request.getfixturevalue(request.param)


@pytest.fixture
def at_desk(looked_at):
    make_app(looked_at)  # a process has one desk
    return looked_at


def plain(text):
    return text.replace("\u00a0", " ")


def lots_of(counter):
    name = counter.ask(bow.neck_bow)
    return name, counter.ask(necks.by_lot).filter(pl.col("characteristic") == name)


def test_a_lot_s_count_is_the_same_in_figures_chart_table_headline_and_paper(at_desk):
    shop = at_desk.snapshot().shop
    if at_desk.ask(lots.lot_rows).is_empty():
        assert "no neck has been measured" in said(necks_page.layout()).lower()
        return
    name, found = lots_of(at_desk)
    rows = necks_page.newest_first(found, shop)
    figures = at_desk.ask(lots.lot_rows).filter(pl.col("characteristic") == name)
    drawn = {(lot.supplier, lot.lot): lot for lot in necks_strips.strip(shop, rows, name).lots}
    measured = at_desk.ask(lots.necks).filter(pl.col("characteristic") == name)
    page = said(necks_page.layout())
    for row in figures.iter_rows(named=True):
        own = measured.filter((pl.col("supplier") == row["supplier"]) & (pl.col("lot") == row["lot"]))
        assert own.height == row["n"]
        if row["outside"] is None:
            continue
        outside = int(own["outside"].sum())
        assert row["outside"] == outside / own.height
        strip = drawn[row["supplier"], row["lot"] or "no lot named"]
        assert (strip.marks.count("x"), strip.marks.count("=")) == (outside, row["on_limit"])
        assert strip.outside == f"{numbers.of(outside, row['n'])} outside"
        assert plain(sentences_necks.outside(row)) in page
    assert plain(sentences_necks.headline(rows, shop)) in page
    supplier = rows[0]["supplier"]
    paper = words(packet.paper(supplier)[1])
    own_rows = [row for row in rows if row["supplier"] == supplier]
    assert plain(sentences_necks.headline(own_rows, shop)) in paper
    for row in own_rows:
        if row["outside"] is not None:
            assert f"{row['lot']} " in paper
            assert plain(sentences_necks.outside_in_table(row)) in paper


def test_the_map_and_the_table_of_capability_hold_the_figures(at_desk):
    figures = at_desk.ask(capability.capability_rows).filter(
        (pl.col("tech") == "") & (pl.col("position") != capability.ANY)
    )
    roles = at_desk.snapshot().shop.roles
    compared = 0
    for when, role in ((SET, "final"), (BUILT, "test")):
        stages = [stage for stage, held in roles.items() if held == role]
        rows = figures.filter(pl.col("stage").is_in(stages)).sort("last_at")
        for row in at_desk.ask(room, when=when).iter_rows(named=True):
            same = rows.filter(
                (pl.col("characteristic") == row["characteristic"])
                & (pl.col("position") == row["position"])
                & (pl.col("model") == row["model"])
                & (pl.col("n") == row["n"])
            )
            if same.height and row["ppk"] is not None:
                last = same.tail(1).row(0, named=True)
                wanted = [last[name] for name in ("ppk", "ppk_low", "ppk_high", "nonconforming", "on_limit")]
                seen = [row[name] for name in ("ppk", "ppk_low", "ppk_high", "outside", "on_limit")]
                assert seen == [value if value is None else pytest.approx(value) for value in wanted]
                compared += 1
    assert compared or figures["ppk"].drop_nulls().is_empty()
    text = "".join(
        said(capability_page.layout(when=SET, open="figures", page=str(k)))
        for k in range(1, 2 + len(figures) // PAGE_ROWS)
    )
    final = [stage for stage, role in roles.items() if role == "final"]
    for row in figures.filter(pl.col("stage").is_in(final) & pl.col("ppk_low").is_not_null()).iter_rows(named=True):
        assert f"{numbers.plain(row['ppk'])} ({plain(numbers.span(row['ppk_low'], row['ppk_high']))})" in text


def test_next_month_is_told_from_the_instruments_counted(at_desk):
    found = at_desk.ask(forecast)
    if found is None:
        return
    seen = at_desk.ask(as_set).filter((pl.col("day") > found.since) & pl.col("outside").is_not_null())
    assert found.n == seen["serial"].n_unique()
    assert found.outside == seen.filter("outside")["serial"].n_unique()
    assert found.low <= found.outside / found.n <= found.high
    assert numbers.of(found.outside, found.n) in beside.ahead(found)


def test_work_that_came_back_is_the_same_in_headline_table_figures_and_its_visits(at_desk):
    stages, sent, weeks = (at_desk.ask(FIGURES[name]) for name in ("stages", "send_backs", "weeks"))
    if sent["count"].is_empty() or weeks["loop_minutes"].null_count():
        assert "Nothing was sent back" in said(rework_page.layout(weeks="all"))
        return
    many, minutes = int(sent["count"].sum()), float(sent["loop_minutes"].sum())
    visits = at_desk.ask(story).visits.filter((pl.col("outcome") == "send back") & (pl.col("round") == 1))
    assert many == visits.height == int(stages["caught_here"].sum()) == int(stages["caused_here"].sum())
    assert minutes == pytest.approx(float(stages["loop_minutes"].sum()))
    assert minutes == pytest.approx(float(weeks["loop_minutes"].sum()))
    assert float(sent["loop_cost"].sum()) == pytest.approx(float(weeks["loop_cost"].sum()))
    last = at_desk.ask(review_week)
    until = float(weeks.filter(pl.col("week") <= last)["loop_minutes"].sum())
    page = said(rework_page.layout(weeks="all"))
    assert f"{plain(numbers.plain(until / 60, 1))} hours of work that came back" in page
    found = at_desk.ask(rework.flows, scope=Scope(last=last))
    assert float(found.total["minutes"][0]) == pytest.approx(until)
    assert float(found.rows["minutes"].sum()) == pytest.approx(until)  # the arcs that are drawn
    for row in found.rows.head(3).iter_rows(named=True):
        assert f'"{plain(numbers.hours_of(row["minutes"]))}"' in page  # its cell in the table
        assert f'"{numbers.count(row["count"])}"' in page


def test_the_weekly_paper_and_the_page_week_tell_the_figures_of_that_week(at_desk):
    week = at_desk.ask(review_week)
    row = at_desk.ask(FIGURES["weeks"]).filter(pl.col("week") == week).row(0, named=True)
    page, paper = said(week_page.layout()), words(review_paper.paper()[1])
    judged = f"{numbers.count(row['judged'])} {'instrument' if row['judged'] == 1 else 'instruments'} reached final"
    assert judged in page
    assert judged in paper
    found = at_desk.ask(review)
    for one in findings.week(found, at_desk.snapshot().shop):
        for told in filter(None, (one.lead.strip(), one.rest.removeprefix(",").strip()[1:])):  # the page begins anew
            assert plain(told) in page
            assert plain(told) in paper
    sent = at_desk.ask(story).visits.filter(
        (pl.col("outcome") == "send back") & (pl.col("round") == 1) & (pl.col("week") == week)
    )
    if sent.height:
        many = f"{numbers.count(sent.height)} {'send-back' if sent.height == 1 else 'send-backs'}"
        assert f"{many}, {plain(numbers.hours_of(row['loop_minutes']))} of work" in paper
    told = found.outside.filter(pl.col("characteristic") == "any")
    if told.height:
        days = pl.col("day").is_between(week, week + timedelta(days=6))
        seen = at_desk.ask(as_set).filter(days & pl.col("outside").is_not_null())
        counted = numbers.of(seen.filter("outside")["serial"].n_unique(), seen["serial"].n_unique())
        assert counted == numbers.of(told["outside"][0], told["n"][0])
        assert plain(f"{counted} instrument") in page
        assert plain(f"{counted} instrument") in paper
    packed = found.shipped["serial"].unique(maintain_order=True).to_list()
    assert all(serial in page and serial in paper for serial in packed[: review_paper.SHIPPED])


def test_where_somebody_stands_is_the_same_on_page_card_and_in_the_readings(at_desk):
    shop = at_desk.snapshot().shop
    if shop.people.show == "none" or not shop.techs:
        return
    readings = at_desk.ask(set_readings)
    compared = 0
    for tech in [one.key for one in shop.techs][:4]:
        stands = at_desk.ask(targets.stands, tech=tech)
        if not stands or tech in at_desk.ask(past_keeping):
            continue
        stage = stands[0].band["stage"]
        of_stage = [one for one in stands if one.band["stage"] == stage]
        page, paper = said(bench_page.layout(tech=tech, stage=stage)), words(card.paper(tech, stage=stage)[1])
        for one in card.choose(of_stage, card._new_at(tech)):
            say = plain(sentences_targets.standing(shop, one))
            assert say in paper
            assert say in page
            row = one.band
            own = readings.filter(
                (pl.col("set_by") == tech)
                & (pl.col("characteristic") == row["characteristic"])
                & (pl.col("position") == row["position"])
                & (pl.col("setup") == row["model"])
            )
            assert len(one.values) + sum(gone.n for gone in one.left_out) <= own.height
            gauges = [gauge for gauge in shop.gauges if row["characteristic"] in gauge.measures]
            if len(gauges) == 1 and not gauges[0].uneven_marks:
                half = (gauges[0].step or 0.0) / 2
                low, high = (row[end] if row[end] is not None else np.nan for end in ("lower", "upper"))
                values = np.array(one.values)
                out = (values - half >= high - 1e-9) | (values + half <= low + 1e-9)
                assert (one.out, one.inside) == (out.tolist(), int((~out).sum()))
                compared += 1
    assert compared or not any(at_desk.ask(targets.stands, tech=one.key) for one in shop.techs)


def test_how_many_streams_moved_is_the_same_in_headline_and_figures(at_desk):
    shop = at_desk.snapshot().shop
    page = said(drift_page.body(drift_page.read(shop, {"stage": drift_page.ALL_STAGES, "weeks": "52"})))
    rows = at_desk.ask(FIGURES["streams"]).filter(pl.col("tech") == "")
    if rows.is_empty():
        return
    moved, thin = (int((rows["state"] == word).sum()) for word in (states.MOVED, states.THIN))
    steady = rows.height - moved - thin
    seen = at_desk.ask(in_sight, weeks=52)
    back = int(seen.streams["ended"].is_not_null().sum())  # of matters that have ended, as Week says
    assert (f"{numbers.count(back)} back" in page) is bool(back)
    for many, word in ((max(moved - back, 0), "moved"), (steady, "steady"), (thin, "thin")):
        assert (f"{numbers.count(many)} {word}" in page) is bool(many or word == "steady")
    out = seen.streams.filter((pl.col("state") == states.MOVED) & pl.col("ended").is_null())
    near = sum(seen.matters[key].to_target for key in out["matter"].drop_nulls().unique())
    things = out["matter"].drop_nulls().n_unique() + out["matter"].null_count() - near
    open_ones = [one for one in at_desk.ask(open_matters) if one.characteristics]
    assert {one.key for one in open_ones} <= {*out["matter"].to_list(), *seen.matters}
    if things:
        assert f"{numbers.in_words(things, capital=True)} {'thing' if things == 1 else 'things'} moved" in page
    if near:
        assert f"{numbers.in_words(near)} {'' if things else 'thing'}" in page.lower()
        assert "came nearer to target" in page
    for one in open_ones:  # on the page as Week and the figures have it, in view or not
        if one.size is not None:
            assert plain(sentences_matters.by(one, shop)).partition(" (")[0] in page


def test_what_waits_in_the_book_and_what_was_read_are_the_same_in_page_and_figures(at_desk):
    matters = at_desk.ask(FIGURES["matters"])
    waiting = int((matters["state"] == register.OPEN).sum())
    page = said(book_page.layout())
    many = f"{numbers.in_words(waiting)} {'matter waits' if waiting == 1 else 'matters wait'} for somebody to take"
    assert (many.lower() in page.lower()) is bool(waiting)
    logs = at_desk.ask(FIGURES["logs"])
    assert (logs["rows_read"] == logs["accepted"] + logs["changed"] + logs["already_held"] + logs["set_aside"]).all()
    text = said(logs_page.layout())
    assert numbers.count(int(logs["rows_read"].sum())) in text


def test_what_a_gauge_takes_is_the_same_on_its_page_and_in_the_figures(at_desk):
    studies = at_desk.ask(FIGURES["gauges"])
    page = said(capability_page.layout(open="gauges"))
    for row in studies.filter(pl.col("share_of_spread").is_not_null()).iter_rows(named=True):
        assert plain(numbers.share(row["share_of_spread"], 100)) in page
        assert row["rr"] ** 2 == pytest.approx(row["repeatability"] ** 2 + row["reproducibility"] ** 2)

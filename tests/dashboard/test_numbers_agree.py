"""Numbers of one thing agree: headline, chart, table, paper and figures of Necks and Capability, on several shops."""

import polars as pl
import pytest

from analysis.studies.necks import bow, lots, necks
from analysis.studies.room import capability
from analysis.studies.room.beside import forecast
from analysis.studies.room.room import room
from analysis.studies.story.conformity import BUILT, SET, as_set
from dashboard import numbers
from dashboard.app import make_app
from dashboard.desk.desk import Desk
from dashboard.pages.capability import beside
from dashboard.pages.capability import page as capability_page
from dashboard.pages.necks import page as necks_page
from dashboard.pages.necks import strips as necks_strips
from dashboard.papers import necks as packet
from dashboard.sentences import necks as sentences_necks
from tests.dashboard.pages import moving_shop, people_shop
from tests.dashboard.pages.said import said
from tests.dashboard.papers.test_necks import words

SHOPS = {"people": people_shop.stands, "moving": moving_shop.stands}


@pytest.fixture(scope="module", params=["demo", *SHOPS])
def looked_at(request, tmp_path_factory):
    if request.param == "demo":
        return request.getfixturevalue("kept_demo_desk")
    return Desk(SHOPS[request.param](tmp_path_factory.mktemp("agree") / "shop"))


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
    assert compared
    text = "".join(said(capability_page.layout(when=SET, open="figures", page=str(k))) for k in range(1, 5))
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

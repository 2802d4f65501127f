"""Suppliers beside each other on page Necks and in the packet: at the same air, in minutes and hours, nobody named."""

import pytest

from analysis.studies.necks import air, costs, necks, suppliers
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.necks import page
from dashboard.pages.necks import suppliers as beside
from dashboard.papers import necks as packet
from dashboard.sentences import suppliers as words
from tests.dashboard.pages import damp_shop
from tests.dashboard.pages.said import said
from tests.dashboard.papers.test_necks import words as text_of


@pytest.fixture(scope="module")
def counter(tmp_path_factory):
    return desk.Desk(damp_shop.stands(tmp_path_factory.mktemp("damp") / "shop"))  # read only


@pytest.fixture
def looked_at(counter):
    make_app(counter)
    return counter


def row_of(looked_at, supplier):
    return looked_at.ask(suppliers.supplier_rows).filter(supplier=supplier).row(0, named=True)


def test_the_page_says_what_the_air_did_and_who_comes_more_bowed(looked_at):
    text = said(page.layout())
    assert "Bow follows the air: at 66 % RH the necks of all suppliers read 0.0" in text
    assert "Ash's necks come 0.0" in text
    assert "No other two are shown to differ" in text or "The other two are not shown to differ" in text
    assert "that is the room's, no supplier's" in text
    assert text.count("Means are of lots that do not stand apart, at the same air, like models held against like;") == 1
    assert "minutes like hands too, more or less than the others', over judged necks. Hours of lots apart are" in text
    assert "other lots that do not stand apart, at the same air" in text
    found = looked_at.ask(costs.costs)
    assert words.hours(found.suppliers["Ash"]).replace("\u00a0", " ") in text
    assert f"{found.apart['Bell'].minutes:.2f} minutes a neck" in text


def test_shares_of_variance_say_what_is_in_them(looked_at):
    assert "Of readings as they came, with the air and lots that stand apart in them." in said(page.layout())


def test_of_a_supplier_whose_every_lot_is_worse_that_is_the_headline(looked_at):
    text = said(page.layout(supplier="Ash"))
    row, shop = row_of(looked_at, "Ash"), looked_at.snapshot().shop
    assert words.off(row, shop).replace("\u00a0", " ") in text.split("Supplier")[0]
    leads = beside.leading("neck_bow", "Ash", shop)
    assert "more at neck straightening" in leads
    assert beside.leading("neck_bow", "Cedar", shop) == ""


def test_a_packet_asks_a_supplier_whose_every_lot_is_worse_and_names_no_other(looked_at):
    text = text_of(packet.paper("Ash")[1])
    assert "Nothing is asked" not in text
    assert "That is all lots alike, not one alone" in text
    assert "than those of the shop's other suppliers" in text
    assert "Bell" not in text
    assert "Cedar" not in text
    assert "EUR" not in text
    assert "Nothing is asked" in text_of(packet.paper("Cedar")[1])


def test_a_packet_tells_a_bad_lot_at_the_air_of_the_others_and_what_it_took(looked_at):
    text = text_of(packet.paper("Bell")[1])
    rows = looked_at.ask(necks.by_lot).filter(lot="Bell-6")
    wet = rows.row(0, named=True)
    assert wet["bad_same_air"] < round(wet["outside"] * wet["n"])
    asked = text.partition("Lot Bell-6, ")[2].partition("Say, by")[0]
    assert f"; {wet['bad_same_air']} at 4" in asked
    assert "(read 0." in asked
    assert "it took" in asked
    assert "eleven other lots that do not stand apart, at the same air" in asked
    money = text_of(packet.paper("Bell", money=True)[1])
    assert "of labour over 48 judged necks" in money
    assert "of labour over 48 judged necks" not in text


def test_where_the_air_shows_nothing_far_air_is_a_question_and_not_a_tick():
    row = {"air_far": True, "air_rh": 66.0, "air_usual": 48.0, "lot": "B-6", "air_moves": None}
    settled, told = words.air_when_measured(row)
    assert not settled
    assert "what that does is not shown" in told
    said_of = words.of_air(air.AIRLESS, [row], None, "neck_bow").replace("\u00a0", " ")
    assert said_of.startswith("Lot B-6 was read at 66 % RH, the middle of all necks at 48 % RH. Whether bow follows")
    assert words.of_air(air.AIRLESS, [row | {"air_far": False}], None, "neck_bow") == ""


def test_figures_hold_what_the_page_tells(looked_at):
    snapshot = looked_at.snapshot()
    of = costs.supplier_figures(snapshot).filter(supplier="Ash").row(0, named=True)
    spent = looked_at.ask(costs.costs).suppliers["Ash"]
    assert (of["minutes"], of["n_minutes"]) == (spent.minutes, spent.necks)
    lots = costs.lot_figures(snapshot)
    assert lots.filter("apart")["minutes"].null_count() == 0
    assert lots.filter(~lots["apart"].fill_null(False))["minutes"].is_null().all()
    wet = lots.filter(lot="Bell-6").row(0, named=True)
    shown = looked_at.ask(necks.by_lot).filter(lot="Bell-6").row(0, named=True)
    assert wet["mean"] == pytest.approx(shown["mean"] - shown["air_moves"])
    assert wet["outside"] == shown["bad_same_air"]

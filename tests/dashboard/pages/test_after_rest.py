"""What necks do after straightening on page Necks and in the packet: whose lots come back, and nobody else's."""

from dataclasses import replace
from datetime import date

import pytest

from analysis.studies.necks import after_rest, of_week, sent_back
from dashboard import numbers
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.necks import after_rest as rested
from dashboard.pages.necks import page
from dashboard.papers import necks as packet
from dashboard.papers import week as week_paper
from dashboard.sentences import after_rest as words
from tests.dashboard.pages import resting_shop
from tests.dashboard.pages.said import said
from tests.dashboard.papers.test_necks import words as text_of


@pytest.fixture(scope="module")
def counter(tmp_path_factory):
    return desk.Desk(resting_shop.stands(tmp_path_factory.mktemp("resting") / "shop"))  # read only


@pytest.fixture
def looked_at(counter):
    make_app(counter)
    return counter


def ash(looked_at):
    return next(one for one in looked_at.ask(after_rest.by_supplier) if one.supplier == "Ash")


def test_the_page_says_whose_necks_come_back_since_which_lot_and_what_was_sent_back(looked_at):
    text = said(page.layout())
    found, shares = ash(looked_at).apart, looked_at.ask(sent_back.by_supplier)["Ash"].shares
    size = f"{found.level.mean:.3f} mm ({found.level.low:.3f} to {found.level.high:.3f})"
    leads = f"Ash's necks come back by {size} after straightening, four lots since Ash-4: "
    assert leads in text.split("Supplier")[0]
    assert f"24 h after straightening Ash's necks have come back by {size}" in text
    assert "four lots since Ash-4, 96 necks; the other suppliers' " in text
    assert f"{shares.found} of {shares.n} came back to straightening, of the others of the same" in text
    assert "hours of work" in text
    assert "Bell's necks have come back" not in text
    assert "Moved since straightening (95 %)" in text


def test_a_supplier_whose_necks_stay_is_said_to_stay(looked_at):
    text = said(page.layout(supplier="Bell"))
    assert "24 h after straightening Bell's necks stand " in text
    assert "no lots are shown to lie apart" in text
    assert "come back by" not in text.split("Supplier")[0]


def test_a_packet_asks_whose_necks_come_back_and_names_no_other(looked_at):
    text = text_of(packet.paper("Ash")[1])
    assert "Nothing is asked" not in text
    assert "Necks of four lots since Ash-4 come back by 0.0" in text
    assert "what was other about them from lot Ash-4 on" in text
    assert "those of the shop's other suppliers" in text
    assert "Left by straightening" in text
    assert "Bell" not in text
    assert "Cedar" not in text
    assert "EUR" not in text
    assert "Nothing is asked" in text_of(packet.paper("Bell")[1])


def test_a_cell_of_a_lot_is_that_of_the_figures(looked_at):
    row = rested.by_lot()["Ash", "Ash-5"]
    cell = words.of_lot(row, looked_at.snapshot().shop)
    assert cell == f"+{row['change']:.3f} ({row['change_low']:.3f} to {row['change_high']:.3f})"
    assert words.of_lot(None, looked_at.snapshot().shop) == numbers.NONE


@pytest.mark.parametrize(
    ("names", "lots", "lasts", "which"),
    [
        (["A-2", "A-3"], 3, True, "two lots since A-2"),
        (["A-1", "A-2", "A-3"], 3, True, "all three lots"),
        (["A-3"], 3, True, "lot A-3"),
        (["A-1", "A-2"], 3, False, "two lots from A-1 to A-2, not since"),
    ],
)
def test_lots_are_named_by_where_they_begin_and_end(looked_at, names, lots, lasts, which):
    one = ash(looked_at)
    told = replace(one, hours=96.0, lots=lots, names=names, necks_apart=66, lasts=lasts)
    text = words.told(told, looked_at.snapshot().shop)
    assert f", {which}, 66 necks" in text
    assert text.startswith("four days after straightening its necks have come back by ")
    on = words.told(replace(told, incoming=-0.1), looked_at.snapshot().shop)
    assert "have gone on by" in on


def test_the_week_says_whose_necks_came_back_oftener_than_the_others(looked_at):
    shares = looked_at.ask(sent_back.by_supplier)["Ash"].shares
    text = text_of(week_paper.paper()[1])
    told = text.partition("More of Ash's necks than of others came back to neck straightening")[2].lstrip(" :")
    assert told.startswith(
        f"{shares.found} of {shares.n} judged of four lots since Ash-4, of the others of the same models and weeks "
        f"{shares.other_found} of {shares.other_n}; {100 * shares.more:.0f} in a hundred more "
        f"({100 * shares.low:.0f} to {100 * shares.high:.0f})."
    )
    assert "24 h after straightening these lots have come back by 0.0" in told.partition("Final")[0]
    before = text_of(week_paper.paper(week=date(2026, 3, 9))[1])
    assert "than of others came back" not in before


def test_few_instruments_of_the_week_are_called_few(looked_at):
    shop = looked_at.snapshot().shop
    row = looked_at.ask(of_week.rested, week=date(2026, 4, 20)).row(0, named=True)
    assert "few" not in words.of_week(row, shop).text
    assert ", few instruments." in words.of_week(row | {"n": 16}, shop).text

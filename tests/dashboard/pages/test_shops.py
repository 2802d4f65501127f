"""Page and paper of several shops: finding, chart, reason and act; nobody is named; read anew when a shop publishes."""

import re
import shutil
from datetime import date

import polars as pl
import pytest

from dashboard.app import frame, make_app
from dashboard.charts.shops import DAYS, ShopRow, ShopsView, day_number, shops
from dashboard.desk.desk import Desk, use
from dashboard.desk.several import Together
from dashboard.exports.several import FIGURES
from dashboard.pages.shops import page
from dashboard.pages.shops.drawn import views
from dashboard.papers import shops as paper
from ingest.store.target import Target
from tests.analysis.studies.shops.invented import Planted
from tests.dashboard.commands.test_several import published
from tests.dashboard.pages.said import said

PLANTED = Planted(
    level={(1, "LARK-25"): 0.06},
    gauge={2: 0.1},
    lot={"M-03": 0.4},
    always=("M-03",),
    blanks={0: 0.12, 1: 0.12},
    back={4: 2.2},
    together=(0, 1, 2, 3, 4, 5),
)


@pytest.fixture(scope="module")
def target(tmp_path_factory):
    return Target(str(published(tmp_path_factory.mktemp("several"), PLANTED, 6)))


@pytest.fixture
def looking(moving_desk, target):
    """A desk that knows the place."""
    counter = Desk(moving_desk.folder)
    counter.several = Together(moving_desk.folder, target)
    use(counter)
    return counter


def test_every_list_that_tells_something_has_finding_chart_and_act(looking):
    text = said(page.layout())
    assert text.count("Do next: ") == len(page.LISTS)
    for name in page.LISTS.values():
        assert name in text
    assert text.count('"shops-same_') + text.count('"shops-lots_') == len(page.LISTS)
    assert "String height went up in six shops within 14 days." in text
    assert "LARK-25, Final: level, 95 % intervals" in text
    found = looking.several.found(FIGURES)
    assert {name for name, _ in views(found).items()} == set(page.LISTS)


def test_the_same_is_on_paper_and_holds_all_it_needs(looking):
    name, text = paper.served()
    assert name == "several-shops"
    assert text.count("Do next:") == len(page.LISTS)
    assert "String height went up in six shops" in text
    assert not re.findall(r"(?:src|href)=\"(?!#|data:)", text)
    assert "person-" not in text


def test_only_a_desk_that_knows_a_place_leads_there(looking, moving_desk):
    make_app(looking)
    assert "/shops" in said(frame(looking, [("Week", "/"), ("Shops", "/shops")]))
    assert make_app(looking).server.test_client().get("/papers/shops").status_code == 200
    use(moving_desk)
    assert "truerun serve --shops TARGET" in said(page.layout())
    answer = make_app(moving_desk).server.test_client().get("/papers/shops")
    assert answer.status_code == 404
    assert "no place is named" in answer.get_data(as_text=True).lower()
    assert page.saved()[1].is_empty()


def test_it_is_read_anew_when_a_shop_is_gone_and_not_otherwise(looking, target, tmp_path):
    place = Target(str(shutil.copytree(target.address, tmp_path / "all")))
    together = Together(looking.folder, place)
    first = together.found(FIGURES)
    assert together.found(FIGURES) is first
    owner = place.shops().filter(shop="shop-06")["owner"][0]
    place.say(None, "shop-06", owner)
    assert len(together.found(FIGURES).told.shops) == 5
    (tmp_path / "all" / "names.toml").write_text('[shop-02.model]\n"LARK-25" = "LARK-26"\n')
    assert "shop-02: model LARK-25 is LARK-26 here" in together.found(FIGURES).told.said


def test_a_place_that_cannot_be_read_is_one_line_and_the_frame_stands(looking, tmp_path):
    looking.several = Together(looking.folder, Target(str(tmp_path / "nowhere")))
    text = said(page.layout())
    assert "Several shops cannot be read now." in text
    assert "no shop is published there" in text


def test_what_is_alike_is_said_in_one_sheet(looking, tmp_path):
    looking.several = Together(looking.folder, Target(str(published(tmp_path, Planted(), 3))))
    text = said(page.layout())
    assert "Three shops, and nothing tells them apart beyond chance." in text
    assert "Do next" not in text
    assert "As usual" in text


def test_saved_is_every_comparison_unrounded(looking):
    file, rows = page.saved()
    assert file == "shops.csv"
    assert rows.filter(pl.col("apart"))["shop"].to_list() == ["shop-02"]


def test_a_day_is_drawn_where_it_lies_and_words_say_it():
    days = [day_number(date(2026, 3, day)) for day in (2, 16)]
    drawn = shops(ShopsView([ShopRow("a", days[0], days[0], days[0] + 2), ShopRow("b", days[1])], DAYS))
    at = drawn["data"][0]["x"]
    assert at[1] > at[0]
    assert [told[1] for told in drawn["data"][0]["customdata"]] == ["a: 2\u00a0Mar", "b: 16\u00a0Mar"]
    line = next(shape for shape in drawn["layout"]["shapes"] if shape["x1"] > shape["x0"] == at[0])
    assert (line["x1"] - line["x0"]) / (at[1] - at[0]) == pytest.approx(2 / 14)

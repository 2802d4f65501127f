"""Any two days on Capability, Necks and Bench: only these days count, an empty period says so, links carry it on."""

from datetime import date

import polars as pl
import pytest

from analysis.studies.necks import necks
from analysis.studies.people import targets
from analysis.studies.room import need
from analysis.studies.story.conformity import SET, judged_readings
from dashboard import numbers
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages import period
from dashboard.pages.bench import page as bench
from dashboard.pages.capability import page as capability
from dashboard.pages.necks import page as necks_page
from dashboard.sentences import necks as sentences_necks
from tests.dashboard.pages import people_shop
from tests.dashboard.pages.said import said

BEFORE = {"from": "2020-01-06", "to": "2020-02-02"}


def plain(one):
    return one.words().replace(numbers.NBSP, " ")


@pytest.fixture(scope="module")
def stands(tmp_path_factory):
    return people_shop.stands(tmp_path_factory.mktemp("period") / "shop")


@pytest.fixture
def looked_at(stands):
    counter = desk.Desk(stands)
    make_app(counter)
    return counter


def test_a_period_holds_both_its_days_and_says_itself():
    both = period.read({"from": "2026-10-05", "to": "2026-11-01"})
    assert [both.holds(date(2026, 10, 4)), both.holds(date(2026, 10, 5)), both.holds(date(2026, 11, 1))] == [0, 1, 1]
    assert plain(both) == "from 5 Oct 2026 to 1 Nov 2026"
    assert plain(period.read({"from": "2026-10-05"})) == "since 5 Oct 2026"
    assert not period.read({"from": "", "to": "no day"})


def test_capability_counts_the_readings_of_its_days_only(looked_at):
    readings = judged_readings(looked_at.snapshot(), SET)
    first, last = readings["day"].min(), readings["day"].max()
    middle = first + (last - first) / 2
    found = looked_at.ask(need.needs, when=SET, first=middle, last=last)
    for row in found.iter_rows(named=True):
        same = [pl.col(name) == row[name] for name in ("characteristic", "position")]
        mine = readings.filter(*same, pl.col("setup") == row["model"], pl.col("day") >= middle)
        assert row["n"] == len(mine)
        assert row["mean"] == pytest.approx(mine["value"].mean())
    text = said(capability.layout(**{"from": str(middle), "to": str(last)}))
    assert plain(period.Period(middle, last)) in text
    assert f"from={middle}" in text  # a dot leads on within these days
    few = looked_at.ask(need.needs, when=SET, first=last, last=last)
    least = looked_at.snapshot().shop.judging.least_readings
    assert len(few)
    for row in few.iter_rows(named=True):
        assert ("thin" in row["flags"]) == (row["n"] < least)


def test_necks_shows_the_lots_that_came_in_its_days(looked_at):
    shop = looked_at.snapshot().shop
    came = {
        row["lot"]: sentences_necks.received(row, shop) for row in looked_at.ask(necks.by_lot).iter_rows(named=True)
    }
    middle = sorted(came.values())[len(came) // 2]
    text = said(necks_page.layout(**{"from": str(middle)}))
    for lot, day in came.items():
        assert (f"lot={lot}" in text) == (day >= middle), lot


def test_bench_counts_what_was_set_in_its_days_and_keeps_the_word_of_all(looked_at):
    whole = said(bench.layout())
    (stand, *_) = [one for one in looked_at.ask(targets.stands, tech="T09") if one.band["stage"] == "nut_slotting"]
    days = targets.set_readings(looked_at.snapshot()).filter(pl.col("set_by") == "T09")["set_on"]
    first, last = days.min(), days.max()
    middle = first + (last - first) / 2
    then = looked_at.ask(targets.stands, tech="T09", since=first, until=middle)
    assert 0 < len(then[0].values) < len(stand.values)
    text = said(bench.layout(**{"from": str(first), "to": str(middle)}))
    assert f"In these days {sum(then[0].out)} of {len(then[0].values)} outside" in text
    assert (
        "T09 at nut slotting: two targets shown to hold, two not yet; more came back than chance and mix explain."
        in whole
    )
    assert (
        "T09 at nut slotting: two targets shown to hold, two not yet; more came back than chance and mix explain."
        in text
    )


@pytest.mark.parametrize(
    ("page", "says"),
    [
        (capability, "No reading with limits as set from 6 Jan 2020 to 2 Feb 2020."),
        (necks_page, "No lot came from 6 Jan 2020 to 2 Feb 2020."),
        (bench, "Nothing with a target was set from 6 Jan 2020 to 2 Feb 2020"),
    ],
    ids=["capability", "necks", "bench"],
)
def test_an_empty_period_says_so(looked_at, page, says):
    assert says in said(page.layout(**BEFORE))

"""What left the bench outside its limits is told, before what moved where it is many; a calm week is said of none."""

from types import SimpleNamespace

import polars as pl
import pytest

from dashboard import numbers
from dashboard.sentences import came_back, findings, leaving
from dashboard.sentences import week as sentences_week
from tests.dashboard.sentences.test_shared import SHOP, flows, found, matter, plain


def outside(*rows):
    names = ("characteristic", "position", "outside", "n", "starting", "low", "high")
    return pl.DataFrame(list(rows), schema=names, orient="row").with_columns(share=pl.col("outside") / pl.col("n"))


def shipped(why, many):
    """So many instruments: each outside at action treble, the first also in its relief."""
    rows = [(f"LK{k:04d}", why, "action", "treble") for k in range(many)]
    rows += [(rows[0][0], why, "relief", "")] if rows else []
    return pl.DataFrame(rows, schema=["serial", "why", "characteristic", "position"], orient="row")


MANY = outside(("relief", "", 48, 106, 48, 0.356, 0.552), ("any", "", 48, 107, 48, 0.352, 0.548))
FEW = outside(
    ("action", "treble", 3, 55, 0, 0.011, 0.151), ("relief", "", 1, 55, 0, 0, 0.1), ("any", "", 4, 55, 0, 0.02, 0.2)
)


def test_half_a_week_shipped_outside_is_the_headline_and_nothing_is_called_calm():
    week = found(outside=MANY, shipped=shipped("outside", 46), steady=10)
    assert (
        plain(findings.headline(week, SHOP)) == "46 instruments were shipped outside their limits, and nothing moved."
    )
    assert findings.first(week, SHOP).startswith("46 instruments were shipped outside")
    said = plain(findings.week(week, SHOP)[0].text)
    assert said.startswith(
        "46 instruments were shipped outside their limits, all at action treble. "
        "As set 48 of 107 were outside, by share most at neck relief: 48 of 106 (36 to 55 %)."
    )
    assert "starting values" in said
    assert "specs.csv" in findings.next_step(week, SHOP)


def test_many_outside_come_before_what_moved_and_few_after_it():
    own = MANY.with_columns(starting=pl.lit(0, pl.Int64))
    many = found(outside=own, shipped=shipped("outside", 46), matters=[matter()])
    few = found(outside=FEW, shipped=shipped("outside", 4), matters=[matter(new=False)], steady=3)
    assert [one.state for one in findings.week(many, SHOP)][:2] == ["outside", "moved-up"]
    assert [one.state for one in findings.week(few, SHOP)][:2] == ["moved-up", "outside"]
    headline = findings.headline(few, SHOP)
    assert headline == "One thing moved, four instruments were shipped outside their limits, and the rest ran true."


def test_by_limits_that_are_starting_values_what_moved_comes_first():
    week = found(outside=MANY, shipped=shipped("outside", 46), matters=[matter()])
    assert [one.state for one in findings.week(week, SHOP)][:2] == ["moved-up", "outside"]


def test_limits_of_the_shop_itself_are_not_called_starting_values():
    week = found(outside=FEW, shipped=shipped("outside", 4))
    said = plain(findings.week(week, SHOP)[0].text)
    assert "starting" not in said
    assert "As set 4 of 55 were outside, by share most at action treble: 3 of 55 (1 to 15 %)." in said
    assert "hold what has not left yet" in findings.next_step(week, SHOP)


def at(*places, since=()):
    """Instruments shipped outside, each at its place (characteristic, position); `since`: inside as set."""
    rows = [(f"LK{k}", "outside", *place, k not in since) for k, place in enumerate(places)]
    return pl.DataFrame(rows, schema=["serial", "why", "characteristic", "position", "set_outside"], orient="row")


def test_most_often_is_said_of_one_place_only():
    bass, treble, relief = ("action", "bass"), ("action", "treble"), ("relief", "")
    told = leaving.leaving(found(outside=FEW, shipped=at(bass, treble, relief)), SHOP)
    assert plain(told.text).startswith(
        "Three instruments were shipped outside their limits, at action bass, action treble and neck relief, one each."
    )
    told = leaving.leaving(found(outside=FEW, shipped=at(bass, bass, relief)), SHOP)
    assert "most often at action bass (two of them)." in plain(told.text)


def test_instruments_that_went_out_after_they_were_set_are_told_apart():
    bass = ("action", "bass")
    told = leaving.leaving(found(outside=FEW, shipped=at(bass, bass, bass, since=(2,))), SHOP)
    assert "all at action bass. Two lay outside when first inspected, one only when last. As set" in plain(told.text)
    told = leaving.leaving(found(outside=FEW, shipped=at(bass, since=(0,))), SHOP)
    assert "It lay inside when first inspected, and outside when last." in plain(told.text)
    assert "first inspected" not in plain(leaving.leaving(found(outside=FEW, shipped=at(bass)), SHOP).text)


@pytest.mark.parametrize(("many", "words"), [(1, "One instrument was shipped"), (13, "13 instruments were shipped")])
def test_shipped_without_a_final_inspection_is_told(many, words):
    week = found(shipped=shipped("no final", many), steady=3)
    assert findings.week(week, SHOP)[0].text.startswith(f"{words} without a final inspection on file")


def test_set_outside_in_great_number_is_told_before_any_is_shipped():
    assert plain(findings.first(found(outside=MANY), SHOP)) == "48 of 107 instruments were set outside their limits."


def test_nothing_outside_is_nothing_to_say():
    calm = outside(("relief", "", 0, 55, 0, 0.0, 0.065), ("any", "", 0, 55, 0, 0.0, 0.065))
    week = found(outside=calm, steady=4)
    assert leaving.leaving(week, SHOP) is None
    assert leaving.leaving(found(), SHOP) is None
    assert findings.headline(week, SHOP) == "Everything that can be judged ran true."
    assert findings.foremost(week, SHOP) is None


def test_what_came_back_is_told_by_its_number_where_no_minutes_are_on_file():
    week = found(flows=flows(("unknown", "final_inspection", 6, 0.0, 0, 0.0)), steady=4)
    first = findings.foremost(week, SHOP)
    assert first is not None
    assert plain(first.text) == (
        "Final inspection sent 6 instruments back, and no log says what caused it. The four weeks before: 0.0 a week. "
        "What it cost is not known: no minutes are on file."
    )


def test_the_papers_weeks_before_are_hours_or_where_no_minutes_are_on_file_a_number():
    way = ("bridge_fitting", "final_inspection", 12, 318.0, 7, 168.0)
    week = found(flows=flows(way), flows_before=flows(("bridge_fitting", "final_inspection", 30, 1116.0, 20, 560.0)))
    row = week.flows.row(0, named=True)
    assert came_back.way_back(week, SHOP, {"minutes": 318.0}, row)["before"] == numbers.hours_of(1116 / 4)
    assert came_back.way_back(week, SHOP, {"minutes": 0.0}, row)["before"] == "7.5"


def test_in_a_shop_that_packs_nowhere_instruments_are_finished():
    no_packing = SimpleNamespace(stages=[one for one in SHOP.stages if one.role != "packing"])
    packs = SimpleNamespace(stages=[SimpleNamespace(role="packing")])
    week = found(finished=40)
    assert sentences_week.nothing_shipped(week, no_packing).startswith("All that was finished had a final inspection")
    assert sentences_week.nothing_shipped(week, packs).startswith("All that was packed had a final inspection")

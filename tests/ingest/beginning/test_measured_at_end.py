"""Of a row an instrument under one day its readings were taken at the end, unless somebody says at each bench; under
a day of each station at that station. The air of such a row is that of all its readings.
"""

import tomllib

import pytest

from ingest.beginning.answers import checked_answers
from ingest.beginning.measured_at_end import END, LEFT
from ingest.beginning.new import propose
from tests.ingest.beginning.test_proposed import DAYS, SHOP
from tests.ingest.small_shop import csv

HEAD = "Serial,Date,Nut by,Nut (mm),Saddle by,Relief (mm),Action bass (mm),Checked by,Result,Humidity %"
WHERE = "measured where in s.csv"


def proposed(head=HEAD, *, answers=None, **more):
    rows = [
        f"A{n},{DAYS[n % 26]},{'DP'[n % 2]},0.4{n % 9},{'MW'[n % 2]},0.1{n % 9},2.{n % 9},{'GA'[n % 2]},ok,{50 + n % 9}"
        for n in range(60)
    ]
    return propose([("s.csv", csv(head, *rows))], said=checked_answers(SHOP | more), answers=answers)


def headings(proposal):
    return tomllib.loads(proposal.shop_toml)["log"][0]["headings"]


def test_readings_of_a_row_with_one_day_are_of_the_end_and_it_is_asked():
    made = proposed()
    held = headings(made)
    assert held["Nut (mm)"] == "nut (mm) @ final_inspection"
    assert held["Relief (mm)"] == "relief (mm) @ final_inspection"
    assert held["Action bass (mm)"] == "action bass (mm) @ final_inspection"
    assert held["Nut by"] == "tech @ nut_slotting"
    [ask] = [ask for ask in made.asks if ask.key == WHERE]
    assert (ask.options, ask.default) == ((END, LEFT), END)
    assert "Relief (mm)" in ask.text


def test_somebody_may_say_that_they_are_of_the_bench_left_of_each():
    held = headings(proposed(answers={WHERE: LEFT}))
    assert held["Nut (mm)"] == "nut (mm) @ nut_slotting"
    assert held["Relief (mm)"] == "relief (mm) @ bridge_fitting"
    assert held["Action bass (mm)"] == "action bass (mm) @ bridge_fitting"


def test_the_air_of_a_row_with_one_day_holds_for_all_of_it():
    assert headings(proposed())["Humidity %"] == "rh"


@pytest.mark.parametrize(
    ("was", "now", "relief"),
    [
        ("Saddle by", "Saddle date", "bridge_fitting"),  # a day of its own
        ("Relief (mm)", "Bridge relief (mm)", "bridge_fitting"),  # it says where
        ("Relief (mm)", "Relief left (mm)", "bridge_fitting"),  # as it was left at the bench
        ("Checked by", "Packed by", "bridge_fitting"),  # no final inspection in the row
    ],
)
def test_where_the_row_tells_of_each_bench_it_stays_there(was, now, relief):
    head = HEAD.replace(was, now)
    rows = [
        f"A{n},{DAYS[n % 26]},{'DP'[n % 2]},0.4{n % 9},{DAYS[n % 26] if 'date' in now else 'MW'[n % 2]},0.1{n % 9},"
        f"2.{n % 9},{'GA'[n % 2]},ok,{50 + n % 9}"
        for n in range(60)
    ]
    made = propose([("s.csv", csv(head, *rows))], said=checked_answers(SHOP))
    [target] = [target for heading, target in headings(made).items() if "elief" in heading]
    assert target.endswith(f"@ {relief}")


def test_what_somebody_said_without_a_stage_is_written_with_one():
    log = {
        "files": "*",
        "headings": {"Action bass (mm)": "action treble (mm)", "Relief (mm)": "relief @ bridge_fitting"},
    }
    held = headings(proposed(log=[log]))
    assert held["Action bass (mm)"] == "action treble (mm) @ final_inspection"
    assert held["Relief (mm)"] == "relief @ bridge_fitting"


def test_a_string_that_was_taken_from_its_sister_says_so():
    log = {"files": "*", "headings": {"Action G": "action bass (mm)"}}
    made = proposed(HEAD.replace("Relief (mm)", "Action G").replace("Action bass (mm)", "Action A"), log=[log])
    [line] = [line for line in made.shop_toml.splitlines() if line.startswith('"Action A"')]
    assert line.startswith('"Action A" = "action treble @ final_inspection"  # guess by its row has one day')
    assert "the other string of 'Action G'" in line


def test_what_is_read_on_the_way_and_at_the_end_stays_two_readings():
    head = (
        HEAD.replace("Nut (mm)", "Relief 1 (mm)").replace("Result", "Final relief (mm)").replace("Humidity %", "Note")
    )
    held = headings(proposed(head))
    at = sorted(target for target in held.values() if target.startswith("relief"))
    assert "relief (mm) @ final_inspection" in at
    assert len({*at}) == len(at) > 1

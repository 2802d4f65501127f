"""Where a measurement is set in a first shop: its usual place, else the one bench where it is read, else asked."""

import tomllib

import pytest

from ingest.beginning.answers import checked_answers
from ingest.beginning.new import propose
from tests.ingest.beginning.test_proposed import DAYS, SHOP
from tests.ingest.small_shop import csv

MODELS = {"model": [{"key": "Cedar", "family": "classical guitar"}, {"key": "Ash", "family": "electric guitar"}]}


def proposed(benches, read, models=("Cedar", "Ash")):
    """Rows a visit: each instrument meets all benches and the final, relief is read at some."""
    rows = [
        f"A{n},{DAYS[n % 26]},{models[n % len(models)]},{bench},{'JK'[n % 2]},{f'0.1{n % 9}' if bench in read else ''}"
        for n in range(40)
        for bench in (*benches, "Final inspection")
    ]
    table = SHOP | {"model": [one for one in MODELS["model"] if one["key"] in models]}
    return propose([("bench.csv", csv("Serial,Date,Model,Stage,Tech,Relief (mm)", *rows))], said=checked_answers(table))


def set_at(proposal):
    return tomllib.loads(proposal.shop_toml)["characteristic"][0].get("set_at")


def asked(proposal):
    return [line for line in proposal.unread if line.startswith("At which bench")]


def test_where_one_family_has_its_place_here_the_others_are_set_where_they_are_read():
    made = proposed(("Levelling", "Bridge fitting"), ("Levelling", "Final inspection"))
    assert set_at(made) == "levelling"  # a classical guitar's usual place; the rod of the others is no stage here
    assert "where it is read on the bench" in made.shop_toml
    assert asked(made) == []


def test_the_usual_place_goes_before_the_bench_where_it_is_read():
    made = proposed(("Neck straightening", "Bridge fitting"), ("Neck straightening", "Bridge fitting"), ("Ash",))
    assert set_at(made) == "neck_straightening"
    assert asked(made) == []


@pytest.mark.parametrize("read", [("Final inspection",), ("Bridge fitting", "Nut slotting", "Final inspection")])
def test_where_no_bench_or_several_read_it_one_line_asks(read):
    made = proposed(("Nut slotting", "Bridge fitting"), read, ("Ash",))
    assert set_at(made) is None
    assert asked(made) == [
        "At which bench is neck relief set? The sheets do not tell; until `set_at` of its [[characteristic]] says so, "
        "Bench and the causes of a move leave people out of it"
    ]


def test_families_that_are_left_out_are_named():
    made = proposed(("Levelling", "Bridge fitting"), ("Bridge fitting", "Levelling", "Final inspection"))
    assert set_at(made) == {"classical guitar": "levelling"}
    [line] = asked(made)
    assert "neck relief (but for classical guitar)" in line


def test_a_shop_without_benches_is_asked_nothing():
    assert asked(proposed((), ("Final inspection",), ("Ash",))) == []

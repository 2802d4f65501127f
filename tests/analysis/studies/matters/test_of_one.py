"""Whose readings an open matter goes with, for Bench alone."""

from types import SimpleNamespace

from analysis.studies.matters import of_one
from analysis.studies.matters.records import LOT, SET_BY, TECH_AT, Candidate, MovesWith


def moved(*named, techs=(), only_some=False):
    candidates = [Candidate(factor, level, stage=stage, named=True) for factor, level, stage in named]
    return SimpleNamespace(moves_with=MovesWith(candidates), techs=list(techs), only_some=only_some)


def test_whoever_is_named_as_the_cause_at_this_bench():
    assert of_one.whose(moved((SET_BY, "T03", "")), "nut_slotting") == ["T03"]
    assert of_one.whose(moved((TECH_AT, "T03", "fretting")), "nut_slotting") == []
    assert of_one.whose(moved((TECH_AT, "T03", "fretting")), "fretting") == ["T03"]
    assert of_one.whose(moved((LOT, "B1", "")), "nut_slotting") == []


def test_those_whose_own_charts_alone_opened():
    assert of_one.whose(moved(techs=["T05", "T03"], only_some=True), "nut_slotting") == ["T05", "T03"]
    assert of_one.whose(moved(techs=["T05"]), "nut_slotting") == []  # the stream of all opened too, and names nobody
    assert of_one.whose(moved((SET_BY, "T05", ""), techs=["T05"], only_some=True), "x") == ["T05"]


def test_in_a_shop_where_nobody_moved_alone_there_is_none(moving_desk):
    assert of_one.at_bench(moving_desk.snapshot(), stage="bridge_fitting") == []

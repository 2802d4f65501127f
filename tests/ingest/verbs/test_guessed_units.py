"""A caliper left on inches for a day: its numbers are one answer."""

import pytest

from analysis.studies.story.waiting import waiting
from ingest.store.store import open_snapshot
from ingest.verbs.answers import answer, filled_in, sheet
from ingest.verbs.groups import VALUE, Group
from ingest.verbs.guessed_units import with_units
from ingest.verbs.load import load
from ingest.verbs.worklist import worklist
from tests.ingest.bench import NOW, held, log, row, shop


def visits(first: int, actions: list[str]) -> list[str]:
    return [
        row(f"S{first + k}", start=f"2026-03-{2 + k // 8:02} {9 + k % 8}:00", finish="", action=action)
        for k, action in enumerate(actions)
    ]


def loaded(tmp_path, odd):
    folder = shop(tmp_path)
    usual = [f"{2.0 + k % 10 / 10:.2f}" for k in range(40)]
    load(folder, [log(folder, "bench.csv", [*visits(0, usual), *visits(100, odd)])], now=NOW)
    return folder


def implausible(folder):
    snapshot = open_snapshot(folder)
    found = {one.key: one for one in worklist(snapshot, folder=folder, asked=waiting(snapshot))}
    return found["implausible"]


def test_numbers_that_are_all_of_one_other_unit_are_one_answer(tmp_path):
    folder = loaded(tmp_path, ["0.079", "0.096", ".085", "0.093", "0.110", "0.096", "44.45"])
    found = implausible(folder)
    guesses = {group.typed: (group.guess, group.sure) for group in found.groups}
    assert guesses.pop("44.45") == ("", False)
    assert guesses == {typed: (f"{typed} in", True) for typed in ("0.079", "0.096", ".085", "0.093", "0.110")}
    answer(folder, filled_in(sheet([found]), [found]), who="M", why="a caliper on inches", now=NOW)
    read = held(folder)["readings"].sort("serial").filter(serial="S101", characteristic="action")
    assert read["value"].to_list() == [pytest.approx(0.096 * 25.4)]
    assert [group.typed for group in implausible(folder).groups] == ["44.45"]


def test_few_such_numbers_are_no_answer_by_themselves(tmp_path):
    found = implausible(loaded(tmp_path, ["0.079", "0.096", "0.085", "0.093"]))
    assert {(group.guess, group.sure) for group in found.groups} == {
        (f"{typed} in", False) for typed in ("0.079", "0.096", "0.085", "0.093")
    }


def test_a_log_whose_odd_numbers_fit_no_one_unit_is_asked_cell_by_cell(tmp_path):
    found = implausible(loaded(tmp_path, ["0.079", "0.096", "0.085", "0.093", "0.11", "44.45", "31", "0.02", "0.003"]))
    assert not any(group.sure for group in found.groups)
    assert {group.typed: group.guess for group in found.groups}["0.079"] == "0.079 in"


def test_what_two_units_explain_is_none(tmp_path):
    groups = [
        Group(f"{k}", VALUE, "", "action", f"0.{20 + k}", "is it real?", (("a", k, "action"),), "", real=True)
        for k in range(6)
    ]
    wide = {"action": (1.9, 8.0)}  # 0.2 cm and 0.2 in both lie there
    assert [group.guess for group in with_units(groups, wide)] == [""] * 6
    assert all(group.guess.endswith(" in") and group.sure for group in with_units(groups, {"action": (4.0, 8.0)}))

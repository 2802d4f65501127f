"""What one of several moved, a chart over all of them holds in part: that is no second thing to look at."""

from datetime import date
from types import SimpleNamespace

import pytest

from analysis.studies.matters.groups import Group
from analysis.studies.matters.open_ones import _with_shares
from analysis.studies.matters.records import SET_BY
from analysis.studies.matters.share_of import is_share


def part(size, half, *, models="HK", day=1, who="", over_all=None, stage="bridge"):
    measured = SimpleNamespace(
        size=size, size_low=size - half, size_high=size + half, over_all=over_all,
        began_low=date(2026, 10, day), began_high=date(2026, 10, day + 2),
    )  # fmt: skip
    return SimpleNamespace(
        measured=measured,
        models=list(models),
        started=date(2026, 10, day),
        characteristic="action",
        stage=stage,
        causes=[(SET_BY, who)] if who else [],
        named=bool(who),
    )


OTIS = part(0.12, 0.02, who="T4", over_all=0.04)
OF_ALL = [{"tech": ""}]


@pytest.mark.parametrize(
    ("one", "rows", "share"),
    [
        (part(0.03, 0.015, models="H"), OF_ALL, True),
        (part(0.03, 0.015, models="H"), [{"tech": "T4"}], True),
        (part(0.03, 0.015, models="H"), [{"tech": "T1"}], False),  # of somebody else alone
        (part(0.11, 0.02, models="H"), OF_ALL, False),  # more than its share
        (part(-0.03, 0.015, models="H"), OF_ALL, False),
        (part(0.03, 0.015, models="W"), OF_ALL, False),  # a model that it does not touch
        (part(0.03, 0.015, models="H", stage="final"), OF_ALL, False),
        (part(0.03, 0.015, models="H", who="T1", over_all=0.01), OF_ALL, False),  # something else explains it
    ],
)
def test_a_share_is_of_the_same_bench_way_and_models_and_as_small(one, rows, share):
    assert is_share([one], [OTIS], rows) == share


@pytest.mark.parametrize(("day", "share"), [(1, False), (7, False), (8, True), (20, True)])
def test_what_had_begun_before_is_no_share(day, share):
    late = part(0.12, 0.02, who="T4", over_all=0.04, day=10)
    assert is_share([part(0.03, 0.015, day=day)], [late], OF_ALL) == share


def test_what_is_laid_to_all_readings_has_no_shares():
    assert not is_share([part(0.03, 0.015)], [part(0.12, 0.02, who="T4")], OF_ALL)


def test_its_signals_become_those_of_what_is_named():
    every = [SimpleNamespace(row={"tech": ""}) for _ in range(3)]
    one, other = Group({1}, [part(0.03, 0.015, models="H")]), Group({0}, [OTIS])
    far = Group({2}, [part(0.11, 0.02, models="H")])
    kept = _with_shares([one, other, far], every)
    assert [sorted(each.signals) for each in kept] == [[0, 1], [2]]

"""One person's move that is read at two stages is one matter, where charts of that person alone tell it there."""

from datetime import date
from types import SimpleNamespace

import pytest

from analysis.studies.matters.groups import alike
from analysis.studies.matters.records import SET_BY, TECH_AT


def group(number, stage, *, causes=(), effect=0.5, day=5, ended=False):
    part = SimpleNamespace(characteristic="action", stage=stage, causes=list(causes), named=bool(causes), effect=effect,
                           started=date(2026, 10, day), models=["L"])  # fmt: skip
    return SimpleNamespace(signals={number}, parts=[part], settled=False, ended=ended, times=[])


def signals(tech, closed_at=None):
    return [
        SimpleNamespace(row={"closed_at": None, "tech": "KR"}),
        SimpleNamespace(row={"closed_at": closed_at, "tech": tech}),
    ]


KR = group(0, "bridge", causes=[(SET_BY, "KR")])


@pytest.mark.parametrize("turned", [False, True])
def test_a_chart_of_the_same_person_at_a_later_stage_is_no_second_matter(turned):
    pair = (KR, group(1, "final", day=8))
    assert alike(*(pair[::-1] if turned else pair), signals("KR"))


@pytest.mark.parametrize(
    ("other", "tech", "closed_at"),
    [
        (group(1, "final"), "DB", None),
        (group(1, "final"), "", None),
        (group(1, "final"), "KR", "closed"),
        (group(1, "final", effect=-0.5), "KR", None),
        (group(1, "final", day=25), "KR", None),
        (group(1, "bridge"), "KR", None),
        (group(1, "final", ended=True), "KR", None),
    ],
)
def test_charts_of_others_of_another_time_or_way_are(other, tech, closed_at):
    assert not alike(KR, other, signals(tech, closed_at))


def test_a_cause_that_is_no_setter_takes_none_in():
    early = group(0, "bridge", causes=[(f"{TECH_AT} frets", "KR")])
    assert not alike(early, group(1, "final"), signals("KR"))
    both = group(0, "bridge", causes=[(SET_BY, "KR"), (SET_BY, "DB")])
    assert not alike(both, group(1, "final"), signals("KR"))

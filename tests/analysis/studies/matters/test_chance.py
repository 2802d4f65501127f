"""What part of a kind of signals is not chance."""

from datetime import timedelta

import numpy as np
import pytest
from scipy import integrate

from analysis.studies.drift.signals import signals
from analysis.studies.drift.widths import week_numbers
from analysis.studies.matters.chance import Kind, _expected, kind_of, not_chance
from tests.analysis.studies.drifting import shop, snapshot


def test_of_a_kind_that_often_opened_it_is_what_the_budget_lets_expect():
    often, other = Kind(400, 100.0), Kind(100, 10.0)
    assert not_chance(often, [often, other]) == pytest.approx(0.75, abs=0.002)


def test_it_is_the_mean_over_how_many_real_ones_there_may_be():
    own, other = Kind(3, 1.2), Kind(12, 2.0)
    usual = ((3 - 1.2) + (12 - 2.0)) / 2

    def weight(real):
        return (1.2 + real) ** 3 * np.exp(-real * (1 + 1 / usual))

    whole = integrate.quad(weight, 0, 200)[0]
    chance = integrate.quad(lambda real: 1.2 / (1.2 + real) * weight(real), 0, 200)[0] / whole
    assert not_chance(own, [own, other]) == pytest.approx(1 - chance)


def test_a_kind_that_opened_once_leaps_less_and_one_of_which_hardly_any_is_expected_is_little_in_doubt():
    rest = Kind(40, 12.0)
    told = [not_chance(Kind(count, 0.5), [Kind(count, 0.5), rest]) for count in (1, 2, 3)]
    assert told == sorted(told)
    assert told[-1] - told[0] < 0.25  # by itself from 0.5 to 0.83
    assert not_chance(Kind(1, 0.07), [Kind(1, 0.07), rest]) > 0.8


def test_what_opened_less_than_was_allowed_is_mostly_chance():
    few = Kind(2, 9.0)
    assert not_chance(few, [few]) == 0
    assert not_chance(few, [few, Kind(30, 5.0)]) < 0.25
    assert not_chance(Kind(5, 0.0), [few]) == 1


@pytest.mark.parametrize("weeks", [2, 9, 60])
def test_what_is_to_be_expected_is_the_sum_over_all_judged_readings_of_the_time(monkeypatch, weeks):
    monkeypatch.setattr("analysis.studies.drift.signals.YEAR", timedelta(weeks=weeks))
    rng, n = np.random.default_rng(20310301), 800
    values = {("relief", ""): rng.normal(size=n), ("action", "bass"): rng.normal(size=n)}
    held = snapshot(
        shop(("LARK", "WREN")), values, model=rng.choice(["LARK", "WREN"], n), setter=rng.choice(["a", "b"], n)
    )
    judged, since = held.once(signals), held.as_of - timedelta(weeks=weeks)
    charts, budget = judged.charts, judged.budget
    taken, week = judged.streams.readings["taken_at"].to_list(), week_numbers(judged.streams, held.shop)
    rates = [budget.rates[budget.at(week[k])] if taken[k] > since else 0.0 for k in range(len(taken))]
    each = np.where(charts.judged, np.array(rates)[charts.reading], 0.0)
    told: dict[str, float] = {}
    for row, total in zip(charts.rows.iter_rows(named=True), np.add.reduceat(each, charts.starts), strict=True):
        told[kind_of(row)] = told.get(kind_of(row), 0.0) + float(total)
    found = _expected(held, judged)
    assert {name: found.get(name, 0.0) for name in told} == pytest.approx(told, rel=1e-12)
    assert sum(told.values()) > 0
    assert charts.judges(np.arange(len(charts.reading))).tolist() == charts.judged.tolist()

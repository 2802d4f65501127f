"""Figures of charts, of how long they run and of when something changed, as they were kept (kept.py)."""

import numpy as np
import pytest

from analysis.methods import (
    allowance,
    autocorrelation,
    change_point,
    detectable,
    explanation,
    lagged_slope,
    multivariate,
    own_law,
    run_length,
    run_length_weighted,
    run_rules,
    self_starting,
    signal_life,
    variables,
    weighted,
)
from analysis.methods.candidates import Column, Factor
from tests.analysis.methods.kept import STREAMS, Cases, check, dependent, or_fault, readings, rng

case = Cases()


# -- charts


@case
def charts_of_single_readings() -> object:
    x = np.round(readings(1), 2)
    x[[20, 75]] = 0.2, 0.35
    return [
        variables.individuals(x, STREAMS),
        variables.individuals(x, STREAMS, width=np.array([2.0, 2.5, 3.0, 3.5]), baseline=np.array([4, 9, 12, 30])),
        variables.spread(x, STREAMS, baseline=7),
        variables.moving_ranges(x, STREAMS),
        self_starting.self_starting(x, STREAMS),
        self_starting.self_starting(x, STREAMS, step=np.array([0.0, 0.01, 0.02, 0.05])),
    ]


@case
def charts_of_subgroups() -> object:
    x, starts = readings(2), np.array([0, 12])  # of twelve subgroups each
    even = np.arange(0, 120, 5)
    uneven = np.cumsum([0, *np.resize([2, 3, 4, 5, 1], 38)])
    x += 0.02 * rng(3).normal(size=24).repeat(5)
    return [
        variables.xbar_r(x, even, starts),
        variables.xbar_s(x, even, starts, width=2.5),
        variables.xbar_r(x, uneven),
        variables.xbar_s(x, uneven),
        variables.three_way(x, even, starts),
    ]


@case
def averages_and_sums() -> object:
    x = rng(4).normal(size=120) + 0.8 * (np.arange(120) % 60 > 40)
    centre, sigma = np.array([0.0, 0.1, -0.1, 0.2]), np.array([1.0, 0.9, 1.1, 1.3])
    begin = np.array([0, 5, 10, 20])
    return [
        weighted.ewma(x, STREAMS, centre=centre, sigma=sigma, weight=0.2, width=2.7, begin=begin),
        weighted.ewma(x, STREAMS, centre=0.0, sigma=1.0),
        weighted.cusum(x, STREAMS, centre=centre, sigma=sigma),
        weighted.cusum(x, STREAMS, centre=0.0, sigma=1.0, k=0.25, h=3.0, head_start=1.5),
        weighted.growth(0.1, np.array([0, 1, 2, 7, 40])),
    ]


@case
def rules_of_runs() -> object:
    x = np.round(rng(5).normal(size=240), 1)
    x[50:70] += 1.2
    x[90:100] = np.linspace(-1, 2, 10)
    x[130:150] = 0.9 * (-1.0) ** np.arange(20)
    x[160:180] /= 4
    starts = np.array([0, 40, 120])
    found = run_rules.run_rules(x, starts, centre=0.05, sigma=1.0)
    narrow = run_rules.run_rules(
        x, starts, centre=np.array([0.0, 0.1, 0.2]), sigma=np.array([1.0, 0.5, 2.0]), width=2.0
    )
    at = [np.flatnonzero(found.fired[rule])[:1] for rule in found.fired]
    return [
        found.fired,
        narrow.fired,
        [found.from_at(rule, each) for rule, each in zip(found.fired, at, strict=True) if len(each)],
    ]


@case
def signals_and_their_ends() -> object:
    x = rng(6).normal(size=300) + 2.0 * (np.arange(300) % 100 > 60) * (np.arange(300) % 100 < 85)
    starts, begin = np.array([0, 100, 200]), np.array([20, 10, 30])
    cut = signal_life.lives(x, starts, begin=begin, width=np.full(300, 2.8), weight=0.1, cuts=np.array([70, 180]))
    fired = np.abs(x) > 2.2
    return [
        signal_life.lives(x, starts, begin=begin, width=np.full(300, 2.6), weight=0.15),
        cut,
        signal_life.lives(x, starts, begin=begin, fired=fired),
    ]


@case
def several_readings_at_once() -> object:
    x = rng(7).multivariate_normal([0, 1, 2], [[1, 0.6, 0.1], [0.6, 2, 0.3], [0.1, 0.3, 0.5]], 70)
    x[[5, 50]] += [[2, -2, 1], [0, 4, 0]]
    starts = np.array([0, 30])
    one = multivariate.individual_model(x, starts)
    groups = x[:60].reshape(12, 5, 3)
    means = groups.mean(axis=1)
    spreads = np.stack([np.cov(group, rowvar=False) for group in groups])
    many = multivariate.grouped_model(means, spreads, size=5)
    return [
        one,
        many,
        multivariate.phase_one(x, starts, model=one),
        multivariate.phase_two(x, starts, model=one, false_rate=0.01),
        multivariate.phase_one(means, model=many),
        multivariate.phase_two(means, model=many),
        multivariate.drivers(x, starts, model=one),
        multivariate.drivers(x, starts, model=one, false_rate=0.05),
    ]


# -- how long charts run


@case
def run_lengths() -> object:
    rules = (run_rules.BEYOND, run_rules.ONE_SIDE)
    plain, ruled = run_length.run_length(), run_length.run_length(rules, shift=0.4, one_side=7)
    every = [run_length.run_length((rule,), shift=0.3, spread=1.2, width=2.8) for rule in run_length.MEMBERS]
    return [
        [plain.mean, plain.sd, ruled.mean, ruled.sd],
        ruled.quantiles(),
        ruled.running(25),
        [[each.mean, each.sd] for each in every],
        run_length.xbar_arl(np.array([0.0, 0.5, 1.5]), n=4, width=2.8),
        run_length.xbar_width(250.0),
    ]


@case
def run_lengths_of_averages_and_sums() -> object:
    ran = run_length_weighted.ewma_run_length(2.5, weight=0.2, shift=0.7)
    kinds = [(start, limits) for start in ("centre", "steady") for limits in ("final", "growing")]
    return [
        run_length_weighted.ewma_arls(np.array([2.4, 2.7]), np.array([0.0, 1.0]), weight=0.1, off=0.1),
        [or_fault(run_length_weighted.ewma_arls, 2.5, 0.5, weight=0.2, start=a, limits=b) for a, b in kinds],
        run_length_weighted.ewma_rate_dependent(2.7, 0.3, weight=0.1),
        [ran.mean, ran.sd, *ran.quantiles()],
        run_length_weighted.cusum_arl(4.0, shift=0.3),
        run_length_weighted.cusum_arl(4.0, reference=0.4, head=2.0, shift=-0.5, sides=1),
        run_length_weighted.cusum_interval(200.0),
        run_length_weighted.cusum_interval(100.0, reference=0.7, head_share=0.5),
    ]


@case
def what_a_baseline_allows() -> object:
    return [
        allowance.sigma_law(25),
        allowance.ewma_rate(2.8, baseline=40),
        allowance.ewma_rate(2.6, baseline=None, weight=0.2),
        allowance.ewma_width(500.0, baseline=30),
        allowance.ewma_width(400.0, weight=0.2, baseline=None),
        allowance.ewma_widths(500.0, np.array([15, 30, 200])),
        allowance.ewma_arl(2.9, shift=0.5, baseline=50),
        allowance.ewma_delay(1.0, 2.8, 0.1, 30),
        allowance.ewma_delay(0.7, 2.8),
        allowance.individuals_width(370.0, baseline=30),
        allowance.individuals_width(200.0, baseline=None),
        allowance.individuals_rate(3.1, baseline=20),
        allowance.individuals_rate(2.9, baseline=None),
        allowance.ewma_spread(2.9, baseline=40),
        allowance.individuals_spread(3.0, baseline=25),
    ]


@case
def what_a_quiet_chart_leaves_open() -> object:
    return [
        detectable.smallest_shift(np.array([0, 1, 5, 20, 300, 600]), np.full(6, 2.9)),
        detectable.smallest_shift(np.array([10, 30, 90]), np.array([2.2, 2.6, 3.1]), weight=0.2, chance=0.8),
    ]


@case
def limits_by_the_readings_own_law() -> object:
    law = own_law.own_law(rng(8).gamma(3.0, size=400), weight=0.2)
    return [law, [law.width(arl) for arl in (50.0, 200.0)], [law.factor(arl) for arl in (50.0, 200.0)]]


@case
def readings_that_resemble_their_neighbours() -> object:
    x = dependent(9, 200, 0.5)
    starts = np.array([0, 12, 40, 41, 90])
    phi = np.array([-0.3, 0.0, 0.2, 0.7])
    return [
        autocorrelation.lag_one(x, starts),
        autocorrelation.dependence(x, starts),
        autocorrelation.dependence(x, starts, groups=np.array([0, 0, 1, 1, 1])),
        autocorrelation.sigma_factor(phi),
        autocorrelation.ewma_factor(phi, 0.2),
        autocorrelation.ewma_widening(0.3, arl=500.0),
        autocorrelation.ewma_variance(np.array([1, 2, 5, 40]), 0.4, 0.2),
        autocorrelation.effective_size(np.array([2, 5, 30, 400]), phi),
    ]


# -- when it changed


@case
def steps_and_drifts() -> object:
    x = rng(10).normal(size=200)
    x[30:60] += 1.5
    x[100:] += 0.06 * np.arange(100)
    starts, sigma = np.array([0, 60, 100, 170]), np.array([1.0, 0.9, 1.2, 1.0])
    asked = {"begin": np.array([5, 63, 100, 172]), "end": np.array([50, 90, 160, 190])}
    return [
        change_point.step(x, starts),
        change_point.step(x, starts, sigma=sigma, members=True),
        change_point.step(x, starts, sigma=sigma, before=np.zeros(4), **asked, alpha=0.2),
        change_point.step(x, starts, **asked, members=True),
        change_point.drift(x, starts),
        change_point.drift(x, starts, sigma=sigma, members=True, alpha=0.2),
        change_point.drift(x, starts, sigma=sigma, **asked),
    ]


@case
def causes_of_a_shift() -> object:
    day = np.repeat(np.arange(40), 6)
    stream = np.tile(np.arange(3), 80)
    tech, lot = rng(11).integers(0, 3, 240), day // 8
    air = np.cos(day / 3)
    x = rng(12).normal(size=240) + 1.6 * ((tech == 1) & (day >= 30)) + 0.7 * (stream == 2) * (lot == 4)
    factors = [
        Factor("tech", tech, nested=True),
        Factor("lot", lot, own_start=True),
        Factor("rig", day % 2, weight=0.4),
    ]
    columns = [Column("air", air, kin="air:0"), Column("old", np.roll(air, 12), kin="air:2"), Column("set", air, True)]
    one = explanation.Explainer(x, day, stream, factors, columns, 26, span=8, calm=2)
    look = one.look()
    best = explanation.together(look, sure=0.8)
    found = one.measured((tech == 1).astype(float), 27, 33)
    one.take(found[0])
    later = one.look()
    shown = sorted(look.hypotheses, key=lambda each: -each.probability)[:4]
    rest = sorted(later.hypotheses, key=lambda each: -each.probability)[:4]
    return [look.nothing, shown, best, found[0], found[1].nothing, later.nothing, rest, one.rest, one.ended(found[0])]


@case
def slopes_at_a_lag() -> object:
    day = np.sort(rng(13).integers(20000, 20120, 300))
    x = rng(14).normal(size=(300, 3))
    x[:, 1] += 0.5 * x[:, 0]
    row = np.repeat([0, 1, 2, 3], [140, 100, 40, 20])
    day = np.concatenate([np.sort(rng(15).permutation(day)[:k]) for k in (140, 100, 40, 20)])
    y = rng(16).normal(size=300) + 0.6 * x[:, 1] * (row < 2) - 0.4 * x[:, 2] * (row == 2)
    return [
        lagged_slope.lagged_slopes(y, x, row, day, least=25),
        lagged_slope.lagged_slopes(y, x, row, day, least=25, level=0.8),
    ]


@pytest.mark.parametrize("name", case)
def test_figures_are_those_that_were_kept(name):
    check(name, case)

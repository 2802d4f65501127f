"""Figures of intervals, counts, groups, plans and studies, as they were kept (kept.py)."""

import dataclasses

import numpy as np
import pytest
from scipy import sparse

from analysis.methods import (
    acceptance,
    additive_logit,
    bias,
    changed_chain,
    conformity,
    counts_ahead,
    ever_shown,
    expected_counts,
    funnel,
    gauge,
    hand_effect,
    intervals,
    learning,
    partial_pooling,
    pooling,
    segments,
    sequential,
    since_when,
    spline_by_lot,
    study_size,
    totals,
    two_groups,
    uncertain_ratio,
    variables_plans,
    variance_split,
)
from tests.analysis.methods.kept import Cases, check, readings, rng

case = Cases()


# -- intervals, counts and groups


@case
def intervals_of_all_kinds() -> object:
    k, n = np.array([0, 3, 17, 40]), np.array([40, 40, 50, 40])
    return [
        [intervals.binomial_exact(k, n, 0.9, side=side) for side in ("both", "lower", "upper")],
        intervals.hypergeometric_exact(3, 20, 120),
        intervals.hypergeometric_exact(0, 20, 60, 0.9),
        intervals.wilson(k, n, 0.9),
        intervals.poisson_exact(k, 0.9),
        intervals.poisson_ratio(k, np.array([1.0, 4.0, 12.0, 50.0])),
        intervals.mean_t(np.array([1.0, 2.0]), np.array([0.3, 0.5]), np.array([5, 40])),
        intervals.sd_chi(np.array([0.3, 0.5]), np.array([5, 40]), 0.9),
        totals.total_interval(np.array([0.0, 4.0, 90.0]), np.array([0.0, 6.0, 900.0]), np.array([1.0, 3.0, 20.0])),
        totals.chance_of_difference(np.array([4.0, 90.0]), np.array([9.0, 70.0]), np.array([10.0, 900.0])),
        two_groups.difference([1.0, 1.4], [0.3, 0.5], [12, 20]),
        two_groups.difference([1.0, 1.4], [0.3, 0.5], [12, 20], dof=[6.0, 9.0], level=0.9),
        uncertain_ratio.ratio_mid_p(np.array([0, 3, 12]), np.array([2.0, 4.0, 9.0]), np.array([0.5, 0.0, 4.0]), 0.9),
        counts_ahead.binomial_ahead(np.array([3, 20]), np.array([100, 400]), np.array([50, 70])),
        counts_ahead.poisson_ahead(
            np.array([3, 20]), np.array([100.0, 400.0]), np.array([50.0, 70.0]), false_rate=0.05
        ),
        bias.bias(readings(31, 12), 0.19, 0.9),
        conformity.against(
            np.array([0.1, 0.5, 0.9, 1.2]),
            np.full(4, 0.1),
            np.full(4, 0.15),
            np.full(4, 0.2),
            np.array([1.0, 1.0, 1.0, np.nan]),
        ),
        conformity.between_marks(np.array([0.1, 0.24, 0.5, 0.9]), np.array([0.1, 0.2, 0.25, 0.5, 0.75])),
    ]


@case
def funnels() -> object:
    observed, expected = np.array([3, 12, 0, 40, 9, 22, 5]), np.array([5.0, 8.0, 3.0, 20.0, 9.0, 25.0, 6.5])
    group, by = np.repeat(np.arange(3), 4), np.tile(np.arange(4), 3)
    count, exposure = rng(32).integers(0, 9, 12), rng(33).integers(20, 60, 12)
    return [
        funnel.standardized(group, count, exposure, by),
        funnel.funnel(observed, expected),
        funnel.funnel(observed, expected, rule="additive", level=0.9),
        funnel.chance_limits(expected, 0.95),
        funnel.winsorized(rng(34).normal(size=20) * 3),
        funnel.shrunk(observed, expected),
        funnel.shrunk(observed, expected, np.array([0.1, 0.4, 0.2, 1.0, 0.0, 2.0, 0.3]), level=0.9),
    ]


@case
def hands_beside_others() -> object:
    level = np.array([[0, 1, 4], [0, 2, 4], [0, 3, 5], [0, 1, 5], [0, 2, 5]])
    n, k = np.array([40.0, 60.0, 30.0, 20.0, 50.0]), np.array([4.0, 9.0, 2.0, 3.0, 11.0])
    own_n, own_k = np.array([10.0, 20.0, 0.0, 5.0, 12.0]), np.array([3.0, 5.0, 0.0, 2.0, 3.0])
    effects = additive_logit.fit(level, n, k)
    mine = np.array([1.0, 0.0, 1.0, 0.0, 0.0])
    pieces = (np.array([0, 0, 1, 1, 1]), np.array([[0, 0], [1, 0], [0, 1], [1, 1], [2, 0]]))
    later = expected_counts.Pieces(np.array([0, 1, 1]), np.array([[1, 1], [2, 1], [0, 0]]), np.array([9.0, 14.0, 5.0]))
    return [
        effects,
        additive_logit.share(level, effects),
        additive_logit.expected(level, effects, n, own_n),
        additive_logit.as_many(level, own_n, own_k, n, k),
        additive_logit.as_many(level, own_n, own_k[::-1].copy(), n, k, effects),
        additive_logit.Rows(level, mine, n).fitted(k, np.append(effects, 0.0)),
        additive_logit.Rows(level, None, n).information(effects).table,
        hand_effect.ratio_bounds(level, own_n, own_k, n, k),
        hand_effect.ratio_bounds(level, own_n, own_k / 2, n, k, chance=0.9),
        hand_effect.ratio_bounds(level, own_n, own_n / 2, n, own_n / 2 + 1),
        expected_counts.at_the_same_mix(expected_counts.Pieces(*pieces, n), k, later, 2),
        expected_counts.at_the_same_mix(expected_counts.Pieces(*pieces, n), k, later, 3, prior=4.0),
    ]


@case
def sums_since() -> object:
    count, size = rng(41).poisson(2.0, 30).astype(float), rng(42).integers(15, 40, 30).astype(float)
    expected = 0.07 * size
    moves = np.column_stack([expected / 6, expected / 4, expected / 5 * (np.arange(30) % 2)])
    ahead = since_when.Ahead(expected, moves, -1 / 40)
    return [
        since_when.sums(count, size, ahead, 12),
        since_when.sums(count, size, ahead, 30, longest=5),
        since_when.apart(count, size, 30.0, 400.0),
        [since_when.limit(rate, base, longest=52) for rate in (0.0005, 0.01) for base in (4.0, 52.0)],
        since_when.rate(3.0, 26.0, longest=7),
    ]


@case
def shops_pooled() -> object:
    estimates = rng(35).normal(size=17) + np.repeat([0.0, 1.0, 3.0, 0.0], [5, 5, 4, 3])
    estimates[7] += 5
    errors, starts = 0.3 + rng(36).random(17), np.array([0, 5, 10, 14])
    freedom = np.resize([5.0, 12.0, np.inf], 17)
    z, chart = rng(37).normal(size=40), rng(38).integers(0, 4, 40)
    return [
        partial_pooling.pooled(estimates, errors, starts),
        partial_pooling.pooled(estimates, errors, starts, freedom=freedom),
        partial_pooling.pooled_rows(estimates, errors, starts, freedom=freedom),
        partial_pooling.equal(estimates, errors, starts, freedom=freedom),
        partial_pooling.standing_out(estimates, errors, starts, freedom=freedom, level=0.2),
        partial_pooling.among_many(np.array([0.03, 0.001, 0.2, 0.02, 0.04])),
        pooling.instrument_means(z, chart, np.sort(rng(39).integers(0, 12, 40))),
        pooling.instrument_means(z[:6], chart[:6] * 30, np.arange(6) * 20),
    ]


@case
def sums_of_segments() -> object:
    x, starts = rng(40).normal(size=30), np.array([0, 1, 8, 20])
    return [
        segments.lengths(starts, 30),
        segments.segment_ids(starts, 30),
        segments.places(starts, 30),
        segments.sums(x, starts),
        segments.means(x, starts),
        segments.standard_deviations(x[1:], np.array([0, 7, 19])),
        segments.firsts(starts, 30, np.array([1, 3, 4, 2])),
        [(a.start, a.stop, b.start, b.stop) for a, b in segments.blocks(starts, 30, size=9)],
    ]


@case
def shares_of_the_variance() -> object:
    group, batch = np.repeat(np.arange(6), 12), np.repeat(np.arange(24), 3)
    x = rng(41).normal(size=72) + 0.8 * rng(42).normal(size=6)[group] + 0.5 * rng(43).normal(size=24)[batch]
    keep = rng(44).random(72) < 0.8
    few = group[keep] < 3
    y = rng(45).normal(size=30).repeat(4) * 0.5 + rng(46).normal(size=120)
    lot = np.repeat(np.arange(12), 10)
    bow = rng(47).normal(0.1, 0.03, 120)
    curve = spline_by_lot.bent(20 + 60 * np.maximum(bow - 0.12, 0) + y, bow, np.repeat([0, 1], 60), lot)
    return [
        variance_split.split(x, group, batch),
        variance_split.split(x[keep], group[keep], batch[keep]),
        variance_split.split(x[keep][few], group[keep][few], batch[keep][few]),
        variance_split.split(x, group, batch).shares,
        [
            getattr(curve, name)
            for name in ("effect", "covariance", "alone", "lots_left", "pieces_left", "bends", "between", "within")
        ],
        curve.more(np.array([0.15, 0.2]), np.array([0.1, 0.1])),
        curve.total(bow[lot == 3], bow[bow < 0.1]),
    ]


@case
def chains_with_a_change() -> object:
    among = np.array([[0, 0.7, 0.1, 0], [0.2, 0, 0.6, 0.1], [0, 0.1, 0, 0.8], [0.1, 0, 0.1, 0]])
    chain = changed_chain.solved(
        sparse.csr_matrix(among),
        np.array([[3.0, 1.0], [5.0, 0.5], [2.0, 2.0], [4.0, 1.0]]),
        np.array([1.2, 1.5, 1.3, 1.1]),
        np.array([1, 3]),
    )
    return [
        chain.visits,
        chain.cost,
        chain.columns,
        chain.change(np.array([1]), np.array([[-0.1, 0.0, 0.1, 0.0]]), np.array([[0.5, 0.0]])),
        chain.change(
            np.array([3, 1]), np.array([[-0.1, 0, -0.1, 0.0], [0, 0, 0.1, -0.1]]), np.array([[0.0, 1.0], [0.2, 0.0]])
        ),
    ]


# -- plans and studies


@case
def plans_of_acceptance() -> object:
    plan, p = acceptance.Plan(50, 2), np.array([0.005, 0.02, 0.06, 0.15])
    by_value = variables_plans.VariablesPlan(20, 1.6)
    return [
        acceptance.accepted(plan, p),
        acceptance.accepted(plan, p, 300),
        acceptance.share_accepted(plan, np.array([0.1, 0.5, 0.95])),
        acceptance.outgoing(plan, p, 400),
        acceptance.worst_outgoing(plan, 400),
        acceptance.inspected(plan, p, 400),
        acceptance.through(0.01, 0.08),
        acceptance.through(0.02, 0.12, producer_risk=0.1, consumer_risk=0.2),
        [
            acceptance.verdict(plan, seen, bad)
            for seen, bad in ((0, 0), (10, 0), (49, 2), (50, 2), (30, 3), (50, 0), (48, 0))
        ],
        by_value.m,
        variables_plans.estimated_outside(np.array([0.5, 1.6, 2.5]), 12),
        variables_plans.outside(0.2, 0.03, 12, lower=0.15, upper=0.25),
        variables_plans.outside(0.2, 0.03, 12, upper=0.25),
        [variables_plans.accepts(by_value, 0.2, sd, lower=0.1, upper=0.3) for sd in (0.03, 0.05, 0.06, 0.08)],
        variables_plans.accepted(by_value, p),
        variables_plans.share_accepted(by_value, np.array([0.1, 0.95])),
        variables_plans.through(0.01, 0.06),
    ]


@case
def trials_that_stop_early() -> object:
    made, short = sequential.plan(0.02, 0.12), sequential.plan(0.05, 0.2, risk_good=0.1, risk_poor=0.2, longest=60)
    bad = np.zeros(200, dtype=bool)
    last = ever_shown.lasting_plan(0.05, 0.25, within=60)
    shown = ever_shown.ever_shown(last, 0.2)
    return [
        [made.longest, made.shown_at, made.not_shown_at, short.longest, short.shown_at, short.not_shown_at],
        sequential.wald_lines(0.02, 0.12, 0.05, 0.1),
        sequential.expected(made, np.array([0.0, 0.02, 0.06, 0.15])),
        sequential.expected(short, np.array([0.05, 0.3])),
        [
            sequential.verdict(made, bad),
            sequential.verdict(made, ~bad),
            sequential.verdict(made, np.arange(60) % 9 == 5),
        ],
        [last.longest, last.shown_at, last.not_shown_at],
        [shown.by, shown.at_all, shown.half_by, shown.until(0.3)],
        ever_shown.ends(made, 0.05),
        ever_shown.chances(short, np.array([0.05, 0.1, 0.3])),
    ]


@case
def how_many_are_needed() -> object:
    return [
        [study_size.to_see(shift, 0.03, groups=groups) for shift, groups in ((0.01, 1), (0.02, 2), (0.05, 2))],
        study_size.to_see(0.02, 0.05, chance=0.8, risk=0.1),
        [study_size.lots_to_tell(0.05, 0.04, 0.03, each) for each in (1, 5, 12)],
        study_size.lots_to_tell(0.08, 0.04, 0.03, 4, chance=0.8, risk=0.1).necks,
        study_size.ppk_bound(1.5, 40),
        study_size.to_show_ppk(1.7, 1.33, chance=0.8),
        study_size.chance_to_show_ppk(1.6, 1.33, 80),
        study_size.readings_to_show_ppk(1.5, 1.33),
        study_size.readings_to_show_ppk(1.3, 1.33),
        study_size.gauge_chance(0.2, 0.3, parts=10, people=3, trials=2),
        study_size.gauge_chance(0.28, 0.3, parts=6, people=2, trials=3, by_people=0.2),
    ]


@case
def studies_of_a_gauge() -> object:
    cube = (
        rng(48).normal(size=(8, 3, 2)) * 0.2
        + rng(49).normal(size=8)[:, None, None]
        + 0.1 * rng(50).normal(size=3)[None, :, None]
    )
    other = cube + 0.4 * rng(51).normal(size=(8, 3))[:, :, None]
    order = rng(52).permutation(48)
    parts, who = np.repeat(np.arange(8), 6)[order], np.tile(np.repeat(np.arange(3), 2), 8)[order]
    found = gauge.crossed(cube)
    return [
        found,
        gauge.crossed(other),
        gauge.nested(cube),
        gauge.by_range(cube),
        [found.study.ndc, found.study.share_of_spread, found.study.share_of_tolerance(6.0)],
        gauge.cube(cube.ravel()[order], parts, who),
        [gauge.d2_star(2, 3), gauge.d2_star(3, 1), gauge.d2_star(4)],
        [gauge.k1(2), gauge.k1(3, 5), gauge.k2(2), gauge.k3(10)],
    ]


@case
def curves_of_learning() -> object:
    unit = np.arange(1, 61)
    amount = 8 + 30 * unit**-0.4 * np.exp(0.1 * rng(53).normal(size=60))
    bad = rng(54).random(80) < 0.05 + 0.5 * np.arange(1, 81) ** -0.6
    out = []
    for curve in (learning.fit(unit, amount), learning.fit_share(np.arange(1, 81), bad)):
        plain = [getattr(curve, each.name) for each in dataclasses.fields(curve) if each.name != "grid"]
        out.append(
            [plain, curve.rate, curve.at(np.array([1, 30, 200])), curve.project(120.0), curve.project(90.0, 0.5)]
        )
    return [
        *out,
        learning.level(np.array([1, 5]), 30.0, 0.4, 8.0),
        learning.slope_of(0.8),
        learning.cumulative(9, 0.4, 0.2),
    ]


@pytest.mark.parametrize("name", case)
def test_figures_are_those_that_were_kept(name):
    check(name, case)

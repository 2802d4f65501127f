"""What each method just takes and what it just refuses: an example on either side of every line it draws about what is
given to it. What is refused says so in our own words.
"""

from collections.abc import Callable

import numpy as np
import pytest
from scipy import sparse

from analysis.methods import (
    acceptance,
    allowance,
    autocorrelation,
    bias,
    capability,
    change_point,
    changed_chain,
    coarse,
    constants,
    counts_ahead,
    ever_shown,
    expected_counts,
    funnel,
    gauge,
    hand_effect,
    intervals,
    intonation,
    intonation_inverse,
    learning,
    moisture,
    multivariate,
    next_value,
    normality,
    own_law,
    partial_pooling,
    run_length,
    run_length_weighted,
    run_rules,
    segments,
    sequential,
    signal_life,
    spline_by_lot,
    study_size,
    tolerance,
    totals,
    two_groups,
    uncertain_ratio,
    variables,
    variables_plans,
    variance_split,
    weighted,
)
from analysis.methods.play_test_shapes import Played
from analysis.methods.problems import UnusableData
from tests.analysis.methods.kept import rng

X = rng(101).normal(size=24)
TWO = np.array([0, 12])
STRING = intonation.String(640.0, 0.6, 3.0, 0.05, 0.0)
ONE = np.zeros((1, 1), dtype=np.int64)
A = np.array


def plan_of_sums(shares: tuple[float, float] = (0.02, 0.12), risks: tuple[float, float] = (0.05, 0.1)) -> object:
    return sequential.plan(*shares, risk_good=risks[0], risk_poor=risks[1])


def lasting(
    shares: tuple[float, float] = (0.05, 0.25), risks: tuple[float, float] = (0.05, 0.1), within: int = 60
) -> object:
    return ever_shown.lasting_plan(*shares, risk_good=risks[0], ever_poor=risks[1], within=within)


def by_counts(good: float = 0.01, bad: float = 0.08, a: float = 0.05, b: float = 0.1) -> object:
    return acceptance.through(good, bad, producer_risk=a, consumer_risk=b)


def by_values(good: float = 0.01, bad: float = 0.08, a: float = 0.05, b: float = 0.1) -> object:
    return variables_plans.through(good, bad, producer_risk=a, consumer_risk=b)


def mix(n: list[float], k: list[float]) -> object:
    pieces = expected_counts.Pieces(A([0] * len(n)), A([[0]] * len(n)), A(n))
    return expected_counts.at_the_same_mix(pieces, A(k), pieces, 1)


def hand(own_n: float, own_k: float, n: float, k: float) -> object:
    return hand_effect.ratio_bounds(ONE, A([own_n]), A([own_k]), A([n]), A([k]))


def groups_of(p: int, g: int, size: int) -> object:
    spreads = np.stack([np.eye(p)] * g)
    return multivariate.grouped_model(rng(102).normal(size=(g, p)), spreads, size=size)


def lots(many: int) -> object:
    lot = np.repeat(np.arange(many), 5)
    bow = rng(103).normal(0.1, 0.03, len(lot))
    return spline_by_lot.bent(20 + rng(104).normal(size=len(lot)), bow, np.zeros(len(lot), dtype=np.int64), lot)


def chain(per_visit: int, visits: int) -> object:
    among = sparse.csr_matrix(np.full((3, 3), 0.2))
    return changed_chain.solved(among, np.ones((per_visit, 1)), np.ones(visits), A([0]))


def limits_of(own: list[float]) -> object:
    return signal_life.lives(A(own), A([0]), begin=A([0]), width=np.full(len(own), 2.0))


# what is done, (given, and taken), (given, and refused)
LINES: list[tuple[Callable[..., object], list[tuple], list[tuple]]] = [
    (acceptance.Plan, [(1, 0), (5, 5), (5, 0)], [(0, 0), (5, 6), (5, -1)]),
    (lambda lot: acceptance.accepted(acceptance.Plan(20, 1), [0.1], lot), [(20,), (None,)], [(19,)]),
    (lambda lot: acceptance.inspected(acceptance.Plan(20, 1), [0.1], lot), [(20,)], [(19,)]),
    (lambda c: acceptance.share_accepted(acceptance.Plan(20, c), [0.5]), [(19,)], [(20,)]),
    (lambda p: acceptance.accepted(acceptance.Plan(20, 1), [p]), [(0.0,), (1.0,)], [(-0.01,), (1.01,), (np.nan,)]),
    (lambda seen, bad: acceptance.verdict(acceptance.Plan(20, 1), seen, bad), [(0, 0), (3, 3)], [(3, 4), (3, -1)]),
    *[
        (
            through,
            [(0.01, 0.08), (0.01, 0.08, 0.4, 0.5)],
            [
                (0.0, 0.08),
                (0.08, 0.08),
                (0.01, 1.0),
                (0.01, 0.08, 0.0),
                (0.01, 0.08, 1.0, 0.1),
                (0.01, 0.08, 0.1, 0.0),
                (0.01, 0.08, 0.1, 1.0),
                (0.01, 0.08, 0.5, 0.5),
            ],
        )
        for through in (by_counts, by_values)
    ],
    (allowance.sigma_law, [(2,)], [(1,)]),
    (lambda arl: allowance.ewma_width(arl, baseline=None), [(2.5,)], [(1.9,), (np.inf,), (np.nan,)]),
    (
        lambda groups: autocorrelation.dependence(X, TWO, groups=groups),
        [([0, 0],), ([0, 1],)],
        [([0],), ([0, -1],), ([0, 0, 0],)],
    ),
    (autocorrelation.sigma_factor, [([0.99, -0.99],)], [([1.0],), ([-1.0],)]),
    (lambda x: bias.bias(x, 0.0), [([1.0, 2.0],)], [([1.0],), ([1.0, np.nan],), ([[1.0, 2.0]],)]),
    (
        lambda lower, upper: capability.indices([0.2], [0.1], [0.1], [9], lower=lower, upper=upper),
        [([0.1], [0.11])],
        [([0.1], [0.1]), ([0.2], [0.1])],
    ),
    (
        lambda short, long_: capability.indices([0.2], [short], [long_], [9], lower=0.0, upper=0.4),
        [(0.1, 0.1), (0.0, 0.1)],
        [(-0.1, 0.1), (0.1, -0.1)],
    ),
    (capability.spread_bounds, [([1.0], [2.0]), ([1.0], [1.0])], []),
    (capability.one_sided_exact, [([1.0], [2])], [([1.0], [1]), ([np.nan], [9])]),
    (
        lambda sigma: change_point.step(X, TWO, sigma=sigma),
        [(1.0,), ([1.0, 0.5],)],
        [(-1.0,), ([1.0, -1.0],), (np.nan,)],
    ),
    (
        lambda begin, end: change_point.step(X, TWO, begin=begin, end=end),
        [([3, 14], [3, 14]), ([1, 13], [11, 23]), (None, [1, 13]), ([11, 23], None)],
        [([4, 14], [3, 14]), (None, [0, 13]), ([11, 24], None)],
    ),
    (chain, [(3, 3)], [(2, 3), (3, 2)]),
    (lambda step: coarse.rounded_normal(np.round(X, 1), step=step), [(0.1,)], [(0.0,), (-0.1,), (np.inf,)]),
    (constants.d2, [(2,)], [(1,), (2.5,)]),
    (
        lambda k, base, n, rate=0.003: counts_ahead.binomial_ahead([k], [base], [n], false_rate=rate),
        [(0, 1, 0), (1, 1, 5), (1, 9, 5, 0.49)],
        [(-1, 9, 5), (10, 9, 5), (0, 0, 5), (1, 9, -1), (1, 9, 5, 0.0), (1, 9, 5, 0.5)],
    ),
    (
        lambda k, base, n, rate=0.003: counts_ahead.poisson_ahead([k], [base], [n], false_rate=rate),
        [(0, 1, 1), (3, 0.5, 0.5), (1, 9, 5, 0.49)],
        [(-1, 9, 5), (1, 0, 5), (1, 9, 0), (1, 9, 5, 0.0), (1, 9, 5, 0.5)],
    ),
    (
        lasting,
        [(), ((0.05, 0.25), (0.4, 0.1), 60)],
        [
            ((0.0, 0.25),),
            ((0.25, 0.25),),
            ((0.05, 1.0),),
            ((0.05, 0.25), (0.0, 0.1)),
            ((0.05, 0.25), (0.5, 0.1)),
            ((0.05, 0.25), (0.05, 0.0)),
            ((0.05, 0.25), (0.05, 0.5)),
            ((0.05, 0.25), (0.05, 0.1), 0),
        ],
    ),
    (lambda p: ever_shown.ends(plan_of_sums(), p), [(0.0,), (1.0,)], [(-0.01,), (1.01,)]),  # type: ignore[arg-type]
    (mix, [([1.0, 2.0], [0.0, 2.0])], [([1.0, 0.0], [0.0, 0.0]), ([1.0, 2.0], [-1.0, 2.0]), ([1.0, 2.0], [0.0, 3.0])]),
    (
        lambda rule: funnel.funnel(np.arange(1, 8), np.full(7, 4.0), rule=rule),
        [("multiplicative",), ("additive",), ("none",)],
        [("other",)],
    ),
    (lambda wanted: funnel.chance_limits(A([wanted])), [(0.01,)], [(0.0,), (-1.0,)]),
    (
        lambda found, wanted: funnel.shrunk(found, wanted),
        [([0, 3], [1.0, 2.0])],
        [
            ([-1, 3], [1.0, 2.0]),
            ([0.5, 3], [1.0, 2.0]),
            ([0, 3], [0.0, 2.0]),
            ([0, 3], [np.inf, 2.0]),
            ([], []),
            ([1], [1.0, 2.0]),
        ],
    ),
    (lambda base: funnel.standardized([0, 1], [1, 2], [9, base], [0, 0]), [(0.5,)], [(0.0,), (-1.0,)]),
    (
        lambda *shape: gauge.crossed(np.arange(np.prod(shape)).reshape(shape) % 7 + 0.5),
        [(2, 2, 2), (3, 2, 1), (2, 1, 2)],
        [(1, 2, 2), (2, 1, 1)],
    ),
    (
        lambda *shape: gauge.nested(np.arange(np.prod(shape)).reshape(shape) % 7 + 0.5),
        [(2, 2, 2)],
        [(2, 2, 1), (1, 2, 2)],
    ),
    (lambda *shape: gauge.by_range(np.arange(np.prod(shape)).reshape(shape) % 7 + 0.5), [(2, 2, 2)], [(2, 2, 1)]),
    (lambda parts: gauge.cube(np.arange(4.0), parts, [0, 0, 1, 1]), [([0, 1, 0, 1],)], [([0, 1, 1, 1],)]),
    (
        hand,
        [(9.0, 1.0, 10.0, 2.0), (9.0, 8.0, 20.0, 10.0), (0.5, 0.2, 3.0, 1.0)],
        [(9.0, 0.0, 20.0, 2.0), (9.0, 9.0, 20.0, 9.0), (9.0, 1.0, 9.0, 2.0)],
    ),
    (intervals.hypergeometric_exact, [(0, 1, 1), (3, 3, 3)], [(-1, 3, 9), (4, 3, 9), (1, 10, 9), (0, 0, 9)]),
    (intervals.binomial_exact, [([0], [0]), ([3], [3])], [([-1], [3]), ([4], [3]), ([0.5], [3]), ([1], [3.5])]),
    (lambda level: intervals.wilson([1], [3], level), [(0.01,), (0.99,)], [(0.0,), (1.0,)]),
    (intervals.poisson_exact, [([0],)], [([-1],), ([0.5],)]),
    (intervals.poisson_ratio, [([0], [0.1])], [([0], [0.0])]),
    (intervals.mean_t, [([0.0], [0.0], [2])], [([0.0], [0.1], [1]), ([0.0], [-0.1], [2]), ([np.nan], [0.1], [2])]),
    (
        lambda kappa, stiff, scale=640.0: intonation.String(scale, 0.6, 3.0, kappa, stiff),
        [(0.01, 0.0), (0.01, 0.1)],
        [(0.0, 0.0), (0.01, -0.1), (0.01, 0.0, 0.0)],
    ),
    (lambda frets: intonation.cents(STRING, frets), [([0, 1],)], [([-1, 1],)]),
    (lambda frets: intonation.setbacks(STRING, frets), [([5, 12],)], [([5],)]),
    (
        intonation_inverse.baseline,
        [],
        [([0, 5], np.zeros((40, 3))), ([0, 5], np.zeros(40)), ([0, 5], np.zeros((29, 2)))],
    ),
    (
        lambda n, e: intonation_inverse.scan(n, e),
        [([0, 1, 3, 5, 7, 12], [1.0, 2.0, 1.0, 3.0, 2.0, 1.0])],
        [
            ([0, 1], [1.0]),
            ([], []),
            ([0, -1, 3, 5, 7, 12], [1.0, 2.0, 1.0, 3.0, 2.0, 1.0]),
            ([0, 1, 3, 5, 7, 12], [np.nan, 2.0, 1.0, 3.0, 2.0, 1.0]),
            ([0, 1, 3, 5, 7], [1.0, 2.0, 1.0, 3.0, 2.0]),
        ],
    ),
    (learning.slope_of, [(0.5,), (1.0,)], [(0.0,), (1.01,)]),
    (lambda unit: learning.level([unit], [5.0], [0.2]), [(1,)], [(0.5,)]),
    (
        lambda i, y: learning.fit(i, y),
        [([1, 2, 3, 4], [4.0, 3.0, 3.0, 2.0])],
        [
            ([1, 2, 3], [4.0, 3.0, 3.0]),
            ([0, 2, 3, 4], [4.0, 3.0, 3.0, 2.0]),
            ([1, 2, 3, 4], [4.0, 3.0, 0.0, 2.0]),
            ([1, 2, 3], [4.0, 3.0]),
        ],
    ),
    (lambda y: learning.fit_share([1, 2, 3, 4], y), [([1, 0, 1, 0],)], [([1, 0, 1, 2],), ([1, 0, 0.5, 0],)]),
    (
        lambda unit, many=40: learning.fit(np.arange(1, many + 1), 5 + 9 / np.arange(1, many + 1)).project(unit),
        [(1.0,), (100.0,)],
        [(0.9,), (100.1,), (41.0, 39)],
    ),
    (
        moisture.equilibrium,
        [([0.0], [-10.0]), ([100.0], [70.0])],
        [([-1.0], [20.0]), ([101.0], [20.0]), ([50.0], [-11.0]), ([50.0], [71.0])],
    ),
    (
        lambda n, p: multivariate.individual_model(rng(105).normal(size=(n, p))),
        [(4, 2), (3, 1)],
        [(3, 2), (2, 1), (0, 2)],
    ),
    (groups_of, [(2, 2, 3), (2, 3, 2), (1, 2, 2)], [(2, 2, 2), (1, 1, 9), (1, 3, 1), (3, 2, 2)]),
    (
        lambda rate: multivariate.phase_two(
            np.zeros((1, 2)), model=multivariate.individual_model(rng(105).normal(size=(9, 2))), false_rate=rate
        ),
        [(0.01,), (0.99,)],
        [(0.0,), (1.0,)],
    ),
    (
        lambda x, kind: next_value.next_value(x, kind),
        [([1.0, 2.0], "plain"), ([0.0, 2.0], "count"), ([0.0, 1.0], "share"), ([-1.0, 1.0], "plain")],
        [
            ([1.0], "plain"),
            ([-1.0, 2.0], "count"),
            ([-0.1, 1.0], "share"),
            ([0.5, 1.1], "share"),
            ([1.0, np.nan], "plain"),
        ],
    ),
    (normality.anderson_darling, [(X[:8],)], [(X[:7],), (np.ones(9),)]),
    (normality.shapiro_wilk, [(X[:3],)], [(X[:2],), (np.ones(9),)]),
    (lambda step: normality.spread_ties(X, step=step), [(0.0,), (0.1,)], [(-0.1,), (np.inf,)]),
    (own_law.own_law, [(X[:2],)], [(X[:1],), (A([1.0, np.nan]),)]),
    (
        partial_pooling.pooled,
        [([1.0, 2.0, 3.0], [0.1, 0.1, 0.1])],
        [([1.0, 2.0], [0.1, 0.1]), ([1.0, 2.0, 3.0], [0.1, 0.0, 0.1]), ([1.0, 2.0, 3.0], [0.1, np.inf, 0.1])],
    ),
    (
        lambda free: partial_pooling.pooled([1.0, 2.0, 3.0], [0.1, 0.1, 0.1], freedom=free),
        [(0.5,), (1.0,)],
        [(0.0,), (-1.0,)],
    ),
    (
        lambda string, fret, own: Played(A(string), A(fret), A(own), A([640.0]), A([0.0]), A([7.0])),
        [([0, 0], [0, 1], [0, 1])],
        [([0], [0, 1], [0, 1]), ([0, 0], [0], [0, 1]), ([0, 0], [0, 1], [0, -1])],
    ),
    (lambda shares: run_length.run_length().quantiles(shares), [([0.01, 0.99],)], [([0.0],), ([1.0],)]),
    (lambda rules, **more: run_length.run_length(rules, **more), [((run_rules.BEYOND,),)], [((),), (("no rule",),)]),
    (
        lambda shift, spread, width, side: run_length.run_length(
            (run_rules.ONE_SIDE,), shift=shift, spread=spread, width=width, one_side=side
        ),
        [(0.0, 0.5, 2.0, 2)],
        [(0.0, 0.0, 2.0, 2), (np.inf, 0.5, 2.0, 2), (0.0, 0.5, 0.0, 2), (0.0, 0.5, 2.0, 1)],
    ),
    (lambda n, width: run_length.xbar_arl(0.0, n=n, width=width), [(1, 0.1)], [(0, 0.1), (1, 0.0)]),
    (run_length.xbar_width, [(1.1,)], [(1.0,)]),
    (
        lambda weight, width=2.5: run_length_weighted.ewma_arls([width], weight=weight),
        [(0.1,), (1.0,)],
        [(0.0,), (1.1,), (0.1, 0.0), (0.1, np.inf)],
    ),
    (
        lambda phi, width=2.5: run_length_weighted.ewma_rate_dependent(width, phi, weight=0.2),
        [(0.5,)],
        [(1.0,), (-1.0,), (0.5, 0.0)],
    ),
    (
        lambda h, k=0.5, head=0.0: run_length_weighted.cusum_arl(h, reference=k, head=head),
        [(1.0,), (1.0, 0.0), (1.0, 0.5, 1.0)],
        [(0.0,), (1.0, -0.1), (1.0, 0.5, -0.1), (1.0, 0.5, 1.1)],
    ),
    (run_length_weighted.cusum_interval, [(3.0,)], [(2.9,)]),
    (
        lambda sigma, width=3.0: run_rules.run_rules(X, centre=0.0, sigma=sigma, width=width),
        [(1.0,), (0.0,)],
        [(-1.0,), (1.0, 0.0)],
    ),
    (
        lambda rules: run_rules.run_rules(X, centre=0.0, sigma=1.0, rules=rules),
        [((run_rules.BEYOND,),)],
        [(("no rule",),)],
    ),
    (
        lambda starts, n=9: segments.checked(X[:n], starts),
        [([0],), ([0, 8],)],
        [([],), ([1],), ([0, 9],), ([0, 3, 3],), ([0, 4, 3],), ([0], 0), ([[0]],)],
    ),
    (
        plan_of_sums,
        [()],
        [
            ((0.0, 0.1),),
            ((0.1, 0.1),),
            ((0.02, 1.0),),
            ((0.02, 0.12), (0.0, 0.1)),
            ((0.02, 0.12), (0.5, 0.1)),
            ((0.02, 0.12), (0.05, 0.0)),
            ((0.02, 0.12), (0.05, 0.5)),
        ],
    ),
    (lambda p: sequential.expected(plan_of_sums(), [p]), [(0.0,), (1.0,)], [(-0.1,), (1.1,)]),  # type: ignore[arg-type]
    (lambda bad: sequential.verdict(plan_of_sums(), bad), [([0, 1],)], [([0, 2],), ([0.5],), ([[0, 1]],)]),  # type: ignore[arg-type]
    (lots, [(5,)], [(4,)]),
    (
        lambda shift, sigma, groups=1: study_size.to_see(shift, sigma, groups=groups),
        [(1.0, 1.0), (-0.5, 1.0), (0.5, 1.0, 2)],
        [(0.0, 1.0), (np.inf, 1.0), (1.0, 0.0), (1.0, 1.0, 3), (1.0, 1.0, 0)],
    ),
    (
        study_size.lots_to_tell,
        [(0.5, 0.0, 1.0, 1), (-0.5, 1.0, 0.0, 1)],
        [(0.0, 1.0, 1.0, 1), (0.5, -1.0, 1.0, 1), (0.5, 1.0, -1.0, 1), (0.5, 0.0, 0.0, 1), (0.5, 1.0, 1.0, 0)],
    ),
    (study_size.to_show_ppk, [(1.5, 1.0)], [(1.0, 1.0), (1.0, 0.0)]),
    (
        lambda share, limit, by=0.5, least=2: study_size.gauge_chance(
            share, limit, parts=least, people=2, trials=2, by_people=by
        ),
        [(0.1, 0.3), (0.1, 0.3, 0.0), (0.1, 0.3, 1.0)],
        [(0.0, 0.3), (1.0, 0.3), (0.1, 0.0), (0.1, 1.0), (0.1, 0.3, -0.1), (0.1, 0.3, 1.1), (0.1, 0.3, 0.5, 1)],
    ),
    (
        lambda chance, risk: study_size.to_see(1.0, 1.0, chance=chance, risk=risk),
        [(0.5, 0.05)],
        [(0.0, 0.05), (1.0, 0.05), (0.5, 0.0), (0.5, 1.0)],
    ),
    (lambda x: tolerance.normal_band(x), [([1.0, 2.0],)], [([1.0],)]),
    (
        tolerance.two_sided,
        [(2, 0.9, 0.9), (2, 0.9, 0.9, 0.5)],
        [(1, 0.9, 0.9), (5, 0.9, 0.9, 0.0), (5, 0.0, 0.9), (5, 1.0, 0.9), (5, 0.9, 0.0), (5, 0.9, 1.0)],
    ),
    (
        totals.total_interval,
        [([0.0], [0.0], [1.0])],
        [([-1.0], [1.0], [1.0]), ([1.0], [-1.0], [1.0]), ([1.0], [1.0], [0.0])],
    ),
    (
        totals.chance_of_difference,
        [([0.0], [1.0], [1.0]), ([0.0], [0.0], [0.0])],
        [([-1.0], [1.0], [1.0]), ([1.0], [-1.0], [1.0]), ([1.0], [1.0], [-1.0])],
    ),
    (
        lambda sd, n, free=None: two_groups.difference([0.0, 1.0], sd, n, dof=free),
        [([0.0, 1.0], [2, 2]), ([1.0, 1.0], [2, 2], [0.5, 0.5])],
        [([-1.0, 1.0], [2, 2]), ([1.0, 1.0], [1, 2]), ([1.0, 1.0], [2, 2], [0.0, 1.0]), ([1.0, 1.0, 1.0], [2, 2, 2])],
    ),
    (
        uncertain_ratio.ratio_mid_p,
        [([0], [0.1], [0.0])],
        [
            ([-1], [1.0], [0.0]),
            ([0.5], [1.0], [0.0]),
            ([1], [0.0], [0.0]),
            ([1], [1.0], [-0.1]),
            ([1], [np.inf], [0.0]),
        ],
    ),
    (lambda baseline: variables.spread(X, TWO, baseline=baseline), [(2,), ([2, 5],)], [(0,), ([3, 0],)]),
    (lambda width: variables.individuals(X, width=width), [(0.1,)], [(0.0,), (-1.0,)]),
    (lambda n: variables.individuals(X[:n]), [(2,)], [(1,)]),
    (lambda width: variables.xbar_r(X, np.arange(0, 24, 4), width=width), [(0.1,)], [(0.0,)]),
    (lambda groups: variables.xbar_s(X[:4], groups), [([0, 2],), ([0, 1],)], [([0, 1, 2, 3],)]),
    (lambda groups: variables.three_way(X[:4], groups), [([0, 2],)], [([0],)]),
    (variables_plans.VariablesPlan, [(3, 1.5)], [(2, 1.5), (3, np.nan)]),
    (lambda n: variables_plans.estimated_outside([1.0], n), [(3,)], [(2,)]),
    (
        lambda sd, lower, upper: variables_plans.outside(0.2, sd, 9, lower=lower, upper=upper),
        [(0.1, 0.1, np.nan), (0.1, np.nan, 0.3)],
        [(0.0, 0.1, 0.3), (0.1, np.nan, np.nan)],
    ),
    (
        lambda p: variables_plans.accepted(variables_plans.VariablesPlan(9, 1.5), [p]),
        [(0.01,), (0.99,)],
        [(0.0,), (1.0,)],
    ),
    (
        lambda p: variables_plans.share_accepted(variables_plans.VariablesPlan(9, 1.5), [p]),
        [(0.01,), (0.99,)],
        [(0.0,), (1.0,)],
    ),
    (
        lambda x, batch: variance_split.split(x, [0, 0, 1], batch),
        [([1.0, 2.0, 3.0], [0, 0, 0])],
        [([1.0, 2.0, 3.0], [0, 1, 0]), ([1.0, np.nan, 3.0], [0, 0, 0])],
    ),
    (
        lambda weight, sigma=1.0, width=3.0, begin=0: weighted.ewma(
            X, centre=0.0, sigma=sigma, weight=weight, width=width, begin=begin
        ),
        [(0.01,), (1.0,), (0.1, 0.0)],
        [(0.0,), (1.01,), (0.1, -1.0), (0.1, 1.0, 0.0), (0.1, 1.0, 3.0, -1)],
    ),
    (
        lambda sigma, k=0.5, h=5.0, head=0.0: weighted.cusum(X, centre=0.0, sigma=sigma, k=k, h=h, head_start=head),
        [(1.0,), (1.0, 0.0), (1.0, 0.5, 5.0, 4.9)],
        [(0.0,), (1.0, -0.1), (1.0, 0.5, 5.0, 5.0), (1.0, 0.5, 5.0, -0.1)],
    ),
    (limits_of, [([0.1],)], [([np.nan],)]),
]
GIVEN = [(of, given) for of, taken, _ in LINES for given in taken]
REFUSED = [(of, given) for of, _, refused in LINES for given in refused]


@pytest.mark.parametrize(("of", "given"), GIVEN)
def test_it_is_taken(of, given):
    assert of(*given) is not None


@pytest.mark.parametrize(("of", "given"), REFUSED)
def test_it_is_refused_in_our_own_words(of, given):
    with pytest.raises(UnusableData):
        of(*given)

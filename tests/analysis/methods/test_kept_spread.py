"""Figures of spread, capability, shares outside limits and of strings, as they were kept (kept.py)."""

import numpy as np
import pytest

from analysis.methods import (
    capability,
    coarse,
    distributions,
    expected_share,
    independent_number,
    intonation,
    intonation_inverse,
    moisture,
    next_value,
    normality,
    play_test,
    started_curves,
    tolerance,
)
from analysis.methods.play_test_shapes import Played, Spread
from tests.analysis.methods.kept import STREAMS, Cases, check, dependent, or_fault, readings, rng

case = Cases()


# -- spread, capability, shares outside


@case
def indices_of_capability() -> object:
    mean, short, long_ = np.array([0.2, 0.25, 0.3]), np.array([0.02, 0.03, 0.02]), np.array([0.03, 0.03, 0.05])
    n = np.array([20, 60, 200])
    return [
        capability.indices(mean, short, long_, n, target=0.25, lower=0.1, upper=0.4),
        capability.indices(
            mean, short, long_, n, upper=np.array([0.3, 0.4, np.nan]), lower=np.array([np.nan, np.nan, 0.1])
        ),
        capability.spread_bounds(np.array([1.1, 1.5]), np.array([20, 70]), 0.9),
        capability.bissell(np.array([0.4, 1.3]), np.array([20, 90]), np.array([12.0, 60.0])),
        capability.one_sided_exact(np.array([0.4, 1.3]), np.array([20, 90]), 0.9),
        capability.normal_ppm(mean, short, 0.15, 0.27),
        capability.normal_ppm(mean, short, upper=0.3),
    ]


@case
def what_readings_carry() -> object:
    out = []
    for seed, lots_sd, day_sd, phi in (
        (17, 0.9, 0.0, 0.0),
        (18, 0.0, 1.2, 0.0),
        (19, 0.0, 0.0, 0.55),
        (20, 0.5, 0.6, 0.2),
    ):
        n = 360
        starts = np.array([0, 25, 31, 120, 230])
        lot, day = np.arange(n) // 9, np.arange(n) // 4
        x = (
            dependent(seed, n, phi)
            + lots_sd * rng(seed + 40).normal(size=n)[lot]
            + day_sd * rng(seed + 60).normal(size=n)[day]
        )
        if seed == 20:
            x = np.exp(x / 2)
        lot = np.where(np.arange(n) < 60, -1, lot)
        found = independent_number.carried(x, starts, pool=np.array([0, 0, 0, 1, 1]), lot=lot, day=day)
        index = np.array([1.0, 0.5, np.nan, 1.4, -0.2])
        out.append([found, found.number(index), found.number(index, np.array([1, -1, 0, 1, -1]))])
    return out


@case
def shares_outside() -> object:
    mean, sd, ends = np.array([0.0, 0.4, 1.0]), np.array([1.0, 0.8, 1.1]), np.array([-2.5, np.nan, -3.0])
    return [
        expected_share.normal_interval(
            mean,
            sd,
            ends,
            np.array([2.5, 3.0, np.nan]),
            mean_variance=np.array([0.01, 0.005, 0.02]),
            sd_variance=np.array([0.005, 0.002, 0.01]),
        ),
        expected_share.narrow(np.array([10.0, 100.0, 5.0]), np.array([50.0, 5000.0, 90000.0])),
    ]


@case
def curves_with_a_start() -> object:
    x = 0.1 + rng(21).gamma(2.5, 0.05, 300)
    y = np.abs(rng(22).normal(0.02, 0.05, 250))
    z = 3 + rng(23).weibull(1.7, 220)
    out = []
    w = 0.1 + rng(58).lognormal(-2.0, 0.8, 400)
    ends = ((x, np.nan, 0.32), (y, np.nan, 0.07), (z, 3.25, 4.6), (w, np.nan, 0.4), (x, np.nan, 0.5))
    for each, lower, upper in ends:
        told = started_curves.curves(each)
        out.append(
            [
                [one.name, one.likelihood, one.p, one.stands, one.ppm(lower, upper), one.frozen.ppf([0.01, 0.5, 0.9])]
                for one in told
            ]
        )
        out.append(started_curves.interval(each, told, lower, upper))
    return [*out, started_curves.curves(x[:9])[0].p, started_curves.curves(x[:7])[0].p]


@case
def a_folded_curve() -> object:
    x = np.abs(rng(24).normal(0.03, 0.04, 150))
    curve = distributions.folded_normal(x)
    return [
        (curve.shape,),
        curve.scale,
        distributions.percentile_indices(curve, 0.001, 0.15),
        distributions.percentile_indices(curve, upper=0.12),
    ]


@case
def are_they_normal() -> object:
    x = np.concatenate([rng(25).normal(size=60), rng(26).gamma(2.0, size=60), rng(27).normal(size=8)])
    starts = np.array([0, 60, 120])
    ties = np.round(x, 1)
    return [
        normality.anderson_darling(x, starts),
        normality.shapiro_wilk(x[:60]),
        normality.shapiro_wilk(x[60:75]),
        normality.shapiro_wilk(x[:4]),
        normality.plot_places(x, starts),
        normality.spread_ties(ties, starts, step=0.1),
    ]


@case
def readings_rounded_to_coarse_steps() -> object:
    x = np.round(rng(28).normal(0.2, 0.04, 120) / 0.05) * 0.05
    return [
        coarse.rounded_normal(x, STREAMS, step=0.05),
        coarse.rounded_normal(np.round(readings(29), 3), STREAMS, step=np.array([0.001, 0.001, 0.01, 0.1])),
    ]


@case
def tolerance_bands() -> object:
    x = readings(30)
    return [
        [tolerance.normal_band(x, STREAMS, side=side, coverage=0.9) for side in ("both", "upper", "lower")],
        [tolerance.two_sided(n, 0.95, 0.9) for n in (3, 20, 200)],
        tolerance.two_sided(20, 0.9, 0.95, nu=12.0),
        [tolerance.one_sided(n, 0.95, 0.9) for n in (3, 20)],
        tolerance.one_sided(20, 0.9, 0.95, nu=12.0),
        [tolerance.drop(n, 0.9, 0.95) for n in (30, 60, 300)],
        tolerance.free_band(x, coverage=0.9, confidence=0.9),
        [tolerance.sample_needed(0.9, 0.95, ends=ends) for ends in (1, 2)],
    ]


@case
def the_next_value() -> object:
    x = np.array([3.0, 5.0, 2.0, 7.0, 4.0, 6.0, 3.0, 1.0])
    kinds = [value for name, value in vars(next_value).items() if name.isupper() and isinstance(value, str)]
    return [
        [kind, or_fault(next_value.next_value, x / (10 if "share" in kind else 1), kind, confidence=0.9)]
        for kind in kinds
    ]


# -- wood and strings


@case
def strings_and_frets() -> object:
    string = intonation.String(640.0, 0.6, 3.0, 0.05, intonation.stiffness(0.05, 0.2, 640.0))
    frets, fitted = np.array([0, 1, 3, 5, 7, 12, 15]), np.array([0, 1, 2, 3, 5, 7, 9, 12])
    cents = rng(55).normal(size=(5, 8)) + 2.0
    cents[3, 4] += 40
    low = np.tile([2.0, 0.5, 1.0, 0.2, -0.5, 1.5, 9.0, 0.3], (40, 1)) + rng(56).normal(size=(40, 8))
    return [
        intonation.gamma(frets),
        intonation.fret_places(640.0, 5),
        intonation.cents(string, frets, saddle_back=1.0, nut_set=0.3),
        intonation.cents_short(string, frets, saddle_back=1.0, nut_set=0.3),
        intonation.setbacks(string),
        intonation.sensitivity(string, saddle_back=1.5, nut_set=0.2),
        [intonation_inverse.fit(fitted, row) for row in cents[:2]],
        intonation_inverse.fit(fitted, cents[4], fret=5, noise=1.0),
        intonation_inverse.fit(fitted, cents[2], terms=("tuning", "tilt")),
        intonation_inverse.fit_strings(fitted, cents),
        intonation_inverse.choked(cents),
        intonation_inverse.standard_errors(fitted),
        intonation_inverse.leverage(fitted),
        intonation_inverse.scan(fitted, cents[4] + 12 * (fitted == 3)),
        intonation_inverse.scan(fitted, cents[0], doubt=0.2),
        [
            intonation_inverse.bridge_move(2.0, 640.0),
            intonation_inverse.nut_set_back(2.0, 640.0),
            intonation_inverse.nut_too_high(3.0, string),
            intonation_inverse.fret_shift(4.0, 5, 640.0),
        ],
        intonation_inverse.baseline(fitted, low),
        moisture.equilibrium(np.array([20.0, 45.0, 80.0]), np.array([10.0, 21.0, 30.0])),
    ]


@case
def a_play_test() -> object:
    string, fret = np.repeat(np.arange(4), 8), np.tile([0, 1, 2, 3, 5, 7, 9, 12], 4)
    own = np.where((string == 3) & (fret > 0), np.maximum(fret - 5, 0), fret)
    keep = ~((string == 3) & (own == 0) & (fret > 0))
    played = Played(
        string[keep],
        fret[keep],
        own[keep],
        np.array([645.0, 645.0, 640.0, 480.0]),
        np.linspace(-1, 1, 4),
        np.array([7.0, 6.0, 6.5, 8.0]),
    )
    k = int(keep.sum())
    cents = rng(57).normal(0, 1.0, (14, k))
    cents[0] += 3.0 * (played.own > 0) * (2 ** (played.own / 12) - 1)
    cents[1] += 9.0 * (played.fret == 5)
    cents[2] += 5.0 * (played.string == 1) * (played.own > 0)
    cents[3] += 4.0 / np.maximum(played.own, 1) * (played.own > 0)
    cents[4] += 6.0 * (played.own > 0)
    spread = play_test.usual_spread(played, cents)
    far = cents.copy()
    far[0, 3] += 95
    return [
        spread,
        play_test.explain(played, cents[:6], Spread()),
        play_test.explain(played, cents[:5], spread, movable=False),
        play_test.log_likelihood(played, cents, Spread()),
        play_test.choked(far, played.string, played.own),
        play_test.stopped_by(np.array([40.0, 95.0, 160.0]), np.array([3, 3, 5])),
        play_test.usual_spread(played, cents[:9]),
    ]


@pytest.mark.parametrize("name", case)
def test_figures_are_those_that_were_kept(name):
    check(name, case)

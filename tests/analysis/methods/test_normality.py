"""Do readings look normal."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from analysis.methods.normality import _p as p_of
from analysis.methods.normality import (
    anderson_darling,
    anderson_darling_told_once,
    plot_places,
    shapiro_wilk,
    spread_ties,
)
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

PUBLISHED = Path(__file__).parents[2] / "published"
READINGS = arrays(np.float64, st.integers(8, 60), elements=st.floats(-50, 50, width=32)).filter(
    lambda x: np.std(x) > 0.01
)


def test_critical_values_as_printed() -> None:
    # D'Agostino & Stephens (1986), Tables 4.7 and 4.9: the printed points and the p formula agree to 3 % of p
    case = json.loads((PUBLISHED / "ad-critical.json").read_text())
    assert p_of(np.array(case["published"]["A2_star"])).tolist() == pytest.approx(case["data"]["alpha"], rel=0.03)


def test_w_of_eleven_men_as_printed() -> None:
    # Shapiro & Wilk (1965), Biometrika 52, Example 1: W = 0.79
    case = json.loads((PUBLISHED / "shapiro-wilk-men.json").read_text())
    assert shapiro_wilk(case["data"]["x"])[0] == pytest.approx(case["published"]["W"], abs=case["tolerance"]["default"])


@given(READINGS)
def test_the_statistic_is_that_of_scipy(x: Floats) -> None:
    n = len(x)
    wanted = stats.anderson(x, "norm", method="interpolate").statistic * (1 + 0.75 / n + 2.25 / n**2)
    assert anderson_darling(x)[0][0] == pytest.approx(wanted, rel=1e-6, abs=1e-9)


@given(st.lists(st.integers(-9, 9), min_size=8, max_size=80).filter(lambda x: len(set(x)) > 1))
def test_values_told_once_with_how_often_are_judged_as_all_readings(x: list[int]) -> None:
    values, often = np.unique(np.array(x) / 8, return_counts=True)
    statistic, p = anderson_darling(np.array(x) / 8)
    found = anderson_darling_told_once(values, often.astype(np.float64))
    assert found == pytest.approx((statistic[0], p[0]), rel=1e-9, abs=1e-12)


@given(READINGS, st.floats(0.01, 100), st.floats(-100, 100))
def test_unit_zero_direction_and_order_leave_it_alone(x: Floats, unit: float, zero: float) -> None:
    plain = anderson_darling(x)[0][0]
    for other in (x * unit + zero, -x, x[::-1]):
        assert anderson_darling(other)[0][0] == pytest.approx(plain, rel=1e-6, abs=1e-7)


@given(st.lists(READINGS, min_size=1, max_size=5))
def test_segments_are_judged_each_for_itself(parts: list[Floats]) -> None:
    starts = np.cumsum([0] + [len(part) for part in parts[:-1]])
    statistic, p = anderson_darling(np.concatenate(parts), starts)
    for i, part in enumerate(parts):
        alone = anderson_darling(part)
        assert (statistic[i], p[i]) == pytest.approx((alone[0][0], alone[1][0]), rel=1e-9)


def test_p_falls_as_the_statistic_grows_and_has_no_jump() -> None:
    p = p_of(np.linspace(0.0, 400.0, 400_001))
    assert ((p >= 0) & (p <= 1)).all()
    assert (np.diff(p) <= 2e-3).all()  # the printed pieces meet to 0.002
    assert p[-1] < 1e-100


def test_ties_move_as_defined() -> None:
    # x + q ((j - .5)/k - .5): of four at 2.0 with a step of 0.1, and one alone at 3.0
    assert spread_ties([2.0, 3.0, 2.0, 2.0, 2.0], step=0.1).tolist() == pytest.approx(
        [1.9625, 3.0, 1.9875, 2.0125, 2.0375]
    )
    assert spread_ties([2.0, 2.0, 2.0, 2.0], [0, 2], step=[0.1, 0.2]).tolist() == pytest.approx(
        [1.975, 2.025, 1.95, 2.05]
    )
    assert spread_ties([0.1 + 0.2, 0.3], step=0.1).tolist() == pytest.approx(
        [0.325, 0.275]
    )  # equal but for the last bit


@given(arrays(np.float64, st.integers(1, 60), elements=st.integers(-5, 5).map(float)), st.floats(0.1, 1.0))
def test_spread_ties_keep_the_mean_and_stay_within_the_step(x: Floats, step: float) -> None:
    moved = spread_ties(x, step=step)
    assert np.abs(moved - x).max() <= step / 2
    assert moved.mean() == pytest.approx(x.mean(), abs=1e-9)
    assert len(np.unique(np.round(moved, 12))) == len(x) or step == 1.0
    assert spread_ties(x, step=0.0).tolist() == x.tolist()


def test_an_order_that_is_known_changes_no_digit() -> None:
    rng = np.random.default_rng(20281204)
    starts, step = np.array([0, 40, 100]), np.array([0.0, 1.0, 0.3])  # ties of the second are spread over one another
    x = np.round(rng.normal(size=150) * 2, 1)
    ids = np.repeat(np.arange(3), np.diff(starts, append=len(x)))
    order = np.lexsort((x, ids))
    moved = spread_ties(x, starts, step=step)
    assert spread_ties(x, starts, step=step, order=order).tolist() == moved.tolist()
    assert (np.diff(moved[order])[:-1] < 0).any()
    for known, plain in zip(anderson_darling(moved, starts, order=order), anderson_darling(moved, starts), strict=True):
        assert known.tolist() == plain.tolist()


def test_plot_places_are_median_ranks() -> None:
    quantile, reading = plot_places([3.0, 1.0, 2.0, 7.0], [0, 3])
    assert reading.tolist() == [1.0, 2.0, 3.0, 7.0]
    assert stats.norm.cdf(quantile).tolist() == pytest.approx([1 - 0.5 ** (1 / 3), 0.5, 0.5 ** (1 / 3), 0.5])


def test_what_cannot_be_judged_says_so() -> None:
    with pytest.raises(UnusableData, match="fewer than 8"):
        anderson_darling([1.0, 2.0, 3.0])
    with pytest.raises(UnusableData, match="equal ones"):
        anderson_darling([0.3] * 20)
    with pytest.raises(UnusableData, match="wanted 3 to 5000"):
        shapiro_wilk([1.0, 1.0, 1.0])
    with pytest.raises(UnusableData, match="step"):
        spread_ties([1.0], step=-0.1)


@pytest.mark.promise
def test_normal_readings_are_rejected_as_often_as_promised() -> None:
    rng = np.random.default_rng(20261128)
    for n in (25, 100):
        p = anderson_darling(rng.normal(size=20_000 * n), np.arange(20_000) * n)[1]
        assert (p < 0.05).mean() == pytest.approx(0.05, abs=3 * np.sqrt(0.05 * 0.95 / 20_000) + 0.002)
        assert (p < 0.005).mean() == pytest.approx(0.005, abs=3 * np.sqrt(0.005 / 20_000) + 0.0005)


@pytest.mark.promise
def test_gauge_steps_are_no_evidence_against_normal_once_ties_are_spread() -> None:
    rng = np.random.default_rng(20261129)
    starts = np.arange(4000) * 100
    coarse = np.round(rng.normal(size=4000 * 100) * 2) / 2  # to half a sigma
    assert (anderson_darling(coarse, starts)[1] < 0.005).mean() > 0.3
    assert (anderson_darling(spread_ties(coarse, starts, step=0.5), starts)[1] < 0.005).mean() < 0.02

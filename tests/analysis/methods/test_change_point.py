"""When a step or a slope began."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from analysis.methods import change_point
from analysis.methods.allowance import ewma_delay, ewma_width
from analysis.methods.change_point import drift, step
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats
from tests.trials.change_point import coverage, signalled

SERIES = arrays(np.float64, st.integers(4, 40), elements=st.floats(-100, 100, width=32))


def by_hand(x: Floats, sigma: float) -> Floats:
    """Log-likelihood above no change for a step at each place, straight from the definition; place 0 is no start."""

    def squares(part: Floats) -> float:
        return float(((part - part.mean()) ** 2).sum())

    return np.array(
        [-np.inf, *((squares(x) - squares(x[:k]) - squares(x[k:])) / 2 / sigma**2 for k in range(1, len(x)))]
    )


@given(SERIES)
def test_the_set_is_every_start_within_three_of_the_largest_log_likelihood(x: Floats) -> None:
    sigma = 7.0
    wanted = by_hand(x, sigma)
    result = step(x, sigma=sigma, members=True)
    assert result.statistic[0] == pytest.approx(wanted.max(), rel=1e-9, abs=1e-9)
    assert wanted[result.at[0]] == pytest.approx(wanted.max(), rel=1e-6, abs=1e-6)
    assert result.likely is not None
    unclear = np.abs(wanted - (wanted.max() - 3.0)) < 1e-6 * max(1.0, wanted.max())
    assert ((result.likely == (wanted >= wanted.max() - 3.0)) | unclear).all()
    members = np.flatnonzero(result.likely)
    assert (result.low[0], result.high[0]) == (members[0], members[-1])


@given(SERIES)
def test_means_before_and_after_are_those_of_the_readings(x: Floats) -> None:
    result = step(x, sigma=1.0)
    at = result.at[0]
    assert result.mean_before[0] == pytest.approx(x[:at].mean(), rel=1e-9, abs=1e-9)
    assert result.mean_after[0] == pytest.approx(x[at:].mean(), rel=1e-9, abs=1e-9)
    assert result.size[0] == pytest.approx(x[at:].mean() - x[:at].mean(), rel=1e-9, abs=1e-9)


@given(SERIES, st.floats(0.01, 1000), st.floats(-1000, 1000))
def test_a_change_of_unit_or_zero_leaves_the_start_alone(x: Floats, unit: float, zero: float) -> None:
    if np.ptp(x) < 1e-3:
        return
    plain, moved = step(x), step(x * unit + zero)
    assert moved.statistic[0] == pytest.approx(plain.statistic[0], rel=1e-6, abs=1e-6)
    assert (
        moved.size[0] == pytest.approx(plain.size[0] * unit, rel=1e-5, abs=1e-5 * unit) or moved.at[0] != plain.at[0]
    )  # two equally likely starts


@given(SERIES)
def test_reversing_time_turns_the_set_round(x: Floats) -> None:
    there, back = step(x, sigma=5.0, members=True), step(x[::-1], sigma=5.0, members=True)
    assert there.likely is not None
    assert back.likely is not None
    assert back.statistic[0] == pytest.approx(there.statistic[0], rel=1e-9, abs=1e-9)
    if abs(by_hand(x, 5.0) - by_hand(x, 5.0).max() + 3.0).min() > 1e-6:
        assert back.likely[1:].tolist() == there.likely[:0:-1].tolist()


@given(st.lists(SERIES, min_size=2, max_size=5), st.integers(1, 60))
def test_segments_do_not_see_each_other_whatever_the_block(parts: list[Floats], block: int) -> None:
    starts = np.cumsum([0] + [len(part) for part in parts[:-1]])
    whole = change_point.BLOCK
    change_point.BLOCK = block
    try:
        together, sloped = (
            step(np.concatenate(parts), starts, sigma=3.0),
            drift(np.concatenate(parts), starts, sigma=3.0),
        )
    finally:
        change_point.BLOCK = whole
    for i, part in enumerate(parts):
        alone, slope = step(part, sigma=3.0), drift(part, sigma=3.0)
        assert (together.low[i] - starts[i], together.high[i] - starts[i]) == (alone.low[0], alone.high[0])
        assert together.statistic[i] == pytest.approx(alone.statistic[0], rel=1e-9, abs=1e-9)
        assert sloped.statistic[i] == pytest.approx(slope.statistic[0], rel=1e-9, abs=1e-9)


def test_a_small_stream_beside_a_huge_one_keeps_its_digits() -> None:
    small = np.array([1.0, 2.0, 1.5, 1.2, 3.9, 4.1, 4.4]) * 1e-6
    huge = np.linspace(-1e9, 1e9, 50) ** 1
    beside = step(np.concatenate((huge, small)), [0, 50])
    assert beside.statistic[1] == pytest.approx(step(small).statistic[0], rel=1e-9)


def test_a_step_is_found_where_it_is() -> None:
    x = np.concatenate((np.tile([0.9, 1.1], 50), np.tile([1.9, 2.1], 10)))
    result = step(x)
    assert result.found[0]
    assert (result.at[0], result.low[0], result.high[0]) == (100, 100, 100)
    assert (result.mean_before[0], result.mean_after[0]) == pytest.approx((1.0, 2.0))


@pytest.mark.parametrize("x", [[3.0], [2.5] * 7, [0.1 + 0.2, 0.3, 0.1 + 0.2][:1] * 30])
def test_equal_readings_have_no_change(x: list[float]) -> None:
    for result in (step(x), drift(x)):
        assert (result.at[0], result.low[0], result.high[0], bool(result.found[0])) == (-1, -1, -1, False)
    assert step(x).size[0] == 0.0


def test_a_known_mean_before_and_bounds_are_kept_to() -> None:
    x = np.array([5.0, 5.2, 4.9, 5.1, 7.0, 7.1, 6.9, 7.2])
    known = step(x, sigma=0.2, before=5.0)
    assert (known.at[0], known.mean_before[0]) == (4, 5.0)
    assert known.mean_after[0] == pytest.approx(7.05)
    late = step(x, sigma=0.2, begin=[5], end=[6])
    assert late.at[0] == 5
    assert 5 <= late.low[0] <= late.high[0] <= 6


@given(SERIES)
def test_a_slope_is_the_least_squares_ramp(x: Floats) -> None:
    result = drift(x, sigma=2.0)
    gains = []
    for k in range(len(x)):
        ramp = np.maximum(np.arange(len(x)) - k + 1.0, 0.0)
        fit = np.column_stack((np.ones(len(x)), ramp))
        coefficients, *_ = np.linalg.lstsq(fit, x, rcond=None)
        gains.append((float(((x - x.mean()) ** 2).sum() - ((x - fit @ coefficients) ** 2).sum()) / 8, coefficients))
    best = max(gain for gain, _ in gains)
    assert result.statistic[0] == pytest.approx(best, rel=1e-6, abs=1e-6)
    assert (result.level[0], result.slope[0]) == pytest.approx(tuple(gains[int(result.at[0])][1]), rel=1e-5, abs=1e-5)


def test_bad_input_says_what_was_wanted() -> None:
    with pytest.raises(UnusableData, match="sigma is -1"):
        step([1.0, 2.0], sigma=-1.0)
    with pytest.raises(UnusableData, match="begin"):
        step([1.0, 2.0, 3.0], begin=[2], end=[1])
    with pytest.raises(UnusableData, match="missing"):
        step([1.0, np.nan])
    with pytest.raises(UnusableData, match="mean before"):
        step([1.0, 2.0], before=np.nan)


@pytest.mark.promise
@pytest.mark.parametrize("size", [1.0, 1.5, 2.0, 3.0])
def test_the_set_covers_the_start_of_a_step(size: float) -> None:
    width = ewma_width(8000.0, baseline=100)
    data = signalled(np.random.default_rng(20261207), size, runs=600, kind="step", width=width)
    assert len(data.starts) > 500
    members, between, _ = coverage(data, "step")
    assert 0.90 <= members <= between
    if size >= 1.5:
        assert data.delay.mean() == pytest.approx(ewma_delay(size, width, baseline=100), rel=0.10)


@pytest.mark.promise
@pytest.mark.parametrize("n", [30, 300])
def test_no_change_is_seldom_called_one(n: int) -> None:
    x, starts = np.random.default_rng(20261208).normal(size=4000 * n), np.arange(4000) * n
    for result in (step(x, starts, sigma=1.0), drift(x, starts, sigma=1.0), step(x, starts, sigma=1.0, before=0.0)):
        assert 0.02 < result.found.mean() < 0.05 + 3 * np.sqrt(0.05 * 0.95 / 4000)


@pytest.mark.promise
def test_ten_million_readings_in_ten_thousand_streams_are_each_judged_alone() -> None:
    x, starts = np.random.default_rng(20261210).normal(size=10_000_000), np.arange(10_000) * 1000
    together = step(x, starts, sigma=1.0)
    for i in (0, 4321, 9999):
        alone = step(x[starts[i] : starts[i] + 1000], sigma=1.0)
        assert (together.at[i], together.low[i], together.high[i]) == tuple(
            starts[i] + [alone.at[0], alone.low[0], alone.high[0]]
        )
        assert together.statistic[i] == pytest.approx(alone.statistic[0], rel=1e-9)

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.methods.linearity import bias, linearity, straight_line
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

points = st.lists(st.tuples(st.integers(-50, 50), st.floats(-50, 50)), min_size=3, max_size=20).filter(
    lambda p: len({x for x, _ in p}) > 1
)


def test_the_ozone_calibration_keeps_the_certified_digits():
    # NIST Statistical Reference Datasets, linear regression, Norris; certified to 15 digits.
    printed = case("strd-norris")
    line = straight_line([float(x) for x in printed.data["x"]], [float(y) for y in printed.data["y"]])
    got = {"B0": line.intercept, "B1": line.slope, "sd_B0": line.intercept_error, "sd_B1": line.slope_error}
    for name, value in (got | {"residual_sd": line.residual_sd, "R2": line.r_squared}).items():
        assert value == pytest.approx(printed.published[name], rel=1e-12), name


def test_the_linearity_study_is_the_printed_one():
    # AIAG MSA, chapter III B: five reference parts, twelve readings each.
    printed = case("aiag-linearity")
    want, data = printed.published, printed.data
    line = linearity(data["reference"], data["readings"])
    got = {
        "slope": line.slope,
        "intercept": line.intercept,
        "r_squared": line.r_squared,
        "s": line.residual_sd,
        "abs_t_slope": abs(line.slope_t),
        "abs_t_intercept": abs(line.intercept_t),
    }
    for name, value in got.items():
        assert value == pytest.approx(want[name], abs=tolerance(printed, name)), name
    each = [bias(readings, known).bias for known, readings in zip(data["reference"], data["readings"], strict=True)]
    assert each == pytest.approx(want["bias_mean"], abs=tolerance(printed, "bias_mean"))


def test_bias_has_a_t_interval():
    found = bias([1.0, 2.0, 3.0, 4.0], 2.0)
    half = 3.182446 * np.std([1, 2, 3, 4], ddof=1) / 2  # t(.975, 3), any table
    assert (found.bias, found.low, found.high) == (
        0.5,
        pytest.approx(0.5 - half, abs=1e-6),
        pytest.approx(0.5 + half, abs=1e-6),
    )
    assert np.isnan(bias([2.0, 2.0], 1.0).t)


@settings(max_examples=40)
@given(points)
def test_units_and_order_leave_the_line_alone(p):
    x, y = np.array(p, dtype=float).T
    line = straight_line(x, y)
    other = straight_line(x[::-1] * 25.4, y[::-1] * 25.4)
    scale = max(1.0, np.abs(y).max())
    assert other.slope == pytest.approx(line.slope, rel=1e-9, abs=1e-9 * scale)
    assert other.intercept == pytest.approx(25.4 * line.intercept, rel=1e-9, abs=1e-7 * scale)
    assert other.residual_sd == pytest.approx(25.4 * line.residual_sd, rel=1e-6, abs=1e-9 * scale)
    if line.residual_sd > 1e-6:
        low, high = line.band(line.mean_x)
        assert (low + high) / 2 == pytest.approx(y.mean(), abs=1e-9 * scale)
        assert high - low <= np.subtract(*line.band(x.max())[::-1]) * (1 + 1e-9)  # narrowest in the middle


def test_a_perfect_line_is_sure_and_a_flat_one_says_nothing():
    line = straight_line([1, 2, 3], [2.0, 4.0, 6.0])
    assert (line.slope, line.intercept, line.residual_sd, line.slope_t) == (2, 0, 0, np.inf)
    assert np.isnan(straight_line([1, 2, 3], [5.0, 5.0, 5.0]).r_squared)


@pytest.mark.parametrize(
    "call",
    [lambda: straight_line([1, 1, 1], [1, 2, 3]), lambda: straight_line([1, 2], [1, 2]), lambda: bias([1.0], 1.0)],
)
def test_too_few_or_equal_places_are_refused(call):
    with pytest.raises(UnusableData):
        call()
    with pytest.raises(UnusableData, match="one known value a part"):
        linearity([1.0, 2.0], [[1.0, 2.0]])

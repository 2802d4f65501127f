"""The bias of a gauge: the printed study, its interval, and what is refused."""

import numpy as np
import pytest

from analysis.methods.bias import bias
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance


def test_the_printed_study_has_its_printed_biases():
    # AIAG MSA, chapter III B: five reference parts, twelve readings each.
    printed = case("aiag-linearity")
    data = printed.data
    each = [bias(readings, known).bias for known, readings in zip(data["reference"], data["readings"], strict=True)]
    assert each == pytest.approx(printed.published["bias_mean"], abs=tolerance(printed, "bias_mean"))


def test_bias_has_a_t_interval():
    found = bias([1.0, 2.0, 3.0, 4.0], 2.0)
    half = 3.182446 * np.std([1, 2, 3, 4], ddof=1) / 2  # t(.975, 3), any table
    assert (found.bias, found.low, found.high) == (
        0.5,
        pytest.approx(0.5 - half, abs=1e-6),
        pytest.approx(0.5 + half, abs=1e-6),
    )
    assert np.isnan(bias([2.0, 2.0], 1.0).t)


def test_a_unit_leaves_t_alone_and_scales_the_rest():
    mm, inches = bias([2.41, 2.52, 2.47], 2.5), bias(np.array([2.41, 2.52, 2.47]) / 25.4, 2.5 / 25.4)
    assert (inches.t, inches.p) == (pytest.approx(mm.t), pytest.approx(mm.p))
    assert [25.4 * inches.low, 25.4 * inches.high] == pytest.approx([mm.low, mm.high])


@pytest.mark.parametrize("readings", [[1.0], [1.0, np.nan], [[1.0, 2.0], [1.0, 2.0]]])
def test_too_few_or_missing_readings_are_refused(readings):
    with pytest.raises(UnusableData, match="two readings or more"):
        bias(readings, 1.0)

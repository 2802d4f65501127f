"""Inside, on the limit, outside: each reading stands for the whole step of its gauge."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods.conformity import against, between_marks

THOU = 0.0254
NAN = np.nan


def word(value, step, lower=NAN, upper=NAN):
    outside, on = against(value, step / 2, step / 2, lower, upper)
    return "outside" if outside else "on" if on else "inside"


@pytest.mark.parametrize(
    ("value", "step", "lower", "upper", "told"),
    [
        (10 * THOU, THOU, -0.10, 0.25, "on"),  # 0.254 against 0.25: its leaf begins at 0.2413
        (11 * THOU, THOU, -0.10, 0.25, "outside"),
        (9 * THOU, THOU, -0.10, 0.25, "inside"),
        (-4 * THOU, THOU, -0.10, 0.25, "on"),
        (-5 * THOU, THOU, -0.10, 0.25, "outside"),
        (0.25, 0.05, NAN, 0.25, "on"),
        (0.30, 0.05, NAN, 0.275, "outside"),  # its step begins where the limit lies
        (0.25, 0.05, NAN, 0.275, "inside"),  # and this one's ends there
        (0.25, 0.0, NAN, 0.25, "inside"),  # no gauge: the plain comparison
        (0.2500001, 0.0, NAN, 0.25, "outside"),
        (0.1 + 0.2, 0.0, NAN, 0.3, "inside"),  # but for the last bits
        (0.0, 1.0, -0.2, 0.2, "on"),  # a step wider than the tolerance
        (5.0, 1.0, NAN, NAN, "inside"),
        (NAN, 1.0, 0.0, 1.0, "inside"),
    ],
)
def test_a_reading_against_its_limits(value, step, lower, upper, told):
    assert word(value, step, lower, upper) == told


@given(st.integers(-60, 60), st.floats(0.001, 0.2), st.floats(-0.5, 0.0), st.floats(0.05, 1.0), st.floats(0.5, 50.0))
def test_neither_the_unit_nor_the_side_matters(marks, step, lower, upper, factor):
    plain = word(marks * step, step, lower, upper)
    if min(abs(marks * step + side * step / 2 - limit) for side in (-1, 1) for limit in (lower, upper)) > 1e-6:
        assert word(factor * marks * step, factor * step, factor * lower, factor * upper) == plain
        assert word(-marks * step, step, -upper, -lower) == plain


def test_uneven_leaves_reach_halfway_to_each_neighbour():
    marks = np.array([0.05, 0.10, 0.15, 0.25, 0.40])
    below, above = between_marks([0.15, 0.25, 0.40, 0.05, 0.0, -0.15, 0.30], marks)
    assert below == pytest.approx([0.025, 0.05, 0.075, 0.025, 0.025, 0.05, 0.025])
    assert above == pytest.approx([0.05, 0.075, 0.075, 0.025, 0.025, 0.025, 0.05])

from math import pi, sqrt

import pytest

from analysis.methods import constants
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

FACTORS = {
    "A2": constants.a2,
    "A3": constants.a3,
    "c4": constants.c4,
    "B3": constants.b3,
    "B4": constants.b4,
    "B5": constants.b5,
    "B6": constants.b6,
    "d2": constants.d2,
    "d3": constants.d3,
    "D1": constants.big_d1,
    "D2": constants.big_d2,
    "D3": constants.big_d3,
    "D4": constants.big_d4,
    "E2": constants.e2,
}
TABLES = ["constants-n2-10", "constants-d2-d3-even", "constants-E2"]


@pytest.mark.parametrize(("table", "factor"), [(name, factor) for name in TABLES for factor in case(name).published])
def test_computed_factors_agree_with_the_printed_tables(table, factor):
    # ASTM MNL 7 / ISO 7870-2; Tippett 1925, Harter 1960; AIAG SPC manual (E2).
    # The first table computes D1 to D4 from d2 and d3 rounded to 3 decimals and E2 from 1.128, so their last digit can
    # be one off.
    printed = case(table)
    computed = [FACTORS[factor](n) for n in printed.data["n"]]
    assert computed == pytest.approx(printed.published[factor], abs=tolerance(printed, factor))


def test_factors_that_have_a_closed_form_are_met_to_twelve_digits():
    assert constants.d2(2) == pytest.approx(2 / sqrt(pi), rel=1e-12)
    assert constants.d2(3) == pytest.approx(3 / sqrt(pi), rel=1e-12)
    assert constants.d3(2) == pytest.approx(sqrt(2 - 4 / pi), rel=1e-11)
    assert constants.c4(2) == pytest.approx(sqrt(2 / pi), rel=1e-12)


def test_factors_exist_for_subgroups_no_table_lists():
    # For large n the mean range grows like the spread of extremes: d2(1000) = 6.48 (Pearson & Hartley, Biometrika
    # Tables, Table 20; from memory)
    assert constants.d2(1000) == pytest.approx(6.483, abs=5e-4)
    assert constants.d2(999) < constants.d2(1000) < constants.d2(1_000_000)
    assert constants.c4(100_000) == pytest.approx(1 - 1 / (4 * 100_000), rel=1e-9)


@pytest.mark.parametrize("factor", [constants.d2, constants.d3, constants.c4])
@pytest.mark.parametrize("n", [1, 0, 2.5])
def test_a_subgroup_of_under_two_readings_has_no_factor(factor, n):
    with pytest.raises(UnusableData, match="at least 2 readings"):
        factor(n)

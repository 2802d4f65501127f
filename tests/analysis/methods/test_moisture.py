import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.methods.moisture import MOVEMENT, equilibrium, movement
from analysis.methods.problems import UnusableData
from tests.published.cases import case

WOOD = case("trade/wood_moisture")


def test_moisture_follows_the_handbook_row_at_70_fahrenheit():
    # Wood Handbook, table 4-2, row 70 F, one decimal, from memory; Simpson's formula is a fit and misses it by up to
    # .06.
    for rh, moisture in WOOD.emc["table_4_2_row_70F_from_memory"].items():
        assert equilibrium(float(rh), (70 - 32) / 1.8) == pytest.approx(moisture, abs=0.061)
    assert equilibrium(55, 60) == pytest.approx(8.37, abs=0.006)  # 140 F: published example 8.4, table 8.0


def test_the_formula_gives_its_own_table():
    # Two decimals, by another program with the same coefficients (Simpson 1998, read in open code).
    for celsius, row in WOOD.emc_celsius_grid.items():
        assert equilibrium([float(rh) for rh in row], float(celsius)) == pytest.approx(list(row.values()), abs=0.0051)


def test_wood_moves_across_the_grain_as_the_handbook_says():
    # Example: 43 mm of flat-sawn hard maple from 47.5 to 35 % at 21 C: -1.90 % moisture, -0.29 mm.
    before, after = equilibrium([47.5, 35.0], 21.0)
    assert after - before == pytest.approx(-1.90, abs=0.006)
    assert movement(43.0, MOVEMENT["sugar maple"][1], before, after) == pytest.approx(-0.29, abs=0.006)


def test_movement_is_the_printed_table():
    # Wood Handbook FPL-GTR-190, table 13-5.
    read = WOOD.dimensional_change["data"]["C_read"]
    names = {
        "sugar maple": "maple_sugar",
        "bigleaf maple": "maple_bigleaf",
        "red maple": "maple_red",
        "black walnut": "walnut_black",
    }
    names |= {
        "black cherry": "cherry_black",
        "yellow birch": "birch_yellow",
        "white ash": "ash_white",
        "red alder": "alder_red",
    }
    assert {wood: list(pair) for wood, pair in MOVEMENT.items()} == {
        wood: read[names.get(wood, wood)] for wood in MOVEMENT
    }


@settings(max_examples=50)
@given(st.floats(0, 95), st.floats(0.1, 5), st.floats(-10, 65), st.floats(0.5, 5))
def test_damp_air_wets_and_warm_air_dries(rh, damper, celsius, warmer):
    here = equilibrium(rh, celsius)
    assert here < equilibrium(rh + damper, celsius)
    if 20 < rh < 90 and celsius > 15:  # near freezing the fitted formula is flat
        assert equilibrium(rh, celsius + warmer) < here
    assert equilibrium(0, celsius) == 0


@pytest.mark.parametrize(("rh", "celsius"), [(101, 20), (-1, 20), (50, 90), (np.nan, 20), (50, np.nan)])
def test_a_broken_sensor_is_refused(rh, celsius):
    with pytest.raises(UnusableData, match="look at the sensor"):
        equilibrium(rh, celsius)

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.methods.moisture import equilibrium
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

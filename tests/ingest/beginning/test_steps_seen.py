"""The steps in which a sheet is written: told from its cells, one grid a measurement, nothing where it is not plain."""

from fractions import Fraction

import pytest

from ingest.beginning.steps_seen import step_of, written_unit
from ingest.terms.units import amount

CASES = {
    "halves of a 64th as fractions": ([f"{k / 2:g}/64" for k in range(10, 20)], "", "length", "1/128 in"),
    "halves of a 64th as bare numbers": ([f"{k / 2:g}" for k in range(10, 20)], "64ths", "length", "1/128 in"),
    "thousandths of an inch": ([f".{k:03d}" for k in range(4, 14)], "in", "length", "0.001 in"),
    "thou": ([str(k) for k in range(4, 14)], "thou", "length", "1 thou"),
    "a caliper that shows hundredths": (
        [f"{k / 100:.2f}".replace(".", ",") for k in range(7, 30, 3)],
        "mm",
        "length",
        "0.01 mm",
    ),
    "a rule read to the twentieth": ([f"{k / 20:.2f}" for k in range(40, 60)], "mm", "length", "0.05 mm"),
    "cents with their sign": ([f"{k / 2:+.1f}" for k in range(-6, 7)], "cents", "pitch", "0.5 cents"),
    "a dial without a unit": ([f"{88 + k / 2:g}" for k in range(9)], "", "plain", "0.5"),
    "a unit in each cell": ([f"{k / 20:.2f} mm" for k in range(40, 60)], "", "length", "0.05 mm"),
    "marks of a 64th that say so": (
        [f"{k}{half} 64ths" for k in range(5, 9) for half in ("", "½")],
        "",
        "length",
        "1/128 in",
    ),
    "whole and half marks under 64ths": (
        [f"{k}{half}" for k in range(5, 9) for half in ("", "½")],
        "64ths",
        "length",
        "1/128 in",
    ),
    "whole and broken inches": ([f"1 {k}/32" for k in range(1, 31, 2)], "", "length", "1/32 in"),
}


@pytest.mark.parametrize("case", CASES)
def test_the_step_is_the_largest_grid_that_holds_every_cell(case):
    cells, unit, quantity, wanted = CASES[case]
    step = step_of([*cells, "", "-"] * 8, unit, quantity)
    assert step is not None
    assert step.resolution == wanted
    assert amount(step.resolution, quantity) == pytest.approx(step.canonical, abs=1e-9)


def test_a_single_finer_cell_makes_the_step_finer():
    coarse = [f"{k / 20:.2f}" for k in range(40, 60)] * 3
    assert step_of(coarse, "mm", "length").size == Fraction(1, 20)
    assert step_of([*coarse, "2.41"], "mm", "length").size == Fraction(1, 100)


@pytest.mark.parametrize(
    ("cells", "unit"),
    [
        ([f"{k / 20:.2f}" for k in range(40, 60)], ""),  # no unit: nobody knows of what
        ([f"{k / 20:.2f}" for k in range(40, 44)], "mm"),  # too few
        (["2.0", "2.5", "3.0"] * 30, "mm"),  # three values tell no grid
        (
            [f"{k / 20:.2f}" for k in range(40, 60)] * 2 + ["5/64", "6/64", "7/64"] * 10,
            "mm",
        ),  # two gauges in one column
        ([f"{k}/{k + 1}/{k + 2}" for k in range(40)] * 2, "mm"),  # several numbers in a cell
        (["1/0"] * 60, "in"),
    ],
)
def test_where_it_is_not_plain_no_step_is_told(cells, unit):
    assert step_of(cells, unit, "length") is None


@pytest.mark.parametrize(
    ("cells", "unit", "resolution"),
    [
        ([str(240 + n % 9) for n in range(60)], "0.01 mm", "0.01 mm"),
        ([str(24 + n % 9) for n in range(60)], "zehntel", "0.1 mm"),
        ([f"{7 + n % 9} Tsd." if n % 4 else f'0,0{10 + n % 9}"' for n in range(60)], "", "0.001 in"),
        ([f"{7 + n % 9} Tsd" for n in range(60)], "", "1 thou"),
    ],
)
def test_a_step_is_told_in_a_unit_that_a_gauge_may_have(cells, unit, resolution):
    step = step_of(cells, unit, "length")
    assert step is not None
    assert step.resolution == resolution
    assert amount(step.resolution) == pytest.approx(step.canonical)


@pytest.mark.parametrize(
    ("cells", "unit", "shown"),
    [
        (["12", "14", "9"], "thou", "thou"),
        ([".012", ".014", ".009"], "in", "in"),
        (["5/64", "3/32", "7/64"], "in", "64ths"),
        (["5/64", "3/32", "7/64"], "", "64ths"),
        (["5", "5½", "6"], "64ths", "64ths"),
        (["5/64", ".078", ".081"], "in", "in"),
        (["0.30", "0.35"], "mm", "mm"),
        (["", "-"], "thou", "thou"),
    ],
)
def test_the_unit_in_which_most_cells_are_written(cells, unit, shown):
    assert written_unit(cells, unit) == shown

"""Bases: which weeks each start is held against, and how surely they say what to expect."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.rework.since_weeks import bases


def mix(weeks: int, cells: list[tuple[int, int, int, int]]) -> pl.DataFrame:
    """The same cells (model, inspector, instruments, came_back) each week."""
    rows = [(week, *cell) for week in range(weeks) for cell in cells]
    return pl.DataFrame(rows, schema=["row", "model", "inspector", "instruments", "came_back"], orient="row")


def spans(weeks: int, pieces: list[int]) -> list[tuple[int, int, int]]:
    held = bases(mix(weeks, [(0, 0, 20, 1)]), np.array(pieces), weeks)
    return [(base.first, base.end, base.until) for base in held]


def test_a_base_grows_by_four_weeks_to_a_year_and_then_moves_on_by_a_year():
    found = spans(180, [0])
    assert found[:3] == [(0, 4, 8), (0, 8, 12), (0, 12, 16)]
    assert found[12:] == [(0, 52, 104), (52, 104, 156), (104, 156, 180)]


def test_each_stage_and_each_piece_after_a_closing_begins_anew():
    assert spans(20, [0, 9, 12]) == [(0, 4, 8), (0, 8, 9), (12, 16, 20)]


def test_a_base_reaches_a_year_of_sums_and_a_year_more_but_no_other_stage():
    held = bases(mix(300, [(0, 0, 20, 1)]), np.array([0, 290]), 300)
    assert [(base.until, base.reach) for base in held][:2] == [(8, 111), (12, 115)]
    assert max(base.reach for base in held if base.end < 290) == 290


def test_of_the_same_mix_the_base_expects_its_own_share_as_surely_as_it_was_counted():
    base = bases(mix(40, [(0, 0, 20, 2), (1, 0, 20, 1)]), np.array([0]), 40)[1]  # eight weeks, 24 of 320
    assert base.ahead.expected == pytest.approx(np.full(32, 40 * 24.5 / 321), rel=1e-6)
    total = base.ahead.expected.sum()
    variance = (base.ahead.unsure.sum(axis=0) ** 2).sum() + base.ahead.common * total**2
    assert variance / total**2 == pytest.approx(1 / 24.5, rel=0.02)


def test_a_model_that_the_base_never_saw_is_expected_like_the_rest_and_hardly_known():
    new = mix(8, [(0, 0, 40, 3)]).with_columns(model=pl.when(pl.col("row") >= 4).then(7).otherwise(0))
    base = bases(new, np.array([0]), 8)[0]
    assert base.ahead.expected == pytest.approx(np.full(4, 40 * 12.5 / 161), rel=1e-6)
    total = base.ahead.expected.sum()
    variance = (base.ahead.unsure.sum(axis=0) ** 2).sum() + base.ahead.common * total**2
    assert variance > total**2  # its factor is as uncertain as it is large


def test_the_order_of_the_cells_and_the_names_of_models_do_not_matter():
    cells = [(0, 0, 20, 2), (1, 0, 15, 1), (2, 1, 5, 1)]
    turned = [(5 - model, 1 - inspector, *rest) for model, inspector, *rest in reversed(cells)]
    one, other = (bases(mix(30, each), np.array([0]), 30) for each in (cells, turned))
    for mine, theirs in zip(one, other, strict=True):
        assert mine.ahead.expected == pytest.approx(theirs.ahead.expected)
        assert (mine.ahead.unsure**2).sum(axis=1) == pytest.approx((theirs.ahead.unsure**2).sum(axis=1))


def test_a_base_in_which_nothing_came_back_expects_half_an_instrument_of_all():
    base = bases(mix(8, [(0, 0, 20, 0)]), np.array([0]), 8)[0]
    assert base.ahead.expected == pytest.approx(np.full(4, 20 * 0.5 / 81))


def test_weeks_that_vary_more_than_chance_widen_their_base_alone():
    wild = mix(16, [(0, 0, 40, 4)]).with_columns(
        came_back=pl.when(pl.col("row") < 8).then(pl.col("row") % 2 * 16).otherwise(pl.col("row") % 2 + 4)
    )
    held = bases(wild, np.array([0, 8]), 16)
    assert [base.ahead.widening > 1 for base in held] == [True, False]


def test_too_few_weeks_have_no_base():
    assert bases(mix(4, [(0, 0, 20, 1)]), np.array([0]), 4) == []

"""Least squares with lots as a random part: laws, weighted least squares by hand, and that intervals hold."""

import numpy as np
import pytest

from analysis.methods.problems import UnusableData
from analysis.methods.random_lots import by_lot


def sources(rng, *, lots=(8, 12, 2), necks=(40, 25, 12), between=0.02, within=0.05, level=(0.10, 0.08, 0.08)):
    """Pieces of several sources with a level each: y, a column a source, lots."""
    source = np.repeat(np.arange(len(lots)), [many * n for many, n in zip(lots, necks, strict=True)])
    first = np.concatenate([[0], np.cumsum(lots)[:-1]])
    lot = np.concatenate([first[k] + np.repeat(np.arange(lots[k]), necks[k]) for k in range(len(lots))])
    y = np.array(level)[source] + rng.normal(0, between, sum(lots))[lot] + rng.normal(0, within, len(lot))
    return y, (source[:, None] == np.arange(len(lots))).astype(float), lot


def test_effects_are_those_of_weighted_least_squares():
    y, columns, lot = sources(np.random.default_rng(1))
    found = by_lot(y, columns, lot)
    weigh = np.linalg.inv(found.within**2 * np.eye(len(y)) + found.between**2 * (lot[:, None] == lot))
    covariance = np.linalg.inv(columns.T @ weigh @ columns)
    assert found.effect == pytest.approx(covariance @ columns.T @ weigh @ y)
    assert found.covariance == pytest.approx(covariance)
    assert found.lots_left == 22 - 3


def test_units_order_names_and_a_constant_change_nothing():
    y, columns, lot = sources(np.random.default_rng(2))
    turn = np.array([[1.0, -0.5, -0.5]])
    one = np.ravel(by_lot(y, columns, lot).told(turn))
    assert np.ravel(by_lot(y / 25.4, columns, lot).told(turn)) == pytest.approx(one / 25.4, rel=1e-6)
    order = np.random.default_rng(3).permutation(len(y))
    assert np.ravel(by_lot(y[order], columns[order], lot[order]).told(turn)) == pytest.approx(one, rel=1e-6)
    assert np.ravel(by_lot(y + 7.0, columns, 21 - lot).told(turn)) == pytest.approx(one, rel=1e-5)
    alike, low, high = by_lot(np.full(len(y), 0.1), columns, lot).told(turn)
    assert alike[0] == pytest.approx(0.0, abs=1e-9)
    assert high[0] - low[0] < 1e-5


def test_what_columns_cannot_tell_is_not_told():
    y, columns, lot = sources(np.random.default_rng(4))
    twice = np.column_stack([columns, columns[:, 0]])  # one source's level is also that of its only model
    found = by_lot(y, twice, lot)
    assert np.isnan(found.told(np.array([[1.0, -1.0, 0.0, 0.0]]))[0][0])
    assert np.isfinite(found.told(np.array([[1.0, -1.0, 0.0, 1.0]]))[0][0])


def test_with_a_lot_a_source_nobody_says_how_far_lots_differ():
    y, columns, lot = sources(np.random.default_rng(5), lots=(1, 1, 1))
    with pytest.raises(UnusableData, match="load more logs"):
        by_lot(y, columns, lot)


@pytest.mark.promise
@pytest.mark.parametrize("between", [0.0, 0.01, 0.04])
@pytest.mark.parametrize("lots", [(8, 12, 2), (3, 3, 2)])
def test_the_difference_of_a_source_from_the_others_is_held(between, lots):
    rng, turn = np.random.default_rng(20261202), np.array([[1.0, -0.5, -0.5], [-0.5, -0.5, 1.0]])
    held = []
    for _ in range(300):
        y, columns, lot = sources(rng, lots=lots, between=between)
        _, low, high = by_lot(y, columns, lot).told(turn)
        held.append((low <= [0.02, -0.01]) & (high >= [0.02, -0.01]))
    assert np.mean(held, axis=0).min() >= 0.914  # .95 less 2.8 standard errors of 300

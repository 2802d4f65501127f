"""Two shares at the same mix: one stratum by hand, strata that mislead, and that intervals hold."""

import numpy as np
import pytest

from analysis.methods.share_difference import difference


def laid(*cells):
    """cells : (stratum, mine, found, n)."""
    event = np.concatenate([np.arange(n) < found for _, _, found, n in cells])
    mine = np.concatenate([np.full(n, own) for _, own, _, n in cells])
    return event, mine, np.concatenate([np.full(n, stratum) for stratum, _, _, n in cells])


def test_one_stratum_is_the_plain_difference_of_shares():
    event, mine, stratum = laid((0, True, 60, 465), (0, False, 33, 1018))
    found = difference(event, mine, stratum, np.arange(len(event)))
    p, q = 60 / 465, 33 / 1018
    assert found.more == pytest.approx(p - q)
    error = np.sqrt(p * (1 - p) / 465 + q * (1 - q) / 1018)
    assert (found.high - found.low) / 2 == pytest.approx(1.96 * error, rel=0.02)
    assert (found.found, found.n, found.other_found, found.other_n) == (60, 465, 33, 1018)


def test_a_hard_model_is_held_against_the_same_model():
    event, mine, stratum = laid((0, True, 40, 200), (0, False, 20, 100), (1, True, 1, 50), (1, False, 20, 1000))
    found = difference(event, mine, stratum, np.arange(len(event)))
    assert found.more == pytest.approx(0.0, abs=1e-12)  # 20 and 2 % in both; 16 against 4 % of them all
    assert found.low < 0 < found.high


def test_strata_of_one_side_are_left_out():
    event, mine, stratum = laid((0, True, 5, 10), (0, False, 1, 10), (1, True, 9, 9), (2, False, 0, 99))
    found = difference(event, mine, stratum, np.arange(len(event)))
    assert (found.n, found.other_n, found.more) == (10, 10, pytest.approx(0.4))
    assert difference(event, mine, np.where(mine, 0, 1), np.arange(len(event))) is None


def test_lots_that_differ_widen_the_interval():
    event, mine, stratum = laid((0, True, 50, 100), (0, False, 50, 100))
    alike = difference(event, mine, stratum, np.tile(np.arange(50), 4) + 50 * ~mine)
    apart = difference(event, mine, stratum, np.where(event, 0, 1) + 2 * ~mine)
    assert apart.high - apart.low > 3 * (alike.high - alike.low)


@pytest.mark.promise
@pytest.mark.parametrize(("share", "more", "spread"), [(0.034, 0.095, 0.0), (0.03, 0.0, 0.02)])
def test_intervals_hold(share, more, spread):
    rng, held = np.random.default_rng(20261205), []
    for _ in range(1000):
        mine, week, model = rng.random(1440) < 0.3, rng.integers(0, 10, 1440), rng.integers(0, 3, 1440)
        lot = week // 2 + 5 * mine
        rate = share * (1 + 0.5 * (model == 1)) + more * mine + rng.normal(0, spread, 10)[lot]
        found = difference(rng.random(1440) < rate, mine, 3 * week + model, lot)
        held.append(found.low <= more <= found.high)
    assert np.mean(held) >= 0.91  # lots that differ are few: ten of them say how far

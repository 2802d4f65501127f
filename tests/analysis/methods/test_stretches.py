"""Stretches of one source's lots: where they are found, what they are held against, and that rates and sizes hold."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.methods.stretches import Lots, farthest, whole

SHIFT, WITHIN, NECKS = 0.05, 0.02, 50


def lots(rng, many, *, between=0.004, moved=(), by=SHIFT):
    level = rng.normal(0, between, many) + rng.normal(0, WITHIN / np.sqrt(NECKS), many)
    level[list(moved)] += by
    first = np.arange(many) * 10
    return Lots(level, np.full(many, WITHIN / np.sqrt(NECKS)), first, first + 9)


def together(*some):
    return Lots(*(np.concatenate([getattr(one, name) for one in some]) for name in ("level", "error", "first", "last")))


@pytest.mark.parametrize("moved", [range(3, 8), range(8), range(2, 5), [6]])
def test_a_stretch_is_found_from_its_first_lot_to_its_last(moved):
    rng = np.random.default_rng(1)
    found = farthest(lots(rng, 8, moved=moved), lots(rng, 16))
    assert (found.first, found.last) == (min(moved), max(moved))
    assert found.chance < 1e-4
    assert found.off.low < SHIFT < found.off.high
    assert found.off.mean == pytest.approx(found.level.mean - found.others.mean)


def test_what_moved_all_sources_is_nobodys():
    rng = np.random.default_rng(2)
    late = range(4, 8)
    found = farthest(lots(rng, 8, moved=late), together(lots(rng, 8, moved=late), lots(rng, 8, moved=late)))
    assert found.chance > 0.2


def test_a_stretch_is_held_against_the_others_of_its_days():
    own = Lots(np.array([0.0, 0.0, 9.0]), np.full(3, 0.1), np.array([0, 10, 20]), np.array([9, 19, 29]))
    first = np.array([0, 0, 10, 15, 25, 40])
    others = Lots(np.array([1.0, 2, 1, 3, 2, 1]), np.full(6, 0.1), first, first + 9)
    found = farthest(own, others)
    assert (found.first, found.last) == (2, 2)
    assert (found.others_lots, found.others.mean) == (2, 2.5)  # those of days 15 to 24 and 25 to 34
    alone = farthest(replace(own, first=own.first + 500, last=own.last + 500), others)
    assert (alone.others_lots, alone.others.mean) == (6, pytest.approx(10 / 6))


def test_a_unit_and_a_constant_change_nothing_but_themselves():
    rng = np.random.default_rng(3)
    own, others = lots(rng, 8, moved=[5, 6, 7]), lots(rng, 10)
    one = farthest(own, others)
    inches = farthest(*(replace(part, level=part.level / 25.4 + 7, error=part.error / 25.4) for part in (own, others)))
    assert (inches.first, inches.last) == (one.first, one.last)
    assert inches.chance == pytest.approx(one.chance)
    assert inches.off.low == pytest.approx(one.off.low / 25.4)
    assert inches.level.mean == pytest.approx(one.level.mean / 25.4 + 7)


def test_few_others_or_all_alike_say_nothing():
    rng = np.random.default_rng(4)
    assert farthest(lots(rng, 8), lots(rng, 4)) is None
    assert farthest(lots(rng, 8), replace(lots(rng, 8), level=np.zeros(8))) is None
    assert farthest(lots(rng, 0), lots(rng, 8)) is None
    assert whole(lots(rng, 1)).high == np.inf


@pytest.mark.promise
@pytest.mark.parametrize("between", [0.0, 0.004, 0.02])
def test_a_stretch_is_said_where_none_is_no_oftener_than_promised_and_sizes_hold(between):
    rng, said, held = np.random.default_rng(20261204), 0, []
    for _ in range(1000):
        three = [lots(rng, 8, between=between) for _ in range(3)]
        told = [farthest(one, together(*(other for other in three if other is not one))) for one in three]
        said += any(one.chance * 3 < 0.01 for one in told)
        found = farthest(lots(rng, 8, between=between, moved=range(4, 8), by=0.2), together(*three[:2]))
        held.append([found.off.low <= 0.2 <= found.off.high, found.level.low <= 0.2 <= found.level.high])
    assert said / 1000 <= 0.01 + 3 * np.sqrt(0.01 * 0.99 / 1000)
    assert np.mean(held, axis=0).min() >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / 1000)

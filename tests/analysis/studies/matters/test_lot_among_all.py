"""A lot that lies apart while all readings of its days do is named: it is held against the other lots of these days."""

from datetime import timedelta

import numpy as np
import pytest

from analysis.studies.matters.matters import ended_matters, open_matters
from analysis.studies.matters.records import LOT
from tests.analysis.studies.drifting import START, shop, snapshot

EARLIER = 9  # week
MOVED, FIRST, LAST = 60, 70, 75  # days: all readings since the first, one lot from the second to before the third


def necks(seed, days, *, moved=1.0, apart=2.0, before=""):
    """Thirty instruments a day of two models, necks of two suppliers, each in lots of five days; before : a lot, or a
    supplier's and the other's, that lay apart some weeks before all moved.
    """
    rng = np.random.default_rng([20320201, seed])
    day = np.repeat(np.arange(days), 30)
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(30) / 4, days)
    model, supplier = rng.choice(["M0", "M1"], len(day)), rng.choice(["A", "B"], len(day))
    lot = np.char.add(supplier, (day // 5).astype(str))
    off = moved * (day >= MOVED) + apart * (lot == f"B{FIRST // 5}")
    off += 2.0 * ((day // 5 == EARLIER) & np.isin(supplier, list(before)))
    values = 0.1 + 0.05 * (rng.normal(size=len(day)) + off)
    return snapshot(shop(("M0", "M1")), {("bow", ""): values}, model=model, hours=hours, lot=lot, supplier=supplier)


def day_of(number):
    return (START + timedelta(days=number // 5 * 7 + number % 5)).date()


def told(made, study=open_matters):
    """Matters up: those of the lot, and the others."""
    up = [one for one in made.once(study) if (one.size or 0.0) > 0.02]
    lot = [one for one in up if (LOT, f"B{FIRST // 5}") in [(each.factor, each.level) for each in one.moves_with.named]]
    return lot, [one for one in up if one not in lot]


@pytest.mark.parametrize("seed", range(3))
def test_a_lot_that_lies_apart_is_named_beside_what_moved_all(seed):
    (lot,), (every,) = told(necks(seed, LAST))
    assert lot.size == pytest.approx(0.10, abs=0.02)
    assert lot.began_at.date() == day_of(FIRST)
    assert every.moves_with.named == []
    assert every.size == pytest.approx(0.05, abs=0.015)
    assert abs(every.began_at.date() - day_of(MOVED)) <= timedelta(days=3)


@pytest.mark.parametrize("seed", range(3))
def test_it_ends_with_its_last_neck_while_the_others_go_on(seed):
    made = necks(seed, LAST + 8)
    assert [len(some) for some in told(made)] == [0, 1]
    (lot,), _ = told(made, ended_matters)
    assert lot.back_since.date() == day_of(LAST)


@pytest.mark.parametrize("seed", range(3))
def test_no_lot_is_named_where_all_moved_alike(seed):
    lot, every = told(necks(seed, LAST, apart=0.0))
    assert (lot, len(every)) == ([], 1)
    assert every[0].moves_with.named == []


@pytest.mark.parametrize("seed", range(3))
def test_what_moved_all_is_not_what_one_lot_was_before(seed):
    one, both = (told(necks(seed, MOVED + 8, apart=0.0, before=some))[1] for some in ("B", "AB"))
    assert [matter.earlier for matter in one] == [()]
    assert [len(matter.earlier) for matter in both] == [1]

"""What comes, goes and comes again, each time for two weeks: told since it came again, with its own size, and which
time it is.
"""

from datetime import date, timedelta

import numpy as np
import pytest

from analysis.studies.matters.came_again import last_times
from analysis.studies.matters.matters import ended_matters, open_matters
from analysis.studies.matters.records import GAUGE, HUMIDITY, LOT, Matter
from analysis.studies.matters.signalled import Signalled
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import START, shop, snapshot

MODELS = ("LARK", "WREN", "FINCH", "ROOK")
PER_DAY, DAYS = 24, 70
SD, SIZE = 0.05, 3.0  # mm; sigma
FIRST, SECOND, THIRD = 20, 40, 60  # working days on which it comes, for ten each


def hour(day: int) -> float:
    return (day // 5 * 7 + day % 5) * 24.0


def on(day: int) -> date:
    return (START + timedelta(hours=hour(day))).date()


def made(kind: str, seed: int) -> Snapshot:
    """Two suppliers, one of whom sends a lot every two weeks; three gauges; air."""
    rng, n = np.random.default_rng(seed), PER_DAY * DAYS
    day = np.repeat(np.arange(DAYS), PER_DAY)
    hours = np.array([hour(one) for one in day]) + np.tile(np.arange(PER_DAY) * 8.0 / PER_DAY, DAYS)
    model, theirs, gauge, setter = (
        rng.integers(0, 4, n),
        rng.random(n) < 0.5,
        rng.integers(0, 3, n),
        rng.integers(0, 4, n),
    )
    away = (day // 10 % 2 == 0) & (day >= FIRST)
    moved = {"lots": theirs & away, "gauge": (gauge == 1) & away, "air": away, "nothing": np.zeros(n, dtype=bool)}[kind]
    rh = 45 + rng.normal(0, 2, n) + 16 * (away if kind == "air" else 0)
    lots = [f"N{100 + d // 10}" if one else f"V{200 + d // 15}" for d, one in zip(day, theirs, strict=True)]
    return snapshot(
        shop(MODELS, gauges={f"g{k}": 0.001 for k in range(3)}, false_signals_per_week=1.0),
        {("relief", ""): 0.05 + SD * (rng.normal(size=n) + SIZE * moved)},
        model=np.array(MODELS)[model],
        hours=hours,
        lot=np.array(lots, dtype=object),
        supplier=np.where(theirs, "North", "Vale"),
        gauge=np.array([f"g{k}" for k in gauge]),
        setter=np.array([f"T{k}" for k in setter]),
        rh=rh,
    )


def seen(one: Snapshot, day: int) -> Snapshot:
    """At the end of a working day."""
    return Snapshot(one.shop, one.specs, one.readers, START + timedelta(hours=hour(day) + 10))


def only(found: list[Matter]) -> Matter:
    (one,) = [each for each in found if each.shown and not each.stands_back]
    return one


def is_told(one: Matter, first: int) -> None:
    """All of it, since the day it came again."""
    assert abs((one.began_at.date() - on(first)).days) <= 1
    assert one.size_low < SIZE * SD < one.size_high
    assert one.size_high - one.size_low < 0.5 * SIZE * SD
    assert set(one.models) == set(MODELS)


@pytest.mark.parametrize("seed", [20310103, 20310104])
def test_a_bowed_lot_that_comes_again_is_told_by_its_name_since_it_came(seed):
    shop_of = made("lots", seed)
    for day, first, before in ((44, SECOND, ("N102",)), (69, THIRD, ("N102", "N104"))):
        one = only(seen(shop_of, day).once(open_matters))
        assert (one.moves_with.named[0].factor, one.moves_with.named[0].level) == (LOT, f"N{100 + first // 10}")
        is_told(one, first)
        assert one.earlier_lots == before
        assert one.earlier == tuple((on(start), on(start + 9)) for start in (FIRST, SECOND)[: len(before)])
        assert one.every_other == ("North" if len(before) == 2 else "")


@pytest.mark.parametrize("seed", [20310103, 20310104])
def test_a_gauge_that_is_knocked_out_again_is_told_since_then(seed):
    shop_of = made("gauge", seed)
    for day, first, before in ((44, SECOND, [FIRST]), (69, THIRD, [FIRST, SECOND])):
        one = only(seen(shop_of, day).once(open_matters))
        assert [(each.factor, each.level) for each in one.moves_with.named] == [(GAUGE, "g1")]
        is_told(one, first)
        assert len(one.earlier) == len(before)
        for (begun, over), start in zip(one.earlier, before, strict=True):
            assert on(start) - timedelta(days=4) <= begun < over <= on(start + 9) + timedelta(days=4)
        assert (one.earlier_lots, one.every_other) == ((), "")


@pytest.mark.parametrize("seed", [20310103, 20310104])
def test_damp_spells_are_told_as_one_cause_by_all_of_them(seed):
    one = only(seen(made("air", seed), 69).once(open_matters))
    assert {each.factor for each in one.moves_with.named} == {HUMIDITY}
    assert abs((one.began_at.date() - on(THIRD)).days) <= 1
    assert len(one.earlier) == 2


@pytest.mark.parametrize("kind", ["lots", "gauge"])
@pytest.mark.parametrize("seed", [20310103, 20310104])
def test_what_is_over_is_told_to_be_back_once_and_of_its_last_time(kind, seed):
    one = only(seen(made(kind, seed), 54).once(ended_matters))
    is_told(one, SECOND)
    assert abs((one.back_since.date() - on(SECOND + 10)).days) <= 3


def test_a_chart_that_stayed_open_takes_the_last_time_of_one_that_takes_it_in():
    wide = Signalled(1, np.ones(60, dtype=bool), 40, 39, 41, 41, 1, True, 60, 41, ((20, 29),), 32)
    narrow = Signalled(2, np.arange(60) % 6 == 0, 20, 19, 21, 22, 1, True, 60, 22)
    values = np.where((np.arange(60) // 10 % 2 == 0) & (np.arange(60) >= 20), 3.0, 0.0)
    found = type("", (), {"values": values, "day": np.arange(60)})()
    one, other = last_times(found, [wide, narrow])
    assert (one.since, one.times, one.floor) == (40, ((20, 29),), 32)
    assert (other.since, other.low, other.opened, other.times) == (40, 39, 41, ((20, 29),))
    found.values = np.where(np.arange(60) >= 20, 3.0, 0.0)  # it was never back: all its time is one
    assert last_times(found, [wide, narrow])[1].since == 20

"""What moved at one position alone is told of that one; what moved whole instruments of all of them."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.methods.candidates import Factor
from analysis.studies.matters.accounts import Looked, places_of
from analysis.studies.matters.evidence import Single
from analysis.studies.matters.places_moved import places_moved
from analysis.studies.matters.spans import Span

N, START = 400, 30
PLACES = ["bass", "middle", "treble"]


def part(seed, *, moved, touched=0.4, turn=1.0, order=(0, 1, 2), level=0):
    """Instruments of forty days read at three positions, some of them moved since day 30."""
    rng = np.random.default_rng([91, seed])
    day = np.sort(rng.integers(0, 40, N))
    who = np.where(rng.random(N) < touched, level, 1 - level)
    column = ((day >= START) & (who == level)).astype(float)
    each = rng.normal(size=(N, 1)) * 0.7 + rng.normal(size=(N, 3)) + rng.normal(size=(2, 3))[who]  # own ways
    each = turn * (each + column[:, None] * np.array(moved))[:, list(order)]
    size = turn * float(np.mean(moved))
    single = Single(np.repeat(np.arange(N), 3), np.tile(np.arange(3), N), each.ravel(), [PLACES[k] for k in order])
    factor = Factor("set by", who)
    found = SimpleNamespace(stream=np.zeros(N, dtype=int), day=day, factors=[factor], single=single, sigma=1.0)
    best = SimpleNamespace(streams=np.array([0]), start=START, effect=size, factor="set by", level=level)
    return SimpleNamespace(evidence=found, best=best, column=column, named=True)


@pytest.mark.parametrize(
    ("moved", "told"), [((1.5, 0, 0), ("bass",)), ((0, 1.5, 1.5), ("middle", "treble")), ((-1.5, 0, 0), ("bass",))]
)
def test_the_positions_that_moved_are_told(moved, told):
    assert [places_moved(part(seed, moved=moved)) for seed in range(10)] == [told] * 10


def test_what_moved_all_alike_is_of_none_of_them():
    found = [places_moved(part(seed, moved=(0.8, 0.8, 0.8))) for seed in range(200)]
    assert sum(one is not None for one in found) <= 1


def test_where_one_moved_three_quarters_as_far_all_are_told():
    assert [places_moved(part(seed, moved=(1.6, 1.2, 1.6))) for seed in range(10)] == [None] * 10


def test_turning_the_sign_and_the_order_of_positions_changes_nothing():
    for seed in range(5):
        one = places_moved(part(seed, moved=(1.5, 0, 0)))
        assert places_moved(part(seed, moved=(1.5, 0, 0), turn=-1.0)) == one
        assert places_moved(part(seed, moved=(1.5, 0, 0), order=(2, 0, 1))) == one


def test_few_instruments_and_one_position_say_nothing():
    assert places_moved(part(1, moved=(1.5, 0, 0), touched=0.05)) is None
    whole = part(1, moved=(1.5, 0, 0))
    single = whole.evidence.single
    here = single.position == 0
    whole.evidence.single = Single(single.of[here], single.position[here], single.off[here], ["bass"])
    assert places_moved(whole) is None
    whole.evidence.single = None
    assert places_moved(whole) is None


def test_a_chart_of_another_position_that_has_closed_does_not_say_which_moved():
    def told(closed_at, until=None):
        pooled = SimpleNamespace(table="others", row={"closed_at": None, "position": ""})
        single = SimpleNamespace(table="found", row={"closed_at": closed_at, "position": "treble"})
        looked = Looked("action", "final", [pooled, single], Span(None, None), until)
        return places_of(looked, [pooled, single], part(3, moved=(1.5, 0, 0)), None)

    assert told("some day") == ("bass",)
    assert told(None) == ("treble",)
    assert told("some day", until="that day") == ("treble",)


def test_a_position_whose_chart_is_quiet_for_a_week_is_told_where_its_readings_moved_as_well():
    pooled = SimpleNamespace(table="others", row={"closed_at": None, "position": ""})
    single = SimpleNamespace(table="found", row={"closed_at": None, "position": "treble"})
    looked = Looked("action", "final", [pooled, single], Span(None, None), None)
    for seed in range(5):
        all_three = part(seed, moved=(1.4, 1.5, 1.5), touched=0.5)
        assert places_of(looked, [pooled, single], all_three, None) is None
        assert places_of(looked, [pooled, single], part(seed, moved=(0, 0, 1.5)), None) == ("treble",)

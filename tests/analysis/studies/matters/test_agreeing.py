"""What nothing explains: size and start are of what moved alike, and what readings show surely is no chance."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.studies.matters.agreeing import agreeing, touched
from analysis.studies.matters.chance import shown, weighed
from analysis.studies.matters.groups import Group, goes_on
from analysis.studies.matters.matters import ended_matters, open_matters
from analysis.studies.matters.signalled import Signalled
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import shop, snapshot

PLACES = ("1", "2", "3", "4", "5", "6")


def batches(seed: int, size: float) -> Snapshot:
    """Sixty instruments on one day every four weeks; the fifth string of LARK lies `size` sigma higher from the seventh
    batch on, WREN's and all other strings as ever.
    """
    rng = np.random.default_rng([20261202, seed])
    batch = np.repeat(np.arange(9), 60)
    model = rng.choice(["LARK", "WREN"], len(batch))
    values = {
        ("intonation", place): 1.5
        * (rng.normal(size=len(batch)) + size * ((batch >= 6) & (model == "LARK") & (place == "5")))
        for place in PLACES
    }
    setter = rng.choice(["T1", "T2"], len(batch))
    return snapshot(shop(("LARK", "WREN")), values, model=model, hours=batch * 28 * 24.0, setter=setter)


@pytest.mark.parametrize("seed", range(3))
def test_what_moved_at_one_place_is_told_of_that_place_and_as_far_as_it_moved(seed):
    made = batches(seed, 2.6)
    surest = max((one for one in made.once(open_matters) if one.shown), key=lambda one: one.size)
    assert (surest.models, surest.positions) == (["LARK"], ["5"])
    assert surest.size_low < 2.6 * 1.5 < surest.size_high
    assert surest.real > 0.999
    back = [one for one in made.once(ended_matters) if one.positions == ["5"] and "LARK" in one.models]
    assert not [one for one in back if one.size is not None and one.size > 2.0]


def evidence(*, off: np.ndarray, place: np.ndarray, model: np.ndarray, day: np.ndarray) -> SimpleNamespace:
    """Instruments read at two positions each."""
    single = SimpleNamespace(of=np.repeat(np.arange(len(day)), 2), position=place, off=off, positions=["a", "b"])
    return SimpleNamespace(single=single, stream=model, day=day, values=off.reshape(-1, 2).mean(axis=1), sigma=1.0)


def found(of_a: float, of_b: float, of_other: float) -> SimpleNamespace:
    """How far the two positions of one model, and both of another, lie off from day 20 on."""
    rng = np.random.default_rng(20261203)
    day, model = np.repeat(np.arange(40), 6), np.tile([0, 0, 0, 1, 1, 1], 40)
    place = np.tile([0, 1], len(day))
    size = np.where(np.repeat(model, 2) == 1, of_other, np.where(place == 0, of_a, of_b))
    off = rng.normal(size=len(place)) + size * np.repeat(day >= 20, 2)
    return evidence(off=off, place=place, model=model, day=day)


def signal(number: int, touches: np.ndarray, place: int) -> Signalled:
    return Signalled(number, touches, 20, 18, 22, 24, 1, open=True, back=40, place=place)


def numbers(groups: list[list[list[Signalled]]]) -> list[list[list[int]]]:
    return [[sorted(one.number for one in part) for part in parts] for parts in groups]


def test_signals_that_agree_are_parted_by_how_far_their_readings_moved():
    made = found(2.0, 0.4, 0.1)
    lark, wren = made.stream == 0, made.stream == 1
    signals = [signal(1, lark, 0), signal(2, lark, 1), signal(3, wren, 0), signal(4, lark | wren, -1)]
    [[first, *others]] = numbers(agreeing(made, signals))
    assert first == [1, 4]  # the chart over all holds its readings
    assert sorted(one for part in others for one in part) == [2, 3]


def test_what_moved_half_as_far_or_may_have_stays_together():
    made = found(1.0, 0.9, 0.8)
    signals = [signal(1, made.stream == 0, 0), signal(2, made.stream == 0, 1), signal(3, made.stream == 1, 0)]
    assert numbers(agreeing(made, signals)) == [[[1, 2, 3]]]


@pytest.mark.parametrize(("of_other", "told"), [(0.0, [0]), (1.9, [0, 1])])
def test_a_chart_over_models_says_of_none_that_it_moved(of_other, told):
    made = found(2.0, 2.0, of_other)
    every = np.ones(len(made.day), dtype=bool)
    for group in ([signal(1, every, -1)], [signal(1, every, -1), signal(2, made.stream == 0, 0)]):
        assert np.unique(made.stream[touched(made, group)]).tolist() == told


@pytest.mark.parametrize(("errors", "least", "most"), [(4.0, 0.0, 0.0), (9.0, 0.999999, 1.0)])
def test_what_lies_far_off_for_all_that_was_looked_at_is_no_chance(errors, least, most):
    judged = SimpleNamespace(ends=100_000)
    assert least <= shown(judged, errors, errors - 1.96, errors + 1.96) <= most
    assert shown(judged, -errors, -errors - 1.96, -errors + 1.96) == shown(judged, errors, errors - 1.96, errors + 1.96)


@pytest.mark.parametrize("usual", [0.2, 0.5, 0.95])
def test_a_line_is_chance_by_its_own_readings_beside_its_kind(usual):
    each = [weighed(usual, errors, errors - 1.96, errors + 1.96) for errors in (1.0, 2.5, 3.5, 4.5, 5.5, 8.0)]
    assert each == sorted(each)
    assert each[1] < usual < each[3]
    assert each[-1] > 0.999
    assert each[0] == each[1]  # nearer than false ones lie says no more
    assert weighed(usual, -4.5, -6.46, -2.54) == pytest.approx(each[3])


def test_without_a_budget_nothing_is_called_chance_and_without_an_interval_its_kind_counts():
    assert weighed(1.0, 2.0, 1.0, 3.0) == 1.0
    assert weighed(0.3, 2.0, 2.0, 2.0) == 0.3


def test_what_is_certain_is_no_chance_though_its_kind_opens_no_oftener_than_false_ones():
    assert weighed(0.0, 2.0, 0.04, 3.96) < 0.05
    assert weighed(0.0, 0.0974, 0.0951, 0.0997) == 1.0


def group(size: float, *, positions: list[str], ended: bool) -> Group:
    measured = SimpleNamespace(size=size, size_low=size - 0.2, size_high=size + 0.2)
    day = np.datetime64("2026-11-02").astype(object)
    one = SimpleNamespace(characteristic="intonation", stage="final", models=["LARK"], positions=positions,
                          measured=measured, started=day, named=False)  # fmt: skip
    return Group({1}, [one], ended=ended)


def test_what_goes_on_at_the_same_place_is_not_back():
    still = group(2.0, positions=["5"], ended=False)
    assert goes_on(group(1.8, positions=["5"], ended=True), still)
    assert not goes_on(group(-1.8, positions=["5"], ended=True), still)
    assert not goes_on(group(1.8, positions=["4"], ended=True), still)
    assert not goes_on(group(0.2, positions=["5"], ended=True), still)

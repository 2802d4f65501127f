"""What hardly moved is no part of what moved beside it; sizes and models told are of what moved."""

from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.one_move import one_move
from analysis.studies.matters.records import Matter
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import START, shop, snapshot

DAYS, A_DAY, SIGMA = 100, 30, 0.05


def two_models(seed: int, *, lark: float, wren: float, later: int) -> Snapshot:
    """LARK moves on day 80, WREN so many days later, by so many sigma each; nothing explains it."""
    rng = np.random.default_rng([20301130, seed])
    day = np.repeat(np.arange(DAYS), A_DAY)
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(A_DAY) / 4, DAYS)
    model = rng.choice(["LARK", "WREN"], len(day))
    moved = np.where(model == "LARK", lark * (day >= 80), wren * (day >= 80 + later))
    values = 0.3 + SIGMA * (rng.normal(size=len(day)) + moved)
    setter = rng.choice(["T1", "T2", "T3"], len(day))
    return snapshot(shop(("LARK", "WREN")), {("relief", ""): values}, model=model, hours=hours, setter=setter)


def of(made: Snapshot, model: str) -> list[Matter]:
    return [one for one in made.once(open_matters) if one.shown and model in one.models]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("later", [-9, 6])
def test_a_model_that_hardly_moved_is_told_with_its_own_size_or_not_at_all(seed, later):
    made = two_models(seed, lark=1.7, wren=0.35, later=later)
    (lark,) = of(made, "LARK")
    assert lark.size == pytest.approx(1.7 * SIGMA, abs=0.35 * SIGMA)
    assert lark.began_at is not None
    assert abs((lark.began_at - START).days - 112) <= 9
    for one in of(made, "WREN"):
        assert min(abs(size) for size in one.sizes or (one.size,)) < 0.8 * SIGMA


@pytest.mark.parametrize("seed", range(6))
def test_models_that_moved_alike_are_one_matter(seed):
    made = two_models(seed, lark=1.3, wren=1.3, later=3)
    (lark,), (wren,) = of(made, "LARK"), of(made, "WREN")
    assert lark.key == wren.key


def part(size: float, half: float, models: str, day: int = 0) -> SimpleNamespace:
    measured = SimpleNamespace(size=size, size_low=size - half, size_high=size + half)
    day_of = date(2026, 4, 1 + day)
    return SimpleNamespace(measured=measured, models=list(models), positions=[], started=day_of, stage="final")


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize(("other", "half", "alike"), [(0.009, 0.006, False), (0.009, 0.03, True), (0.04, 0.006, True)])
def test_another_model_has_moved_as_far_or_may_have(other, half, alike, way):
    one = part(way * 0.056, 0.008, "L")
    assert one_move(one, part(way * other, half, "W"), still=False) == alike
    assert one_move(part(way * other, half, "W"), one, still=True) == alike
    assert one_move(one, part(way * other, half, "L"), still=False)  # no other model


def test_a_step_goes_further_only_from_one_that_moved():
    later = part(0.05, 0.01, "LW", day=28)
    assert one_move(later, part(0.02, 0.01, "L"), still=True)
    assert not one_move(later, part(0.02, 0.01, "L"), still=False)
    assert not one_move(later, part(0.009, 0.009, "L"), still=True)
    assert not one_move(later, part(0.02, 0.01, "F"), still=True)
    assert not one_move(part(0.009, 0.009, "LF", day=28), part(0.05, 0.01, "L"), still=True)

"""Sizes of single models round the size of the whole."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.methods.explanation import Explainer
from analysis.studies.matters.explained import _unexplained
from analysis.studies.matters.parts import _sizes
from analysis.studies.matters.signalled import Signalled
from analysis.studies.matters.steps import Work


def of(first: float, second: float, size: float) -> tuple[float, float] | None:
    """Two models of 100 readings each, in units of .1 mm."""
    found = SimpleNamespace(
        stream=np.repeat([0, 1], 100),
        models=["LARK", "WREN"],
        values=np.repeat([first, second], 100) / 0.1,
        scale=np.full(200, 0.1),
    )
    return _sizes(found, np.ones(200, dtype=bool), size)


def test_they_lie_round_the_size_whatever_else_moved_all_of_them():
    assert of(0.1, 0.2, 0.15) == pytest.approx((0.1, 0.2))
    assert of(0.1 - 0.05, 0.2 - 0.05, 0.15) == pytest.approx((0.1, 0.2))  # another cause took .05 off both


def test_models_that_moved_alike_or_either_way_are_one_size():
    assert of(0.15, 0.15, 0.15) is None
    assert of(-0.05, 0.15, 0.05) is None


def test_what_nothing_explains_is_sized_with_all_known_that_was_explained_before():
    rng = np.random.default_rng(20281205)
    day = np.repeat(np.arange(40), 10)
    stream = np.zeros(400, dtype=np.int64)
    found = SimpleNamespace(day=day, values=rng.normal(size=400), stream=stream, single=None, sigma=1.0)
    explainer = Explainer(found.values, day, np.zeros(400, dtype=np.int64), [], [], 10)
    taken = 1.2 * ((day >= 20) & (day < 26))[:300]
    keep = day < 30  # of what has passed
    explainer.taken = [taken]
    one = Signalled(7, day >= 28, since=28, low=27, high=29, opened=28, side=-1, open=True, back=40)
    work = Work(found, keep, keep & False, replace_rows(explainer, keep), {7: one}, closed=True)
    told = _unexplained(work, [one])
    assert [column.tolist() for column in told.beside] == [[*taken, *np.zeros(100)]]


def replace_rows(one: Explainer, keep: np.ndarray) -> Explainer:
    """The same of some readings, with what it has taken."""
    made = Explainer(one.values[keep], one.day[keep], one.stream[keep], [], [], one.since)
    made.taken = one.taken
    return made

"""Sizes of single models round the size of the whole."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.studies.matters.parts import _sizes


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

"""Are two shifts that nothing explains one move? Their readings must say so, and not only their starts: a model or a
position that did not move is no part of what moved beside it.
"""

from datetime import timedelta
from math import hypot

from analysis.studies.matters.parts import Measured, Part
from analysis.studies.matters.records import SURE

SAME_CAUSE = timedelta(days=14)  # likely starts of one cause at two stages lie no further apart
NEARER = 0.5  # of the larger one: readings that lie nearer to nothing than to it did not move as it did
Z95 = 1.96


def one_move(one: Part, other: Part, *, still: bool) -> bool:
    """May two shifts of one characteristic and direction be one? still : both are open, so that the later one may be a
    step further of what moved before.
    """
    small, large = sorted((one, other), key=lambda each: abs(each.measured.size))
    here = one.stage == other.stage
    other_place = shown(small.measured) and not within(small.positions, large.positions)
    adds = not here or not set(small.models) <= set(large.models) or other_place  # to what moved further
    if abs(one.started - other.started) <= SAME_CAUSE and (not adds or as_far(small.measured, large.measured)):
        return True
    first = min(one, other, key=lambda each: each.started)
    moved = shown(first.measured) and (not adds or shown(small.measured))
    return still and here and moved and not other_place and bool(set(one.models) & set(other.models))


def within(some: list[str], others: list[str]) -> bool:
    """Are some positions among others? none: all of them."""
    return not others or (bool(some) and set(some) <= set(others))


def as_far(small: Measured, large: Measured) -> bool:
    """May the smaller one have moved as far? Not where its readings lie nearer to nothing, at 95 %."""
    short = NEARER * abs(large.size) - abs(small.size)
    return short <= Z95 * hypot(_error(small), NEARER * _error(large))


def shown(one: Measured) -> bool:
    """Do its readings show that it moved, at 99 %?"""
    return abs(one.size) > SURE * (one.size_high - one.size_low) / 2


def _error(one: Measured) -> float:
    return (one.size_high - one.size_low) / 2 / Z95

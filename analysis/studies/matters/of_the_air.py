"""Two matters of one bench that the same readings make: what follows the air by less than others do, and a drift that
is laid to the air once more.

Air moves all models of a bench, each by as much as it does; so what nothing explains is of the air where it moved the
same way since the same days, by no more, and some of its models are touched by both. And where readings had drifted
away long before the air changed, and charts of them that were out before are laid to the air, they are told once.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from analysis.studies.matters.one_move import SAME_CAUSE
from analysis.studies.matters.parts import APART, Part
from analysis.studies.matters.records import HUMIDITY, TEMPERATURE


def follows_less(one: list[Part], other: list[Part]) -> bool:
    """one, other : the parts of two groups that are open. Is the first of the air that is named for the other?"""
    if not one or not other or one[0].named or not _of_air(other[0]):
        return False
    mine, air = one[0].measured, other[0].measured
    soon = abs(mine.began_at - air.began_at) <= SAME_CAUSE
    return _one_way(one[0], other[0]) and soon and abs(mine.size) <= abs(air.size)


def with_less(air: Part, less: Part) -> Part:
    """The part of the air with the models of what follows it by less, and the sizes between which they lie."""
    sizes = [abs(size) for one in (air, less) for size in (one.measured.sizes or (one.measured.size,))]
    side = 1.0 if air.measured.size > 0 else -1.0
    apart = max(sizes) > APART * min(sizes)
    told = (side * min(sizes), side * max(sizes)) if apart else air.measured.sizes
    models = sorted({*air.models, *less.models})
    return replace(air, models=models, measured=replace(air.measured, sizes=told))


def drifts_already(one: list[Part], opened: Iterable[datetime], other: list[Part]) -> bool:
    """one, other : the parts of two groups; opened : when what the open charts of the first say began. Is it laid to
    the air, though its models had moved the other's way, for which nothing is named, and its charts been out, before?
    """
    if not one or not other or other[0].named or not _of_air(one[0]):
        return False
    early = one[0].measured.began_at - SAME_CAUSE
    before = other[0].measured.began_at < early and all(when < early for when in opened)
    return before and _one_way(one[0], other[0]) and set(one[0].models) <= set(other[0].models)


def _of_air(one: Part) -> bool:
    return one.named and all(kind in (HUMIDITY, TEMPERATURE) for kind, _ in one.causes)


def _one_way(one: Part, other: Part) -> bool:
    """Do they say the same of the same models at one bench?"""
    same = (one.characteristic, one.stage) == (other.characteristic, other.stage)
    return same and one.measured.size * other.measured.size > 0 and bool(set(one.models) & set(other.models))

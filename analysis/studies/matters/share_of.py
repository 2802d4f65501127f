"""Is a shift that nothing explains the share of one that is named? What one of several people, lots or gauges moved, a
chart over all of them holds in part, and may be out for it alone.
"""

from collections.abc import Sequence
from typing import Any

from analysis.studies.matters.one_move import SAME_CAUSE
from analysis.studies.matters.parts import Part
from analysis.studies.matters.records import LOT, PEOPLE, SUPPLIER

OF_ALL = (*PEOPLE, LOT, SUPPLIER)  # what a model's chart holds several of


def is_share(one: list[Part], other: list[Part], rows: Sequence[dict[str, Any]]) -> bool:
    """one, other : the parts of two groups, the other's named; rows : the signals of the first.

    Its share it is at the same bench, the same way, of models that it touches, begun no earlier, where the size may be
    as small as what the other comes to over all readings. A chart of one person is a share of nobody else's.
    """
    if not one or not other or one[0].named:
        return False
    mine, whole = one[0], other[0]
    over_all = whole.measured.over_all
    if over_all is None or not any(kind in OF_ALL for kind, _ in whole.causes):
        return False
    same = (mine.characteristic, mine.stage) == (whole.characteristic, whole.stage)
    begun = mine.started >= whole.started - SAME_CAUSE
    begun &= mine.measured.began_high >= whole.measured.began_low  # what lay off before its first neck is no lot's
    way = mine.measured.size * over_all > 0
    least = min(abs(mine.measured.size_low), abs(mine.measured.size_high))
    levels = {level for _, level in whole.causes}
    theirs = all(not row["tech"] or row["tech"] in levels for row in rows)
    small = mine.measured.size_low * mine.measured.size_high <= 0 or least <= abs(over_all)
    return same and begun and way and small and theirs and set(mine.models) <= set(whole.models)

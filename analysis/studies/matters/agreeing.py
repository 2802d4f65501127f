"""Which signals that nothing explains are told together: those of one direction whose likely starts meet. Start and
size are told of those that moved alike: what lies at another place (of another model, or at another position) and moved
less than half as far would only hide which place moved, and how far.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from analysis.methods.segments import Flags
from analysis.studies.matters.evidence import Evidence
from analysis.studies.matters.signalled import Signalled

AGREE = 3  # days by which the sets of likely starts of two signals may miss each other and still agree
NEARER = 0.5  # of what moved most surely: readings that lie nearer to nothing than to it did not move as it did
Z95 = 1.96


def agreeing(found: Evidence, left: list[Signalled]) -> list[list[list[Signalled]]]:
    """Groups of signals, each parted into those that moved alike, the surest first; the surest group first."""
    groups = [list(_as_far(found, group)) for group in _at_one_time(left)]
    return sorted(groups, key=lambda parts: -_sureness(found, parts[0]))


def touched(found: Evidence, group: list[Signalled]) -> Flags:
    """The readings of a group (n,), without the models that did not move as the surest one of its surest signal: a
    chart over several models says of none that it did.
    """
    every = np.any([one.touched for one in group], axis=0)
    most = _surest(found, group)
    models = np.unique(found.stream[every])
    mine = np.unique(found.stream[most.touched])
    whole = bool(most.touched[np.isin(found.stream, mine)].all())  # of everybody
    moved = {}
    for model in models:  # a few
        own = found.stream == model
        moved[model] = _moved(found, replace(most, touched=own if whole else own & every))
    surest = max(mine, key=lambda model: moved[model][0] / (moved[model][1] or np.inf))
    still = [model for model in models if not _far_enough(moved[model], *moved[surest])]
    return np.asarray(every & ~np.isin(found.stream, still))


def _at_one_time(left: list[Signalled]) -> list[list[Signalled]]:
    """Those of one direction whose likely starts meet."""
    groups: list[tuple[list[Signalled], int, int]] = []
    for one in sorted(left, key=lambda signal: (signal.side, signal.low, signal.number)):
        if groups:
            last, low, high = groups[-1]
            low, high = max(low, one.low), min(high, one.high)
            if last[0].side == one.side and low <= high + AGREE:
                groups[-1] = ([*last, one], low, high)
                continue
        groups.append(([one], one.low, one.high))
    return [group for group, _, _ in groups]


def _as_far(found: Evidence, group: list[Signalled]) -> Iterator[list[Signalled]]:
    """The same, parted where some lie at another place than the one that moved most surely, and moved less than half as
    far.
    """
    while group:
        most = _surest(found, group)
        size, error = _moved(found, most)
        mine = [one for one in group if error == 0 or _meets(one, most) or _far_enough(_moved(found, one), size, error)]
        yield mine
        group = [one for one in group if one not in mine]


def _sureness(found: Evidence, group: list[Signalled]) -> float:
    """How many errors the readings of its surest signal lie off."""
    size, error = _moved(found, _surest(found, group))
    return size / error if error > 0 else -np.inf


def _surest(found: Evidence, group: list[Signalled]) -> Signalled:
    """The signal whose readings lie off most surely; of a single place where there is such a one."""
    single = [one for one in group if one.place >= 0] or group

    def sure(one: Signalled) -> tuple[float, int]:
        size, error = _moved(found, one)
        return size / error if error > 0 else -np.inf, -one.number

    return max(single, key=sure)


def _far_enough(moved: tuple[float, float], size: float, error: float) -> bool:
    """May something have moved half as far as another, or further? Each with its error."""
    return bool(NEARER * size - moved[0] <= Z95 * np.hypot(moved[1], NEARER * error))


def _meets(one: Signalled, other: Signalled) -> bool:
    """Do two signals hold some readings both?"""
    places = -1 in (one.place, other.place) or one.place == other.place
    return places and bool((one.touched & other.touched).any())


def _moved(found: Evidence, one: Signalled) -> tuple[float, float]:
    """How far its own readings lie off since its likeliest start, to its side, and the error of that, in sigma of a
    single reading; 0 and 0 where there are none.
    """
    single = found.single
    if single is None:
        some = one.touched & (found.day >= one.lately)
        off = found.values[some] * found.sigma
    else:
        some = (one.touched & (found.day >= one.lately))[single.of]
        off = single.off[some & ((single.position == one.place) | (one.place < 0))]
    if not len(off):
        return 0.0, 0.0
    spread = max(1.0, float(off.std(ddof=1))) if len(off) > 1 else 1.0
    return float(off.mean()) * one.side, spread / float(np.sqrt(len(off)))

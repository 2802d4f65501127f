"""Is somebody whose readings lie twice as far apart named for nothing, and named where they moved: python -m
tests.trials.wide_hands [SHOPS]

The shops of `matters` with four who set it, of whom T1 has twice the spread of the others. In a third of them nothing
moves: matters on six Fridays after fourteen weeks, and those of them that name something, or T1. In a third T1 moves,
by 1.5 and 2 sigma of the others (.75 and 1 of its own); in a third T0, who is as steady as the rest, by 1 and 1.5:
named rightly, and others named, on the second and the fourth Friday after.
"""

import sys
from dataclasses import dataclass

import numpy as np

from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import SET_BY
from tests.trials.caused_shops import Cause, planted
from tests.trials.matters import AT
from tests.trials.written import write

SEED = 20310105
SPREADS = (1.0, 2.0, 1.0, 1.0)  # T1 is the one that causes of a tech move
STEADY = (1.0, 1.0, 1.0, 2.0)
FRIDAYS = (AT - 5, AT, AT + 5, AT + 10, AT + 15, AT + 20)
MOVED = ((SPREADS, 1.5), (SPREADS, 2.0), (STEADY, 1.0), (STEADY, 1.5))


@dataclass
class Told:
    """Matters of shops where nothing moved."""

    matters: int = 0
    named: int = 0
    wide: int = 0  # the one with the double spread


def nothing(shops: int, first: int = 0) -> Told:
    """Of so many shops, each known by its number."""
    told = Told()
    for k in range(first, first + shops):
        one = planted(np.random.default_rng([SEED, 0, k]), [], spreads=SPREADS)
        for days in FRIDAYS:
            for each in one.until(days).once(open_matters):
                names = [(c.name, c.value) for c in each.moves_with.named]
                told.matters += 1
                told.named += bool(names)
                told.wide += (SET_BY, "T1") in names
    return told


def moved(which: int, k: int) -> list[tuple[bool, bool]]:
    """On both Fridays: is it named, and is somebody or something else named instead."""
    spreads, size = MOVED[which]
    one = planted(np.random.default_rng([SEED, 1 + which, k]), [Cause("tech", 10, size, AT)], spreads=spreads)
    found = []
    for days in (AT + 10, AT + 20):
        named = [m for m in one.until(days).once(open_matters) if m.moves_with.named]
        right = any(one.causes[0].named_by(m) for m in named)
        found.append((right, bool(named) and not right))
    return found


def main(shops: int) -> None:
    """All of it, as a table."""
    told = nothing(shops)
    lines = [
        f"Nothing moved, {shops} shops on six Fridays: {told.matters} matters, {told.named} of them name something, "
        f"{told.wide} the one with the double spread (the bound is 2 %).\n",
        "| who moved, and by | named after 2 weeks | after 4 | others named after 2 | after 4 |\n|---|---|---|---|---|",
    ]
    for which, (spreads, size) in enumerate(MOVED):
        found = np.array([moved(which, k) for k in range(shops)])  # (shops, fridays, right and others)
        who = "of double spread" if spreads[1] > 1 else "as steady as most"
        cells = " | ".join(f"{one:.3f}" for one in (*found[:, :, 0].mean(axis=0), *found[:, :, 1].mean(axis=0)))
        lines.append(f"| {who}, {size:g} sigma | {cells} |")
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)

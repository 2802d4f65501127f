"""Is what a change really saves within the bounds that what-if gave it? python -m tests.trials.savings

Benches make their own rework (tests/analysis/studies/simulated.py): the short one, on which what-if was made; a long
one that it never saw; and benches drawn anew for each shop. From some thousand instruments what_if names the five
changes worth most, with bounds; then each change is made for real on the bench, and what it saves in the long run is
worked out: minutes of stages gone through again, since on these benches nothing else is repeated.
"""

from concurrent.futures import ProcessPoolExecutor
from functools import cache, partial
from multiprocessing import get_context

import numpy as np

from analysis.studies.rework.savings import what_if
from tests.analysis.studies import simulated
from tests.trials.written import write

SEED = 20261125  # fixed before the first run, with the long bench and the way benches are drawn
KINDS = ("short", "long", "drawn anew")
SHOPS = {1000: 60, 4000: 40}  # instruments a shop: shops of each kind
FIXED = {"short": simulated.SHORT, "long": simulated.LONG}

MENDED = """
## What was mended

Before, bounds were of 95 % for each change alone, and held .954 of the real savings told by shops of 1,000
instruments and .917 of those told by shops of 4,000, on the short bench only (60 to 100 shops each). Told by hundreds
of thousands of instruments of that bench, where chance fades, some savings stayed wrong, and a larger shop's narrower
bounds left them out:

- *Caught earlier* was up to 23 % too much (bridge, from final to play). A redone instrument was not looked at for the
  other faults of the stage redone, and a visit sent back for an earlier cause was taken to have told of the later
  fault. Now early finding is part of the chain.
- *Half as often* from final was 2 to 3 % too little: after a loop within a loop the chain forgot that the outer one
  was still open. Now a state knows the loops it lies in. Minutes of the chain were, and are, exactly those of the
  logs.

Both stand in tests/analysis/studies/test_savings.py as worked by hand. The bounds were then made simultaneous.
"""


@cache
def saved_on(name: str, kind: str, caused: str, caught: str, instead: str) -> float:
    """Real saving on a fixed bench, worked out once."""
    return simulated.real_saving(
        FIXED[name], {"kind": kind, "caused_at": caused, "caught_at": caught, "instead_at": instead}
    )


Told = list[tuple[str, str, float, float, bool]]  # change, its kind, minutes told, real minutes, within the bounds


def one(number: int, instruments: int, shop: int) -> Told:
    """One shop of a kind of bench: the five changes it names, with what they really save."""
    name = KINDS[number]
    rng = np.random.default_rng([SEED, number, instruments, shop])
    kind = FIXED.get(name) or simulated.drawn(rng)
    told: Told = []
    for row in what_if(simulated.snapshot(simulated.visits(instruments, rng, kind), kind), seed=shop).rows.iter_rows(
        named=True
    ):
        change = {key: row[key] for key in ("kind", "caused_at", "caught_at", "instead_at")}
        real = instruments * (
            saved_on(name, *change.values()) if name in FIXED else simulated.real_saving(kind, change)
        )
        told.append(
            (row["change"], row["kind"], row["minutes"], real, row["minutes_low"] <= real <= row["minutes_high"])
        )
    return told


def main() -> None:
    lines = [
        "| bench | instruments | shops | all five within, of shops | each alone | by rank 1 to 5 | halved: told over "
        "real | caught earlier |",
        "|---|---|---|---|---|---|---|---|",
    ]
    named: set[tuple[str, str]] = set()
    kept: list[bool] = []
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as workers:
        for number, name in enumerate(KINDS):
            for instruments, shops in SHOPS.items():
                found = list(workers.map(partial(one, number, instruments), range(shops)))
                within = np.array([[each[-1] for each in told] for told in found])
                each = [change for told in found for change in told]
                kept += within.all(axis=1).tolist()
                named |= {(name, change[0]) for change in each}
                over = [
                    sum(c[2] for c in each if c[1] == kind) / sum(c[3] for c in each if c[1] == kind)
                    for kind in ("halved", "caught earlier")
                ]
                ranks = ", ".join(f"{share:.2f}" for share in within.mean(axis=0))
                lines.append(
                    f"| {name} | {instruments} | {shops} | {within.all(axis=1).mean():.3f} | {within.mean():.3f} | "
                    f"{ranks} "
                    f"| {over[0]:.3f} | {over[1]:.3f} |"
                )
    lines += [
        "",
        f"All five at once in {sum(kept)} of {len(kept)} shops, {np.mean(kept):.3f}.",
        "",
        f"{len(named)} changes were named among the five best, by bench and words; each was made for real.",
        "Bounds: 95 %, all five together.",
        "Told over real: the sum of savings told over that of the real ones; above 1 is the optimism of choosing, or "
        "a fault of the model.",
    ]
    write(__file__, "\n".join([*lines, MENDED.rstrip()]))


if __name__ == "__main__":
    main()

"""Is what a change really saves within the bounds that what-if gave it? python -m tests.trials.savings

A bench makes its own rework (tests/analysis/studies/simulated.py). From some thousand instruments what_if names the five changes worth most,
with bounds; then each change is made for real on the bench, and what it saves in the long run is worked out: minutes of stages gone through
again, since on that bench nothing else is repeated.
"""

from functools import cache

import numpy as np

from analysis.studies.savings import what_if
from tests.analysis.studies import simulated as bench
from tests.trials.written import write

SEED = 20260302
SHOPS = {1000: 100, 4000: 60}  # instruments a shop: shops


@cache
def repeats(kind: str, caused: str, caught: str, instead: str) -> float:
    """Minutes of repeats an instrument of a bench with one change made; kind '' for none."""
    pair = (caused, caught)
    chances = bench.CHANCES | ({pair: bench.CHANCES[pair] / 2} if kind == "halved" else {})
    return bench.expected_repeats(chances, moved={pair: instead} if kind == "caught earlier" else {})


def main() -> None:
    lines = ["| instruments | shops | changes named | real saving within the bounds | by rank 1 to 5 |", "|---|---|---|---|---|"]
    named: set[str] = set()
    for instruments, shops in SHOPS.items():
        within = np.zeros((shops, 5))
        for shop in range(shops):
            rng = np.random.default_rng([SEED, 2, instruments, shop])
            rows = what_if(bench.snapshot(bench.visits(instruments, rng)), seed=shop).rows
            for rank, row in enumerate(rows.iter_rows(named=True)):
                saved = repeats("", "", "", "") - repeats(row["kind"], row["caused_at"], row["caught_at"], row["instead_at"])
                within[shop, rank] = row["minutes_low"] <= saved * instruments <= row["minutes_high"]
                named.add(row["change"])
        ranks = ", ".join(f"{share:.2f}" for share in within.mean(axis=0))
        lines.append(f"| {instruments} | {shops} | {within.size} | {within.mean():.3f} | {ranks} |")
    lines += ["", f"{len(named)} different changes were named among the five best; each was made for real. Bounds are of 95 %."]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

"""Is what a change really saves within the bounds that what-if gave it? python -m tests.trials.savings

Benches make their own rework (tests/analysis/studies/simulated.py): the short one, on which what-if was made; a long one that it never
saw; and benches drawn anew for each shop. From some thousand instruments what_if names the five changes worth most, with bounds; then each
change is made for real on the bench, and what it saves in the long run is worked out: minutes of stages gone through again, since on
these benches nothing else is repeated.
"""

from functools import cache

import numpy as np

from analysis.studies.savings import what_if
from tests.analysis.studies import simulated
from tests.trials.written import write

SEED = 20261125  # fixed before the first run, with the long bench and the way benches are drawn
KINDS = ("short", "long", "drawn anew")
SHOPS = {1000: 100, 4000: 60}  # instruments a shop: shops of each kind
FIXED = {"short": simulated.SHORT, "long": simulated.LONG}


@cache
def saved_on(name: str, kind: str, caused: str, caught: str, instead: str) -> float:
    """Real saving on a fixed bench, worked out once."""
    return simulated.real_saving(FIXED[name], {"kind": kind, "caused_at": caused, "caught_at": caught, "instead_at": instead})


def main() -> None:
    lines = ["| bench | instruments | shops | all five within, of shops | each alone | by rank 1 to 5 | halved: told over real | caught earlier |",
             "|---|---|---|---|---|---|---|---|"]  # fmt: skip
    named: set[str] = set()
    for number, name in enumerate(KINDS):
        for instruments, shops in SHOPS.items():
            within = np.zeros((shops, 5))
            sums = {"halved": np.zeros(2), "caught earlier": np.zeros(2)}
            for shop in range(shops):
                rng = np.random.default_rng([SEED, number, instruments, shop])
                kind = FIXED.get(name) or simulated.drawn(rng)
                rows = what_if(simulated.snapshot(simulated.visits(instruments, rng, kind), kind), seed=shop).rows
                for rank, row in enumerate(rows.iter_rows(named=True)):
                    change = {key: row[key] for key in ("kind", "caused_at", "caught_at", "instead_at")}
                    real = instruments * (saved_on(name, *change.values()) if name in FIXED else simulated.real_saving(kind, change))
                    within[shop, rank] = row["minutes_low"] <= real <= row["minutes_high"]
                    sums[row["kind"]] += (row["minutes"], real)
                    named.add(f"{name}: {row['change']}")
            ranks = ", ".join(f"{share:.2f}" for share in within.mean(axis=0))
            over = " | ".join(f"{told / real:.3f}" if real else "" for told, real in sums.values())
            lines.append(f"| {name} | {instruments} | {shops} | {within.all(axis=1).mean():.3f} | {within.mean():.3f} | {ranks} | {over} |")
    lines += ["", f"{len(named)} different changes were named among the five best; each was made for real. Bounds are of 95 % for all five together.",
              "Told over real: the sum of savings told over that of the real ones; above 1 is the optimism of choosing, or a fault of the model."]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

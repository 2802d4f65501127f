"""How many errors the sizes of false matters lie off: python -m tests.trials.chance [SHOPS]

Whole shops in which nothing moves (tests/trials/caused_shops.py), looked at on three Fridays, as many again with one
cause that is not to be named by its readings yet. Of each open matter with 30 readings or more the size over the
standard error that its 95 % interval says. The result is chance.md; analysis/studies/matters/chance.py goes by it.
"""

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from analysis.studies.matters.matters import open_matters
from tests.trials.matters import AT, shop_of

SEED = 20261204
FRIDAYS = (60, 75, 90)  # working days from the first log
CAUSES = (("tech", "three", 0.75), ("gauge", "one", 1.0))
ENOUGH = 30


def errors(seed: int, kind: str, scope: str, size: float) -> list[tuple[float, bool]]:
    """Of each open matter how many errors its size lies off, and whether something is named."""
    one = shop_of([SEED, seed], kind, scope, size)
    found = []
    for day in FRIDAYS if kind == "none" else (AT + 20,):
        for matter in one.until(day).once(open_matters):
            if matter.size is not None and matter.size_high is not None and matter.touched >= ENOUGH:
                found.append(
                    (abs(matter.size) * 1.96 / (matter.size_high - matter.size), bool(matter.moves_with.named))
                )
    return found


def main() -> None:
    """Both, over so many shops."""
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    with ProcessPoolExecutor() as pool:
        false = list(pool.map(errors, range(shops), ["none"] * shops, ["all"] * shops, [1.0] * shops))
        true = [
            list(pool.map(errors, range(shops // 4), *zip(*[cause] * (shops // 4), strict=True))) for cause in CAUSES
        ]
    off = [each for found in false for each, named in found if not named]
    shares = np.percentile(off, [5, 50, 95, 99])
    within = ", ".join(f"{one:.1f}" for one in shares)
    sys.stdout.write(
        f"{len(off)} false ones in {shops} shops: mean {np.mean(off):.2f}, standard deviation {np.std(off):.2f}; "
        f"5, 50, 95 and 99 % lie within {within} errors, the furthest at {max(off):.1f}\n"
    )
    for cause, found in zip(CAUSES, true, strict=True):
        named = sorted(each for one in found for each, told in one if told)
        sys.stdout.write(f"{cause}: named ones at {', '.join(f'{one:.1f}' for one in named)}\n")


if __name__ == "__main__":
    main()

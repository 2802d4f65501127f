"""Does what "would fit" fit: python -m tests.trials.would_fit [SHOPS]

Small shops: two models, twelve instruments a day, two techs at each of three benches and two suppliers, read to .02 mm
where sigma is .025 mm. From the thirteenth week on the necks of one supplier lie off on one model, or nothing does. The
shop is looked at on every second Friday: from the sixth week on where nothing moved, else from the fourteenth.

*Shown*: open matters whose readings show that something moved. *Fits*: those of them that name nothing, and tell what
would fit. *Right*: that supplier. *Promised*: the mean probability that these were given, of which as many should be
right.
"""

import sys

import numpy as np

from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import SUPPLIER
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import shop, snapshot
from tests.trials.written import write

SEED = 20320302
SIZES = (0.0, 0.5, 0.75, 1.0)
DAYS, DAILY, SINCE = 100, 12, 60
SIGMA, STEP = 0.025, 0.02
Told = tuple[float, bool]  # probability of what would fit, and is it right


def planted(seed: list[int], size: float, days: int) -> Snapshot:
    """A shop of which so many days are read."""
    rng, n = np.random.default_rng(seed), DAYS * DAILY
    day = np.repeat(np.arange(DAYS), DAILY)
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(DAILY) / 4, DAYS)
    model, supplier = rng.choice(["M0", "M1"], n), rng.choice(["A", "B"], n)
    setter, early, reader = (rng.choice(["T1", "T2"], n) for _ in range(3))
    off = size * ((supplier == "A") & (model == "M0") & (day >= SINCE))
    values = np.round((0.2 + SIGMA * (rng.normal(size=n) + off)) / STEP) * STEP
    some = day < days
    return snapshot(
        shop(("M0", "M1")),
        {("relief", ""): values[some]},
        model=model[some],
        hours=hours[some],
        setter=setter[some],
        early=early[some],
        reader=reader[some],
        supplier=supplier[some],
    )


def looked(seed: list[int], size: float) -> tuple[int, list[Told]]:
    """Shown matters of a shop on all its Fridays, and what would fit."""
    shown, found = 0, list[Told]()
    for week in range(14 if size else 6, 21, 2):
        for one in planted(seed, size, 5 * week).once(open_matters):
            shown += one.shown
            fits = one.moves_with.fits
            if one.shown and fits is not None:
                found.append((fits.probability, (fits.factor, fits.level) == (SUPPLIER, "A")))
    return shown, found


def main(shops: int = 40) -> None:
    """Writes the table beside this script."""
    lines = [(__doc__ or "").split("\n\n", 1)[1], f"{shops} shops a row.", ""]
    lines += ["| sigma | shown | fits | right | promised |", "|---|---|---|---|---|"]
    for number, size in enumerate(SIZES):
        each = [looked([SEED, number, k], size) for k in range(shops)]
        told = [one for _, some in each for one in some]
        promised, right = (f"{np.mean(part):.2f}" if told else "-" for part in zip(*(told or [(0, 0)]), strict=True))
        lines.append(f"| {size} | {sum(n for n, _ in each)} | {len(told)} | {right} | {promised} |")
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)

"""Is the split of the variance between suppliers, lots and necks unbiased before it is cut at 0: python -m
tests.trials.variance_split
"""

import numpy as np

from analysis.methods.variance_split import split
from tests.trials.written import write

SEED = 20261209


def errors(rng: np.random.Generator, *, suppliers: int, sds: tuple[float, float, float], runs: int) -> np.ndarray:
    """Estimate less truth of (supplier, lot, neck) variances, shape (runs, 3); very uneven lots, drawn anew each run.

    Up to five suppliers the truth is the variance of these suppliers' levels, beyond it that of the suppliers they
    stand for.
    """
    found = np.empty((runs, 3))
    for run in range(runs):
        owner = np.repeat(np.arange(suppliers), rng.integers(2, 12, suppliers))
        lot = np.repeat(np.arange(len(owner)), rng.integers(1, 60, len(owner)))
        level = rng.normal(scale=sds[0], size=suppliers)
        x = level[owner[lot]] + rng.normal(scale=sds[1], size=len(owner))[lot] + rng.normal(scale=sds[2], size=len(lot))
        told = split(x, owner[lot], lot)
        truth = level.var(ddof=1) if told.fixed else sds[0] ** 2
        found[run] = told.group - truth, told.batch - sds[1] ** 2, told.within - sds[2] ** 2
    return found


def main(runs: int = 4000) -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"Mean error of each variance with its standard error, {runs} shops a row; lots of 1 to 59 necks, 2 to 11 "
        "lots a supplier.",
        "",
    ]
    lines += [
        "| suppliers | true sd supplier, lot, neck | supplier | lot | neck | lot below 0 |",
        "|---|---|---|---|---|---|",
    ]
    for suppliers, sds in (
        (3, (0.02, 0.02, 0.05)),
        (3, (0.0, 0.0, 0.05)),
        (3, (0.05, 0.03, 0.05)),
        (8, (0.02, 0.02, 0.05)),
        (8, (0.0, 0.0, 0.05)),
    ):
        off = errors(rng, suppliers=suppliers, sds=sds, runs=runs)
        mean, error = 1e6 * off.mean(axis=0), 1e6 * off.std(axis=0, ddof=1) / np.sqrt(runs)
        told = " | ".join(f"{m:.1f} ± {e:.1f}" for m, e in zip(mean, error, strict=True))
        below = float((off[:, 1] + sds[1] ** 2 < 0).mean())
        lines.append(f"| {suppliers} | {', '.join(f'{sd:g}' for sd in sds)} mm | {told} | {below:.2f} |")
    lines += ["", "Errors in millionths of a square mm (0.02 mm squared is 400)."]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

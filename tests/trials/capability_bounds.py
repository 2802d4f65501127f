"""How often the 95 % bounds of capability indices hold the truth: python -m tests.trials.capability_bounds

Normal readings in control; the nearer limit lies 3 x index sigma from the mean, the other further off by a part of
sigma. cp and cpk use the mean moving range, pp and ppk s.
"""

import numpy as np

from analysis.methods.capability import indices, one_sided_exact
from analysis.methods.constants import d2
from analysis.methods.segments import Floats
from tests.trials.written import write

SEED = 20261101
RUNS = 20_000
BLOCK = 5_000
PROCESSES = [(1.33, 0.0), (1.33, 1.0), (1.0, 0.0), (1.0, 0.5), (0.67, 0.5), (1.67, 2.0)]


def covered(low: Floats, high: Floats, truth: float) -> Floats:
    """(within, bound above the truth, bound below it) as counts."""
    return np.array(
        [((low <= truth) & (truth <= high)).sum(), (low > truth).sum(), (high < truth).sum()], dtype=np.float64
    )


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"{RUNS:,} processes a row; share of intervals that hold the true index, wanted .95 within .02 "
        "(in brackets: lower bound too high, upper bound too low).",
        "",
        "| n | true index | other limit further by | cp | cpk | pp | ppk | ppk exact, one limit |",
        "|---|---|---|---|---|---|---|---|",
    ]
    worst = 0.0
    for n in (10, 30, 100):
        for true, off in PROCESSES:
            low, high = -3 * true, 3 * true + off
            cp = (high - low) / 6
            count = np.zeros((5, 3))
            for _ in range(RUNS // BLOCK):
                x = rng.standard_normal((BLOCK, n))
                mean, s = x.mean(axis=1), x.std(axis=1, ddof=1)
                moving = np.abs(np.diff(x, axis=1)).mean(axis=1) / d2(2)
                found = indices(mean, moving, s, n, lower=low, upper=high)
                single = (mean - low) / (3 * s)
                for row, (lower, upper, truth) in enumerate(
                    (
                        (found.cp_low, found.cp_high, cp),
                        (found.cpk_low, found.cpk_high, true),
                        (found.pp_low, found.pp_high, cp),
                        (found.ppk_low, found.ppk_high, true),
                        (*one_sided_exact(single, n), true),
                    )
                ):
                    count[row] += covered(lower, upper, truth)
            share = count / RUNS
            worst = max(worst, float(np.abs(share[:, 0] - 0.95).max()))
            cells = " | ".join(f"{inside:.3f} ({over:.3f}, {under:.3f})" for inside, over, under in share)
            lines.append(f"| {n} | {true} | {off} sigma | {cells} |")
    lines += ["", f"Furthest from .95: {worst:.3f}; wanted at most .020: {'held' if worst <= 0.02 else 'BROKEN'}."]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

"""How often tolerance limits hold the share they promise: python -m tests.trials.tolerance_limits"""

import numpy as np
from scipy import stats

from analysis.methods.tolerance import drop, normal_band
from tests.trials.written import write

SEED = 20261102
RUNS = 40_000


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"{RUNS:,} samples a row of normal readings; share whose limits hold the coverage, wanted: the confidence.",
        "",
        "| n | coverage | confidence | two limits | lower limit | without a curve | (exact for that) |",
        "|---|---|---|---|---|---|---|",
    ]
    worst = 0.0
    for n in (10, 30, 100):
        x = rng.standard_normal((RUNS, n))
        starts = np.arange(RUNS) * n
        ordered = np.sort(x, axis=1)
        for coverage, confidence in ((0.80, 0.90), (0.90, 0.95), (0.95, 0.95), (0.99, 0.95)):
            both = normal_band(x.ravel(), starts, coverage=coverage, confidence=confidence)
            lower = normal_band(x.ravel(), starts, coverage=coverage, confidence=confidence, side="lower")
            two = float((stats.norm.cdf(both.high) - stats.norm.cdf(both.low) >= coverage).mean())
            one = float((stats.norm.sf(lower.low) >= coverage).mean())
            worst = max(worst, abs(two - confidence), abs(one - confidence))
            spare, free, exact = drop(n, coverage, confidence), "too few", ""
            if spare >= 0:
                low = spare // 2
                inside = stats.norm.cdf(ordered[:, n - 1 - (spare - low)]) - stats.norm.cdf(ordered[:, low])
                free, exact = f"{(inside >= coverage).mean():.3f}", f"{stats.binom.cdf(n - spare - 2, n, coverage):.3f}"
            lines.append(f"| {n} | {coverage} | {confidence} | {two:.3f} | {one:.3f} | {free} | {exact} |")
    lines += [
        "",
        f"Furthest from the confidence with a normal curve: {worst:.4f} (standard error {np.sqrt(0.0475 / RUNS):.4f}).",
    ]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

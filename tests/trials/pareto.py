"""Are two bars that are the same in the long run said to be so? python -m tests.trials.pareto

Causes bring instruments back by chance, each with minutes between 5 and some 60 (skewed). The two longest bars are
compared as the page compares neighbours.
"""

import numpy as np

from analysis.methods.totals import chance_of_difference
from analysis.studies.rework.pareto import APART
from tests.trials.written import write

SEED = 20260303
RUNS = 20_000


def bars(rng: np.random.Generator, means: list[float], *, weighed: bool) -> tuple[np.ndarray, np.ndarray]:
    """Totals and squares of each cause, (RUNS, causes)."""
    totals, squares = np.zeros((RUNS, len(means))), np.zeros((RUNS, len(means)))
    for cause, mean in enumerate(means):
        counts = rng.poisson(mean, RUNS)
        weights = rng.gamma(1.5, 12.0, counts.sum()) + 5 if weighed else np.ones(counts.sum())
        run = np.repeat(np.arange(RUNS), counts)
        totals[:, cause] = np.bincount(run, weights=weights, minlength=RUNS)
        squares[:, cause] = np.bincount(run, weights=weights**2, minlength=RUNS)
    return totals, squares


def together(totals: np.ndarray, squares: np.ndarray) -> np.ndarray:
    """Are the two longest bars said to be the same, (RUNS,)."""
    order = np.argsort(-totals, axis=1)[:, :2]
    value, own = np.take_along_axis(totals, order, 1), np.take_along_axis(squares, order, 1)
    return chance_of_difference(value[:, 0], value[:, 1], own.sum(axis=1)) >= APART


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [f"{RUNS:,} runs a row. The same in the long run: said to be so.", ""]
    lines += ["| causes | send-backs each | counts | minutes |", "|---|---|---|---|"]
    worst = 1.0
    for causes in (2, 3, 6):
        for mean in (5.0, 20.0, 80.0):
            said = [float(together(*bars(rng, [mean] * causes, weighed=weighed)).mean()) for weighed in (False, True)]
            worst = min(worst, *said)
            lines.append(f"| {causes} | {mean:.0f} | {said[0]:.3f} | {said[1]:.3f} |")
    lines += ["", f"Fewest: {worst:.3f}; wanted 0.88.", "", "Twice as many in the long run: told apart.", ""]
    lines += ["| send-backs | counts | minutes |", "|---|---|---|"]
    for mean in (10.0, 20.0, 40.0, 80.0):
        apart = [1 - float(together(*bars(rng, [2 * mean, mean], weighed=weighed)).mean()) for weighed in (False, True)]
        lines.append(f"| {2 * mean:.0f} and {mean:.0f} | {apart[0]:.3f} | {apart[1]:.3f} |")
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

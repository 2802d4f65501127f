"""Simulated run lengths of the charts themselves against the computed ones: python -m tests.trials.run_lengths

Streams are cut after a fixed number of readings, so what is compared is the mean of the shorter of run and cut; its
computed value is the sum of the chances to be still running, or, where the cut is 12 mean runs away, the mean run
length itself.
"""

import numpy as np

from analysis.methods.run_length import ZONE_RULES, run_length
from analysis.methods.run_length_weighted import cusum_arl, ewma_arls
from analysis.methods.run_rules import ALL, BEYOND, run_rules
from analysis.methods.segments import Flags
from analysis.methods.weighted import cusum, ewma
from tests.trials.written import write

SEED = 20261209
RUNS = 20_000


def lengths(fired: Flags, n: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Readings up to and with the first firing of each run, n where there is none; fired holds runs of n readings."""
    grid = fired.reshape(-1, n)
    return np.where(grid.any(axis=1), grid.argmax(axis=1) + 1, n).astype(np.int64)


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [f"{RUNS:,} runs a row; the last column is (simulated - computed) / standard error.", ""]
    lines += ["| chart | shift | cut at | simulated | computed | distance |", "|---|---|---|---|---|---|"]

    def row(
        chart: str, shift: float, n: int, runs: list[np.ndarray[tuple[int], np.dtype[np.int64]]], computed: float
    ) -> None:
        run = np.concatenate(runs)
        distance = (run.mean() - computed) / (run.std() / np.sqrt(len(run)))
        lines.append(f"| {chart} | {shift} | {n} | {run.mean():.2f} | {computed:.2f} | {distance:+.2f} |")

    cut = 1000
    for shift in (0.0, 1.0):
        for rules in [(rule,) for rule in ALL] + [ZONE_RULES]:
            runs = []
            for _ in range(RUNS // 2000):
                x, starts = rng.normal(shift, size=2000 * cut), np.arange(2000) * cut
                fired = run_rules(x, starts, centre=0.0, sigma=1.0, rules=rules).fired.values()
                runs.append(lengths(np.logical_or.reduce(list(fired)), cut))
            name = "single readings" if rules == (BEYOND,) else ", ".join(rules)
            row(name, shift, cut, runs, float(run_length(rules, shift=shift).running(cut - 1).sum()))
    for weight, width, shift in ((0.1, 2.814, 0.0), (0.1, 2.814, 1.0), (0.25, 2.998, 0.0), (0.4, 3.054, 0.5)):
        computed = float(ewma_arls(width, shift, weight=weight, limits="growing"))
        cut, runs = round(12 * computed), []
        for _ in range(RUNS // 1000):
            x, starts = rng.normal(shift, size=1000 * cut), np.arange(1000) * cut
            runs.append(lengths(ewma(x, starts, centre=0.0, sigma=1.0, weight=weight, width=width).beyond, cut))
        row(f"EWMA, weight {weight}, width {width}", shift, cut, runs, computed)
    for h, head, shift in ((4.0, 0.0, 0.0), (5.0, 0.0, 0.0), (5.0, 2.5, 0.0), (5.0, 2.5, 1.0)):
        computed = cusum_arl(h, head=head, shift=shift)
        cut, runs = round(12 * computed), []
        for _ in range(RUNS // 1000):
            x, starts = rng.normal(shift, size=1000 * cut), np.arange(1000) * cut
            runs.append(lengths(cusum(x, starts, centre=0.0, sigma=1.0, h=h, head_start=head).signal, cut))
        row(f"CUSUM, k 0.5, h {h}, head start {head}", shift, cut, runs, computed)
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

"""How often a stage's week is called high or low when nothing changed: python -m tests.trials.weekly_shares

Twelve weeks of 25 instruments are the base of a thirteenth of 25; and of 300 a week, as in a large shop.
"""

import numpy as np

from analysis.methods.counts_ahead import binomial_ahead, poisson_ahead
from analysis.studies.rework.stage_weeks import BASE_WEEKS, FALSE_RATE
from tests.trials.written import write

SEED = 20260304
RUNS = 200_000


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"{RUNS:,} weeks a row; wanted at most {FALSE_RATE} high.",
        "",
        "| base | a week | share | high | low | faults each | high | low |",
        "|---|---|---|---|---|---|---|---|",
    ]
    worst = 0.0
    for week in (25, 300):
        base = BASE_WEEKS * week
        for share in (0.005, 0.02, 0.05, 0.1, 0.2, 0.4):
            before, now = rng.binomial(base, share, RUNS), rng.binomial(week, share, RUNS)
            low, high = binomial_ahead(before, base, week, false_rate=FALSE_RATE)
            faults_before, faults = rng.poisson(base * share, RUNS), rng.poisson(week * share, RUNS)
            few, many = poisson_ahead(faults_before, base, week, false_rate=FALSE_RATE)
            rates = [float(part.mean()) for part in (now > high, now < low, faults > many, faults < few)]
            worst = max(worst, rates[0], rates[2])
            lines.append(
                f"| {base} | {week} | {share} | {rates[0]:.4f} | {rates[1]:.4f} | {share} | {rates[2]:.4f} | "
                f"{rates[3]:.4f} |"
            )
    lines += ["", f"Most often high: {worst:.4f} (standard error {np.sqrt(FALSE_RATE / RUNS):.4f})."]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

"""How often a stage's week is called high or low when nothing changed: python -m tests.trials.weekly_shares

Twelve weeks of 25 instruments are the base of a thirteenth of 25; and of 300 a week, as in a large shop. Then weeks
of 60 in which hard models (30 % come back, of the others 5 %) go from a fifth to two and three fifths of the work:
against what the weeks before let expect at the week's own mix, and against their raw share.
"""

import numpy as np

from analysis.methods.counts_ahead import binomial_ahead, poisson_ahead
from analysis.methods.expected_counts import Pieces, at_the_same_mix
from analysis.studies.rework.stage_weeks import BASE_WEEKS, FALSE_RATE
from tests.trials.written import write

SEED = 20260304
RUNS = 20_000


def harder(rng: np.random.Generator, runs: int, then: float, week: int = 60) -> tuple[float, float]:
    """How often a week is called high at its own mix, and by the raw share, when hard models make up `then` of it."""
    size = BASE_WEEKS * week
    hard, later = rng.binomial(size, 0.2, runs), rng.binomial(week, then, runs)
    counts = [rng.binomial(part, share) for part, share in ((size - hard, 0.05), (hard, 0.3))]
    now = rng.binomial(week - later, 0.05) + rng.binomial(later, 0.3)
    group, levels = np.tile(np.arange(runs), 2), np.repeat([0, 1], runs)[:, None]
    n, k, ahead = (
        np.concatenate(parts).astype(float) for parts in ((size - hard, hard), counts, (week - later, later))
    )
    some, old = ahead > 0, n > 0
    before = Pieces(group[old], levels[old], n[old])
    expected = at_the_same_mix(before, k[old], Pieces(group[some], levels[some], ahead[some]), runs).expected
    limits = [
        binomial_ahead(base, np.full(runs, size), np.full(runs, week), false_rate=FALSE_RATE)[1]
        for base in (expected / week * size, counts[0] + counts[1])
    ]
    return float((now > limits[0]).mean()), float((now > limits[1]).mean())


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
    lines += ["", "| hard models then | high at the same mix | high by the raw share |", "|---|---|---|"]
    for then in (0.2, 0.4, 0.6):
        at_mix, raw = harder(rng, RUNS // 2, then)
        lines.append(f"| {then:.0%} | {at_mix:.4f} | {raw:.4f} |")
    lines += ["", f"Most often high: {worst:.4f} (standard error {np.sqrt(FALSE_RATE / RUNS):.4f})."]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

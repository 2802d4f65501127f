"""Whether the sequential test keeps both risks: python -m tests.trials.sequential_risks"""

import numpy as np

from analysis.methods.segments import Floats
from analysis.methods.sequential import SequentialPlan, expected, plan
from tests.trials.written import write

SEED = 20261103
RUNS = 40_000
TARGETS = [
    (0.05, 0.15, 0.05, 0.10),
    (0.02, 0.10, 0.05, 0.10),
    (0.10, 0.30, 0.10, 0.05),
    (0.03, 0.08, 0.05, 0.10),
    (0.05, 0.20, 0.05, 0.05),
]


def ends(made: SequentialPlan, p: float, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """(1 where the target was shown, instruments used) of RUNS tests."""
    counted = np.cumsum(rng.random((RUNS, made.longest)) < p, axis=1)
    shown, denied = counted <= made.shown_at, counted >= made.not_shown_at
    at = (shown | denied).argmax(axis=1)
    return shown[np.arange(RUNS), at].astype(np.float64), at + 1.0


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"{RUNS:,} tests a cell. Wrong: a good hand not shown, a poor one shown; wanted at most the risk.",
        "",
        "| good | poor | risks | longest | good: wrong | exact | instruments | exact | poor: wrong | exact | "
        "instruments | exact |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    kept = True
    for good, poor, risk_good, risk_poor in TARGETS:
        made = plan(good, poor, risk_good=risk_good, risk_poor=risk_poor)
        exact = expected(made, [good, poor])
        cells = []
        for j, (p, risk) in enumerate(((good, risk_good), (poor, risk_poor))):
            shown, used = ends(made, p, rng)
            wrong = float(1 - shown.mean()) if j == 0 else float(shown.mean())
            kept &= wrong <= risk + 3 * np.sqrt(risk * (1 - risk) / RUNS)
            known = 1 - exact.shown[0] if j == 0 else exact.shown[1]
            cells.append(f"{wrong:.4f} | {known:.4f} | {used.mean():.1f} | {exact.instruments[j]:.1f}")
        lines.append(f"| {good} | {poor} | {risk_good}, {risk_poor} | {made.longest} | {' | '.join(cells)} |")
    lines += [
        "",
        f"Both risks within three standard errors of their bounds in every row: {'held' if kept else 'BROKEN'}.",
    ]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

"""Does the interval of what a tenth of a millimetre of bow costs hold the cost put in: python -m
tests.trials.cost_of_bow
"""

import numpy as np

from analysis.studies.necks.bow import against, limits_of
from tests.analysis.studies.supplied import supplied
from tests.trials.written import write

SEED = 20261208


def covered(
    rng: np.random.Generator, *, runs: int, lots: int, a_tenth: float, lot_minutes: float
) -> tuple[float, float, float, float]:
    """Share of intervals that hold the cost, mean slope, share of raw slopes' intervals that do (least squares, one
    neck as one), mean width.
    """
    held, slopes, raw, width = [], [], [], []
    for _ in range(runs):
        rows = supplied(rng, lots=lots, a_tenth=a_tenth, lot_minutes=lot_minutes)
        found = against(rows, "minutes")
        held.append(found.slope_low <= a_tenth <= found.slope_high)
        slopes.append(found.slope)
        width.append(found.slope_high - found.slope_low)
        (slope, _), covariance = np.polyfit(rows["bow"].to_numpy(), rows["minutes"].to_numpy(), 1, cov=True)
        raw.append(abs(slope / 10 - a_tenth) <= 1.96 * np.sqrt(covariance[0, 0]) / 10)
    return float(np.mean(held)), float(np.mean(slopes)), float(np.mean(raw)), float(np.mean(width))


def pays(rng: np.random.Generator, *, runs: int, return_minutes: float, a_tenth: float) -> float:
    """How often some limit is said to pay although no tenth costs as much as a return."""
    return float(
        np.mean(
            [any(row.pays for row in limits_of(supplied(rng, a_tenth=a_tenth), return_minutes)) for _ in range(runs)]
        )
    )


def main(runs: int = 1000) -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"Two models, three straighteners with a pace of their own, 30 necks a lot; {runs} shops a row, 95 % "
        "intervals (90 % promised).",
        "",
    ]
    head = (
        "| lots | cost of a tenth, min | sd that comes with a lot, min | interval holds it | mean found | width | "
        "unadjusted interval holds it |"
    )
    lines += [head]
    lines += ["|---|---|---|---|---|---|---|"]
    for lots, a_tenth, lot_minutes in ((20, 2.0, 1.0), (40, 2.0, 1.0), (40, 0.0, 1.0), (40, 2.0, 4.0), (90, 2.0, 1.0)):
        held, slope, raw, width = covered(rng, runs=runs, lots=lots, a_tenth=a_tenth, lot_minutes=lot_minutes)
        lines.append(f"| {lots} | {a_tenth:g} | {lot_minutes:g} | {held:.3f} | {slope:.2f} | {width:.2f} | {raw:.3f} |")
    share = pays(rng, runs=runs, return_minutes=3.0, a_tenth=0.0)
    lines += ["", f"Some limit said to pay where nothing goes with bow and a return costs 3 minutes: {share:.3f}"]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

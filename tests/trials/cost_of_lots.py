"""Does the interval of what a lot's bow cost hold what was put in: python -m tests.trials.cost_of_lots

Two models, three straighteners with a pace of their own, 30 necks a lot, bow read in thousandths of an inch. The lot
asked about is one of all, or one that alone reaches far out in bow.
"""

import numpy as np

from analysis.methods.segments import Floats, Ints
from analysis.methods.spline_by_lot import bent
from tests.trials.written import write

SEED = 20261213
RUNS = 100
NECKS = 30
STRAIGHT = 0.1
THOU = 0.0254


def costs(bow: Floats, shape: str) -> Floats:
    """Minutes that go with bow: none, 2 a tenth, or 3 a tenth from 0.15 mm on."""
    return {"flat": 0 * bow, "line": 20 * bow, "bend": 30 * np.maximum(bow - 0.15, 0)}[shape]


def necks(
    rng: np.random.Generator, *, lots: int, shape: str, lot_minutes: float, far: bool
) -> tuple[Floats, Floats, Ints, Ints]:
    """Minutes, bow, mix and lot of each neck; `far`: the first lot is 0.2 mm more bowed."""
    lot = np.repeat(np.arange(lots), NECKS)
    model = lot % 2
    centre = rng.normal(scale=0.05, size=lots)
    centre[0] += 0.2 * far
    bow = np.abs(0.08 + 0.05 * model + centre[lot] + rng.normal(scale=0.05, size=len(lot)))
    bow = np.round(bow / THOU) * THOU
    hand = np.where(rng.random(len(lot)) < 0.3 + 0.4 * model, 0, rng.integers(1, 3, len(lot)))
    minutes = 60 + 30 * model + np.array([6.0, 0.0, 3.0])[hand] + costs(bow, shape)
    minutes += rng.normal(scale=lot_minutes, size=lots)[lot] + rng.normal(scale=8, size=len(lot))
    return minutes, bow, 3 * model + hand, lot


def covered(rng: np.random.Generator, *, runs: int, lots: int, shape: str, lot_minutes: float, far: bool) -> float:
    """Share of shops in which the interval holds what the first lot's bow cost beyond straight necks."""
    held = []
    for _ in range(runs):
        y, bow, mix, lot = necks(rng, lots=lots, shape=shape, lot_minutes=lot_minutes, far=far)
        straight, own = bow[bow < STRAIGHT], bow[lot == 0]
        true = (costs(own, shape) - costs(straight, shape).mean()).sum()
        _, low, high = bent(y, bow, mix, lot).total(own, straight)
        held.append(low <= true <= high)
    return float(np.mean(held))


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"{RUNS} shops a cell, standard error .022; wanted .93 to .97 over all cells.",
        "",
        "| lots | minutes go with bow | sd that comes with a lot, min | the lot asked about | interval holds it |",
        "|---|---|---|---|---|",
    ]
    found = []
    for lots in (8, 20, 60):
        for shape in ("line", "bend"):
            for lot_minutes in (0.0, 4.0):
                for far in (False, True):
                    held = covered(rng, runs=RUNS, lots=lots, shape=shape, lot_minutes=lot_minutes, far=far)
                    found.append(held)
                    where = "far out" if far else "one of all"
                    lines.append(f"| {lots} | {shape} | {lot_minutes:g} | {where} | {held:.3f} |")
    lines += ["", f"Over all cells {np.mean(found):.3f}; lowest {min(found):.3f}, highest {max(found):.3f}."]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

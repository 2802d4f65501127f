"""How soon a step is seen and whether its beginning is covered: python -m tests.trials.delay

One shop of 500 models, each a run of its own: 100 readings of baseline, up to 150 more in control, then a step; the
chart's signal at the first opening after the step, everything through the shop's own studies from logs in memory. Runs
with a signal open at the step are left out. The set of likely starts is worked out at the end of the run, 60 readings
after the step.
"""

from dataclasses import dataclass

import numpy as np

from analysis.methods.allowance import ewma_delay, ewma_width
from analysis.studies.drift.signals import signals
from tests.analysis.studies.drifting import at, shop, snapshot
from tests.trials.written import write

SEED = 20261213
BASELINE, AFTER = 100, 60


@dataclass(frozen=True)
class Seen:
    runs: int  # without a signal open at the step
    delay: float  # mean readings from the step to the opening, itself included, of those seen within AFTER
    computed: float  # mean over estimated limits
    missed: int  # not seen within AFTER
    covered: float  # share whose step lies between the first and last likely start


def trial(rng: np.random.Generator, size: float, runs: int, *, after: int = AFTER) -> Seen:
    before = BASELINE + rng.integers(20, 150, runs)
    n = before + after
    models = tuple(f"M{k:04}" for k in range(runs))
    place = np.concatenate([np.arange(k) for k in n])
    which = np.repeat(np.arange(runs), n)
    values = rng.normal(size=n.sum()) + size * (place >= np.repeat(before, n))
    order = np.lexsort((which, place))
    base = np.array([(at(p) - at(0)).total_seconds() / 3600 for p in range(int(n.max()))])
    named = np.array(models, dtype=object)[which[order]]
    told = snapshot(
        shop(models, false_signals_per_week=runs / 150),
        {("relief", ""): values[order]},
        model=named,
        hours=base[place[order]] + which[order] / (2 * runs),
    )
    judged = told.once(signals)
    assert judged is not None
    assert judged.budget is not None
    found = judged.found.to_dicts()
    delays, covered, used, missed = [], [], 0, 0
    for k, model in enumerate(models):
        mine = [row for row in found if row["chart"] == "average" and row["model"] == model]
        first = int(judged.streams.starts[judged.streams.rows["model"].index_of(model)])
        step = first + int(before[k])
        if any(row["reading"] < step <= (row["last_reading"] + 20) for row in mine):
            continue
        used += 1
        opened = [row for row in mine if row["reading"] >= step]
        if not opened:
            missed += 1
            continue
        delays.append(opened[0]["reading"] - step + 1)
        low, high = opened[0]["began_low"], opened[0]["began_high"]
        covered.append(low <= judged.streams.readings["taken_at"][step] <= high)
    width = ewma_width(1 / float(judged.budget.rates[-1]), baseline=BASELINE)
    return Seen(
        used, float(np.mean(delays)), ewma_delay(size, width, baseline=BASELINE), missed, float(np.mean(covered))
    )


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [(__doc__ or "").split("\n\n", 1)[1]]
    lines += ["| step in sigma | runs | not seen | mean delay | computed | covered |", "|---|---|---|---|---|---|"]
    for size in (1.0, 1.5, 2.0, 3.0):
        seen = trial(rng, size, 500)
        lines.append(
            f"| {size} | {seen.runs} | {seen.missed} | {seen.delay:.2f} | {seen.computed:.2f} | {seen.covered:.3f} |"
        )
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

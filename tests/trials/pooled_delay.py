"""How soon a tech three quarters of a sigma off on ten models is seen: python -m tests.trials.pooled_delay

Shops from logs in memory, through all studies: ten models, 60 instruments a day, four people who set relief, each with
a baseline of 100 readings a stream; budget one false signal a week. After 25 days one of the four sets all ten models
0.75 sigma higher. Working days until their chart over models opens, and until any chart of one model (all techs' or
their own) opens upward; the computed delay is that of an average that has long been quiet, at the limits of that day.
"""

from datetime import timedelta

import numpy as np
import polars as pl

from analysis.methods.run_length_weighted import ewma_arls
from analysis.studies.drift.signals import Signals, signals
from tests.analysis.studies.drifting import START, shop, snapshot
from tests.trials.written import write

SEED = 20270401
DAY = timedelta(days=1)
MODELS, PEOPLE, A_DAY, QUIET, AFTER = 10, 4, 60, 25, 20


class Seen:
    """Working days of one shop; NaN where nothing opened."""

    def __init__(self, pooled: float, alone: float, computed: float) -> None:
        self.pooled, self.alone, self.computed = pooled, alone, computed


def trial(rng: np.random.Generator, shift: float, *, moved: int = MODELS) -> Seen:
    """One shop; the first `moved` models shift."""
    n = A_DAY * (QUIET + AFTER)
    models = tuple(f"M{k}" for k in range(MODELS))
    model, person = rng.integers(0, MODELS, n), rng.integers(0, PEOPLE, n)
    day = np.arange(n) // A_DAY
    hours = day // 5 * 168.0 + day % 5 * 24.0 + np.arange(n) % A_DAY * (8.0 / A_DAY)
    x = rng.normal(size=n) + shift * ((day >= QUIET) & (person == 0) & (model < moved))
    names = np.array(models, dtype=object)[model]
    who = np.array([f"T{k}" for k in range(PEOPLE)], dtype=object)[person]
    made = snapshot(shop(models), {("relief", ""): x}, model=names, setter=who, hours=hours)
    judged = made.once(signals)
    assert judged is not None
    mine = (pl.col("over") == "setter") & (pl.col("tech") == "T0")
    one = (pl.col("over") == "") & pl.col("tech").is_in(["", "T0"])
    return Seen(_days(judged, mine), _days(judged, one), _computed(judged, shift * moved / MODELS))


def _days(judged: Signals, which: pl.Expr) -> float:
    """Working days from the start of the shift to the first opening upward since then."""
    begun = START + (QUIET // 5 * 7 + QUIET % 5) * DAY
    rows = judged.openings.filter(which & (pl.col("side") > 0) & (pl.col("opened_at") >= begun))
    if rows.is_empty():
        return float("nan")
    gone = (rows.sort("opened_at")["opened_at"][0] - begun) / DAY
    return float(gone // 7 * 5 + min(gone % 7, 5))


def _computed(judged: Signals, shift: float) -> float:
    charts, fired = judged.charts, judged.fired
    assert charts is not None
    assert fired is not None
    row = charts.rows.with_row_index().filter((pl.col("over") == "setter") & (pl.col("tech") == "T0"))["index"][0]
    last = int(np.append(charts.starts[1:], len(charts.reading))[row]) - 1
    width = fired.half[last] / charts.sigma[row] / np.sqrt(0.1 / 1.9)
    return float(ewma_arls(width, shift / charts.sigma[row], weight=0.1, start="steady")) / (A_DAY / PEOPLE)


def main() -> None:
    """Write the result beside this script."""
    lines = [(__doc__ or "").split("\n\n", 1)[1]]
    lines += ["| sigma | models | shops | over models, median (mean) | computed | one model's charts, median |"]
    lines += ["|---|---|---|---|---|---|"]
    for number, (shift, moved) in enumerate(((0.75, 10), (1.0, 10), (1.5, 3))):
        rng = np.random.default_rng([SEED, number])
        found = [trial(rng, shift, moved=moved) for _ in range(40)]
        pooled, alone, computed = (
            np.array([getattr(one, name) for one in found]) for name in ("pooled", "alone", "computed")
        )
        unseen = f", {np.isnan(pooled).sum()} not seen" if np.isnan(pooled).any() else ""
        late = np.where(np.isnan(alone), AFTER, alone)
        lines.append(
            f"| {shift} | {moved} | {len(found)} | {np.nanmedian(pooled):.1f} ({np.nanmean(pooled):.1f}){unseen} | "
            f"{computed.mean():.1f} | {np.median(late):.1f} |"
        )
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

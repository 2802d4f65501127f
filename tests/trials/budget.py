"""Does the false-signal budget hold: python -m tests.trials.budget

200 shops in control, 150 streams each, limits from each stream's first 100 readings, then 12 weeks of 10 readings a
stream and week. What is counted are openings in those 12 weeks, in which all limits are complete; streams, charts,
independence, budget, the law of the shop's own residuals and the life of signals are the shop's own functions, fed with
streams laid end to end in place of logs. A shop is all-tech streams of five characteristics, 30 streams each. Unequal
setters: half of a stream's readings spread twice as far as the other half.
"""

from collections.abc import Callable

import numpy as np
import polars as pl
from scipy.signal import lfilter

from analysis.methods.autocorrelation import sigma_factor
from analysis.methods.segments import Floats, Ints
from analysis.methods.variables import spread
from analysis.studies.drift.budget import budget
from analysis.studies.drift.independence import correlations, stretches
from analysis.studies.drift.readings import Readings
from analysis.studies.drift.signals import coarse_streams
from analysis.studies.drift.streams import Eras, Streams
from analysis.studies.drift.watching import fire_average, joined, stream_charts
from analysis.studies.drift.widths import laws_of, residuals, widths
from tests.analysis.studies.drifting import shop
from tests.trials.written import write

SEED = 20281203
SHOPS, STREAMS, WEEKS, PER_WEEK, BASELINE = 200, 150, 12, 10, 100
BUDGETS = (0.5, 1.0, 3.0)
Draw = Callable[[np.random.Generator, int, int], Floats]


def normal(rng: np.random.Generator, s: int, n: int) -> Floats:
    return rng.normal(size=(s, n))


def rounded(rng: np.random.Generator, s: int, n: int) -> Floats:
    """Normal readings of streams with any centre, read to half a sigma."""
    return np.round(2 * (rng.normal(size=(s, n)) + rng.uniform(0, 1, (s, 1)))) / 2


def followed(rng: np.random.Generator, s: int, n: int) -> Floats:
    """Each reading resembles the one before: lag-1 correlation 0.3."""
    noise = rng.normal(size=(s, n)) * np.sqrt(1 - 0.09)
    noise[:, 0] /= np.sqrt(1 - 0.09)
    return np.asarray(lfilter([1.0], [1.0, -0.3], noise, axis=1))


def unequal(rng: np.random.Generator, s: int, n: int) -> Floats:
    """Of two setters in turn by chance, one with twice the spread of the other."""
    return np.asarray(rng.normal(size=(s, n)) * np.where(rng.random((s, n)) < 0.5, 1.0, 2.0) / np.sqrt(2.5))


def t5(rng: np.random.Generator, s: int, n: int) -> Floats:
    return np.asarray(rng.standard_t(5, size=(s, n)) / np.sqrt(5 / 3))


def gamma4(rng: np.random.Generator, s: int, n: int) -> Floats:
    return np.asarray((rng.gamma(4.0, size=(s, n)) - 4) / 2)


LAWS: dict[str, tuple[Draw, float | None]] = {
    "normal": (normal, None),
    "rounded to half a sigma": (rounded, 0.5),
    "lag-1 correlation 0.3": (followed, None),
    "unequal setters": (unequal, None),
    "t5": (t5, None),
    "gamma(4)": (gamma4, None),
}


def laid(values: Floats, step: float | None) -> Streams:
    """Streams in memory, as analysis.studies.drift.streams makes them of logs."""
    s, n = values.shape
    starts: Ints = np.arange(s, dtype=np.int64) * n
    flat = np.ascontiguousarray(values.ravel())
    own = spread(flat, starts, baseline=BASELINE)
    rows = pl.DataFrame(
        {
            "characteristic": [f"c{k % 5}" for k in range(s)],
            "position": [""] * s,
            "model": [f"M{k}" for k in range(s)],
            "stage": ["final"] * s,
            "tech": [""] * s,
            "n": np.full(s, n),
            "step": pl.Series([step] * s, dtype=pl.Float64()),
        }
    )
    taken = pl.Series(np.tile(np.arange(n), s)).cast(pl.Datetime("us", "UTC"))
    readings = pl.DataFrame({"set_by": pl.repeat("", s * n, eager=True), "taken_at": taken})
    eras = Eras(
        starts, np.arange(s), own.centre, own.sigma, own.n, np.full(s, BASELINE), starts, np.zeros(s, dtype=np.bool_)
    )
    return Streams(rows, Readings.of(readings, np.repeat(np.arange(s), n), rows["tech"]), flat, starts, own, eras)


def openings_a_week(
    rng: np.random.Generator, law: str, allowed: tuple[float, ...], *, shops: int
) -> dict[float, list[float]]:
    """Mean openings a week of each shop under each budget."""
    draw, step = LAWS[law]
    made = shop()
    n = BASELINE + WEEKS * PER_WEEK
    week = np.tile(np.arange(n) // PER_WEEK, STREAMS)
    ids = np.repeat(np.arange(STREAMS), n)
    found: dict[float, list[float]] = {one: [] for one in allowed}
    for _ in range(shops):
        held = laid(draw(rng, STREAMS, n), step)
        for one in allowed:
            rates = budget(one, ids, week, np.zeros(STREAMS, dtype=np.int64), relimited=np.zeros(0, dtype=np.int64))
            arl = STREAMS * PER_WEEK / one
            stretch = stretches(held, arl=arl)
            charts = joined([stream_charts(held, made, coarse=coarse_streams(held), stretch=stretch, budgeted=True)])
            beyond = stretch / np.where(stretch > 1, sigma_factor(correlations(held)), 1.0)
            laws = laws_of(residuals(charts, week, None, beyond), rates, 0.1)
            width = widths(charts, rates.at(week[charts.reading]), rates, 0.1, laws)
            _, lived = fire_average(charts, weight=0.1, width=width)
            found[one].append(len(lived.opened) / WEEKS)
    return found


def main() -> None:
    lines = [(__doc__ or "").split("\n\n", 1)[1]]
    lines += [
        "| readings | budget a week | mean openings a week | of the budget | standard error |",
        "|---|---|---|---|---|",
    ]
    for number, law in enumerate(LAWS):
        found = openings_a_week(np.random.default_rng([SEED, number]), law, BUDGETS, shops=SHOPS)
        for allowed, means in found.items():
            mean, error = float(np.mean(means)), float(np.std(means) / np.sqrt(len(means)))
            lines.append(f"| {law} | {allowed} | {mean:.3f} | {mean / allowed:.3f} | {error / allowed:.3f} |")
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

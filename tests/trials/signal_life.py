"""How long signals stay open and how soon a return is seen: python -m tests.trials.signal_life

Charts of averages, weight 0.1, limits from 100 readings for one false signal in 8,000: 100 quiet readings after the
baseline, then a shift that lasts, then 200 readings back at the baseline. Open: the share of readings from the
first opening inside the shift to its end at which a signal is open. Signals: rows a chart over all, where one that
opens again in the same direction goes on. Back: readings from the end of the shift to the closing of what was open
then.
"""

import numpy as np

from analysis.methods.allowance import ewma_width
from analysis.methods.signal_life import Lives, lives
from tests.trials.false_signals import baseline_limits
from tests.trials.written import write

SEED = 20270301
BASELINE, QUIET, AFTER, ARL = 100, 100, 200, 8000.0
SHIFTS, LASTS = (0.5, 0.75, 1.0, 1.5, 3.0), (60, 200)


class Seen:
    """Of the charts that opened while the shift lasted."""

    def __init__(self, share: float, opened: float, delay: float, rows: float, back: float, slow: float) -> None:
        self.share, self.opened, self.delay, self.rows, self.back, self.slow = share, opened, delay, rows, back, slow


def trial(rng: np.random.Generator, shift: float, lasts: int, *, charts: int) -> Seen:
    """Charts with a shift of so many sigma that lasts so many readings."""
    n = QUIET + lasts + AFTER
    x = rng.normal(size=(charts, BASELINE + n))
    x[:, BASELINE + QUIET : BASELINE + QUIET + lasts] += shift
    centre, sigma = baseline_limits(x[:, :BASELINE])
    z = ((x - centre[:, None]) / sigma[:, None])[:, BASELINE:]
    width = np.full(charts * n, ewma_width(ARL, baseline=BASELINE))
    found = lives(z.ravel(), np.arange(charts) * n, begin=np.zeros(charts, dtype=np.int64), width=width)
    is_open = opened_at_each(found, charts, n)
    during = is_open[:, QUIET : QUIET + lasts]
    seen = np.flatnonzero(during.any(axis=1))
    first = during[seen].argmax(axis=1)
    share = np.mean([during[chart, at:].mean() for chart, at in zip(seen, first, strict=True)])
    still = is_open[is_open[:, QUIET + lasts - 1], QUIET + lasts :]
    back = np.where(still.all(axis=1), AFTER, (~still).argmax(axis=1))
    rows = np.mean(signals_a_chart(found, charts)[seen])
    return Seen(
        float(share),
        len(seen) / charts,
        float(np.median(first)),
        float(rows),
        float(np.median(back)),
        float(back.mean()),
    )


def opened_at_each(found: Lives, charts: int, n: int) -> np.ndarray:
    """Is a signal open at each reading, shape (charts, n)."""
    change = np.zeros(charts * n + 1)
    np.add.at(change, found.opened, 1)
    np.add.at(change, np.where(found.closed >= 0, found.closed + 1, (found.segment + 1) * n), -1)
    return (np.cumsum(change)[:-1] > 0).reshape(charts, n)


def signals_a_chart(found: Lives, charts: int) -> np.ndarray:
    """Signals of each chart; one that opens again in the same direction goes on (all within thirteen weeks here)."""
    order = np.lexsort((found.opened, found.segment))
    segment, side = found.segment[order], found.side[order]
    fresh = np.append(True, (np.diff(segment) > 0) | (np.diff(side) != 0))[: len(segment)]
    return np.bincount(segment[fresh], minlength=charts)


def in_control(rng: np.random.Generator, arl: float, readings: int, *, charts: int) -> tuple[float, float]:
    """Openings over the wished ones, and the mean number of readings that one stays open."""
    x = rng.normal(size=(charts, BASELINE + readings))
    centre, sigma = baseline_limits(x[:, :BASELINE])
    z = ((x - centre[:, None]) / sigma[:, None])[:, BASELINE:]
    width = np.full(charts * readings, ewma_width(arl, baseline=BASELINE))
    found = lives(z.ravel(), np.arange(charts) * readings, begin=np.zeros(charts, dtype=np.int64), width=width)
    ends = np.where(found.closed >= 0, found.closed, (found.segment + 1) * readings)
    return len(found.opened) * arl / (charts * readings), float((ends - found.opened).mean())


def main() -> None:
    """Write the results beside this script."""
    lines = [(__doc__ or "").split("\n\n", 1)[1]]
    lines += ["| sigma | lasts | seen | median delay | open | signals | back, median | back, mean |"]
    lines += ["|---|---|---|---|---|---|---|---|"]
    for number, (shift, lasts) in enumerate((shift, lasts) for shift in SHIFTS for lasts in LASTS):
        one = trial(np.random.default_rng([SEED, number]), shift, lasts, charts=4000)
        told = f"{one.share:.3f} | {one.rows:.2f} | {one.back:.0f} | {one.slow:.0f}"
        lines.append(f"| {shift} | {lasts} | {one.opened:.2f} | {one.delay:.0f} | {told} |")
    lines += ["", "In control, 120 and 520 readings after the baseline:", ""]
    lines += ["| one in | readings | openings / wished | stays open, mean |", "|---|---|---|---|"]
    for number, (arl, readings) in enumerate(((8000.0, 120), (8000.0, 520), (1500.0, 120), (200.0, 120))):
        charts = 40_000 if readings == 120 else 10_000
        ratio, lasts_for = in_control(np.random.default_rng([SEED, 100 + number]), arl, readings, charts=charts)
        lines.append(f"| {arl:.0f} | {readings} | {ratio:.2f} | {lasts_for:.0f} |")
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

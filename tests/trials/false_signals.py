"""Mean false-signal rate of charts whose limits come from a baseline, against the promise: python -m
tests.trials.false_signals

An opening is a firing with no signal open; a signal closes at the 20th reading in a row without a firing. Readings in
control: normal, and by other laws of sd 1 to see what the promise is worth there.
"""

from collections.abc import Callable

import numpy as np
from scipy.signal import lfilter
from scipy.special import ndtr
from scipy.stats import gamma
from scipy.stats import t as student

from analysis.methods.allowance import ewma_spread, ewma_width, individuals_rate, individuals_width
from analysis.methods.autocorrelation import ewma_widening
from analysis.methods.constants import d2
from analysis.methods.segments import Floats
from analysis.methods.weighted import ewma
from tests.trials.written import write

SEED = 20261202
QUIET = 20
Draw = Callable[[np.random.Generator, int, int], Floats]
Tail = Callable[[Floats, Floats], Floats]


def normal(rng: np.random.Generator, streams: int, n: int) -> Floats:
    return rng.normal(size=(streams, n))


def rounded(rng: np.random.Generator, streams: int, n: int) -> Floats:
    return np.asarray(np.round(rng.normal(size=(streams, n)) * 2) / 2)


def t5(rng: np.random.Generator, streams: int, n: int) -> Floats:
    return np.asarray(rng.standard_t(5, size=(streams, n)) / np.sqrt(5 / 3))


def gamma4(rng: np.random.Generator, streams: int, n: int) -> Floats:
    return (rng.gamma(4, size=(streams, n)) - 4) / 2


def autoregressive(phi: float) -> Draw:
    def draw(rng: np.random.Generator, streams: int, n: int) -> Floats:
        noise = rng.normal(size=(streams, n)) * np.sqrt(1 - phi**2)
        noise[:, 0] /= np.sqrt(1 - phi**2)
        return np.asarray(lfilter([1.0], [1.0, -phi], noise, axis=1))

    return draw


TAILS: dict[str, tuple[Draw, Tail]] = {  # chance of one reading outside, exactly, given the limits
    "normal": (normal, lambda low, high: ndtr(low) + ndtr(-high)),
    "rounded to half a sigma": (
        rounded,
        lambda low, high: ndtr(np.ceil(2 * low) / 2 - 0.25) + ndtr(-np.floor(2 * high) / 2 - 0.25),
    ),
    "t5": (t5, lambda low, high: student.cdf(low * np.sqrt(5 / 3), 5) + student.sf(high * np.sqrt(5 / 3), 5)),
    "gamma(4)": (gamma4, lambda low, high: gamma.cdf(2 * low + 4, 4) + gamma.sf(2 * high + 4, 4)),
}


def baseline_limits(x: Floats) -> tuple[Floats, Floats]:
    """Mean and mean moving range / d2 of each row."""
    return x.mean(axis=1), np.abs(np.diff(x, axis=1)).mean(axis=1) / d2(2)


def individuals(rng: np.random.Generator, law: str, *, width: float, baseline: int, streams: int) -> float:
    """Mean false-signal rate of single readings over estimated limits."""
    draw, tail = TAILS[law]
    centre, sigma = baseline_limits(draw(rng, streams, baseline))
    return float(tail(centre - width * sigma, centre + width * sigma).mean())


def average(
    rng: np.random.Generator, draw: Draw, *, width: float, baseline: int, streams: int, readings: int
) -> tuple[float, float]:
    """Openings a reading of an EWMA with weight 0.1 over estimated limits, and its standard error between streams."""
    counts: list[Floats] = []
    for first in range(0, streams, 1000):
        some = min(1000, streams - first)
        x = draw(rng, some, baseline + readings)
        centre, sigma = baseline_limits(x[:, :baseline])
        beyond = ewma(
            x[:, baseline:].ravel(), np.arange(some) * readings, centre=centre, sigma=sigma, width=width
        ).beyond
        fired = np.flatnonzero(beyond)
        stream = fired // readings
        opens = np.append(True, (np.diff(fired) > QUIET) | (np.diff(stream) > 0))[: len(fired)]
        counts.append(np.bincount(stream[opens], minlength=some) / readings)
    rates = np.concatenate(counts)
    return float(rates.mean()), float(rates.std() / np.sqrt(streams))


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        "Single readings, limits meant for 1 false signal in 7,000; mean rate over 200,000 baselines / promise:",
        "",
    ]
    lines += ["| law | baseline | 3.8 sigma, no allowance (computed) | with the allowance |", "|---|---|---|---|"]
    promise = individuals_rate(3.8, baseline=None)
    for law in TAILS:
        for baseline in (50, 100, 200):
            naive = individuals(rng, law, width=3.8, baseline=baseline, streams=200_000) / promise
            allowed = (
                individuals(
                    rng,
                    law,
                    width=individuals_width(1 / promise, baseline=baseline),
                    baseline=baseline,
                    streams=200_000,
                )
                / promise
            )
            lines.append(
                f"| {law} | {baseline} | {naive:.2f} ({individuals_rate(3.8, baseline=baseline) / promise:.2f}) | "
                f"{allowed:.3f} |"
            )
    lines += [
        "",
        "EWMA, weight 0.1, exact limits, 20,000 streams of 2,000 readings after the baseline; openings / promise +- "
        "standard error:",
        "",
    ]
    lines += ["| law | 1 in | baseline | width | openings / promise |", "|---|---|---|---|---|"]
    laws: list[tuple[str, Draw, float]] = [(law, draw, 0.0) for law, (draw, _) in TAILS.items()]
    laws += [(f"lag-1 correlation {phi}, limits widened", autoregressive(phi), phi) for phi in (0.15, 0.3, 0.5)]
    for law, draw, phi in laws:
        for arl in (500.0, 8000.0):
            for baseline in (50, 100, 200):
                if law != "normal" and (baseline != 100 or arl == 500.0):
                    continue
                width = ewma_width(arl, baseline=baseline) * ewma_widening(phi, arl=arl)
                rate, error = average(rng, draw, width=width, baseline=baseline, streams=20_000, readings=2000)
                lines.append(
                    f"| {law} | {arl:.0f} | {baseline} | {width:.3f} | {rate * arl:.3f} +- {error * arl:.3f} |"
                )
    lines += [
        "",
        "One stream's own in-control run length, EWMA meant for 1 in 8,000 as a mean, quantiles 5, 25, 50, 75, 95 % "
        "of streams:",
        "",
    ]
    for baseline in (50, 100, 200):
        spread = ewma_spread(ewma_width(8000.0, baseline=baseline), baseline=baseline)
        lines.append(f"- baseline {baseline}: " + ", ".join(f"{value:,.0f}" for value in spread))
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

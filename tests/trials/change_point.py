"""Does the set of likely starts cover the true one: python -m tests.trials.change_point

A stream runs in control for a baseline of 100 readings and up to 300 more, then steps (or drifts) until its EWMA
signals; the set is worked out at that reading, with the sigma of the baseline.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.methods.allowance import ewma_delay, ewma_width
from analysis.methods.change_point import drift, step
from analysis.methods.constants import d2
from analysis.methods.segments import Floats, Ints
from analysis.methods.weighted import ewma
from tests.trials.written import write

SEED = 20261206
BASELINE, MOST_BEFORE = 100, 300


@dataclass(frozen=True)
class Signalled:
    values: Floats  # streams cut after the signalling reading
    starts: Ints  # (s,)
    sigma: Floats  # (s,)
    change: Ints  # (s,) index in values of the first changed reading
    delay: Ints  # (s,) readings from the change to the signal, itself included


def signalled(
    rng: np.random.Generator, size: float, *, runs: int, kind: Literal["step", "drift"], width: float, after: int = 0
) -> Signalled:
    """Streams whose EWMA signalled after the change and not before it; `after` readings more than the signalling
    one.
    """
    tail = 2000
    n = BASELINE + MOST_BEFORE + tail
    x = rng.normal(size=(runs, n))
    before = BASELINE + rng.integers(0, MOST_BEFORE, size=runs)
    since = np.arange(n)[None, :] - before[:, None] + 1
    x += np.where(since > 0, size if kind == "step" else size * since, 0.0)
    centre, sigma = x[:, :BASELINE].mean(axis=1), np.abs(np.diff(x[:, :BASELINE], axis=1)).mean(axis=1) / d2(2)
    fired = ewma(
        x.ravel(), np.arange(runs) * n, centre=centre, sigma=sigma, width=width, begin=BASELINE
    ).beyond.reshape(runs, n)
    at = fired.argmax(axis=1)
    kept = fired.any(axis=1) & (at >= before) & (at + after < n)
    ends = at[kept] + 1 + after
    starts = np.cumsum(ends) - ends
    values = np.concatenate([row[:end] for row, end in zip(x[kept], ends, strict=True)])
    return Signalled(values, starts, sigma[kept], starts + before[kept], at[kept] - before[kept] + 1)


def coverage(data: Signalled, kind: Literal["step", "drift"], *, after: int = 0) -> tuple[float, float, float]:
    """Share of streams whose change is a member, share within first and last member, mean number of members."""
    last = np.append(data.starts[1:], len(data.values)) - 1 - after
    result = (step if kind == "step" else drift)(data.values, data.starts, sigma=data.sigma, end=last, members=True)
    assert result.likely is not None
    between = (result.low <= data.change) & (data.change <= result.high)
    return (
        float(result.likely[data.change].mean()),
        float(between.mean()),
        float(result.likely.sum() / len(data.starts)),
    )


def profile_coverage(data: Signalled) -> float:
    """The share for a step with sigma estimated beside the means, -n/2 log(residual sum of squares), straight from the
    definition.
    """
    ends = np.append(data.starts[1:], len(data.values))
    covered = 0
    for start, end, change in zip(data.starts, ends, data.change, strict=True):
        off = data.values[start:end] - data.values[start:end].mean()
        n, k = end - start, np.arange(1, end - start)
        between = np.cumsum(off)[:-1] ** 2 * n / (k * (n - k))
        likelihood = -0.5 * n * np.log1p(-between / (off @ off))
        covered += bool(likelihood[change - start - 1] >= likelihood.max() - 3.0)
    return covered / len(data.starts)


def main() -> None:
    rng, width = np.random.default_rng(SEED), ewma_width(8000.0, baseline=BASELINE)
    lines = [
        f"Limits from {BASELINE} readings, EWMA width {width:.3f}; 4,000 streams a row, less those that signalled too "
        "early.",
        "",
    ]
    lines += [
        "| change | readings after | streams | mean delay (computed) | covered | between first and last | members | "
        "sigma estimated: covered |"
    ]
    lines += ["|---|---|---|---|---|---|---|---|"]
    for size in (0.5, 0.75, 1.0, 1.5, 2.0, 3.0):
        for after in (0, 30):
            data = signalled(rng, size, runs=4000, kind="step", width=width, after=after)
            members, between, length = coverage(data, "step", after=after)
            other = f"{profile_coverage(data):.3f}" if after == 0 else ""
            delay = f"{data.delay.mean():.1f} ({ewma_delay(size, width, baseline=BASELINE):.1f})"
            first = f"| step of {size} sigma | {after} | {len(data.starts)} | {delay}"
            lines.append(f"{first} | {members:.3f} | {between:.3f} | {length:.1f} | {other} |")
    for slope in (0.01, 0.03, 0.1):
        data = signalled(rng, slope, runs=4000, kind="drift", width=width)
        members, between, length = coverage(data, "drift")
        first = f"| slope of {slope} sigma a reading | 0 | {len(data.starts)} | {data.delay.mean():.1f}"
        lines.append(f"{first} | {members:.3f} | {between:.3f} | {length:.1f} | |")
    lines += [
        "",
        "How often readings without a change are called changed at alpha 0.05, 20,000 streams of each length:",
        "",
    ]
    for n in (30, 100, 1000):
        x, starts = rng.normal(size=20_000 * n), np.arange(20_000) * n
        lines.append(
            f"- {n} readings: step {step(x, starts, sigma=1.0).found.mean():.4f}, slope "
            f"{drift(x, starts, sigma=1.0).found.mean():.4f}"
        )
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

"""How long all charts of a large store take, next to a bare group-by and to the loop one would write first.

Run by hand: `python -m tests.benchmarks.charts [READINGS] [STREAMS]`. Every side has its own process and is timed best
of five; what counts are the ratios within one run. Wanted: at most 4 bare group-bys, at least 30 times faster than the
loop.
"""

import resource
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pandas as pd
import polars as pl

from analysis.methods.change_point import step
from analysis.methods.pooling import instrument_means
from analysis.methods.run_rules import run_rules
from analysis.methods.segments import Floats, Ints
from analysis.methods.signal_life import lives
from analysis.methods.variables import individuals
from analysis.methods.weighted import ewma

KEYS = ["characteristic", "position", "model", "stage"]
PARTS = 5, 10, 5  # positions, models, stages: the rest of the streams are characteristics


def readings(n: int, streams: int) -> tuple[Floats, Ints]:
    """Streams of unequal length, steady but for every tenth, which steps up by a sigma halfway."""
    rng = np.random.default_rng(20_260_101)
    stream = np.sort(rng.integers(0, streams, n))
    starts = np.searchsorted(stream, np.arange(streams))
    values = rng.normal(0.25, 0.03, n)
    size = np.diff(starts, append=n)
    half = np.arange(n) - np.repeat(starts, size) > np.repeat(size // 2, size)
    values[half & (stream % 10 == 0)] += 0.03
    return values, starts


def frame(n: int, streams: int) -> pl.DataFrame:
    """The same readings under four text keys, stream after stream."""
    values, starts = readings(n, streams)
    positions, models, stages = PARTS
    number = np.repeat(np.arange(streams), np.diff(starts, append=n))
    names = {
        "characteristic": number // (positions * models * stages),
        "position": number // (models * stages) % positions,
        "model": number // stages % models,
        "stage": number % stages,
    }
    text = [
        pl.Series(key, [f"{key} {i}" for i in range(int(part.max()) + 1)]).gather(part) for key, part in names.items()
    ]
    return pl.DataFrame([*text, pl.Series("value", values)])


def best(work: Callable[[], object], times: int = 5) -> float:
    took = []
    for _ in range(times):
        begun = time.perf_counter()
        work()
        took.append(time.perf_counter() - begun)
    return min(took)


def peak() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20


def ours(n: int, streams: int) -> dict[str, float]:
    values, starts = readings(n, streams)
    chart = individuals(values, starts)
    line = {"centre": chart.centre, "sigma": chart.sigma}
    size = np.diff(starts, append=n)
    begin = np.full(streams, 100)
    width = np.full(n, 3.4)
    # an instrument is read at all positions of a characteristic; four people and three gauges
    # models and stages in turn: the next instrument of each, then the one after it
    place, among = np.arange(n) - np.repeat(starts, size), np.arange(streams) % (PARTS[1] * PARTS[2])
    instrument = place * (PARTS[1] * PARTS[2]) + np.repeat(among, size)
    characteristic = np.repeat(np.arange(streams) // (PARTS[0] * PARTS[1] * PARTS[2]), size)
    codes = (characteristic, characteristic * 4 + instrument % 4, characteristic * 3 + instrument % 3)

    def in_sigmas(centre: Floats, sigma: Floats) -> Floats:
        return (values - np.repeat(centre, size)) / np.repeat(sigma, size)

    def lived(centre: Floats, sigma: Floats) -> None:
        lives(in_sigmas(centre, sigma), starts, begin=begin, width=width)

    def pooled(centre: Floats, sigma: Floats) -> None:
        z = in_sigmas(centre, sigma)
        for code in codes:
            points = instrument_means(z, code, instrument)
            begins = np.flatnonzero(np.diff(points.chart, prepend=-1))
            lives(
                points.mean, begins, begin=np.zeros(len(begins), dtype=np.int64), width=np.full(len(points.mean), 3.4)
            )

    def everything() -> None:
        limits = individuals(values, starts)
        run_rules(values, starts, centre=limits.centre, sigma=limits.sigma)
        lived(limits.centre, limits.sigma)
        pooled(limits.centre, limits.sigma)
        step(values, starts, sigma=limits.sigma)

    return {
        "limits": best(lambda: individuals(values, starts)),
        "eight rules": best(lambda: run_rules(values, starts, **line)),
        "EWMA": best(lambda: ewma(values, starts, **line)),
        "signals of averages": best(lambda: lived(chart.centre, chart.sigma)),
        "pooled charts": best(lambda: pooled(chart.centre, chart.sigma)),
        "change point": best(lambda: step(values, starts, sigma=chart.sigma)),
        "all charts": best(everything),
        "peak": peak(),
    }


def bare(n: int, streams: int) -> dict[str, float]:
    table = frame(n, streams)
    seconds = best(
        lambda: table.group_by(KEYS).agg(pl.col("value").mean().alias("mean"), pl.col("value").std().alias("std"))
    )
    return {"Polars group_by": seconds, "peak": peak()}


def one_stream(x: pd.Series) -> pd.Series:
    """What the loop does for one stream, as a careful pandas user would write it."""
    centre, sigma = x.mean(), x.diff().abs().mean() / 1.128
    z = (x - centre) / sigma
    moved = x.diff()
    counts = {
        "beyond": (z.abs() > 3).sum(),
        "one side": sum(((side * z > 0).rolling(9).sum() == 9).sum() for side in (1, -1)),
        "climb": sum(((side * moved > 0).rolling(5).sum() == 5).sum() for side in (1, -1)),
        "sawtooth": ((moved * moved.shift() < 0).rolling(12).sum() == 12).sum(),
        "two of three": sum(
            ((side * z > 2) & ((side * z > 2).rolling(3, min_periods=1).sum() >= 2)).sum() for side in (1, -1)
        ),
        "four of five": sum(
            ((side * z > 1) & ((side * z > 1).rolling(5, min_periods=1).sum() >= 4)).sum() for side in (1, -1)
        ),
        "hugging": ((z.abs() <= 1).rolling(15).sum() == 15).sum(),
        "avoiding": ((z.abs() > 1).rolling(8).sum() == 8).sum(),
    }
    average = z.ewm(alpha=0.1, adjust=False).mean()
    place = pd.Series(np.arange(1, len(x) + 1), index=x.index)
    counts["average"] = (average.abs() > 3 * np.sqrt(0.1 / 1.9 * (1 - 0.9 ** (2 * place)))).sum()
    likelihood = (z.cumsum() ** 2 * len(x) / (2 * place * (len(x) - place).clip(lower=1))).iloc[:-1]
    counts["step"] = likelihood.argmax()
    counts["likely"] = (likelihood > likelihood.max() - 3).sum()
    return pd.Series(counts)


def loop(n: int, streams: int) -> dict[str, float]:
    table = pd.DataFrame({name: column.to_numpy() for name, column in frame(n, streams).to_dict().items()})
    seconds = best(lambda: table.groupby(KEYS)["value"].apply(one_stream), times=1)
    return {"pandas loop on a tenth": seconds, "peak": peak()}


def main(n: int = 10_000_000, streams: int = 10_000) -> None:
    rows: dict[str, float] = {}
    peaks = {}
    for side, arguments in ((ours, (n, streams)), (bare, (n, streams)), (loop, (n // 10, streams // 10))):
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
            found = pool.submit(side, *arguments).result()
        peaks[side.__name__] = found.pop("peak")
        rows |= found
    bare_seconds, all_seconds = rows["Polars group_by"], rows["all charts"]
    lines = [f"{n:,} readings in {streams:,} streams", f"{'':24}{'seconds':>10}{'group-bys':>12}"]
    lines += [f"{name:24}{seconds:10.3f}{seconds / bare_seconds:12.2f}" for name, seconds in rows.items()]
    lines += [f"loop / all charts: {10 * rows['pandas loop on a tenth'] / all_seconds:.0f}; wanted at least 30"]
    lines += [f"all charts / group-by: {all_seconds / bare_seconds:.2f}; wanted at most 4"]
    lines += ["peak memory, GiB: " + ", ".join(f"{side} {most:.2f}" for side, most in peaks.items())]
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main(*(int(word.replace("_", "")) for word in sys.argv[1:]))

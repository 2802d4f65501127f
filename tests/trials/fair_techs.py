"""Are techs of equal skill left alone whatever they are given, and one who is twice as bad seen: python -m tests.trials.fair_techs

A tech is flagged where the chance of so many send-backs, were they as the others, is below 5 % (`techs.as_many`, which allows for how well
the others' rate is known). The raw comparison holds everybody's share against the stage's, by the same 5 %.
"""

from collections.abc import Mapping

import numpy as np
import polars as pl

from analysis.studies.same_mix import expected
from analysis.studies.techs import as_many, funnel_limits
from tests.trials.written import write

SEED = 20261207
MODELS, LOTS, WEEKS, INSPECTORS = 4, 24, 16, 2
HARD = np.array([0.4, 0.8, 1.5, 4.0])  # how often work on each model comes back, about the mean
FLAG = 0.05


def shop(
    rng: np.random.Generator, visits: Mapping[str, int], *, share: float, worse: Mapping[str, float] | None = None, even: bool = False
) -> pl.DataFrame:
    """First-pass visits at one stage: {tech: how many}. Each tech has a mix of models of their own unless `even`; lots belong to models,
    lots, weeks and inspectors differ too; `share` comes back on average of an even mix, `worse` times as often from some."""
    tech = np.repeat(list(visits), list(visits.values()))
    mixes = {name: np.full(MODELS, 1 / MODELS) if even else rng.dirichlet(np.full(MODELS, 0.6)) for name in visits}
    model = np.concatenate([rng.choice(MODELS, n, p=mixes[name]) for name, n in visits.items()])
    lot = model * (LOTS // MODELS) + rng.integers(0, LOTS // MODELS, len(tech))
    week, inspector = rng.integers(0, WEEKS, len(tech)), rng.integers(0, INSPECTORS, len(tech))
    level = np.log(share * HARD / HARD.mean())[model] + rng.normal(scale=0.3, size=LOTS)[lot] + rng.normal(scale=0.2, size=WEEKS)[week]
    level = level + np.array([-0.15, 0.15])[inspector] + np.log([(worse or {}).get(name, 1.0) for name in tech])
    return pl.DataFrame({"tech": tech, "came_back": rng.random(len(tech)) < np.minimum(np.exp(level), 0.9), "model": model, "lot": lot, "week": week,
                         "inspector": inspector})  # fmt: skip


def judged(work: pl.DataFrame, techs: list[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(flagged, outside the funnel, flagged by the raw comparison, expected), each (t,)."""
    found = expected(work, techs)
    count, seen = (np.array([work.filter(pl.col("tech") == name)["came_back"].sum() for name in techs]), np.array([
        work.filter(pl.col("tech") == name).height for name in techs]))  # fmt: skip
    low, high = funnel_limits(count.astype(float), found.count, found.variance)
    rest, rest_seen = work["came_back"].sum() - count, work.height - seen
    raw = as_many(count.astype(float), rest * seen / rest_seen, rest * (seen / rest_seen) ** 2)
    ratio = count / found.count
    return as_many(count.astype(float), found.count, found.variance) < FLAG, (ratio < low) | (ratio > high), raw < FLAG, found.count


def equal(rng: np.random.Generator, *, techs: int, visits: int, share: float, runs: int) -> tuple[float, float, float]:
    """Shares of techs of equal skill that are flagged, outside the funnel, and flagged raw."""
    names = [f"T{k}" for k in range(techs)]
    told = [judged(shop(rng, dict.fromkeys(names, visits), share=share), names)[:3] for _ in range(runs)]
    return tuple(float(np.mean([run[k] for run in told])) for k in range(3))  # type: ignore[return-value]


def twice(
    rng: np.random.Generator, *, others: int, times: float, runs: int, expected_count: float = 12.0, share: float = 0.03
) -> tuple[float, float, float]:
    """A tech twice as bad, of whom `expected_count` send-backs are expected, among `others` who each did `times` as much: shares flagged and
    outside the funnel, mean of what was expected."""
    visits = round(expected_count / share)
    crowd = {"X": visits} | {f"T{k}": round(times * visits) for k in range(others)}
    told = [judged(shop(rng, crowd, share=share, worse={"X": 2.0}, even=True), ["X"]) for _ in range(runs)]
    return float(np.mean([run[0] for run in told])), float(np.mean([run[1] for run in told])), float(np.mean([run[3] for run in told]))


def main(runs: int = 40, runs_twice: int = 100) -> None:
    rng = np.random.default_rng(SEED)
    lines = [f"{MODELS} models that come back 1 : 2 : 4 : 10, {LOTS} lots, {WEEKS} weeks, {INSPECTORS} inspectors.", ""]
    lines += [f"Techs of equal skill, each with a mix of models of their own; at most 5 % may be flagged; {runs} stages a row:", ""]
    lines += ["| techs | visits each | share coming back | flagged | outside the funnel | raw comparison flags |", "|---|---|---|---|---|---|"]
    for techs, visits, share in ((5, 400, 0.03), (3, 400, 0.03), (2, 800, 0.03), (8, 400, 0.05)):
        flagged, outside, raw = equal(rng, techs=techs, visits=visits, share=share, runs=runs)
        lines.append(f"| {techs} | {visits} | {share:.0%} | {flagged:.3f} | {outside:.4f} | {raw:.3f} |")
    lines += ["", f"One tech twice as bad, 12 send-backs expected at the others' rate; 88 % are to be flagged; {runs_twice} stages a row:", ""]
    lines += ["| others | each did, times as much | flagged | outside the funnel | expected, mean |", "|---|---|---|---|---|"]
    for others, times in ((4, 1.0), (4, 4.0), (1, 1.0), (1, 4.0), (1, 10.0), (1, 30.0)):
        flagged, outside, count = twice(rng, others=others, times=times, runs=runs_twice)
        lines.append(f"| {others} | {times:g} | {flagged:.3f} | {outside:.3f} | {count:.1f} |")
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

"""Are techs of equal skill left alone whatever they are given, and one who is twice as bad seen: python -m
tests.trials.fair_techs

A tech is flagged where so much work that came back is more than chance and mix explain (`same_mix.Expected.p_more`
under `techs.FLAG`, or `FLAG_UNSURE` where the expectation is hardly known). The raw comparison holds everybody's share
against the stage's, by the same level. The last column is what any fair test could see at most: the best test at 5 % of
somebody who knows how hard each single visit is, given all that came back (conditional binomial, its boundary drawn by
lot; Lehmann & Romano, Testing Statistical Hypotheses, section 4.4).
"""

from collections.abc import Mapping

import numpy as np
import polars as pl
from scipy import stats

from analysis.studies.people.same_mix import expected
from analysis.studies.people.techs import FLAG, FLAG_UNSURE, funnel_limits
from tests.trials.written import write

SEED = 20261214
MODELS, LOTS, WEEKS, INSPECTORS = 4, 24, 16, 2
HARD = np.array([0.4, 0.8, 1.5, 4.0])  # how often work on each model comes back, about the mean
LEVEL = 0.05


def shop(
    rng: np.random.Generator,
    visits: Mapping[str, int],
    *,
    share: float,
    worse: Mapping[str, float] | None = None,
    even: bool = False,
) -> pl.DataFrame:
    """First-pass visits at one stage: {tech: how many}. Each tech has a mix of models of their own unless `even`; lots
    belong to models, lots, weeks and inspectors differ too; `share` comes back on average of an even mix, `worse` times
    as often from some. chance: how often such a visit comes back from the others.
    """
    tech = np.repeat(list(visits), list(visits.values()))
    mixes = {name: np.full(MODELS, 1 / MODELS) if even else rng.dirichlet(np.full(MODELS, 0.6)) for name in visits}
    model = np.concatenate([rng.choice(MODELS, n, p=mixes[name]) for name, n in visits.items()])
    lot = model * (LOTS // MODELS) + rng.integers(0, LOTS // MODELS, len(tech))
    week, inspector = rng.integers(0, WEEKS, len(tech)), rng.integers(0, INSPECTORS, len(tech))
    level = (
        np.log(share * HARD / HARD.mean())[model]
        + rng.normal(scale=0.3, size=LOTS)[lot]
        + rng.normal(scale=0.2, size=WEEKS)[week]
    )
    level = (
        level + np.array([-0.15, 0.15])[inspector] - (0.3**2 + 0.2**2 + 0.15**2) / 2
    )  # so that lots, weeks and inspectors leave the mean alone
    times = np.array([(worse or {}).get(name, 1.0) for name in tech])
    came_back = rng.random(len(tech)) < np.minimum(np.exp(level) * times, 0.9)
    return pl.DataFrame(
        {
            "tech": tech,
            "came_back": came_back,
            "model": model,
            "lot": lot,
            "week": week,
            "inspector": inspector,
            "chance": np.exp(level),
        }
    )


def judged(work: pl.DataFrame, techs: list[str]) -> np.ndarray:
    """(flagged, outside the funnel, flagged by the raw comparison, chance that the best test flags, expected) of each
    tech, shape (5, t).
    """
    found = expected(work, techs)
    own = work.group_by("tech").agg(
        pl.col("came_back").sum().alias("k"), pl.len().alias("n"), pl.col("chance").sum().alias("known")
    )
    row = {name: rest for name, *rest in own.iter_rows()}
    k, n, known = np.array([row[name] for name in techs], dtype=np.float64).T
    outside = np.zeros(len(techs), dtype=bool)
    held = found.count > 0  # where nothing of the others' came back there is no ratio
    low, high = funnel_limits(k[held], found.count[held], found.variance[held])
    outside[held] = (k[held] / found.count[held] < low) | (k[held] / found.count[held] > high)
    total = int(work["came_back"].sum())
    raw = stats.binom(total, n / work.height)
    best = stats.binom(total, known / float(work["chance"].sum()))
    drawn = np.clip((LEVEL - best.sf(k)) / best.pmf(k), 0.0, 1.0)
    level = np.where(found.variance > found.count, FLAG_UNSURE, FLAG)
    return np.array([found.p_more < level, outside, raw.sf(k) + raw.pmf(k) / 2 < FLAG, drawn, found.count])


def equal(rng: np.random.Generator, *, techs: int, visits: int, share: float, runs: int) -> np.ndarray:
    """Of `runs` stages with `techs` of equal skill each: shares flagged, outside the funnel, flagged raw; shape
    (5,).
    """
    names = [f"T{k}" for k in range(techs)]
    return np.mean(
        [judged(shop(rng, dict.fromkeys(names, visits), share=share), names).mean(axis=1) for _ in range(runs)], axis=0
    )


def twice(
    rng: np.random.Generator, *, others: int, times: float, runs: int, expected_count: float = 12.0, share: float = 0.03
) -> np.ndarray:
    """A tech twice as bad, of whom `expected_count` send-backs are expected, among `others` who each did `times` as
    much; shape (5,).
    """
    visits = round(expected_count / share)
    crowd = {"X": visits} | {f"T{k}": round(times * visits) for k in range(others)}
    return np.mean(
        [judged(shop(rng, crowd, share=share, worse={"X": 2.0}, even=True), ["X"])[:, 0] for _ in range(runs)], axis=0
    )


def main(techs_a_row: int = 2000, stages_a_row: int = 1000) -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"{MODELS} models that come back 1 : 2 : 4 : 10, {LOTS} lots, {WEEKS} weeks, {INSPECTORS} inspectors; flagged "
        f"under {FLAG:g}, under {FLAG_UNSURE:g} where what is expected is known worse than chance leaves the count.",
        "",
    ]
    lines += [
        "Techs of equal skill, each with a mix of models of their own; at most 5 % may be flagged; about "
        f"{techs_a_row:,} techs a row:",
        "",
    ]
    lines += [
        "| techs at the stage | visits each | share coming back | flagged | outside the 99.8 % funnel | raw "
        "comparison flags |"
    ]
    lines += ["|---|---|---|---|---|---|"]
    all_flagged = []
    for techs, visits, share in ((5, 400, 0.03), (3, 400, 0.03), (2, 800, 0.03), (2, 400, 0.03), (8, 400, 0.05)):
        flagged, outside, raw, _, _ = equal(rng, techs=techs, visits=visits, share=share, runs=techs_a_row // techs)
        all_flagged.append(flagged)
        lines.append(f"| {techs} | {visits} | {share:.0%} | {flagged:.3f} | {outside:.4f} | {raw:.3f} |")
    error = np.sqrt(LEVEL * (1 - LEVEL) / techs_a_row)
    lines += [
        "",
        f"A share of 5 % is known to ± {error:.3f} a row; the mean of the rows is {np.mean(all_flagged):.4f}.",
    ]
    lines += [
        "",
        f"One tech twice as bad, 12 send-backs expected at the others' rate; 88 % are to be flagged; {stages_a_row:,} "
        "stages a row:",
        "",
    ]
    lines += [
        "| others | each did, times as much | flagged | outside the 99.8 % funnel | expected, mean | the best any "
        "fair test could |"
    ]
    lines += ["|---|---|---|---|---|---|"]
    for others, times in ((4, 1.0), (4, 2.0), (4, 4.0), (1, 1.0), (1, 4.0), (1, 10.0), (1, 30.0)):
        flagged, outside, _, best, count = twice(rng, others=others, times=times, runs=stages_a_row)
        lines.append(f"| {others} | {times:g} | {flagged:.3f} | {outside:.3f} | {count:.1f} | {best:.3f} |")
    lines += [
        "",
        "Where the last column is under .88 no fair test can see 88 %: the others' work tells too little of what is "
        "usual.",
    ]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

"""Do the bounds of a tech's ratio hold 1 for techs of equal skill, specialists among them: python -m
tests.trials.ratio_bounds

Where work is shared unevenly what the others would give is known badly, and bounds that take it as known hold 1 far too
rarely. A specialist does four fifths of their work on the hardest model, of which the others did a small share or none.
"""

import numpy as np
import polars as pl

from analysis.methods.intervals import poisson_ratio
from analysis.studies.people.same_mix import expected
from analysis.studies.people.techs import FLAG, FLAG_UNSURE, ratio_limits
from tests.trials.fair_techs import HARD, INSPECTORS, LOTS, MODELS, WEEKS
from tests.trials.written import write

SEED = 20261211
OWN = np.array([0.05, 0.05, 0.10, 0.80])  # the specialist's mix, the hardest model last
ROWS = (  # techs at the stage, visits each, share coming back, share of the others' visits on the specialist's model
    (4, 400, 0.05, None),
    (4, 400, 0.05, 0.0),
    (4, 400, 0.05, 0.03),
    (4, 400, 0.05, 0.10),
    (2, 400, 0.03, None),
    (2, 400, 0.03, 0.10),
    (3, 150, 0.05, None),
    (8, 400, 0.05, 0.02),
)


def shop(
    rng: np.random.Generator, *, techs: int, visits: int, share: float, others_hard: float | None
) -> tuple[pl.DataFrame, list[str]]:
    """First-pass visits of techs of equal skill. others_hard None: a mix of models of their own each; else T0 is the
    specialist and so large a share of the others' visits is on that model.
    """
    names = [f"T{k}" for k in range(techs)]
    mixes = rng.dirichlet(np.full(MODELS, 0.6), techs)
    if others_hard is not None:
        easy = mixes[:, :-1] + 1e-9
        easy = (1 - others_hard) * easy / easy.sum(axis=1, keepdims=True)
        mixes = np.column_stack([easy, np.full(techs, others_hard)])
        mixes[0] = OWN
    model = np.concatenate([rng.choice(MODELS, visits, p=mix) for mix in mixes])
    lot = model * (LOTS // MODELS) + rng.integers(0, LOTS // MODELS, len(model))
    week, inspector = rng.integers(0, WEEKS, len(model)), rng.integers(0, INSPECTORS, len(model))
    level = np.log(share * HARD / HARD.mean())[model] + np.array([-0.15, 0.15])[inspector]
    level = level + rng.normal(scale=0.3, size=LOTS)[lot] + rng.normal(scale=0.2, size=WEEKS)[week]
    back = rng.random(len(model)) < np.minimum(np.exp(level), 0.9)
    told = {"came_back": back, "model": model, "lot": lot, "week": week, "inspector": inspector}
    return pl.DataFrame({"tech": np.repeat(names, visits)} | told), names


def held(rng: np.random.Generator, *, runs: int, **row: object) -> np.ndarray:
    """A row a tech: its place (0: the specialist), no ratio, 1 within the bounds, 1 within those that take the
    expectation as known, flagged; nan where there is no ratio; shape (runs x techs, 5).
    """
    found = []
    for _ in range(runs):
        work, names = shop(rng, **row)  # type: ignore[arg-type]
        what = expected(work, names)
        counted = dict(work.group_by("tech").agg(pl.col("came_back").sum()).iter_rows())
        back = np.array([counted[name] for name in names], dtype=np.float64)
        ok = what.count > 0
        level = np.where(what.variance > what.count, FLAG_UNSURE, FLAG)
        table = np.full((len(names), 5), np.nan)
        table[:, 0], table[:, 1] = np.arange(len(names)), ~ok
        heard = pl.DataFrame({"came_back": back[ok], "low": what.low[ok], "high": what.high[ok]})
        low, high = ratio_limits(heard, back[ok], what.count[ok], what.variance[ok])
        table[ok, 2] = (low <= 1) & (high >= 1)
        low, high = poisson_ratio(back[ok], what.count[ok])
        table[ok, 3], table[ok, 4] = (low <= 1) & (high >= 1), what.p_more[ok] < level[ok]
        found.append(table)
    return np.concatenate(found)


def main(techs_a_row: int = 800) -> None:
    rng = np.random.default_rng(SEED)
    lines = [
        f"{MODELS} models that come back 1 : 2 : 4 : 10; all techs of equal skill; about {techs_a_row:,} techs a row.",
        "Bounds are to hold 1 in 93 to 99 %; at most 5 % may be flagged.",
        "",
        "| techs | visits each | share back | others on the specialist's model | who | no ratio | bounds hold 1 | "
        "expectation taken as known | flagged |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    pooled = []
    for techs, visits, share, hard in ROWS:
        runs = techs_a_row // techs
        table = held(rng, runs=runs, techs=techs, visits=visits, share=share, others_hard=hard)
        pooled.append(table)
        for who, part in (("specialist", table[table[:, 0] == 0]), ("the others", table[table[:, 0] > 0])):
            name = "all alike" if hard is None else who
            part = table if hard is None else part
            null, within, known, flagged = (f"{x:.3f}" for x in _means(part))
            told = "their own mix" if hard is None else f"{hard:.0%}"
            lines.append(
                f"| {techs} | {visits} | {share:.0%} | {told} | {name} | {null} | {within} | {known} | {flagged} |"
            )
            if hard is None:
                break
    null, within, known, flagged = _means(np.concatenate(pooled))
    lines += [
        "",
        f"Over all: bounds hold 1 in {within:.3f}, {known:.3f} were the expectation known; {flagged:.3f} flagged.",
    ]
    write(__file__, "\n".join(lines))


def _means(table: np.ndarray) -> np.ndarray:
    ratio = table[table[:, 1] == 0]
    return np.append(table[:, 1].mean(), ratio[:, 2:].mean(axis=0) if len(ratio) else np.full(3, np.nan))


if __name__ == "__main__":
    main()

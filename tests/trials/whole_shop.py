"""Does the budget hold with every kind of chart at once: python -m tests.trials.whole_shop

Shops in control from logs in memory, through all studies: 10 models, relief and both edges of action of each set by
four people, 40 instruments a model and week, 52 weeks. All-tech charts, each person's own, people held against all
while new, short runs, charts over models of each person and each characteristic, and weekly shares count. Counted are
the openings of all weeks, and of those from week 26 on, when every baseline is complete.
"""

import numpy as np
import polars as pl

from analysis.studies.drift.signals import signals
from tests.analysis.studies.drifting import shop, snapshot
from tests.trials.written import write

SEED = 20261214
MODELS, PEOPLE, WEEKS, PER_WEEK, LATE = 10, 4, 52, 40, 26
ALLOWED = 1.0


def openings_a_week(
    rng: np.random.Generator, apart: float, *, weeks: int = WEEKS, late: int = LATE
) -> tuple[float, float, dict[str, int]]:
    """Openings a week over all weeks and over the late ones, and how many of each chart; `apart`: sigma between the
    means of the people.
    """
    n = MODELS * PER_WEEK * weeks
    models = tuple(f"M{k}" for k in range(MODELS))
    person = rng.integers(0, PEOPLE, n)
    shift = apart * (person - (PEOPLE - 1) / 2)
    columns = {key: rng.normal(size=n) + shift for key in (("relief", ""), ("action", "bass"), ("action", "treble"))}
    minute = np.arange(n) % (MODELS * PER_WEEK)
    hours = np.arange(n) // (MODELS * PER_WEEK) * 168.0 + minute * (100.0 / (MODELS * PER_WEEK))
    made = snapshot(
        shop(models, false_signals_per_week=ALLOWED),
        columns,
        model=np.array(models, dtype=object)[np.arange(n) % MODELS],
        hours=hours,
        setter=np.array([f"T{k}" for k in range(PEOPLE)], dtype=object)[person],
    )
    judged = made.once(signals)
    assert judged is not None
    told = (
        pl.when(pl.col("over") != "")
        .then(pl.format("pooled {}", "over"))
        .when(pl.col("tech") != "")
        .then(pl.format("{} of one person", "chart"))
        .otherwise("chart")
    )
    opened = judged.openings.select("opened_at", told).rows()
    start = judged.streams.readings["taken_at"].min()
    week = [(when - start).days // 7 for when, _ in opened]
    kinds: dict[str, int] = {}
    for _, kind in opened:
        kinds[kind] = kinds.get(kind, 0) + 1
    return len(opened) / weeks, sum(w >= late for w in week) / (weeks - late), kinds


def main() -> None:
    lines = [(__doc__ or "").split("\n\n", 1)[1]]
    lines += ["| people | shops | openings a week, all weeks | from week 26 on | by chart |", "|---|---|---|---|---|"]
    for number, (words, apart) in enumerate((("alike", 0.0), ("0.7 sigma apart", 0.7))):
        rng = np.random.default_rng([SEED, number])
        found = [openings_a_week(rng, apart) for _ in range(20)]
        every, late = (np.array([one[k] for one in found], dtype=np.float64) for k in (0, 1))
        kinds: dict[str, int] = {}
        for _, _, by in found:
            for kind, count in by.items():
                kinds[kind] = kinds.get(kind, 0) + count
        told = ", ".join(f"{kind} {count}" for kind, count in sorted(kinds.items()))
        cells = [f"{part.mean():.2f} +- {part.std() / np.sqrt(len(part)):.2f}" for part in (every, late)]
        lines.append(f"| {words} | {len(found)} | {cells[0]} | {cells[1]} | {told} |")
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

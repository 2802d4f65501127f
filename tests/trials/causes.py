"""Is what a shift moves together with named rightly: python -m tests.trials.causes

Shops of many models, each a run of its own: after a baseline of 100 readings and up to 100 more, readings of one level
of one candidate shift by
1.5 sigma until 60 of them have been taken. Three people set, three work at an earlier stage, lots of 40 necks come two
at a time from three suppliers, two gauges lie about, humidity wanders and after the step the air is damp for half of
the time, half a day at once. With nothing planted all readings shift. Counted are the runs in which the chart of all
has a signal open at that moment.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from analysis.studies.drift.causes import GAUGE, HUMIDITY, LOT, SET_BY, TECH_AT, all_candidates

from analysis.methods.segments import Floats
from analysis.studies.drift.signals import signals
from tests.analysis.studies.drifting import at, shop, snapshot
from tests.trials.written import write

SEED = 20261211
SIZE, AFFECTED = 1.5, 60
KINDS = (SET_BY, LOT, GAUGE, HUMIDITY, TECH_AT + "frets", "none")
STREAMS = 150  # the budget of one signal a week is that of a shop of so many streams


@dataclass(frozen=True)
class Told:
    runs: int
    signalled: int
    right: int  # the planted one is among those named
    alone: int
    any: int  # something is named


@dataclass(frozen=True)
class Run:
    values: Floats
    before: int
    columns: dict[str, npt.NDArray[np.object_]]
    rh: Floats
    level: str


def run(rng: np.random.Generator, kind: str, number: int) -> Run:
    """One model's readings with the cause planted."""
    before = 100 + int(rng.integers(20, 100))
    n = before + 400
    pick = {
        "setter": rng.choice(["T1", "T2", "T3"], n),
        "early": rng.choice(["T4", "T5", "T6"], n),
        "gauge": rng.choice(["g1", "g2"], n),
    }
    lot = (np.arange(n) // 40) * 2 + rng.integers(0, 2, n) * 1
    pick["lot"] = np.array([f"L{k}" for k in lot])
    pick["supplier"] = np.array(["S1", "S2", "S3"])[rng.integers(0, 3, lot.max() + 1)][lot]
    since = np.arange(n) >= before
    damp = since & np.repeat(rng.random(n // 4 + 1) < 0.5, 4)[:n]
    rh = np.where(damp & (kind == HUMIDITY), 62.0, 48.0) + rng.normal(0, 4, n)
    level = {SET_BY: "T1", GAUGE: "g1", TECH_AT + "frets": "T4"}.get(kind, "")
    if kind == LOT:  # a lot that is opened at the step, and lasts until 60 of its necks are through
        half = rng.random(n) < 0.5
        pick["lot"] = np.where(since & half, "bad", pick["lot"])
        pick["supplier"] = np.where(since & half, "S2", pick["supplier"])
        level, moved = "bad", since & half
    elif kind == HUMIDITY:
        moved = damp
    elif kind == "none":
        moved = since
    else:
        column = {SET_BY: "setter", GAUGE: "gauge", TECH_AT + "frets": "early"}[kind]
        moved = since & (pick[column] == level)
    end = int(np.flatnonzero(np.cumsum(moved) >= AFFECTED)[0]) + 1 if moved.sum() >= AFFECTED else n
    values = rng.normal(size=n) + SIZE * moved
    return Run(
        values[:end], before, {name: column[:end].astype(object) for name, column in pick.items()}, rh[:end], level
    )


def trial(rng: np.random.Generator, kind: str, runs: int) -> Told:
    made = [run(rng, kind, k) for k in range(runs)]
    models = tuple(f"M{k:04}" for k in range(runs))
    longest = max(len(one.values) for one in made)
    order = np.argsort(
        np.concatenate([np.arange(len(one.values)) + k / (2 * runs) for k, one in enumerate(made)]), kind="stable"
    )
    place = np.concatenate([np.arange(len(one.values)) for one in made])[order]
    base = np.array([(at(p) - at(0)).total_seconds() / 3600 for p in range(longest)])
    model = np.repeat(np.array(models, dtype=object), [len(one.values) for one in made])[order]
    hours = (
        base[place] + np.concatenate([np.full(len(one.values), k / (2 * runs)) for k, one in enumerate(made)])[order]
    )
    columns = {name: np.concatenate([one.columns[name] for one in made])[order] for name in made[0].columns}
    told = snapshot(
        shop(models, false_signals_per_week=runs / STREAMS),
        {("relief", ""): np.concatenate([one.values for one in made])[order]},
        model=model,
        hours=hours,
        rh=np.concatenate([one.rh for one in made])[order],
        **columns,
    )
    judged = told.once(signals)
    assert judged is not None
    found = judged.found
    steps = {name: at(one.before) for name, one in zip(models, made, strict=True)}
    levels = {name: one.level for name, one in zip(models, made, strict=True)}
    latest: dict[str, int] = {}
    for i, row in enumerate(found.iter_rows(named=True)):
        if (
            row["chart"] == "average"
            and row["tech"] == ""
            and row["opened_at"] >= steps[row["model"]]
            and row["closed_at"] is None
        ):
            latest[row["model"]] = i
    candidates = told.once(all_candidates)
    right = alone = some = 0
    for model_name, i in latest.items():
        named = candidates[i].named
        hit = any(c.name == kind and (c.value == levels[model_name] or kind == HUMIDITY) for c in named)
        right += hit
        alone += hit and len(named) == 1
        some += bool(named)
    return Told(runs, len(latest), right, alone, some)


def main() -> None:
    rng = np.random.default_rng(SEED)
    lines = [(__doc__ or "").split("\n\n", 1)[1]]
    lines += ["| planted | runs | open | named | alone | something named |", "|---|---|---|---|---|---|"]
    for kind in KINDS:
        told = trial(rng, kind, 500)
        share = max(told.signalled, 1)
        lines.append(
            f"| {kind} | {told.runs} | {told.signalled} | {told.right / share:.3f} | {told.alone / share:.3f} | "
            f"{told.any / share:.3f} |"
        )
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main()

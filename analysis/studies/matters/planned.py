"""A change made on purpose (changes.csv: planned = yes, target): did the readings follow, and by whose hand not."""

from datetime import date

import numpy as np

from analysis.studies.matters.explained import Explained
from analysis.studies.matters.records import CHANGE, MovesWith, Planned
from ingest.store.snapshot import Snapshot

LEAST = 10  # readings of somebody from which on it is said that they did not follow
Z95 = 1.96


def planned(snapshot: Snapshot, part: Explained, moves: MovesWith) -> Planned | None:
    """The planned change that a matter goes with: named, or begun with; None where it goes with none."""
    found = part.evidence
    named = {(one.level, one.on) for one in moves.named if one.factor == CHANGE}
    for name, row in found.changes.items():
        if row.get("planned") is not True or (row["what"], row["from_date"]) not in named:
            continue
        day = row["from_date"]
        assert isinstance(day, date)
        column = next(one.value for one in found.columns if one.name == name) != 0
        target = row.get("target")
        readings = found.rows["reading"].to_numpy()
        values = _values(snapshot)[readings]
        n = int(column.sum())
        mean, error = float(values[column].mean()), float(np.mean(found.scale)) / np.sqrt(n)
        before = float(values[~column].mean())
        aim = float(target) if isinstance(target, int | float) else None
        followed = _followed(before, mean, error, aim)
        return Planned(str(row["what"]), day, aim, mean, mean - Z95 * error, mean + Z95 * error, followed,
                       _not_by(part, column, values, before, aim, float(np.mean(found.scale))))  # fmt: skip
    return None


def _values(snapshot: Snapshot) -> np.ndarray:
    from analysis.studies.drift.streams import streams

    held = snapshot.once(streams)
    assert held is not None
    return held.values


def _followed(before: float, mean: float, error: float, target: float | None) -> bool:
    """Nearer to the target than to where it was, beyond chance; without a target: moved at all."""
    if target is None:
        return bool(abs(mean - before) > Z95 * error)
    way = float(np.sign(target - before)) or 1.0
    half = (before + target) / 2
    return bool((mean - half) * way > Z95 * error)


def _not_by(
    part: Explained, touched: np.ndarray, values: np.ndarray, before: float, target: float | None, sigma: float
) -> list[str]:
    """Who has set enough of them since and not moved; for Bench only."""
    who = part.evidence.rows["set_by"].to_numpy()
    found = []
    for tech in sorted(set(who[touched]) - {""}):
        mine = values[touched & (who == tech)]
        if len(mine) < LEAST:
            continue
        error = sigma / np.sqrt(len(mine))
        aim = target if target is not None else float(values[touched].mean())
        way = float(np.sign(aim - before)) or 1.0
        if ((before + aim) / 2 - float(mine.mean())) * way > Z95 * error:
            found.append(str(tech))
    return found

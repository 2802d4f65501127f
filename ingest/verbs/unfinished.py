"""A `restore` or `forget` that was cut short is ended by whoever comes next."""

from datetime import datetime
from pathlib import Path

from ingest.store.alone import alone, nobody_is
from ingest.verbs import forget, restore


def stands(folder: Path) -> bool:
    """Has something begun to change the folder and was cut short? Not where somebody is still at it."""
    return (restore.under_way(folder) or forget.under_way(folder)) and nobody_is(folder)


def end(folder: Path, *, now: datetime) -> list[str]:
    """End what was cut short; a line for each. Raises StoreProblem where it cannot be ended now."""
    with alone(folder):
        return _end(folder, now)


def _end(folder: Path, now: datetime) -> list[str]:
    told = []
    if restore.under_way(folder):
        restore.end_restore(folder)
        told.append("A restore that was cut short is ended now.")
    if forget.under_way(folder):
        done = forget.go_on(folder, now=now)
        told.append("A `truerun forget` that was cut short is ended now.")
        told += [f"  {line}" for line in (done.left if done else ())]
    return told

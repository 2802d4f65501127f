"""What signals of weekly shares of one stage tell together: that more, or less, comes back to it, on which models,
since when and how many.

Signals of a stage and of its models that go the same way and were there at one time tell of one thing (`together`). It
is laid to the models whose own charts signalled where the others did not rise for certain since then; and, where the
stage's chart signalled too, where the rise of the models and that of the others lie outside each other's limits.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from analysis.studies.drift.shares import Shares, Since, since


@dataclass(frozen=True)
class Told:
    """What comes back more, or less, than before, and since when."""

    models: tuple[str, ...]  # on which alone; none: on all together
    first: int  # row of its first week
    since: Since
    others: Since | None  # of the other models, where some are named
    other: str = ""  # the other model, where there is one only


def together(rows: Sequence[dict[str, Any]]) -> list[list[int]]:
    """Places of signals of shares that tell of one thing: of one stage and side, each open when the next one opened,
    oldest first.
    """
    found: list[list[int]] = []
    for place in sorted(range(len(rows)), key=lambda at: rows[at]["opened_at"]):
        row = rows[place]
        home = next((group for group in found if _beside(row, [rows[at] for at in group])), None)
        if home is None:
            found.append([place])
        else:
            home.append(place)
    return found


def _beside(row: dict[str, Any], group: list[dict[str, Any]]) -> bool:
    """Is a signal of the stage and side of these, and was one of them still open when it opened?"""
    if any(row[name] != group[0][name] for name in ("stage", "side")):
        return False
    return any(one["closed_at"] is None or one["closed_at"] > row["opened_at"] for one in group)


def told(found: Shares, rows: Sequence[dict[str, Any]], last: int | None = None) -> Told:
    """What signals that tell of one thing tell, up to a row of its stage: by those that are open, where one is.

    last : by default the last week that belongs to it.
    """
    still = [row for row in rows if row["closed_at"] is None] or list(rows)
    of_stage = found.rows["stage"] == still[0]["stage"]
    until = max(_row(found, of_stage, row["last_at"]) for row in still) if last is None else last
    first = {row["model"]: _row(found, of_stage, row["began_at"] or row["opened_at"]) for row in still}
    left = "" not in first and any(row["model"] == "" for row in rows)  # the stage is back, they are not
    named = _named(found, first, until, alone=left)
    if not named:
        start = first.get("", min(first.values()))
        return Told((), start, since(found, start, until), None)
    start = min(first[found.models[model]] for model in named)
    names = tuple(found.models[model] for model in named)
    rest = since(found, start, until, named, others=True)
    return Told(names, start, since(found, start, until, named), rest, _one_other(found, start, names))


def _named(found: Shares, first: dict[str, int], last: int, *, alone: bool) -> tuple[int, ...]:
    """The models (by number) that it is laid to; first : the first week of each signal, by its model, '' the stage;
    alone : whatever the others did.
    """
    models = tuple(sorted(found.models.index(name) for name in first if name))
    if not models:
        return ()
    start = min(row for name, row in first.items() if name)
    base = int(found.own[start])
    models = tuple(model for model in models if found.knows(base, (model,)))
    if not models or alone:
        return models or _latest(found, first)
    whole = first.get("", start)  # the others must not have risen since more came back of all
    if any(not found.knows(int(found.own[whole]), (model,)) for model in models):
        whole = start
    mine, rest = since(found, whole, last, models), since(found, whole, last, models, others=True)
    ratio, others = (one.came_back / one.expected for one in (mine, rest))
    apart = "" not in first or (mine.low > others and rest.high < ratio)
    return models if apart and rest.low <= 1 else ()


def _latest(found: Shares, first: dict[str, int]) -> tuple[int, ...]:
    """The model whose signal began last: its base knows it."""
    return (found.models.index(max((name for name in first if name), key=lambda name: first[name])),)


def _one_other(found: Shares, first: int, names: tuple[str, ...]) -> str:
    """The model that is not among these, where one only was judged in the weeks after the base."""
    every = [found.models[model] for model in found.bases[int(found.own[first])].models.every]
    others = [name for name in every if name not in names]
    return others[0] if len(others) == 1 else ""


def _row(found: Shares, of_stage: Any, when: datetime) -> int:
    """The row of a stage's week, by its first moment."""
    rows = np.flatnonzero(of_stage.to_numpy())
    return int(rows[int(found.taken.gather(rows).search_sorted(when))])

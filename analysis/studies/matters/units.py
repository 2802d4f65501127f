"""Signals by the bench they are about: one characteristic at one stage, explained over all its streams."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from analysis.studies.drift.signals import signals
from analysis.studies.drift.watching import SHARE
from analysis.studies.matters.to_usual import came_to_usual
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True, eq=False)
class Signal:
    """A row of signals.found or signals.others."""

    number: int
    table: str
    row_number: int
    row: dict[str, Any]
    unit: tuple[str, str] | None  # characteristic and stage of the readings it is about; None: of a weekly share


def every_signal(snapshot: Snapshot) -> list[Signal]:
    """All signals that open, by opening: those of streams, of pooled charts, of weekly shares. Somebody who came to
    where everybody's readings lie moved nothing.
    """
    judged = snapshot.once(signals)
    if judged is None:
        return []
    rows = [
        (values["opened_at"], name, row, values)
        for (name, frame), came in zip(
            (("found", judged.found), ("others", judged.others)), came_to_usual(judged), strict=True
        )
        for row, values in enumerate(frame.iter_rows(named=True))  # signals, not readings
        if not came[row]
    ]
    rows.sort(key=lambda one: (one[0], one[1], one[2]))
    about = [one["chart"] != SHARE and one["reading"] is not None and one["reading"] >= 0 for *_, one in rows]
    readings = [int(one["reading"]) for (*_, one), some in zip(rows, about, strict=True) if some]
    stages = iter(judged.streams.readings.at(np.array(readings, dtype=np.int64), "stage")["stage"].to_list())
    return [
        Signal(number, name, row, values, (str(values["characteristic"]), str(next(stages))) if some else None)
        for number, ((_, name, row, values), some) in enumerate(zip(rows, about, strict=True))
    ]


def by_unit(every: list[Signal]) -> dict[tuple[str, str], list[Signal]]:
    """Signals by characteristic and stage; weekly shares are left out."""
    found: dict[tuple[str, str], list[Signal]] = {}
    for one in every:
        if one.unit is not None:
            found.setdefault(one.unit, []).append(one)
    return found


def began(one: Signal) -> datetime:
    """The first moment at which it may have begun."""
    when: datetime = one.row["began_low"] or one.row["began_at"] or one.row["opened_at"]
    return when


def side_of(row: dict[str, Any]) -> int:
    """Which way a signal went: the side of its baseline on which its chart ran out. Not the sign of its size, which is
    against the readings just before: those of a chart that another signal had moved lie to the other side.
    """
    side = int(row["side"] or 0)
    return side or int(np.sign(row["size"] or 0.0)) or 1

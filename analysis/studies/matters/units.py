"""Signals by the bench they are about: one characteristic at one stage, explained over all its streams."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

import numpy as np

from analysis.studies.drift.signals import signals
from analysis.studies.drift.watching import SHARE
from analysis.studies.matters.to_usual import came_to_usual
from ingest.store.snapshot import Snapshot

BETWEEN = timedelta(weeks=1)  # so long at least readings were back, or what opened again had never been away


@dataclass(frozen=True)
class Lately:
    """When a signal opened and began: of one that came back and opened again a week or more later, its last time."""

    opened: datetime
    began: datetime
    low: datetime  # first and last likely start
    high: datetime
    before: tuple[
        tuple[datetime, datetime], ...
    ] = ()  # its times before, each since its likely start until it was back


@dataclass(frozen=True, eq=False)
class Signal:
    """A row of signals.found or signals.others."""

    number: int
    table: str
    row_number: int
    row: dict[str, Any]
    unit: tuple[str, str] | None  # characteristic and stage of the readings it is about; None: of a weekly share

    @cached_property
    def lately(self) -> Lately:
        """Its last time."""
        times: list[list[dict[str, Any]]] = []
        for one in self.row.get("each") or [self.row]:
            before = times[-1][-1]["back_at"] if times else None
            if before is not None and _start(one) - before < BETWEEN:
                times[-1].append(one)
            else:
                times.append([one])
        spells = tuple((_start(some[0]), some[-1]["back_at"]) for some in times[:-1])
        return _lately(times[-1][0], spells) if spells else self.ever

    @cached_property
    def ever(self) -> Lately:
        """All its times as one."""
        return _lately(self.row, ())


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


def _lately(opening: dict[str, Any], before: tuple[tuple[datetime, datetime], ...]) -> Lately:
    opened = opening["opened_at"]
    low, began, high = (opening[name] or opened for name in ("began_low", "began_at", "began_high"))
    return Lately(opened, began, low, high, before)


def _start(opening: dict[str, Any]) -> datetime:
    when: datetime = opening["began_at"] or opening["opened_at"]
    return when


def side_of(row: dict[str, Any]) -> int:
    """Which way a signal went: the side of its baseline on which its chart ran out. Not the sign of its size, which is
    against the readings just before: those of a chart that another signal had moved lie to the other side.
    """
    side = int(row["side"] or 0)
    return side or int(np.sign(row["size"] or 0.0)) or 1

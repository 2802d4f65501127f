"""Signals by the bench they are about: one characteristic at one stage, explained over all its streams."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.watching import SHARE
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True, eq=False)
class Signal:
    """A row of signals.found or signals.others."""

    number: int
    table: str
    row_number: int
    row: dict[str, Any]


def every_signal(snapshot: Snapshot) -> list[Signal]:
    """All signals that open, by opening: those of streams, of pooled charts, of weekly shares."""
    judged = snapshot.once(signals)
    if judged is None:
        return []
    found = []
    for name, frame in (("found", judged.found), ("others", judged.others)):
        for row, values in enumerate(frame.iter_rows(named=True)):  # signals, not readings
            found.append((values["opened_at"], name, row, values))
    found.sort(key=lambda one: (one[0], one[1], one[2]))
    return [Signal(number, name, row, values) for number, (_, name, row, values) in enumerate(found)]


def unit(judged: Signals, one: Signal) -> tuple[str, str] | None:
    """Characteristic and stage of the readings a signal is about; None for a weekly share."""
    if one.row["chart"] == SHARE or one.row["reading"] is None or one.row["reading"] < 0:
        return None
    return str(one.row["characteristic"]), str(judged.streams.readings.one("stage", int(one.row["reading"])))


def by_unit(judged: Signals, every: list[Signal]) -> dict[tuple[str, str], list[Signal]]:
    """Signals by characteristic and stage; weekly shares are left out."""
    found: dict[tuple[str, str], list[Signal]] = {}
    for one in every:
        bench = unit(judged, one)
        if bench is not None:
            found.setdefault(bench, []).append(one)
    return found


def began(one: Signal) -> datetime:
    """The first moment at which it may have begun."""
    when: datetime = one.row["began_low"] or one.row["began_at"] or one.row["opened_at"]
    return when

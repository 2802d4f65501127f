"""Signals by the bench they are about: one characteristic at one stage, explained over all its streams."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from analysis.methods.segments import Flags
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.watching import SHARE
from analysis.studies.matters.evidence import Evidence, evidence
from analysis.studies.matters.explained import Explained, Signalled, explained, narrowed
from ingest.store.snapshot import Snapshot

HINT = 0.35  # of its shift, that a signal which came back must still show to be looked at with the open ones
LEAST = 5  # readings since it came back, from which on that can be asked
SMALL = 0.25  # sigma: its shift counts as this much at least


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


def explained_unit(
    snapshot: Snapshot,
    judged: Signals,
    characteristic: str,
    stage: str,
    part: list[Signal],
    *,
    until: datetime | None = None,
    lasting: frozenset[int] = frozenset(),
) -> list[Explained] | None:
    """What explains the signals of one bench; None where the readings cannot be laid side by side.

    until : of signals that have all closed; lasting : numbers of closed ones that are looked at as if they were open
    where their readings are not quite back.
    """
    looked = [one for one in part if one.row["closed_at"] is None or until is not None or one.number in lasting]
    found = _evidence(
        snapshot, judged, characteristic, stage, None if any(_pooled(one) for one in looked) else _positions(looked)
    )
    if found is None:
        return None
    seen = [_seen(found, one, snapshot, one.row["closed_at"] is None or one.number in lasting) for one in part]
    usable = [
        replace(one, open=False) if one is not None and one.number in lasting and not _hints(found, one) else one
        for one in seen
        if one is not None
    ]
    if len(usable) < len(seen):
        return None
    last = None if until is None else day_at(found, until, snapshot)
    numbered = {one.number: one for one in part}
    every = []
    for one in explained(found, usable, until=last):
        mine = [numbered[k] for k in one.signals]
        if not any(_pooled(signal) for signal in mine) and _positions(mine) != _positions(looked):
            narrow = _evidence(snapshot, judged, characteristic, stage, _positions(mine))
            one = (
                one
                if narrow is None
                else narrowed(one, narrow, until=None if until is None else day_at(narrow, until, snapshot))
            )
        every.append(one)
    return every or None


def _pooled(one: Signal) -> bool:
    return one.table == "others"


def _positions(part: list[Signal]) -> tuple[str, ...]:
    return tuple(sorted({str(one.row["position"]) for one in part}))


def _evidence(
    snapshot: Snapshot, judged: Signals, characteristic: str, stage: str, positions: tuple[str, ...] | None
) -> Evidence | None:
    """Worked out once for each set of positions."""
    kept = snapshot.once(_kept)
    key = (characteristic, stage, positions)
    if key not in kept:
        kept[key] = evidence(snapshot, judged, characteristic, stage, None if positions is None else list(positions))
    return kept[key]


def _kept(_snapshot: Snapshot) -> dict[tuple[str, str, tuple[str, ...] | None], Evidence | None]:
    return {}


def day_at(found: Evidence, when: datetime, snapshot: Snapshot) -> int:
    """Number of the last working day up to a moment."""
    day = when.astimezone(snapshot.shop.zone).date()
    return int(np.clip(np.searchsorted(_dates(found), np.datetime64(day), side="right") - 1, 0, len(found.days) - 1))


def _dates(found: Evidence) -> np.ndarray[Any, np.dtype[np.datetime64]]:
    return np.array(found.days, dtype="datetime64[D]")


def _seen(found: Evidence, one: Signal, snapshot: Snapshot, still: bool) -> Signalled | None:
    row, rows = one.row, found.rows
    touched: Flags = np.ones(len(rows), dtype=bool)
    for name, column in (("model", "model"), ("tech", "set_by"), ("gauge", "gauge")):
        if row.get(name):
            touched &= (rows[column] == row[name]).fill_null(False).to_numpy()
    if not touched.any():
        return None
    began, low, high = (row[name] or row["opened_at"] for name in ("began_at", "began_low", "began_high"))
    size = row["size"] if row["size"] is not None else float(row.get("side") or 0.0)
    side = int(np.sign(size)) or 1
    since, first, last, opened = (
        day_at(found, when, snapshot) for when in (began, low, max(high, began), row["opened_at"])
    )
    closed = row["back_at"] or row["closed_at"]
    back = len(found.days) if closed is None else day_at(found, closed, snapshot)
    again = day_at(found, row["opened_last"] or row["opened_at"], snapshot) if closed is None else opened
    return Signalled(one.number, touched, since, first, last, opened, side, still, back, again)


def _hints(found: Evidence, one: Signalled) -> bool:
    """Do readings since its return still lie off where they were before, by some of its shift, as far as one standard
    error lets tell?
    """
    mine, day = found.values[one.touched], found.day[one.touched]
    before, within, since = mine[day < one.since], mine[(day >= one.since) & (day < one.back)], mine[day >= one.back]
    if len(since) < LEAST or not len(before):
        return True
    shift = float(within.mean() - before.mean()) * one.side if len(within) else 0.0
    left = float(since.mean() - before.mean()) * one.side
    return bool(left + len(since) ** -0.5 >= HINT * max(shift, SMALL))

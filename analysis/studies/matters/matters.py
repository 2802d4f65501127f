"""Matters: what one cause moved, all its signals told once.

Open signals of one characteristic are explained stage by stage over all its streams (`explained`); what one cause moved at several stages, or
of several characteristics, is one matter, and so are signals that nothing explains where characteristic, direction and
start agree. Signals that closed while an open one lasted belong to its explanation where that accounts for them; those
that closed before are explained as of their closing.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from analysis.methods.segments import Flags
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.watching import SHARE, TOGETHER
from analysis.studies.matters.evidence import Evidence, evidence
from analysis.studies.matters.explained import Explained, Signalled, explained, narrowed
from analysis.studies.matters.records import Matter
from analysis.studies.matters.telling import Signal, told
from ingest.store.snapshot import Snapshot

SAME_CAUSE = timedelta(days=14)  # likely starts of one cause at two stages lie no further apart


def matters(snapshot: Snapshot) -> list[Matter]:
    """Every matter of the shop at this version, ever; open ones first, then by opening."""
    return snapshot.once(open_matters) + snapshot.once(closed_matters)


def open_matters(snapshot: Snapshot) -> list[Matter]:
    """Matters with an open signal, by opening."""
    judged = snapshot.once(signals)
    return [] if judged is None else _recorded(snapshot, judged, snapshot.once(_open_ones))


def closed_matters(snapshot: Snapshot) -> list[Matter]:
    """Matters whose signals have all closed, by opening."""
    judged = snapshot.once(signals)
    if judged is None:
        return []
    held = {number for group in snapshot.once(_open_ones) for number in group.signals}
    return _recorded(snapshot, judged, _closed_ones(snapshot, judged, held))


def _recorded(snapshot: Snapshot, judged: Signals, groups: list["_Group"]) -> list[Matter]:
    every = snapshot.once(_every)
    found = [told(snapshot, judged, [every[k] for k in sorted(one.signals)], one.parts) for one in _merged(groups, every)]
    return sorted(found, key=lambda one: (one.opened_at, one.key))


def _every(snapshot: Snapshot) -> list[Signal]:
    judged = snapshot.once(signals)
    return [] if judged is None else every_signal(judged)


def every_signal(judged: Signals) -> list[Signal]:
    """All signals that open, by opening: those of streams, of pooled charts, of weekly shares."""
    found = []
    for name, frame in (("found", judged.found), ("others", judged.others)):
        for row, values in enumerate(frame.iter_rows(named=True)):  # signals, not readings
            if values["chart"] != TOGETHER:
                found.append((values["opened_at"], name, row, values))
    found.sort(key=lambda one: (one[0], one[1], one[2]))
    return [Signal(number, name, row, values) for number, (_, name, row, values) in enumerate(found)]


@dataclass(eq=False)
class _Group:
    signals: set[int]
    parts: list[Explained]  # none: a weekly share, or signals of streams without a baseline


def _open_ones(snapshot: Snapshot) -> list[_Group]:
    judged, every = snapshot.once(signals), snapshot.once(_every)
    groups: list[_Group] = []
    if judged is None:
        return groups
    still = [one for one in every if one.row["closed_at"] is None]
    for (characteristic, stage), part in _by_unit(judged, still).items():
        first = min(_began(one) for one in part)
        beside = [
            one
            for one in every
            if one.row["closed_at"] is not None
            and one.row["closed_at"] >= first
            and _unit(judged, one) == (characteristic, stage)
        ]
        found = _explained(snapshot, judged, characteristic, stage, [*part, *beside])
        if found is None:
            groups += [_Group({one.number}, []) for one in part]
        else:
            groups += [_Group(set(one.signals), [one]) for one in found]
    groups += [_Group({one.number}, []) for one in still if _unit(judged, one) is None]
    return groups


def _closed_ones(snapshot: Snapshot, judged: Signals, held: set[int]) -> list[_Group]:
    groups: list[_Group] = []
    closed = [one for one in snapshot.once(_every) if one.number not in held]
    for (characteristic, stage), part in _by_unit(judged, closed).items():
        for chain in _overlapping(part):
            until = max(one.row["closed_at"] for one in chain)
            found = _explained(snapshot, judged, characteristic, stage, chain, until=until)
            groups += [_Group({one.number}, []) for one in chain] if found is None else [_Group(set(one.signals), [one]) for one in found]
    groups += [_Group({one.number}, []) for one in closed if _unit(judged, one) is None]
    return groups


def _overlapping(part: list[Signal]) -> Iterable[list[Signal]]:
    chain: list[Signal] = []
    for one in sorted(part, key=lambda signal: signal.row["opened_at"]):
        if chain and one.row["opened_at"] > max(other.row["closed_at"] for other in chain):
            yield chain
            chain = []
        chain.append(one)
    if chain:
        yield chain


def _unit(judged: Signals, one: Signal) -> tuple[str, str] | None:
    """Characteristic and stage of the readings a signal is about; None for a weekly share."""
    if one.row["chart"] == SHARE or one.row["reading"] is None or one.row["reading"] < 0:
        return None
    return str(one.row["characteristic"]), str(judged.streams.readings["stage"][int(one.row["reading"])])


def _by_unit(judged: Signals, every: list[Signal]) -> dict[tuple[str, str], list[Signal]]:
    found: dict[tuple[str, str], list[Signal]] = {}
    for one in every:
        unit = _unit(judged, one)
        if unit is not None:
            found.setdefault(unit, []).append(one)
    return found


def _began(one: Signal) -> datetime:
    began: datetime = one.row["began_low"] or one.row["began_at"] or one.row["opened_at"]
    return began


def _explained(
    snapshot: Snapshot,
    judged: Signals,
    characteristic: str,
    stage: str,
    part: list[Signal],
    *,
    until: datetime | None = None,
) -> list[Explained] | None:
    """None where the readings cannot be laid side by side."""
    looked = [one for one in part if one.row["closed_at"] is None or until is not None]
    found = _evidence(snapshot, judged, characteristic, stage, None if any(_pooled(one) for one in looked) else _positions(looked))
    if found is None:
        return None
    seen = [_seen(found, one, snapshot) for one in part]
    usable = [one for one in seen if one is not None]
    if len(usable) < len(seen):
        return None
    last = None if until is None else _day(found, until, snapshot)
    numbered = {one.number: one for one in part}
    every = []
    for one in explained(found, usable, until=last):
        mine = [numbered[k] for k in one.signals]
        if not any(_pooled(signal) for signal in mine) and _positions(mine) != _positions(looked):
            narrow = _evidence(snapshot, judged, characteristic, stage, _positions(mine))
            one = one if narrow is None else narrowed(one, narrow, until=None if until is None else _day(narrow, until, snapshot))
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


def _day(found: Evidence, when: datetime, snapshot: Snapshot) -> int:
    day = when.astimezone(snapshot.shop.zone).date()
    return int(np.clip(np.searchsorted(_dates(found), np.datetime64(day), side="right") - 1, 0, len(found.days) - 1))


def _dates(found: Evidence) -> np.ndarray[Any, np.dtype[np.datetime64]]:
    return np.array(found.days, dtype="datetime64[D]")


def _seen(found: Evidence, one: Signal, snapshot: Snapshot) -> Signalled | None:
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
    places = [_day(found, when, snapshot) for when in (began, low, max(high, began), row["opened_at"])]
    return Signalled(one.number, touched, *places, side, row["closed_at"] is None)


def _merged(groups: list[_Group], every: list[Signal]) -> list[_Group]:
    """One cause at several stages or of several characteristics is one matter; so is what nothing explains, where
    characteristic, direction and start agree.
    """
    merged: list[_Group] = []
    for one in sorted(groups, key=lambda group: min(group.signals)):
        home = next((other for other in merged if _alike(one, other, every)), None)
        if home is None:
            merged.append(one)
        else:
            home.signals |= one.signals
            home.parts += one.parts
    return merged


def _alike(one: _Group, other: _Group, every: list[Signal]) -> bool:
    if one.signals & other.signals:
        return True
    if not one.parts or not other.parts:
        return False
    mine, theirs = one.parts[0], other.parts[0]
    apart = abs(_start(mine) - _start(theirs))
    if mine.named and theirs.named:
        same_bench = mine.evidence.characteristic == theirs.evidence.characteristic and mine.evidence.stage == theirs.evidence.stage
        return bool(_causes(mine) & _causes(theirs)) and (apart <= SAME_CAUSE or same_bench)
    if mine.named or theirs.named or mine.evidence.characteristic != theirs.evidence.characteristic:
        return False
    both_open = [any(every[k].row["closed_at"] is None for k in group.signals) for group in (one, other)]
    return both_open[0] == both_open[1] and apart <= SAME_CAUSE and bool(np.sign(mine.best.effect) == np.sign(theirs.best.effect))


def _start(part: Explained) -> timedelta:
    return part.evidence.days[part.best.start] - date(1970, 1, 1)


def _causes(part: Explained) -> set[tuple[str, str]]:
    found = set()
    for one in part.named:
        words = part.evidence.words.get(one.factor)
        found.add((one.factor, words[one.level]) if words else (one.kin, ""))
    return found

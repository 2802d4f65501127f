"""One bad stream stops no other: all are judged in one pass, and only where that fails are the streams that break it
looked for, by halves, and set apart with the reason.
"""

from collections.abc import Callable
from dataclasses import fields, replace
from typing import TypeVar

import numpy as np
import polars as pl

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Flags, Ints, lengths
from analysis.studies.drift.streams import STREAM, Streams
from ingest.store.snapshot import Snapshot

T = TypeVar("T")
MOST_TRIES = 60  # passes over some of the streams; more bad ones than these find are a fault of all
UNJUDGED: dict[str, pl.DataType] = {**{name: pl.String() for name in STREAM}, "n": pl.Int64(), "why": pl.String()}


def judged_apart(snapshot: Snapshot, held: Streams, judge: Callable[[Streams], T]) -> tuple[T, pl.DataFrame]:
    """What `judge` makes of all streams that it can judge together, and a row for each that it cannot: UNJUDGED.

    Raises what `judge` raises where it fails on all, on none by itself, or on too many.
    """
    try:
        return judge(held), pl.DataFrame(schema=UNJUDGED)
    except Exception as fault:
        first, reason = fault, _reason(snapshot, fault)
    found: dict[int, str] = {}
    parts, tries = [(np.arange(len(held.starts)), reason)], 0
    while parts:
        ids, reason = parts.pop()
        if len(ids) == 1:
            found[int(ids[0])] = reason
            continue
        for half in np.array_split(ids, 2):
            tries += 1
            if tries > MOST_TRIES:
                raise first
            try:
                judge(only(held, half))
            except Exception as fault:
                parts.append((half, _reason(snapshot, fault)))
    good = np.setdiff1d(np.arange(len(held.starts)), list(found))
    if not found or len(good) == 0:
        raise first
    bad = sorted(found)
    rows = held.rows[bad].select(*STREAM, pl.col("n").cast(pl.Int64), why=pl.Series([found[one] for one in bad]))
    return judge(only(held, good)), rows


def _reason(snapshot: Snapshot, fault: Exception) -> str:
    """Why a stream is set apart; an error that the snapshot does not put into words is raised."""
    instead = snapshot.on_fault(fault) if snapshot.on_fault else fault
    if not isinstance(instead, UnusableData):
        raise fault
    return str(instead)


def only(held: Streams, ids: Ints) -> Streams:
    """Some of the streams, in their order, numbered anew.

    ids : int, shape (k,), rising.
    """
    keep = _flags(ids, len(held.starts))
    size = lengths(held.starts, len(held.values))
    kept = np.repeat(keep, size)
    reading = np.cumsum(kept) - 1  # old place -> new place, where kept
    number = np.cumsum(keep) - 1
    eras = keep[held.eras.stream]
    era = {each.name: getattr(held.eras, each.name)[eras] for each in fields(held.eras)}
    era |= {name: reading[era[name]] for name in ("starts", "window")} | {"stream": number[era["stream"]]}
    return replace(
        held,
        rows=held.rows.filter(pl.Series(keep)),
        readings=held.readings.only(kept, number.astype(np.int32)[held.readings.stream[kept]], keep),
        values=held.values[kept],
        starts=np.cumsum(size[keep]) - size[keep],
        own=replace(held.own, **{each.name: getattr(held.own, each.name)[keep] for each in fields(held.own)}),
        eras=replace(held.eras, **era),
        with_air=None if held.with_air is None else held.with_air[kept],
    )


def _flags(ids: Ints, count: int) -> Flags:
    flags = np.zeros(count, dtype=bool)
    flags[ids] = True
    return flags

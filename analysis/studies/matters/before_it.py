"""Where the instruments that a matter touches lay at an earlier stage that reads the same: as usual there and off here
means that they moved in between, or that what moved is how they are read.
"""

import numpy as np
import polars as pl

from analysis.studies.drift.signals import Signals
from analysis.studies.matters.explained import Explained
from analysis.studies.matters.spans import Bench, Span, bench
from ingest.store.snapshot import Snapshot

LEAST = 20  # instruments read at both stages
HALF = 0.5  # of the size here: so much at most may be left at the stage before, as far as its error lets tell
Z95 = 1.96


def benches_before(snapshot: Snapshot, judged: Signals, characteristic: str, stage: str) -> list[Bench]:
    """Benches that read the same characteristic before a stage, the last of them first."""
    kept = snapshot.once(_before)
    if (characteristic, stage) not in kept:
        kept[characteristic, stage] = _benches_before(snapshot, judged, characteristic, stage)
    return kept[characteristic, stage]


def _before(_snapshot: Snapshot) -> dict[tuple[str, str], list[Bench]]:
    """Of each characteristic at each stage."""
    return {}


def _benches_before(snapshot: Snapshot, judged: Signals, characteristic: str, stage: str) -> list[Bench]:
    order = snapshot.shop.bench_order
    rows = judged.streams.rows.filter((pl.col("characteristic") == characteristic) & (pl.col("tech") == ""))
    names = [one for one in rows["stage"].unique().to_list() if order.get(one, -1) < order.get(stage, -1)]
    made = [bench(snapshot, judged, characteristic, one) for one in sorted(names, key=lambda one: -order.get(one, -1))]
    return [one for one in made if one is not None]


def usual_at(snapshot: Snapshot, judged: Signals, part: Explained, span: Span) -> str:
    """The last stage before at which the instruments touched lay where they always lie; '' where there is none, or too
    few were read there.
    """
    found = part.evidence
    touched = part.column != 0
    if not touched.any():
        return ""
    least = HALF * abs(part.best.effect)  # what else moved some of them so far moved them before, too
    others = [np.abs(column) >= least for column in part.beside]
    alone = touched & ~np.any(others, axis=0) if others else touched
    if found.rows.filter(pl.Series(alone))["serial"].n_unique() >= LEAST:
        touched = alone
    size = abs(part.best.effect) * float(np.mean(found.scale[touched]))
    serials = found.rows.filter(pl.Series(touched))["serial"].unique()
    for one in benches_before(snapshot, judged, found.characteristic, found.stage):
        every = _off(snapshot, judged, one, span)
        off = every.filter(pl.col("serial").is_in(serials.implode()))["off"].to_numpy()
        if len(off) >= LEAST:
            error = float(off.std(ddof=1)) / np.sqrt(len(off))
            return one.stage if abs(float(off.mean())) + Z95 * error < HALF * size else ""
    return ""


def _off(snapshot: Snapshot, judged: Signals, other: Bench, span: Span) -> pl.DataFrame:
    """How far each instrument lay off its baseline at a bench over a span, in the unit of the readings: serial, off."""
    kept = snapshot.once(_kept)
    key = (other.characteristic, other.stage, span)
    if key not in kept:
        held, at = judged.streams, other.at[other.within(span)].astype(np.int64)
        centre = held.eras.centre[held.last_era][held.readings.stream[at]]
        told = held.readings.at(at, "serial").with_columns(off=pl.Series(held.values[at] - centre))
        mean = told.group_by("serial", maintain_order=True).agg(pl.col("off").mean())
        kept[key] = mean.with_columns(pl.col("serial").cast(pl.String))
    return kept[key]


def _kept(_snapshot: Snapshot) -> dict[tuple[str, str, Span], pl.DataFrame]:
    """Of each bench over each span."""
    return {}

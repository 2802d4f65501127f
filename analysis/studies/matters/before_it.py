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
        off = _off(judged, one, span, serials)
        if len(off) >= LEAST:
            error = float(off.std(ddof=1)) / np.sqrt(len(off))
            return one.stage if abs(float(off.mean())) + Z95 * error < HALF * size else ""
    return ""


def _off(judged: Signals, other: Bench, span: Span, serials: pl.Series) -> np.ndarray:
    """How far each of some instruments lay off its baseline at a bench, in the unit of the readings (n,)."""
    held, at = judged.streams, other.at[other.within(span)]
    centre = held.eras.centre[held.last_era][held.readings.stream[at]]
    told = held.readings.at(at, "serial").with_columns(off=pl.Series(held.values[at] - centre))
    mine = told.filter(pl.col("serial").is_in(serials.implode()))
    return mine.group_by("serial", maintain_order=True).agg(pl.col("off").mean())["off"].to_numpy()

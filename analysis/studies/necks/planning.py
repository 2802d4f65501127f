"""How many lots and necks tell two suppliers apart, by the spread this shop sees within lots and between them."""

from dataclasses import dataclass

import numpy as np

from analysis.methods.study_size import Lots, lots_to_tell
from analysis.studies.necks.necks import variance
from ingest.store.snapshot import Snapshot

EACH = (5, 20)  # necks measured of a lot
TIMES = (1.0, 2.0)  # standard deviations within lots


@dataclass(frozen=True)
class Apart:
    """What it takes to tell two suppliers apart by a difference of their means, in nine of ten."""

    difference: float  # mm
    plans: tuple[Lots, ...]  # one for each of EACH


@dataclass(frozen=True)
class TellApart:
    """The spreads it rests on, in mm, and a plan for each difference."""

    within: float
    between: float
    rows: tuple[Apart, ...]


def tell_apart(snapshot: Snapshot, characteristic: str, *, model: str | None = None) -> TellApart:
    """Lots and necks of each supplier; UnusableData where no lot holds two readings, or they do not differ."""
    found = variance(snapshot, characteristic, model=model)
    within, between = (float(np.sqrt(max(np.nan_to_num(part), 0.0))) for part in (found.within, found.batch))
    rows = tuple(
        Apart(times * within, tuple(lots_to_tell(times * within, within, between, each) for each in EACH))
        for times in TIMES
    )
    return TellApart(within, between, rows)

"""What of somebody's spread is the gauge's and the hands' that read it, and not their own work's."""

from dataclasses import dataclass

import polars as pl

from analysis.studies.gauges.rr import rr_sd
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True)
class GaugePart:
    """The study that says it, and R&R as a share of the spread of somebody's readings, at most 1."""

    study: str
    share: float


def gauge_part(snapshot: Snapshot, *, characteristic: str, sd: float | None) -> GaugePart | None:
    """The gauge's part of the spread `sd` of somebody's readings; None without a study of the characteristic, or
    without spread.
    """
    found = snapshot.once(rr_sd).filter(pl.col("characteristic") == characteristic)
    if found.is_empty() or not sd:
        return None
    return GaugePart(found["gauge_study"][0], min(found["gauge_sd"][0] / sd, 1.0))

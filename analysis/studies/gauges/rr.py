"""Gauge studies: how much of what is seen is the gauge and the hand that holds it."""

import numpy as np
import polars as pl

from analysis.methods.gauge import crossed, cube
from analysis.methods.problems import UnusableData
from ingest.store.snapshot import Snapshot

GAUGES: dict[str, pl.DataType] = {
    "study": pl.String(),
    "characteristic": pl.String(),
    "repeatability": pl.Float64(),
    "reproducibility": pl.Float64(),
    "rr": pl.Float64(),
    "part": pl.Float64(),
    "total": pl.Float64(),
    "ndc": pl.Int64(),
    "share_of_spread": pl.Float64(),
    "share_of_tolerance": pl.Float64(),
}


def study_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`gauges` of the figures: a row a study and characteristic; what cannot be worked out from its trials is null.

    share_of_tolerance is 6 rr over the narrowest tolerance on file for the characteristic.
    """
    trials = (
        snapshot.table("gauge_trials")
        .filter(pl.col("value").is_not_null())
        .sort("study", "characteristic", "part", "tech", "trial", "line")
    )
    tolerance = _tolerances(snapshot)
    rows = []
    for (study, characteristic), part in trials.group_by("study", "characteristic", maintain_order=True):
        row: dict[str, object] = {"study": study, "characteristic": characteristic}
        try:
            found = crossed(cube(part["value"].to_numpy(), part["part"].to_numpy(), part["tech"].to_numpy())).study
        except UnusableData:
            rows.append(row)
            continue
        width = tolerance.get(str(characteristic))
        row |= {
            "repeatability": found.repeatability,
            "reproducibility": found.reproducibility,
            "rr": found.rr,
            "part": found.part,
            "total": found.total,
            "ndc": found.ndc,
            "share_of_spread": found.share_of_spread if np.isfinite(found.share_of_spread) else None,
            "share_of_tolerance": found.share_of_tolerance(width) if width else None,
        }
        rows.append(row)
    return pl.DataFrame(rows, schema=GAUGES)


def rr_share(snapshot: Snapshot) -> dict[str, float]:
    """R&R as a share of the spread for each characteristic with a study; of several studies the one that found most."""
    found = snapshot.once(study_rows).filter(pl.col("share_of_spread").is_not_null())
    worst = found.group_by("characteristic").agg(pl.col("share_of_spread").max())
    return dict(worst.iter_rows())


def rr_sd(snapshot: Snapshot) -> pl.DataFrame:
    """What the gauge and the hands that hold it add to a reading, as a standard deviation in the unit of the
    characteristic: characteristic, gauge_sd, gauge_study; of several studies the one that found most.
    """
    found = snapshot.once(study_rows).filter(pl.col("rr").is_not_null()).sort("rr", "study")
    worst = found.unique("characteristic", keep="last", maintain_order=True)
    return worst.select("characteristic", pl.col("rr").alias("gauge_sd"), pl.col("study").alias("gauge_study"))


def _tolerances(snapshot: Snapshot) -> dict[str, float]:
    """The narrowest distance between two limits on file for each characteristic, in its canonical unit."""
    rows = snapshot.specs.rows.with_columns(width=pl.col("upper") - pl.col("lower")).filter(pl.col("width") > 0)
    return dict(rows.group_by("characteristic").agg(pl.col("width").min()).iter_rows())

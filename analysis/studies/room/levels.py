"""Where each stream lay of late and how far it spread, each with its standard error: what one shop says to others.

A reading that lies far from all others and alone (methods/far_readings.py) is a slip of the pen or another instrument:
3.0 for 0.30 among six hundred makes a spread of four times. It is left out here, counted, and told; at home it stands
under odd instruments.
"""

from datetime import datetime, timedelta

import numpy as np
import polars as pl

from analysis.studies.drift.streams import KEY, Streams, lonely_ones, streams
from analysis.studies.room.carrying import mean_of
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

OF_LATE = timedelta(weeks=26)  # before as_of: shops that began years apart are held against each other as they are now
FEWEST = 8  # readings of which a spread is told at all
LEVELS: dict[str, pl.DataType] = {
    **{name: pl.String() for name in KEY},
    "first_at": TIME,
    "last_at": TIME,
    "n": pl.Int64(),
    "mean": pl.Float64(),
    "mean_error": pl.Float64(),  # standard error, which minds lots, days and neighbours
    "freedom": pl.Float64(),  # degrees of freedom behind it
    "sd": pl.Float64(),
    "log_sd_error": pl.Float64(),  # standard error of its natural logarithm
    "step": pl.Float64(),  # of the gauge
    "far": pl.Int64(),  # readings left out, so far from all others
}


def level_rows(snapshot: Snapshot) -> pl.DataFrame:
    """LEVELS: a row a stream of all techs with FEWEST readings or more of the last 26 weeks that are not all alike."""
    held = snapshot.once(streams)
    return pl.DataFrame(schema=LEVELS) if held is None else _rows(held, snapshot.as_of)


def _rows(held: Streams, as_of: datetime) -> pl.DataFrame:
    taken, stream = held.readings.taken_at, held.readings.stream
    everyone = (held.rows["tech"] == "").to_numpy()
    late = (taken > as_of - OF_LATE).to_numpy()
    at = np.flatnonzero(everyone[stream] & late)
    if len(at) == 0:
        return pl.DataFrame(schema=LEVELS)
    odd = lonely_ones(held, at)
    left_out = np.bincount(stream[at[odd]], minlength=len(everyone))
    at = at[~odd]
    n = np.bincount(stream[at], minlength=len(everyone))
    at = at[n[stream[at]] >= FEWEST]
    if len(at) == 0:
        return pl.DataFrame(schema=LEVELS)
    starts = np.flatnonzero(np.diff(stream[at], prepend=-1) != 0).astype(np.int64)
    whose = stream[at[starts]].astype(np.int64)
    told = mean_of(held, at, starts, whose)
    rows = held.rows[whose].select(*KEY, "step")
    return (
        rows.with_columns(
            first_at=taken.gather(at[starts]),
            last_at=taken.gather(at[starts + told.n - 1]),
            n=pl.Series(told.n),
            mean=pl.Series(told.mean),
            mean_error=pl.Series(np.sqrt(told.of_mean)),
            freedom=pl.Series(told.freedom),
            sd=pl.Series(np.sqrt(told.variance)),
            log_sd_error=pl.Series(np.sqrt(told.carry.sd_variance)),
            far=pl.Series(left_out[whose]),
        )
        .filter(pl.col("sd") > 1e-9 * pl.col("mean").abs().clip(1e-3))
        .select(LEVELS.keys())
        .cast(dict(LEVELS))  # type: ignore[arg-type]
    )

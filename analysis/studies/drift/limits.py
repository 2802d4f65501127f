"""Limits to put on file: computed from a named baseline, with the points that make it unsteady."""

import json
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

import numpy as np
import polars as pl
from scipy.special import ndtri

from analysis.methods.change_point import step
from analysis.methods.segments import Flags, lengths
from analysis.methods.variables import spread
from analysis.studies.drift.streams import STREAM, streams
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

CHANCE = 0.01  # that a steady baseline is called unsteady by one of the two looks

UNSTEADY: dict[str, pl.DataType] = {
    **{name: pl.String() for name in STREAM},
    "taken_at": tables.TIME,
    "serial": pl.String(),
    "value": pl.Float64(),
    "why": pl.String(),
    "sigmas": pl.Float64(),
}
BEYOND, MOVED = "far out", "moved from here on"


def moved_baselines(snapshot: Snapshot) -> Flags:
    """Does the baseline that a stream is held against, its own first readings, hold a shift of its own, shape (s,)?
    Without limits on file, by the look that proposed limits are given.
    """
    held = snapshot.once(streams)
    if held is None:
        return np.zeros(0, dtype=np.bool_)
    n = held.own.n
    starts = np.cumsum(n) - n
    at = np.repeat(held.starts - starts, n) + np.arange(int(n.sum()))
    found = step(held.values[at], starts, sigma=held.own.sigma, alpha=CHANCE)
    return np.asarray(found.found & (held.own.sigma > 0) & ~held.eras.on_file[held.last_era])


def limits_proposal(
    snapshot: Snapshot,
    *,
    from_date: date,
    to_date: date,
    model: str = "",
    characteristic: str = "",
    left_out: Sequence[str] = (),
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Limits of every stream with enough readings in the baseline, and what speaks against it.

    Parameters
    ----------
    from_date, to_date : the baseline by the shop's clock, both included.
    model, characteristic : only these; '' = all. A model that shares its setup stands for the setup.
    left_out : serials a person leaves out.

    Returns
    -------
    limits : tables.LIMITS_ON_FILE without its first four columns; hold from the midnight after `to_date`.
    unsteady : UNSTEADY: single readings so far out, and shifts of the mean so large, as a steady baseline shows in 1 %
    of cases at most.
    """
    held = snapshot.once(streams)
    columns = {
        name: dtype for name, dtype in tables.LIMITS_ON_FILE.items() if name not in ("sequence", "at", "who", "why")
    }
    if held is None:
        return pl.DataFrame(schema=columns), pl.DataFrame(schema=UNSTEADY)
    inside = pl.col("day").is_between(from_date, to_date) & ~pl.col("serial").is_in(list(left_out))
    if characteristic:
        inside &= pl.col("characteristic") == characteristic
    if model:
        inside &= pl.col("setup") == snapshot.shop.setups.get(model, model)
    told = held.readings.of_all("stream", "day", "serial", "characteristic", "setup", "taken_at")
    readings = told.with_columns(value=pl.Series(held.values)).filter(inside)
    readings = readings.filter(pl.len().over("stream") >= snapshot.shop.judging.least_readings)
    if readings.is_empty():
        return pl.DataFrame(schema=columns), pl.DataFrame(schema=UNSTEADY)
    stream = readings["stream"].to_numpy()
    starts = np.flatnonzero(np.diff(stream, prepend=-1))
    values = readings["value"].to_numpy()
    found = spread(values, starts)
    midnight = datetime.combine(to_date + timedelta(days=1), time(), tzinfo=snapshot.shop.zone)
    rows = held.rows.select(STREAM)[stream[starts]].with_columns(
        baseline_from=pl.lit(from_date),
        baseline_to=pl.lit(to_date),
        holds_from=pl.lit(midnight).dt.convert_time_zone("UTC"),
        centre=pl.Series(found.centre),
        sigma=pl.Series(found.sigma),
        n=pl.Series(found.n),
        left_out=pl.lit(json.dumps(sorted(left_out))),
    )
    limits = tables.shaped(rows, columns).filter(pl.col("sigma") > 0)
    size = lengths(starts, len(values))
    sigma = np.repeat(found.sigma, size)
    off = np.divide(values - np.repeat(found.centre, size), sigma, out=np.zeros(len(values)), where=sigma > 0)
    far = np.flatnonzero(np.abs(off) > np.repeat(-ndtri(CHANCE / 2 / size), size))
    moved = step(values, starts, sigma=found.sigma, alpha=CHANCE)
    at = moved.at[moved.found & (found.sigma > 0)]
    which = np.concatenate((far, at))
    why = [BEYOND] * len(far) + [MOVED] * len(at)
    size_of = np.divide(moved.size, found.sigma, out=np.zeros(len(starts)), where=found.sigma > 0)[
        moved.found & (found.sigma > 0)
    ]
    points = readings.select("taken_at", "serial", "value")[which]
    told = pl.concat([held.rows.select(STREAM)[stream[which]], points], how="horizontal").with_columns(
        why=pl.Series(why, dtype=pl.String()), sigmas=pl.Series(np.concatenate((off[far], size_of)))
    )
    return limits, told.select(UNSTEADY.keys()).sort(*STREAM, "taken_at")

"""Shops whose readings are given as numbers, so that a test plants exactly what it looks for.

Each instrument passes `frets` (somebody works there), is set at `neck` or `bridge` and is read at `final`. A model is a
stream of its own for each characteristic, so one shop of many models holds many independent runs.
"""

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

START = datetime(2026, 1, 5, 8, tzinfo=UTC)  # a Monday
STAGES = [("frets", "bench"), ("neck", "bench"), ("bridge", "bench"), ("final", "final"), ("packing", "packing")]
MODELS = ("LARK",)


def shop(models: tuple[str, ...] = MODELS, *, gauges: dict[str, float] | None = None, **judging: Any) -> Shop:
    """A shop in UTC. gauges : step in mm by gauge, each measuring relief and action."""
    return Shop.model_validate(
        {
            "shop": {"name": "Test bench", "timezone": "UTC"},
            "judging": judging,
            "stage": [{"key": key, "role": role, "minutes": 5} for key, role in STAGES],
            "characteristic": [
                {"key": "relief", "set_at": "neck"},
                {"key": "action", "set_at": "bridge", "positions": ["bass", "treble"]},
                {"key": "intonation", "quantity": "pitch", "set_at": "bridge"},
                {"key": "bow"},
            ],
            "gauge": [
                {"key": key, "measures": ["relief", "action"], "resolution": f"{step} mm"}
                for key, step in (gauges or {}).items()
            ],
            "model": [{"key": key, "family": "ukulele"} for key in models],
        }
    )


def snapshot(
    made: Shop,
    values: dict[tuple[str, str], npt.ArrayLike],
    *,
    model: npt.ArrayLike = "LARK",
    hours: npt.ArrayLike | None = None,
    setter: npt.ArrayLike = "",
    early: npt.ArrayLike = "",
    reader: npt.ArrayLike = "T99",
    lot: npt.ArrayLike = "",
    supplier: npt.ArrayLike = "",
    gauge: npt.ArrayLike = "",
    rh: npt.ArrayLike | None = None,
    as_of: datetime | None = None,
    shuffled: np.random.Generator | None = None,
    **frames: pl.DataFrame,
) -> Snapshot:
    """One instrument a number, in the order of time.

    values : readings at final by (characteristic, position), each (n,); nan: no reading. hours (n,) : hours after START
    at which each was read; default one an hour, eight a day, five days a week. The rest: one text or (n,). shuffled :
    lays the rows in any order.
    """
    columns = {key: np.asarray(column, dtype=np.float64) for key, column in values.items()}
    n = len(next(iter(columns.values())))
    at = working_hours(n) if hours is None else np.asarray(hours, dtype=np.float64)
    micro = pl.Series(np.round(at * 3.6e9).astype(np.int64))

    def text(given: npt.ArrayLike) -> pl.Series:
        return pl.Series(np.broadcast_to(np.asarray(given, dtype=object), (n,)).astype(str))

    base = pl.DataFrame(
        {
            "serial": pl.select(pl.format("S{}", pl.int_range(n).cast(pl.String).str.zfill(6))).to_series(),
            "model": text(model),
            "lot": text(lot),
            "supplier": text(supplier),
            "finished_at": pl.Series([START] * n, dtype=tables.TIME) + micro.cast(pl.Duration("us")),
            "setter": text(setter),
            "early": text(early),
            "reader": text(reader),
            "gauge": text(gauge),
            "rh": pl.Series(np.full(n, np.nan) if rh is None else np.asarray(rh, dtype=np.float64)).fill_nan(None),
        }
    )
    visits = []
    hands = (("frets", "early"), ("neck", "setter"), ("bridge", "setter"), ("final", "reader"))
    for order, (stage, who) in enumerate(hands):
        visits.append(
            base.select(
                "serial",
                "model",
                "lot",
                "supplier",
                pl.lit(stage).alias("stage"),
                pl.col(who).alias("tech"),
                (pl.col("finished_at") - pl.duration(minutes=30 * (3 - order))).alias("finished_at"),
                pl.lit("pass").alias("outcome"),
                pl.lit(True).alias("time_known"),
                pl.lit("log").alias("log_id"),
                pl.int_range(n, dtype=pl.Int64).alias("line") * 4 + order,
                (pl.col("rh") if stage == "final" else pl.lit(None, dtype=pl.Float64)).alias("rh"),
            )
        )
    readings = [
        base.with_columns(value=pl.Series(column).fill_nan(None), line=pl.int_range(n, dtype=pl.Int64) * 4 + 3)
        .drop_nulls("value")
        .select(
            "serial",
            pl.lit("final").alias("stage"),
            pl.col("finished_at").alias("taken_at"),
            pl.lit(characteristic).alias("characteristic"),
            pl.lit(position).alias("position"),
            pl.lit("found").alias("moment"),
            "value",
            "gauge",
            pl.lit("log").alias("log_id"),
            "line",
        )
        for (characteristic, position), column in columns.items()
    ]
    held = {"visits": pl.concat(visits), "readings": pl.concat(readings)}
    if shuffled is not None:
        held = {name: frame[shuffled.permutation(len(frame))] for name, frame in held.items()}
    return Snapshot.of(made, as_of=as_of, **held, **frames)


def working_hours(n: int, per_day: int = 8) -> npt.NDArray[np.float64]:
    """Hours after START of n readings, `per_day` of them an hour apart from eight o'clock on, five days a week."""
    day, hour = np.divmod(np.arange(n), per_day)
    week, weekday = np.divmod(day, 5)
    return (week * 7 + weekday) * 24.0 + hour


def at(place: int, per_day: int = 8) -> datetime:
    """When the reading with this place is taken, under the default hours."""
    return START + timedelta(hours=float(working_hours(place + 1, per_day)[place]))

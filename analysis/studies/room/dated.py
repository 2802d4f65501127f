"""What the readings did round each dated change and each new target: before and after, how sure, and the day that they
themselves name.

Each change is held against every stream of all techs that it may touch (its models, the stage where the characteristic
is read or set, its characteristic; what it leaves open touches all), over eight weeks on either side, no further than
the next change of the same words. The day that readings name is looked for in the whole of these weeks, by the
likelihood of a step of the mean; where days or lots differ its ends are somewhat near (analysis/methods/change_point).
"""

from datetime import timedelta

import numpy as np
import polars as pl

from analysis.methods.change_point import step
from analysis.methods.segments import Ints, lengths
from analysis.studies.drift.streams import KEY, Streams, streams
from analysis.studies.room.capability import ANY, capability_rows
from analysis.studies.room.carrying import mean_of
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

AROUND = timedelta(weeks=8)
FEWEST = 8  # readings on either side
PART, TARGET = "change", "target"
DATED: dict[str, pl.DataType] = {
    **{name: pl.String() for name in KEY},
    "kind": pl.String(),  # change: of changes.csv | target: another target of specs.csv
    "what": pl.String(),
    "said_on": pl.Date(),
    "target": pl.Float64(),  # the new one; of a change what was planned
    "n_before": pl.Int64(),
    "n_after": pl.Int64(),
    **{name: pl.Float64() for name in ("before", "after", "size", "size_error", "freedom")},
    "read_on": pl.Date(),  # the day that the readings name
    "read_from": pl.Date(),  # the first and the last that they leave likely
    "read_to": pl.Date(),
}


def dated_rows(snapshot: Snapshot) -> pl.DataFrame:
    """DATED: a row a change and stream with FEWEST readings on either side."""
    held = snapshot.once(streams)
    if held is None:
        return pl.DataFrame(schema=DATED)
    asked = pl.concat([_changes(snapshot, held), _targets(snapshot, held)])
    if asked.is_empty():
        return pl.DataFrame(schema=DATED)
    zone = snapshot.shop.shop.timezone
    moment = (
        pl.col("said_on").cast(pl.Datetime("us")).dt.replace_time_zone(zone, non_existent="null", ambiguous="earliest")
    )
    asked = asked.with_columns(at=moment.dt.convert_time_zone("UTC")).filter(pl.col("at").is_not_null())
    asked = asked.sort("stream", "kind", "what", "at").with_columns(
        first=pl.max_horizontal(pl.col("at") - AROUND, pl.col("at").shift(1).over("stream", "kind", "what")),
        last=pl.min_horizontal(pl.col("at") + AROUND, pl.col("at").shift(-1).over("stream", "kind", "what")),
    )
    low, middle, high = (_place(held, asked["stream"], asked[name]) for name in ("first", "at", "last"))
    enough = (middle - low >= FEWEST) & (high - middle >= FEWEST)
    if not enough.any():
        return pl.DataFrame(schema=DATED)
    return _seen(held, asked.filter(pl.Series(enough)), (low[enough], middle[enough], high[enough]))


def _changes(snapshot: Snapshot, held: Streams) -> pl.DataFrame:
    """stream, kind, what, said_on, target of the dated changes of changes.csv."""
    shop = snapshot.shop
    told = snapshot.table("changes").select("from_date", "model", "stage", "characteristic", "what", "target")
    heads = _heads(held)
    set_at = [shop.set_stage(*each) for each in heads.select("characteristic", "model").iter_rows()]
    heads = heads.with_columns(set_at=pl.Series(set_at, dtype=pl.String))
    models = told["model"].replace(shop.setups)
    both = heads.join(told.with_columns(model=models), how="cross", suffix="_of")
    touched = both.filter(
        *(
            (pl.col(f"{name}_of") == "") | (pl.col(f"{name}_of") == pl.col(name))
            for name in ("characteristic", "model")
        ),
        (pl.col("stage_of") == "") | (pl.col("stage_of") == pl.col("stage")) | (pl.col("stage_of") == pl.col("set_at")),
    )
    return touched.select("stream", pl.lit(PART).alias("kind"), "what", pl.col("from_date").alias("said_on"), "target")


def _targets(snapshot: Snapshot, held: Streams) -> pl.DataFrame:
    """The same of new targets, from the first reading that is judged by them."""
    rows = snapshot.once(capability_rows).filter((pl.col("tech") == "") & (pl.col("position") != ANY))
    rows = rows.sort(*KEY, "first_at").with_columns(old=pl.col("target").shift(1).over(KEY))
    zone = snapshot.shop.shop.timezone
    moved = rows.filter(
        pl.col("target").is_not_null() & pl.col("old").is_not_null() & (pl.col("target") != pl.col("old"))
    )
    return moved.join(_heads(held), on=KEY).select(
        "stream",
        pl.lit(TARGET).alias("kind"),
        pl.lit("a new target").alias("what"),
        pl.col("first_at").dt.convert_time_zone(zone).dt.date().alias("said_on"),
        "target",
    )


def _heads(held: Streams) -> pl.DataFrame:
    """KEY and the number of each stream of all techs."""
    rows = held.rows.with_row_index("stream").with_columns(pl.col("stream").cast(pl.Int64))
    return rows.filter(pl.col("tech") == "").select(*KEY, "stream")


def _place(held: Streams, stream: pl.Series, at: pl.Series) -> Ints:
    """The first reading of each stream at a moment or after it."""
    taken = held.readings.taken_at.dt.timestamp("us").to_numpy()
    size = lengths(held.starts, len(taken))
    number = np.repeat(np.arange(len(held.starts)), size)
    asked = at.dt.timestamp("us").to_numpy()
    _, rank = np.unique(np.concatenate([taken, asked]), return_inverse=True)
    span = int(rank.max()) + 1
    return np.searchsorted(
        number * span + rank[: len(taken)], stream.to_numpy() * span + rank[len(taken) :], side="left"
    )


def _seen(held: Streams, asked: pl.DataFrame, span: tuple[Ints, Ints, Ints]) -> pl.DataFrame:
    low, middle, high = span
    sides = np.stack([middle - low, high - middle], axis=1).ravel()
    begins = np.cumsum(sides) - sides
    at = np.repeat(np.stack([low, middle], axis=1).ravel() - begins, sides) + np.arange(sides.sum())
    told = mean_of(held, at, begins, np.repeat(asked["stream"].to_numpy(), 2))
    part, free = told.of_mean, told.freedom
    before, after = told.mean[::2], told.mean[1::2]
    total = part[::2] + part[1::2]
    with np.errstate(divide="ignore", invalid="ignore"):
        freedom = total**2 / (part[::2] ** 2 / free[::2] + part[1::2] ** 2 / free[1::2])
    found = step(held.values[at], begins[::2])
    day = held.readings.at(at, "day")["day"]
    days = [day.gather(np.maximum(place, 0)) for place in (found.at, found.low, found.high)]
    return (
        asked.join(_heads(held), on="stream", how="left", maintain_order="left")
        .with_columns(
            n_before=pl.Series(sides[::2]),
            n_after=pl.Series(sides[1::2]),
            before=pl.Series(before),
            after=pl.Series(after),
            size=pl.Series(after - before),
            size_error=pl.Series(np.sqrt(total)),
            freedom=pl.Series(freedom),
            **{name: pl.Series(one) for name, one in zip(("read_on", "read_from", "read_to"), days, strict=True)},
        )
        .filter(pl.col("size_error") > 0)
        .pipe(tables.shaped, DATED)
        .sort(*KEY, "kind", "what", "said_on")
    )

"""Instruments of which the logs say two things where only one can hold: two models, two lots. A question to the shop;
nothing is set aside for it.

The story takes the value that is first in time order (analysis/studies/time_order.py), and no figure is touched here.
"""

from collections.abc import Iterator

import polars as pl

from ingest.reading.fields import CARRIED
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

FIELDS = (*CARRIED, "neck")
COLUMNS = ("log_id", "line", "serial", "started_at", "finished_at", *FIELDS)  # of tables.VISITS
TWO_VALUES: dict[
    str, pl.DataType
] = {  # a row an instrument and field: the value first in time, and the first that differs from it
    "field": pl.String(),
    "serial": pl.String(),
    "value": pl.String(),
    "log_id": pl.String(),
    "line": pl.Int64(),
    "other": pl.String(),
    "other_log": pl.String(),
    "other_line": pl.Int64(),
}
NAMED: dict[str, pl.DataType] = TWO_VALUES | {"name": pl.String(), "other_name": pl.String()}  # with the files' names


def two_values(visits: pl.DataFrame | pl.LazyFrame) -> pl.DataFrame:
    """TWO_VALUES of these visits (COLUMNS), in order of field and serial."""
    visits = visits.lazy()
    filled = visits.select((pl.col(name) != "").any() for name in FIELDS).collect(engine="streaming").row(0)
    names = [name for name, any_filled in zip(FIELDS, filled, strict=True) if any_filled]
    if not names:
        return tables.empty(TWO_VALUES)
    said = [pl.col(name).replace("", None) for name in names]
    apart = visits.filter(pl.col("serial") != "").group_by("serial").agg(each.min() != each.max() for each in said)
    several = apart.filter(pl.any_horizontal(names)).select("serial").collect(engine="streaming")
    if several.is_empty():
        return tables.empty(TWO_VALUES)
    few = visits.join(several.lazy(), on="serial", how="semi")
    told = few.select("serial", "log_id", "line", pl.coalesce("finished_at", "started_at").alias("taken_at"), *names)
    told = told.unpivot(names, index=["serial", "log_id", "line", "taken_at"], variable_name="field").filter(
        pl.col("value") != ""
    )
    told = told.sort("field", "serial", "taken_at", "line", "log_id")
    differs = pl.col("value") != pl.col("value").first()
    both = told.group_by("field", "serial", maintain_order=True).agg(
        pl.col("value", "log_id", "line").first(),
        pl.col("value").filter(differs).first().alias("other"),
        pl.col("log_id").filter(differs).first().alias("other_log"),
        pl.col("line").filter(differs).first().alias("other_line"),
    )
    return tables.shaped(both.filter(pl.col("other").is_not_null()).collect(), TWO_VALUES)


def named(found: pl.DataFrame, logs: pl.DataFrame) -> pl.DataFrame:
    """NAMED: TWO_VALUES with the name of each file (`logs`: log_id, name)."""
    names = dict(logs.select("log_id", "name").iter_rows())
    return tables.shaped(
        found.with_columns(name=pl.col("log_id").replace(names), other_name=pl.col("other_log").replace(names)), NAMED
    )


def on_file(snapshot: Snapshot) -> pl.DataFrame:
    """NAMED, of all that a shop holds."""
    return named(two_values(snapshot.table("visits", *COLUMNS)), snapshot.table("logs", "log_id", "name"))


def lines(found: pl.DataFrame) -> Iterator[str]:
    """Each row of NAMED in words: both values with file and line."""
    for row in found.iter_rows(named=True):
        yield "{serial}: {value} ({name}, line {line}), {other} ({other_name}, line {other_line})".format_map(row)

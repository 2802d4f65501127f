"""A sheet with a row an instrument: each stage with a value on the row is a visit.

Headings say the stage behind '@': `relief @ final_inspection (in)`, `tech @ nut_slotting`, `finished_at @ play_test`,
`outcome @ final_inspection`. A heading without '@' holds for every stage of the row: serial, model, supplier, lot;
`date` or `started_at` is the day of every stage that has no date column of its own (its time of day is not taken, since
it cannot be that of all). Where the sheet has no such heading either, a stage without a date column takes the day of
the last stage before it along the bench that has one, else of the next: that is all the row says of its time. A
measurement without '@' belongs to the log's `stage`.
"""

import polars as pl

from ingest.reading.cells import Cells, Refusals
from ingest.reading.headings import Column, Columns
from ingest.reading.sheet import VISIT_ROWS, Reading, Rows
from ingest.reading.visits import read_rows
from ingest.terms import tables

TIMES = ("date", "started_at", "finished_at")


def read_instruments(rows: pl.DataFrame, columns: Columns, reading: Reading) -> Rows:
    """Every row of an instrument-a-row table as visits, stage by stage in bench order; a row without a value at any
    stage is set aside.
    """
    log, shop = reading.log, reading.shop
    stages = {column.stage or log.stage for column in columns.all if column.stage or column.field == "reading"}
    if log.stage:
        stages.add(log.stage)
    seen = pl.Series("seen", [False]).new_from_index(0, rows.height)
    parts: list[Rows] = []
    for stage in sorted(stages, key=shop.bench_order.__getitem__):
        own = [
            column
            for column in columns.all
            if column.stage == stage or (column.field == "reading" and not column.stage and stage == log.stage)
        ]
        filled = _filled(rows, own)
        seen = seen | filled
        here = rows.filter(filled)
        shared_time = not any(column.field in TIMES for column in own) and len(stages) > 1
        measures = [column for column in own if column.field == "reading"]
        here, known = _dated(here, columns, stage, shop.bench_order)
        parts.append(read_rows(Cells(here, known, stage), measures, reading, stage=stage, keys_of_row=shared_time))
    refused = Refusals(rows)
    refused.add(~seen, "no value at any stage", "a measurement, date, tech or outcome at one stage or more")
    refused.settle(reading)
    whole = reading.asides.whole_lines()
    joined = Rows(
        pl.concat([part.visits for part in parts]) if parts else tables.empty(VISIT_ROWS),
        [frame for part in parts for frame in part.readings],
        pl.concat([part.faults for part in parts]) if parts else tables.empty(tables.FAULTS),
    )
    return joined.without(whole)


def _dated(
    rows: pl.DataFrame, columns: Columns, stage: str, bench_order: dict[str, int]
) -> tuple[pl.DataFrame, Columns]:
    """The rows with a date for a stage that has no date column, lent by its neighbours along the bench, where no
    heading dates the whole row.
    """
    dates = [column for column in columns.all if column.field in TIMES]
    if any(column.stage in ("", stage) for column in dates):
        return rows, columns
    here = bench_order[stage]
    before = sorted(
        (column for column in dates if bench_order[column.stage] < here), key=lambda column: -bench_order[column.stage]
    )
    after = sorted(
        (column for column in dates if bench_order[column.stage] > here), key=lambda column: bench_order[column.stage]
    )
    lent = pl.coalesce(pl.col(f"c{column.place}").replace("", None) for column in [*before, *after]).fill_null("")
    place = rows.width - 1
    column = Column(place, " or ".join(column.heading for column in [*before, *after]), "date", stage)
    return rows.with_columns(lent.alias(f"c{place}")), Columns((*columns.all, column), columns.notes)


def _filled(rows: pl.DataFrame, own: list[Column]) -> pl.Series:
    """Which rows hold anything in the columns of a stage."""
    if not own:
        return pl.Series("filled", [False]).new_from_index(0, rows.height)
    return rows.select(
        pl.any_horizontal(~pl.col(f"c{column.place}").is_in(["", "-"]) for column in own).alias("filled")
    ).to_series()

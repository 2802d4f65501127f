"""A sheet with a row an instrument: each stage with a value on the row is a visit.

Headings say the stage behind '@': `relief @ final_inspection (in)`, `tech @ nut_slotting`, `finished_at @ play_test`,
`outcome @ final_inspection`. A heading without '@' holds for every stage of the row: serial, model, supplier, lot;
`date` or `started_at` is the day of every stage that has no date column of its own (its time of day is not taken, since
it cannot be that of all). Where the sheet has no such heading either, a stage without a date column, or with an empty
cell in it, takes the day of the last stage before it along the bench that has one, else of the next: that is all the
row says of its time. A measurement without '@' belongs to the log's `stage`.
"""

import polars as pl

from ingest.reading.cells import Cells, Refusals
from ingest.reading.headings import Column, Columns
from ingest.reading.sheet import VISIT_ROWS, Reading, Rows
from ingest.reading.visits import read_rows
from ingest.terms import tables

TIMES = ("date", "started_at", "finished_at")
_CLOCK = r"[T\s,]+\d{1,2}[:.h]\d{2}.*$"  # of another stage: no time of this one


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
        here = _day_of_neighbours(here, own, columns, stage, reading)
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
    if any(column.field in TIMES and column.stage in ("", stage) for column in columns.all):
        return rows, columns
    near = _neighbours(columns, stage, bench_order)
    place = rows.width - 1
    column = Column(place, " or ".join(column.heading for column in near), "date", stage)
    return rows.with_columns(_first_filled(near).alias(f"c{place}")), Columns((*columns.all, column), columns.notes)


def _day_of_neighbours(
    rows: pl.DataFrame, own: list[Column], columns: Columns, stage: str, reading: Reading
) -> pl.DataFrame:
    """The rows with the day of its neighbours in the empty cells of a stage's one column of days."""
    times = [column for column in own if column.field in TIMES]
    near = _neighbours(columns, stage, reading.shop.bench_order)
    if len(times) != 1 or times[0].field != "date" or not near:
        return rows
    name = f"c{times[0].place}"
    day = _first_filled(near).str.replace(_CLOCK, "")
    lent = pl.when(pl.col(name) == "").then(day).otherwise(pl.col(name))
    filled = rows.with_columns(lent.alias(name))
    many = int(((rows[name] == "") & (filled[name] != "")).sum())
    reading.count(many, f"rows have no day under {times[0].heading!r}: they stand on that of the stage before or after")
    return filled


def _neighbours(columns: Columns, stage: str, bench_order: dict[str, int]) -> list[Column]:
    """The columns of days of other stages, those before along the bench first, the nearest before the others."""
    here = bench_order[stage]
    dates = [(bench_order[one.stage] - here, one) for one in columns.all if one.field in TIMES and one.stage]
    before = sorted((pair for pair in dates if pair[0] < 0), key=lambda pair: -pair[0])
    after = sorted((pair for pair in dates if pair[0] > 0), key=lambda pair: pair[0])
    return [one for _, one in [*before, *after]]


def _first_filled(near: list[Column]) -> pl.Expr:
    return pl.coalesce(pl.col(f"c{column.place}").replace("", None) for column in near).fill_null("")


def _filled(rows: pl.DataFrame, own: list[Column]) -> pl.Series:
    """Which rows hold anything in the columns of a stage."""
    if not own:
        return pl.Series("filled", [False]).new_from_index(0, rows.height)
    return rows.select(
        pl.any_horizontal(~pl.col(f"c{column.place}").is_in(["", "-"]) for column in own).alias("filled")
    ).to_series()

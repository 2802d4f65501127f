"""Rows that say of themselves that they replace an earlier one: under `replaces` stands the number of that row, as the
sheet numbers its rows, or a mark, which means the last one of the same thing on that day. The later one counts.
"""

from dataclasses import replace

import polars as pl

from ingest.reading.cells import Cells
from ingest.reading.headings import Columns, plain
from ingest.reading.measurement_rows import A_DAY, seconds_of
from ingest.reading.sheet import Reading
from ingest.reading.tabular import Table

MARKS = ("x", "✓", "✔", "y", "yes", "true", "ja", "si", "sí", "oui", "corr", "corr.", "corrected", "correction")
SAME = ("serial", "stage", "what", "position")  # what a marked row and the one it replaces have in common
STAMPED = (
    "date",
    "started_at",
    "finished_at",
    "tech",
)  # of a measurement: typed again at another time, taken at the first
MOSTLY = 0.95  # of the rows of a column that numbers them have a number of their own
WANTED = "the number of another row of this file, or a mark where the last one of the same thing that day is meant"


def without_replaced(table: Table, columns: Columns, reading: Reading) -> tuple[Table, Columns]:
    """The table without the rows that others replace; a replacing measurement was taken when the first one was. What
    replaces nothing that can be found is asked about.
    """
    column = columns.find("replaces")
    if column is None:
        return table, columns
    columns = replace(columns, all=tuple(replace(c, field="other") if c is column else c for c in columns.all))
    cells = Cells(table.rows, columns)
    said = [plain(text) for text in cells.filled(column).to_list()]
    if not any(said):
        return table, columns
    of = _targets(said, cells, columns, reading)
    lost = [row for row, text in enumerate(said) if text and not of.get(row)]
    reading.asides.add_frame(
        table.rows[lost].select(
            "line",
            pl.lit(column.heading).alias("column"),
            pl.col(f"c{column.place}").alias("raw"),
            pl.lit("no row that it replaces").alias("reason"),
            pl.lit(WANTED).alias("wanted"),
        )
    )
    gone = sorted({row for rows in of.values() for row in rows})
    reading.count(len(gone), "rows are replaced by others that say so, and do not count")
    reading.copies += len(gone)
    rows = _stamped(table.rows, of, columns) if reading.log.shape == "measurement" else table.rows
    keep = pl.Series([True]).new_from_index(0, rows.height).scatter(gone, False)
    return replace(table, rows=rows.filter(keep)), columns


def _targets(said: list[str], cells: Cells, columns: Columns, reading: Reading) -> dict[int, list[int]]:
    """By row that replaces others: those, the number of the first of them first."""
    alike = cells.rows.select(*(cells.text(field).alias(field) for field in SAME)).rows()
    numbers = _numbers({text for text in said if text not in MARKS}, cells, columns)
    by_line = {str(line): [row] for row, line in enumerate(cells.rows["line"].to_list())}
    at = seconds_of(cells, reading).to_list()
    out: dict[int, list[int]] = {}
    before: dict[tuple[str, ...], int] = {}
    for row, text in enumerate(said):
        if text in MARKS:
            last, now = before.get(alike[row]), at[row]
            then = None if last is None else at[last]
            same_day = then is not None and now is not None and then // A_DAY == now // A_DAY
            out[row] = [last] if last is not None and same_day else []
        elif text and numbers:
            out[row] = [each for each in numbers.get(text, []) if said[each] != text]
        elif text:  # no column numbers the rows: the line of the file, if the same thing stands there
            out[row] = [each for each in by_line.get(text, []) if alike[each] == alike[row] and each != row]
        before[alike[row]] = row
    return out


def _numbers(wanted: set[str], cells: Cells, columns: Columns) -> dict[str, list[int]]:
    """The rows of each number, by the column that numbers rows and holds most of those wanted; {} where none does."""
    best: dict[str, list[int]] = {}
    found = 0
    for column in columns.others():
        texts = [plain(text) for text in cells.filled(column).to_list()]
        mine: dict[str, list[int]] = {text: [] for text in texts if text}
        if len(mine) < MOSTLY * len({*cells.rows.drop("line").hash_rows()}) or len(mine.keys() & wanted) <= found:
            continue
        for row, text in enumerate(texts):
            if text:
                mine[text].append(row)
        best, found = mine, len(mine.keys() & wanted)
    return best


def _stamped(rows: pl.DataFrame, of: dict[int, list[int]], columns: Columns) -> pl.DataFrame:
    """The rows, those that replace another with its time and tech; of one replaced several times with the first's."""
    first = dict.fromkeys(of, 0)
    for row in of:
        at = row
        while of.get(at) and of[at][0] < at:
            at = of[at][0]
        first[row] = at
    index = pl.Series(range(rows.height)).scatter(list(first), list(first.values()))
    names = [f"c{column.place}" for column in columns.all if column.field in STAMPED]
    return rows.with_columns(rows[index].select(names))

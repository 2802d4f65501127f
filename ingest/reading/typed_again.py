"""Visits that are told again minutes later with one value changed: a correction or a second look, nobody says which."""

import polars as pl

from ingest.reading.cells import Cells
from ingest.reading.sheet import Reading

SOON = pl.duration(minutes=15)
ALIKE = 3  # measured cells, at least, that stand in both rows as they were
SHOWN = 3


def tell_typed_again(visits: pl.DataFrame, cells: Cells, reading: Reading) -> None:
    """Say which rows tell of a visit a second time within minutes, with the same result and all measured cells but one
    as they were. They count as two visits, as any others.

    visits : sheet.VISIT_ROWS of the rows.  cells : of all rows of the table.
    """
    measured = [f"c{column.place}" for column in cells.columns.readings()]
    if len(measured) <= ALIKE:
        return
    who = ["serial", "stage", "tech", "outcome"]
    timed = visits.filter(pl.col("time_known") & (pl.col("serial") != ""))
    timed = timed.select("line", *who, at=pl.coalesce("started_at", "finished_at")).sort(*who, "at", "line")
    soon = pl.col("at") - pl.col("at").shift(1).over(who) <= SOON
    pairs = timed.with_columns(before=pl.col("line").shift(1).over(who)).filter(soon).select("line", "before")
    texts = cells.rows.select("line", *measured)
    both = pairs.join(texts, on="line").join(texts, left_on="before", right_on="line", suffix="_before")
    same = [(pl.col(name) == pl.col(f"{name}_before")) & (pl.col(name) != "") for name in measured]
    apart = [pl.col(name) != pl.col(f"{name}_before") for name in measured]
    both = both.filter((pl.sum_horizontal(apart) == 1) & (pl.sum_horizontal(same) >= ALIKE)).sort("line")
    if both.height:
        lines = ", ".join(f"{before} and {line}" for line, before in both.select("line", "before").head(SHOWN).rows())
        more = f" and {both.height - SHOWN} more" if both.height > SHOWN else ""
        reading.note(
            f"visits told again within 15 minutes with one value changed (lines {lines}{more}) count as two; where the "
            "later one corrects the earlier, a column mapped to `replaces` says so"
        )

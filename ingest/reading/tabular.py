"""Tables of text with line numbers: what every way of reading a file ends with, and what a header looks like."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import polars as pl

from ingest.terms.questions import Question

SEPARATORS = (",", ";", "\t", "|")
LONGEST_CELL = 32_767  # the most characters a spreadsheet's cell holds; a longer one is a quote that was never closed
CONTROL = re.compile("[\x00-\x08\x0e-\x1f]")


@dataclass(frozen=True)
class Form:
    """What a kind of sheet looks like."""

    score: Callable[[Sequence[str]], int]  # how much a row of cells looks like its header: 0 = not at all
    # places of the columns of a header that hold a digit in every row below it: dates
    digits: Callable[[Sequence[str]], list[int]]
    missing: str = "no serial or date column"  # what a file without a header lacks, and what is wanted
    decimal: str = "."


@dataclass(frozen=True)
class Table:
    """One table of a file: headings and the rows below it, all text, '' where empty, not stripped."""

    header: tuple[str, ...]
    header_line: int
    rows: pl.DataFrame  # line (Int64), then c0, c1 ... (String), one a heading


@dataclass
class Tables:
    """Every table of a file; rows refused for their form; lines passed over (blank, title, repeated header, total)."""

    tables: list[Table]
    refused: list[Question] = field(default_factory=list)
    passed_over: int = 0
    notes: list[str] = field(default_factory=list)


_TOTAL_CELL = (
    r"^(?i:\s*(?:(?:(?:grand|sub)[\s-]?)?totals?|sum|average|mean|count|summe|gesamt|somme|totale?s?)\s*:?\s*)$"
)


def _undated(table: Table, form: Form) -> pl.Expr:
    """Rows without a digit where the table has its dates: no visit, whatever else they are."""
    places = form.digits(table.header)
    return pl.all_horizontal(~pl.col(f"c{place}").str.contains(r"\d") for place in places) if places else pl.lit(True)


def tidied(tables: list[Table], form: Form, refused: list[Question], passed_over: int, notes: list[str]) -> Tables:
    """The tables without blank, repeated-header and total lines, which are counted as passed over."""
    kept: list[Table] = []
    for table in tables:
        doubtful = table.rows.filter(_undated(table, form) | pl.col("c0").str.contains(_TOTAL_CELL))
        over = doubtful.filter(_passed_over(table))
        passed_over += over.height
        rows = (
            table.rows.join(over.select("line"), on="line", how="anti", maintain_order="left")
            if over.height
            else table.rows
        )
        kept.append(Table(table.header, table.header_line, rows))
    return Tables(kept, refused, passed_over, notes)


def _passed_over(table: Table) -> pl.Expr:
    """Blank lines, the header again, and lines whose first filled cell says total."""
    names = table.rows.columns[1:]
    first = pl.lit("")
    for name in reversed(names):
        cell = pl.col(name).str.strip_chars()
        first = pl.when(cell == "").then(first).otherwise(cell)
    again = pl.all_horizontal(
        pl.col(name).str.strip_chars() == heading.strip() for name, heading in zip(names, table.header, strict=True)
    )
    return (first == "") | again | first.str.contains(_TOTAL_CELL)

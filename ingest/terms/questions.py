"""What could not be read, as data: a file that is no log, and the rows and cells set aside as questions to the shop."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field

import polars as pl
from rapidfuzz import fuzz, process

from ingest.terms import tables
from ingest.terms.problems import Problem

LONGEST_RAW = 400  # characters of a cell or row shown with a question; the whole text stands in the original
IT_IS_REAL = "it is real"
UNKNOWABLE = "cannot be known"
ASKED_AGAIN = "asked again"  # the answer before it is taken back
IMPLAUSIBLE = "is it real?"


class FileProblem(Problem):
    """A file that cannot be read as a log: one line with the file, what is wrong and what to do."""


@dataclass(frozen=True)
class Question:
    """One row or cell set aside."""

    line: int
    column: str  # heading as typed; '' = the whole row
    raw: str
    reason: str  # the same words for the same kind of fault, so that questions can be grouped
    wanted: str


@dataclass
class Asides:
    """Everything set aside while one file is read, gathered before anybody speaks."""

    questions: list[Question] = field(default_factory=list)
    frames: list[pl.DataFrame] = field(default_factory=list)

    def add(self, question: Question) -> None:
        """One more question."""
        self.questions.append(question)

    def add_frame(self, rows: pl.DataFrame) -> None:
        """Rows with line, column, raw, reason, wanted."""
        if rows.height:
            self.frames.append(rows.select("line", "column", "raw", "reason", "wanted"))

    def whole_lines(self) -> pl.Series:
        """The lines set aside whole so far."""
        lines = [question.line for question in self.questions if question.column == ""]
        return pl.concat(
            [pl.Series("line", lines, dtype=pl.Int64), *(f.filter(pl.col("column") == "")["line"] for f in self.frames)]
        ).unique()

    def table(self, log_id: str, name: str) -> pl.DataFrame:
        """tables.SET_ASIDE in order of line and column; a cell of a row set aside whole is not shown again."""
        rows = [(q.line, q.column, q.raw, q.reason, q.wanted) for q in self.questions]
        schema = {
            "line": pl.Int64(),
            "column": pl.String(),
            "raw": pl.String(),
            "reason": pl.String(),
            "wanted": pl.String(),
        }
        both = pl.concat(
            [pl.DataFrame(rows, schema=schema, orient="row"), *(f.cast(pl.Schema(schema)) for f in self.frames)]
        )
        if both.is_empty():
            return tables.empty(tables.SET_ASIDE)
        whole = both.filter(pl.col("column") == "").unique("line", keep="first", maintain_order=True)
        cells = (
            both.filter(pl.col("column") != "")
            .join(whole, on="line", how="anti")
            .unique(["line", "column"], keep="first", maintain_order=True)
        )
        kept = pl.concat([whole, cells]).sort("line", "column", maintain_order=True)
        kept = kept.with_columns(shortened(pl.col("raw")), pl.lit(log_id).alias("log_id"), pl.lit(name).alias("name"))
        return tables.shaped(kept, tables.SET_ASIDE)


def shortened(raw: pl.Expr) -> pl.Expr:
    """The text, cut to LONGEST_RAW characters."""
    return (
        pl.when(raw.str.len_chars() > LONGEST_RAW).then(raw.str.slice(0, LONGEST_RAW) + "…").otherwise(raw).name.keep()
    )


def short(raw: str) -> str:
    """The text of one cell, cut to LONGEST_RAW characters."""
    return raw if len(raw) <= LONGEST_RAW else raw[:LONGEST_RAW] + "…"


def closest(word: str, known: Iterable[str], *, least: int = 60) -> str:
    """The known word nearest to what was typed, '' where none comes near; least : how near it must be, of 100."""
    best = process.extractOne(
        word.casefold(), {name: name.casefold() for name in known}, scorer=fuzz.ratio, score_cutoff=least
    )
    return str(best[2]) if best else ""


def listed(words: Iterable[str], most: int = 12) -> str:
    """Words for a message: at most so many, then a count."""
    all_words = list(words)
    return ", ".join(all_words[:most]) + (f" and {len(all_words) - most} more" if len(all_words) > most else "")


def quoted(word: str) -> str:
    """A word as TOML writes it."""
    return json.dumps(word, ensure_ascii=False).replace("\x7f", "\\u007f")

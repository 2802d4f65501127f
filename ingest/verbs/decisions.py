"""What people decided about cells of an older edition, carried over to the newer one: corrections and verdicts follow
serial, stage and characteristic.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from ingest.reading.as_typed import headings_in, rows_in
from ingest.reading.on_disk import Data
from ingest.reading.reader import read_log
from ingest.shopfiles.shop import Shop
from ingest.store import book
from ingest.store.merge import KEY
from ingest.terms import tables
from ingest.terms.questions import IT_IS_REAL, FileProblem


@dataclass(frozen=True)
class Original:
    """A file as it came."""

    log_id: str
    name: str
    data: Data


@dataclass
class CarriedOver:
    """Lines for the book about a new log, each with who decided it and why; what is to be said of them once."""

    corrections: list[tuple[str, str, pl.DataFrame]] = field(default_factory=list)
    settled: list[tuple[str, str, pl.DataFrame]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def is_empty(self) -> bool:
        """Was nothing decided?"""
        return not self.corrections and not self.settled

    def tables(self) -> dict[str, list[tuple[str, str, pl.DataFrame]]]:
        """The decisions by table of the book."""
        return {"corrections": self.corrections, "settled": self.settled}


def standing_decisions(said: Mapping[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """The corrections and the verdicts 'it is real' that count."""
    real = book.standing_verdicts(said["settled"]).filter(pl.col("verdict") == IT_IS_REAL)
    return {"corrections": book.standing_corrections(said["corrections"]), "settled": real}


def carried_over(
    new: Original, older: Mapping[str, Original | None], shop: Shop, said: Mapping[str, pl.DataFrame], on_disk: Path
) -> CarriedOver:
    """What was decided about the visits of a new log in its older editions (the latest first) and not yet about
    itself.

    on_disk : a folder in which rows of long logs may wait.
    """
    standing = standing_decisions(said)
    said_of_new = {
        name: set(said[name].filter(pl.col("log_id") == new.log_id).select("line", "column").rows())
        for name in standing
    }
    here = _Sheet.of(new, shop, on_disk)
    out = CarriedOver()
    taken = pl.DataFrame(schema={"line": pl.Int64})
    for log_id, original in older.items():
        decided = {name: rows.filter(pl.col("log_id") == log_id) for name, rows in standing.items()}
        if original is None:
            continue
        there = _Sheet.of(original, shop, on_disk)
        alike = here.lines_like(there)
        lines = pl.concat([rows.select("line") for rows in decided.values()]).unique()
        mine = alike.join(lines, on="line", how="semi").join(taken, left_on="line_here", right_on="line", how="anti")
        line_of = dict(mine.select("line", "line_here").iter_rows())
        there.take(list(line_of))
        here.take(list(line_of.values()))
        for name, rows in decided.items():
            for row in rows.iter_rows(named=True):
                line = line_of.get(row["line"])
                column = here.headings.get(there.meanings.get(row["column"], ""), "")
                if line is None or not column or (line, column) in said_of_new[name]:
                    continue
                was = there.cell(row["line"], row["column"])
                _carry(out, name, row, new, (line, column), (was, here.cell(line, column)))
        taken = pl.concat([taken, alike.select(line="line_here")])
    return out


def _carry(
    out: CarriedOver, name: str, row: dict[str, object], new: Original, place: tuple[int, str], cells: tuple[str, str]
) -> None:
    """One decision as a line about the new log: at which line and column, and what its cell says there and here."""
    who, why = str(row["who"]), str(row["why"])
    (line, column), (was, now) = place, cells
    if name == "settled":
        if was == now:
            frame = {
                "log_id": [new.log_id],
                "line": [line],
                "column": [column],
                "raw": [str(row["raw"])],
                "verdict": [str(row["verdict"])],
            }
            out.settled.append((who, why, pl.DataFrame(frame)))
        return
    line_of_book = {
        "log_id": [new.log_id],
        "line": [line],
        "column": [column],
        "value": [str(row["value"])],
        "undone": [False],
    }
    out.corrections.append((who, why, pl.DataFrame(line_of_book)))
    if was != now and now != row["value"]:
        out.notes.append(
            f"{new.name}, line {line}: {column} says {now!r}, where {was!r} was corrected to "
            f"{str(row['value'])!r} by {who}; the correction stands"
        )


@dataclass(frozen=True)
class _Sheet:
    """A file as it came: its visits, its headings by what they mean, cells of it."""

    original: Original
    shop: Shop
    visits: pl.DataFrame  # line, KEY
    aside: pl.DataFrame  # line, raw: rows set aside whole
    meanings: Mapping[str, str]  # by heading
    headings: Mapping[str, str]  # by meaning
    cells: dict[int, dict[str, str]] = field(default_factory=dict)

    @classmethod
    def of(cls, original: Original, shop: Shop, on_disk: Path) -> "_Sheet":
        try:
            sheet = read_log(original.data, original.name, shop, on_disk=on_disk)
        except FileProblem:
            none = tables.empty(tables.SET_ASIDE)
            return cls(original, shop, tables.empty({"line": pl.Int64(), "who": pl.String()}), none, {}, {})
        keyed = sheet.keyed().select("line", *KEY)
        meanings = headings_in(original.data, original.name, shop)
        return cls(
            original,
            shop,
            keyed,
            sheet.set_aside.filter(pl.col("column") == "").select("line", "raw"),
            meanings,
            {meaning: heading for heading, meaning in reversed(meanings.items())},
        )

    def take(self, lines: Collection[int]) -> None:
        """Read the cells of some lines."""
        if lines:
            self.cells.update(rows_in(self.original.data, self.original.name, self.shop, lines))

    def cell(self, line: int, column: str) -> str:
        return self.cells.get(line, {}).get(column, "")

    def lines_like(self, other: "_Sheet") -> pl.DataFrame:
        """`line` of the other sheet, each once, and `line_here` of this one that tells of the same visit (of a row set
        aside whole: in the same words).
        """
        words = other.aside.join(self.aside.unique("raw", keep="none"), on="raw", suffix="_here")
        pairs = words.select("line", "line_here")
        if not self.visits.is_empty() and not other.visits.is_empty():
            both = other.visits.join(self.visits, on=list(KEY), nulls_equal=True, suffix="_here", maintain_order="left")
            pairs = pl.concat([both.select("line", "line_here"), pairs])
        return pairs.unique("line", keep="first", maintain_order=True)

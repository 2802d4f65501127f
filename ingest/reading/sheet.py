"""What is made of one log file: the sheet that reading ends with, and what is carried along while it is read."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

import polars as pl

from ingest.reading.days import Span
from ingest.reading.pieces import NARROW, VISIT_ROWS, Frames, Pieces, key_hash, marks_of, visit_hash
from ingest.reading.words import Words
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.terms import tables
from ingest.terms.questions import Asides

__all__ = ["VISIT_ROWS", "Progress", "Reading", "Rows", "Sheet"]
Progress = Callable[[float, str], None]  # share done from 0 to 1, what is being done


@dataclass(frozen=True)
class Sheet:
    """What one file holds, before it meets the store.

    visits : tables.VISITS and three columns more: `part` (lot and neck of a row without serial, else ''), `ordinal`
    (for a row with a date
        only: the how-manieth row of the same serial, stage, day and tech in the file, from 1; else 0) and `text_hash`
        (Int64, of the row's cells as typed under the meaning of their headings: same in every version of the program
        and whatever the order of columns). In an instrument-a-row sheet one line gives a visit for each stage with a
        value, so a visit is (log_id, line, stage).
    readings, faults, gauge_trials, set_aside : as in `tables`; the value of a reading is null where its flag has
    'class'. rows_read = accepted lines + rows_set_aside; cells_set_aside are apart; passed_over lines stand outside
    rows_read.
    notes : questions asked once for the whole file.
    pieces : of a long file its rows, of which `visits`, `readings` and `faults` then hold none; ask `parts`, `rows_of`
    and `keyed`.
    """

    visits: pl.DataFrame
    readings: pl.DataFrame
    faults: pl.DataFrame
    gauge_trials: pl.DataFrame
    set_aside: pl.DataFrame
    rows_read: int
    rows_set_aside: int
    cells_set_aside: int
    passed_over: int
    notes: list[str]
    replaces: bool
    columns: pl.DataFrame = field(default_factory=lambda: tables.empty(tables.COLUMNS))
    covers: list[Span] = field(default_factory=list)  # the days it tells of
    pieces: Pieces | None = None
    gathered: bool = False  # from rows a measurement, so that the edge of the file may cut a visit
    rows_held: int = 0  # rows that another log tells of under a visit of its own (store.cut_visits)

    @property
    def size(self) -> int:
        """Visits and readings."""
        return self.visits.height + self.readings.height if self.pieces is None else self.pieces.size

    @property
    def height(self) -> int:
        """Visits."""
        return self.visits.height if self.pieces is None else self.pieces.height

    @cached_property
    def marks(self) -> pl.DataFrame:
        """pieces.MARKS of every visit."""
        return marks_of(self.visits) if self.pieces is None else self.pieces.marks

    def keyed(self, keys: pl.Series | None = None) -> pl.DataFrame:
        """pieces.NARROW of the visits of some keys (None: of all) with what tells visits apart: `who` and `time`."""
        if self.pieces is None:
            rows = self.visits.select(NARROW)
        else:
            rows = self.pieces.narrow(
                None if keys is None else self.marks.filter(pl.col("key").is_in(keys.implode()))["line"]
            )
        part = pl.concat_str(pl.lit("/"), "lot", pl.lit("/"), "neck")
        rows = rows.with_columns(
            who=pl.when(pl.col("serial") == "").then(part).otherwise("serial"),
            time=pl.coalesce("started_at", "finished_at"),
        )
        return rows if keys is None else rows.filter(key_hash(visit_hash()).is_in(keys.implode()))

    def stages_of(self, lines: pl.Series) -> pl.DataFrame:
        """line, stage of the visits on some lines."""
        if self.pieces is not None:
            return self.pieces.narrow(lines).select("line", "stage")
        wanted = lines.unique().rename("line").to_frame()
        return self.visits.select("line", "stage").join(wanted, on="line", how="semi", maintain_order="left")

    def parts(self) -> Iterator[Frames]:
        """All rows, so many at a time: visits (VISIT_ROWS), readings, faults."""
        if self.pieces is None:
            yield {"visits": self.visits, "readings": self.readings, "faults": self.faults}
        else:
            yield from self.pieces

    def whole(self) -> Frames:
        """All rows at once, in memory."""
        return next(self.parts()) if self.pieces is None else self.pieces.whole()

    def rows_of(self, lines: pl.Series) -> Frames:
        """The rows of some lines; of a short file at least these."""
        return next(self.parts()) if self.pieces is None else self.pieces.of(lines)


@dataclass
class Reading:
    """One file while it is read: what every step needs, and what they gather."""

    name: str
    log_id: str
    shop: Shop
    log: Log
    words: Words
    limit: datetime | None
    settled: pl.DataFrame  # line, column, raw of the cells of this file that somebody has said are real
    asides: Asides = field(default_factory=Asides)
    notes: list[str] = field(default_factory=list)
    progress: Progress = lambda share, what: None

    copies: int = 0  # rows that repeat an earlier one
    counted: dict[str, int] = field(default_factory=dict)  # what is said with a number, once the file is read

    def count(self, number: int, text: str) -> None:
        """So many more of something: told as `NUMBER TEXT` at the end."""
        if number:
            self.counted[text] = self.counted.get(text, 0) + number

    def note(self, text: str) -> None:
        """Something worth saying of the file, once."""
        if text not in self.notes:
            self.notes.append(text)


@dataclass
class Rows:
    """The accepted rows of one table (or of one stage of it)."""

    visits: pl.DataFrame  # VISIT_ROWS
    readings: list[pl.DataFrame]  # tables.READINGS, a frame a measurement column
    faults: pl.DataFrame

    def without(self, lines: pl.Series) -> "Rows":
        """These rows less those of the lines given."""
        if lines.is_empty():
            return self
        gone = lines.rename("line").to_frame()
        return Rows(
            self.visits.join(gone, on="line", how="anti", maintain_order="left"),
            [frame.join(gone, on="line", how="anti", maintain_order="left") for frame in self.readings],
            self.faults.join(gone, on="line", how="anti", maintain_order="left"),
        )

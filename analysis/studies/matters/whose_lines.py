"""About which matter each line of the bench book was written.

Lines hang on signals. Where one cause ends as another begins, a chart of both stays open: the signal that the first had
opened is the second's by now. What was written before the second began was written about the first, and goes with it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from analysis.studies.drift.entries import entries_for, of_other
from analysis.studies.matters.parts import Part
from analysis.studies.matters.units import Signal
from ingest.store.snapshot import Snapshot


@dataclass(frozen=True, eq=False)
class Held:
    """A matter as far as it must be known: its signals and what explains them, the most telling first."""

    signals: list[Signal]
    parts: list[Part]

    @property
    def began(self) -> datetime | None:
        """The first moment at which its cause may have begun; None where none is named."""
        return self.parts[0].measured.began_low if self.parts and self.parts[0].named else None

    def was_there(self, when: datetime, models: set[str], units: set[tuple[str, str]]) -> bool:
        """Had it begun by then, and was it open still, on such models at such benches?"""
        if not self.parts or self.parts[0].measured.began_low > when:
            return False
        closed = [one.row["closed_at"] for one in self.signals]
        mine = {(part.characteristic, part.stage) for part in self.parts}
        same_model = not models or any(models & set(part.models) for part in self.parts)
        return bool(mine & units) and same_model and any(at is None or at >= when for at in closed)


def lines_of_signals(snapshot: Snapshot, signals: Sequence[Signal]) -> pl.DataFrame:
    """Lines of the bench book that hang on any of some signals, in the order written."""
    tied = snapshot.once(entries_for)
    if tied.is_empty():
        return tied
    mine = pl.col("signal").is_in([one.row_number for one in signals if one.table == "found"])
    for one in signals:
        if one.table == "others":
            mine |= of_other(one.row)
    return tied.filter(mine.fill_null(False)).sort("sequence")


def before_it(one: Held, lines: pl.DataFrame) -> pl.DataFrame:
    """Those of its lines that are about a time before its cause may have begun, on a signal that had opened then."""
    if one.began is None:
        return lines.clear()
    return lines.filter((about() < one.began) & (pl.col("now_opened_at") < one.began))


def about() -> pl.Expr:
    """The last moment that a line is about: when it was written, or the day by which it was to be done."""
    return pl.min_horizontal("at", pl.col("due").cast(pl.Datetime("us", "UTC")) + pl.duration(days=1))


def moved(snapshot: Snapshot, every: Sequence[Held]) -> dict[int, int]:
    """Of lines that were written about another matter the number of that one, by the line's; a line of which no other
    matter was there when it was written stays.
    """
    found: dict[int, int] = {}
    for number, one in enumerate(every):
        lines = before_it(one, lines_of_signals(snapshot, one.signals)).with_columns(about=about())
        for line in lines.iter_rows(named=True):  # hardly any
            units = {(part.characteristic, part.stage) for part in one.parts}
            models = {line["model"]} - {None, ""}
            there = [
                (other.parts[0].measured.began_at, k)
                for k, other in enumerate(every)
                if k != number and other.was_there(line["about"], models, units)
            ]
            if there:
                found[line["sequence"]] = max(there)[1]
    return found

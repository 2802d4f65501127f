"""What a shop publishes for other shops to read: visits, readings and faults log by log, core figures, and what figures
are worked out of beside rows (`house`), all without what somebody wrote by hand and with people as the shop wishes them
seen elsewhere.
"""

from collections.abc import Callable, Iterator
from typing import Protocol

import polars as pl

from analysis.studies.drift import states
from analysis.studies.matters import rows as matters
from analysis.studies.matters.records import PEOPLE
from analysis.studies.necks import lots
from analysis.studies.rework import mix, rework
from analysis.studies.room import capability, dated, levels
from dashboard.exports import house
from dashboard.exports.figures import NotWritten
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from ingest.terms.units import CANONICAL

BY_HAND = {  # columns that stay at home: what somebody typed, and the number of a customer's order
    "visits": ("note", "other", "job"),
    "readings": ("raw",),
    "faults": ("raw",),
    "changes": ("note",),
    "matters": ("action", "owner"),
}
WORDS = {  # columns of words of the trade, in which a name may stand
    "visits": ("string_set", "grade", "hand"),
    "readings": ("gauge",),
    "faults": ("fault", "fault_at"),
    "changes": ("what",),
    "dated": ("what",),
}
MEANINGS: dict[str, pl.DataType] = {  # what the shop's own words mean
    "kind": pl.String(),  # characteristic | model | stage
    "key": pl.String(),
    "name": pl.String(),
    "quantity": pl.String(),  # of a characteristic
    "unit": pl.String(),  # of its values, canonical; '' where the gauge gives it
    "family": pl.String(),  # of a model
    "setup": pl.String(),  # the stream it belongs to
    "role": pl.String(),  # of a stage
}


class Leaving(Protocol):
    """How people stand in what leaves."""

    @property
    def single(self) -> bool:
        """May figures of single people leave?"""

    def coded(self, techs: pl.Series) -> pl.Series:
        """A column of techs."""

    def put(self, texts: pl.Series) -> pl.Series:
        """A column of words in which a name may stand."""

    def mark(self, word: str) -> str:
        """A mark for a word, which says nothing of it."""


def changes(snapshot: Snapshot) -> pl.DataFrame:
    """Dated changes of changes.csv."""
    return snapshot.table("changes")


def meanings(snapshot: Snapshot) -> pl.DataFrame:
    """MEANINGS of characteristics, models and stages."""
    shop = snapshot.shop
    rows = [
        {"kind": "characteristic", "key": one.key, "name": one.name, "quantity": one.quantity}
        | {"unit": CANONICAL.get(one.quantity, "")}
        for one in shop.characteristics
    ]
    rows += [
        {"kind": "model", "key": one.key, "family": one.family, "setup": shop.setups[one.key]} for one in shop.models
    ]
    rows += [{"kind": "stage", "key": one.key, "name": one.name, "role": one.role} for one in shop.stages]
    return tables.shaped(pl.DataFrame(rows, infer_schema_length=None), MEANINGS)


FIGURES: dict[str, Callable[[Snapshot], pl.DataFrame]] = {
    "streams": states.stream_rows,
    "capability": capability.capability_rows,
    "levels": levels.level_rows,
    "dated": dated.dated_rows,
    "stages": rework.stages,
    "mix": mix.mix_rows,
    "lots": lots.lot_rows,
    "matters": matters.matter_rows,
    "changes": changes,
    "meanings": meanings,
}
ROWS = house.ROWS


def published(snapshot: Snapshot, people: Leaving) -> Iterator[tuple[str, dict[str, pl.DataFrame] | NotWritten]]:
    """Every table by name, in the pieces that change together: of the rows a piece a log, else one, called ''. A figure
    that cannot be worked out stops no other.

    snapshot : as it was typed; nothing of it is veiled yet.
    """
    for name in ROWS:
        told = _leaving(name, snapshot.table(name), people)
        parts = told.partition_by("log_id", as_dict=True, maintain_order=True)
        yield name, {str(log): part for (log,), part in sorted(parts.items())}
    for name, work in FIGURES.items():
        try:
            yield name, {"": _leaving(name, snapshot.once(work), people)}
        except Exception as fault:
            yield name, NotWritten(name, fault)
    for name, rows in house.leaving(snapshot, people):
        yield name, {"": rows}


def _leaving(name: str, rows: pl.DataFrame, people: Leaving) -> pl.DataFrame:
    """A table as it may leave."""
    rows = rows.drop(BY_HAND.get(name, ()))
    if "tech" in rows.columns:
        if name not in ROWS and not people.single:
            rows = rows.filter(pl.col("tech").fill_null("") == "")
        alone = rows["tech"].fill_null("") != ""
        rows = rows.with_columns(people.coded(rows["tech"]).alias("tech"))
        if name not in ROWS:  # figures of somebody whose code may not leave are nobody's
            rows = rows.filter(~alone | (pl.col("tech") != ""))
    for column in WORDS.get(name, ()):
        rows = rows.with_columns(people.put(rows[column]).alias(column))
    return _matters(rows, people) if name == "matters" else rows


def _matters(rows: pl.DataFrame, people: Leaving) -> pl.DataFrame:
    """Matters with marks in place of their keys, which hold who set the readings, and causes without names."""
    values = []
    for cause, value in rows.select("cause", "cause_value").iter_rows():
        names = cause.split(matters.JOIN)
        said = value.split(matters.JOIN) if len(names) > 1 else [value]
        if len(said) != len(names):  # a value with the sign in it: nobody can tell whose it is
            values.append(matters.JOIN.join("" for _ in names))
            continue
        of_people = [any(name == one or name.startswith(f"{one} ") for one in PEOPLE) for name in names]
        one_by_one = [
            (people.coded if person else people.put)(pl.Series([word])).item()
            for word, person in zip(said, of_people, strict=True)
        ]
        values.append(matters.JOIN.join(one_by_one))
    return rows.with_columns(
        matter=pl.Series([people.mark(key) for key in rows["matter"]], dtype=pl.String),
        cause_value=pl.Series(values, dtype=pl.String),
    )

"""The story kept beside the store: under all that it hangs on, and from the version before, what was touched worked out
anew.
"""

from collections.abc import Callable, Mapping
from functools import cache, partial
from hashlib import blake2b
from pathlib import Path

import polars as pl

from analysis.studies.story.columns import Columns
from analysis.studies.story.merged import ALIKE, merged
from analysis.studies.story.of_readings import NAMES, OF_A_SHEET, ONLY_LEFT, Readings, only_left
from analysis.studies.story.of_visits import CAUSED_BY, OfVisits, of_visits
from ingest.store.snapshot import Damaged, Snapshot, code_of
from ingest.terms import tables

LEAST = 40_000  # visits from which on the second opening has paid for the writing (tests/benchmarks/years.md)
Given = Mapping[str, Mapping[str, Callable[[], pl.Series | tables.Coded]]]  # table -> column -> what makes it


def told_of(snapshot: Snapshot) -> dict[str, Columns]:
    """The tables of the story (story.Story) by name: as they are kept, else worked out, and kept where that pays."""
    snapshot.lines(CAUSED_BY)  # the answer hangs on them, whether they are looked at or not
    place = snapshot.kept_tables
    if place is None or place.visits < LEAST:
        return _held(_worked_out(snapshot))
    key, kin = _key_of(snapshot)
    kept = place.of(key)
    if kept is None:
        given = _carried_on(snapshot, kin)
        try:
            kept = place.keep(key, kin, given)
        except Damaged:  # what it was to be carried on from
            given = _worked_out(snapshot)
            kept = place.keep(key, kin, given)
        if kept is None:
            return _held(given)
    anew = cache(lambda: _held(_worked_out(snapshot)))
    return {name: Columns.kept(kept, name, partial(_column_of, anew, name)) for name in kept.tables}


def _column_of(told: Callable[[], Mapping[str, Columns]], table: str, name: str) -> pl.Series:
    return told()[table][name]


def _held(given: Given) -> dict[str, Columns]:
    """The tables in memory."""
    held = {}
    for table, columns in given.items():
        made = {name: make() for name, make in columns.items()}
        plain = {name: one.column() if isinstance(one, tables.Coded) else one for name, one in made.items()}
        held[table] = Columns.of(pl.DataFrame(plain))
    return held


def _worked_out(snapshot: Snapshot, made: OfVisits | None = None) -> Given:
    """The whole story, out of all rows."""
    made = of_visits(snapshot) if made is None else made

    def read(name: str) -> pl.Series:
        return snapshot.coded("readings", name)[name]

    found = Readings(read, made.told, made.number, snapshot.shop)

    def left() -> pl.Series:
        return only_left(pl.DataFrame([found.column(name) for name in ("moment", *OF_A_SHEET)]), _logs(snapshot))

    columns: dict[str, Callable[[], pl.Series]] = {name: partial(found.column, name) for name in NAMES}
    return _of_visits(made) | {"readings": columns | {ONLY_LEFT: left}}


def _carried_on(snapshot: Snapshot, kin: str) -> Given:
    """The story from the one kept last where it can be told what came between, else out of all rows."""
    place = snapshot.kept_tables
    before = place.newest(kin) if place else None
    if place is None or before is None:
        return _worked_out(snapshot)
    moved = place.moved(before, "readings")
    if moved is None:
        return _worked_out(snapshot)
    made = of_visits(snapshot)
    try:
        readings = merged(before, made, moved, partial(place.rows_of, "readings"), snapshot.shop, _logs(snapshot))
    except Damaged:
        readings = None
    return _worked_out(snapshot, made) if readings is None else _of_visits(made) | {"readings": readings}


def _of_visits(made: OfVisits) -> dict[str, Mapping[str, Callable[[], pl.Series]]]:
    """The tables that no reading goes into; `parts`: visits of parts without an instrument, to be told apart by."""
    frames = {name: getattr(made, name) for name in ("visits", "faults", "instruments", "loops", "caused")}
    frames["parts"] = made.told.filter(~pl.Series(made.own)).select("part", *ALIKE)
    return {table: {name: partial(rows.get_column, name) for name in rows.columns} for table, rows in frames.items()}


def _logs(snapshot: Snapshot) -> pl.DataFrame:
    return snapshot.table("logs", "log_id", "name")


def _key_of(snapshot: Snapshot) -> tuple[str, str]:
    """All that a story hangs on, and what two must share for the one to be carried on from the other: code and shop.
    What the shop's rows say, and what people said of causes, is compared row by row.
    """
    kin = repr((_code(), _digest(repr(snapshot.shop))))
    said = _digest(repr(snapshot.lines(CAUSED_BY).rows()))
    rows = (snapshot.version, snapshot.made, snapshot.as_of, snapshot.laid_over, said)
    return repr((kin, *rows)), kin


def _digest(text: str) -> str:
    return blake2b(text.encode(), digest_size=16).hexdigest()


def _code() -> str:
    """The code that works the story out, and what it is built on; where in doubt, all of it."""
    return code_of(Path(__file__).parents[2], Path(tables.__file__).parents[1], built_on=("numpy", "polars"))

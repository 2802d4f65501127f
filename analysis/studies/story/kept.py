"""The story kept beside the store: under all that it hangs on, and from the version before, what was touched worked out
anew.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache, partial
from hashlib import blake2b
from pathlib import Path

import polars as pl

from analysis.studies.story.calendar import DAYS_SEEN, days_of
from analysis.studies.story.clocked import STAMPS, USUAL, clock_of, usual_of
from analysis.studies.story.columns import Columns
from analysis.studies.story.marks import MARK, MARKS, SAYS, marks, says
from analysis.studies.story.merged import MOST, columns_of, merged, parts_of
from analysis.studies.story.merged_readings import merged_readings
from analysis.studies.story.of_readings import (
    NAMES,
    OF_A_SHEET,
    ONLY_LEFT,
    STREAM,
    Readings,
    kinds_left,
    only_left,
    sheets_of,
    streams_of,
)
from analysis.studies.story.of_visits import CAUSED_BY, latest_words, of_visits
from analysis.studies.story.touched import touched
from analysis.studies.story.unclocked import ways_of
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Carried, Column, Damaged, Given, KeptTables, Reader, Snapshot, code_of
from ingest.terms import tables

LEAST = 40_000  # visits from which on the second opening has paid for the writing (tests/benchmarks/years.md)
OF_STORY = (
    "visits",
    "faults",
    "instruments",
    "loops",
    "caused",
    "days",
    "readings",
)  # others stand beside, to carry it on
OF_MARKS = (MARK, SAYS)  # kept with the readings, a table of their own to whoever asks
OF_USUAL = (*STAMPS, "minutes_from")  # of visits
BOUND = ("stage", "family", "usual")  # of clocked.USUAL: what minutes hang on


def told_of(snapshot: Snapshot) -> dict[str, Columns]:
    """The tables of the story (story.Story) by name: as they are kept, else worked out, and kept where that pays."""
    snapshot.lines(CAUSED_BY)  # the answer hangs on them, whether they are looked at or not
    place = snapshot.kept_tables
    if place is None or place.visits < LEAST:
        return _held(_worked_out(snapshot))
    key, kin = _key_of(snapshot, place)
    kept = place.of(key)
    if kept is None:
        given = _carried_on(snapshot, kin)
        try:
            kept = place.keep(key, kin, given)
        except Damaged:  # what it was to be carried on from
            given = _worked_out(snapshot)
            kept = place.keep(key, kin, given)
        if kept is None:
            try:
                return _held(given)
            except Damaged:
                return _held(_worked_out(snapshot))
    anew = cache(lambda: _held(_worked_out(snapshot)))

    def table(name: str, kept_as: str, columns: list[str]) -> Columns:
        return Columns.kept(kept, kept_as, columns, partial(_column_of, lambda: anew()[name]))

    names = {name: [each for each in kept.columns(name) if each not in OF_MARKS] for name in OF_STORY}
    return {name: table(name, name, names[name]) for name in OF_STORY} | {
        MARKS: table(MARKS, "readings", list(OF_MARKS))
    }


def _column_of(make: Callable[[], pl.DataFrame | Columns], name: str) -> pl.Series:
    return make()[name]


def _held(given: Given) -> dict[str, Columns]:
    """The tables in memory."""
    held = {}
    for table in OF_STORY:
        made = {name: make() for name, make in given[table].items() if name not in OF_MARKS}
        held[table] = Columns.of(pl.DataFrame({name: _plain(one) for name, one in made.items()}))
    return held | {MARKS: _marks(held["visits"], held["readings"])}


def _marks(visits: Columns, readings: Columns) -> Columns:
    """The marks of readings in memory, worked out where somebody asks for them."""

    def read(name: str) -> pl.Series:
        return marks(visits.__getitem__, readings.__getitem__) if name == MARK else says(readings.__getitem__)

    return Columns(len(readings), list(OF_MARKS), read, lambda name, rows: read(name)[rows])


def _plain(column: Column) -> pl.Series:
    return column.column() if isinstance(column, Carried) else column


def _worked_out(snapshot: Snapshot) -> Given:
    """The whole story, out of all rows."""
    made = of_visits(snapshot)

    def read(name: str) -> pl.Series:
        return snapshot.coded("readings", name)[name]

    found = cache(lambda: Readings(read, made.told, made.number, snapshot.shop))  # when all else is written
    sheets = cache(lambda: sheets_of(found().table(("moment", *OF_A_SHEET))))
    kinds = cache(lambda: kinds_left(sheets(), _logs(snapshot)))
    columns: dict[str, Callable[[], pl.Series]] = {name: partial(_column_of_readings, found, name) for name in NAMES}
    columns[ONLY_LEFT] = lambda: only_left(found().table(OF_A_SHEET), kinds())
    columns[MARK] = lambda: marks(made.visits.get_column, found().column)
    columns[SAYS] = lambda: says(found().column)
    clock = cache(lambda: clock_of(made.visits, snapshot.shop))
    rows = {name: getattr(made, name) for name in OF_STORY if name not in ("readings", "days")}
    rows |= {"parts": parts_of(made), "said": latest_words(snapshot)}
    told: dict[str, Mapping[str, Callable[[], Column]]] = {table: columns_of(held) for table, held in rows.items()}
    for table, names, make in (
        ("ways", ("log_id", "forth", "tells"), cache(lambda: ways_of(made.told))),
        ("usual", USUAL, cache(lambda: _usual(made.visits.select(OF_USUAL), clock(), snapshot.shop))),
        ("streams", (*STREAM, "n"), cache(lambda: streams_of(found().table(STREAM)))),
        ("sheets", (*OF_A_SHEET, "n", "left"), sheets),
        ("left", OF_A_SHEET, kinds),
        ("days", DAYS_SEEN, cache(lambda: days_of(made.visits["day"], found().column("day"), snapshot.shop))),
    ):
        told[table] = {name: partial(_column_of, make, name) for name in names}
    return told | {"readings": columns, "clocked": {"clock": clock}}


def _column_of_readings(found: Callable[[], Readings], name: str) -> pl.Series:
    return found().column(name)


def _carried_on(snapshot: Snapshot, kin: str) -> Given:
    """The story from the one kept last where it can be told what came between, else out of all rows."""
    place = snapshot.kept_tables
    before = place.newest(kin) if place else None
    if place is None or before is None:
        return _worked_out(snapshot)
    try:
        words = latest_words(snapshot)
        what = touched(before, place, words, snapshot)
        if what is None or what.visits.height > MOST * place.visits:
            return _worked_out(snapshot)
        usual = before.frame("usual")
        few = of_visits(_only(snapshot, visits=what.visits, faults=what.faults), what.ways, usual)
        raw = place.rows_of("readings", what.visits["log_id"].unique())
        fresh = Readings(lambda name: _coded(raw, name), few.told, few.number, snapshot.shop)
        told = merged(before, few, what, snapshot.as_of)
        clock = replace(told.visits.laid, table="clocked").column("clock", clock_of(few.visits, snapshot.shop))
        visits = pl.DataFrame([_plain(told.given["visits"][name]()) for name in OF_USUAL])
        now = _usual(visits, clock.column(), snapshot.shop)
        if not now.select(BOUND).equals(usual.select(BOUND)):  # clocks of all others are believed otherwise
            return _worked_out(snapshot)
        readings = merged_readings(before, told, few, what, fresh, _logs(snapshot))
    except Damaged:
        return _worked_out(snapshot)
    others = before.frame("ways").filter(~pl.col("log_id").is_in(what.logs))
    ways = pl.concat([others, what.ways]).sort("log_id")
    visited, read = (_plain(each["day"]()) for each in (told.given["visits"], readings["readings"]))
    rows = {"said": words, "ways": ways, "days": days_of(visited, read, snapshot.shop), "usual": now}
    beside = {name: columns_of(each) for name, each in rows.items()} | {"clocked": columns_of({"clock": clock})}
    return {**told.given, **readings, **beside}


def _only(snapshot: Snapshot, **rows: pl.DataFrame) -> Snapshot:
    """The snapshot with nothing in some tables but those rows."""

    def reader(held: pl.DataFrame) -> Reader:
        return lambda columns: held.select(columns) if columns else held

    readers = {**snapshot.readers, **{name: reader(held) for name, held in rows.items()}}
    return replace(snapshot, readers=readers, kept_tables=None, _kept={}, _book_kinds={}, _turns={})


def _usual(visits: pl.DataFrame, clock: pl.Series, shop: Shop) -> pl.DataFrame:
    return usual_of(visits, clock, visits["minutes_from"] == "typed", shop)


def _coded(rows: pl.DataFrame, name: str) -> pl.Series:
    return rows[name] if name == "serial" else tables.coded(rows[name])


def _logs(snapshot: Snapshot) -> pl.DataFrame:
    return snapshot.table("logs", "log_id", "name")


def _key_of(snapshot: Snapshot, place: KeptTables) -> tuple[str, str]:
    """All that a story hangs on, and what two must share for the one to be carried on from the other: code, shop, and
    what was laid over the rows. What the rows say, and what people said of causes, is compared row by row.
    """
    kin = repr((_code(), _digest(repr(snapshot.shop)), snapshot.laid_over, _digest(place.laid_over())))
    said = _digest(repr(snapshot.lines(CAUSED_BY).rows()))
    rows = (snapshot.version, snapshot.made, snapshot.as_of, said)
    return repr((kin, *rows)), kin


def _digest(text: str) -> str:
    return blake2b(text.encode(), digest_size=16).hexdigest()


def _code() -> str:
    """The code that works the story out, and what it is built on; where in doubt, all of it."""
    return code_of(Path(__file__).parents[2], Path(tables.__file__).parents[1], built_on=("numpy", "polars"))

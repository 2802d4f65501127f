"""What an unknown sheet holds: its columns with counts and samples, a guess at each, and the words in them."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from ingest.beginning.among_others import among_others, as_it_came
from ingest.beginning.among_words import written_once
from ingest.beginning.answers import LogSaid, measure_of, said_guess
from ingest.beginning.guesses import Guess, decimal_sign, guess_by_cells, guess_column, guess_heading
from ingest.beginning.heading_sense import checks_only
from ingest.beginning.profiles import LOOKED_AT, Profile, profile
from ingest.beginning.raw_tables import RawTable
from ingest.beginning.results_as_rows import results
from ingest.beginning.said_words import by_said_words
from ingest.beginning.stage_words import stage_named, stage_of_word
from ingest.beginning.starting_values import MEASURES
from ingest.beginning.stations import by_stations
from ingest.beginning.units_of_columns import bare_unit
from ingest.reading.amounts import tidy
from ingest.reading.day_orders import date_order
from ingest.reading.fields import MEASUREMENT_FIELDS
from ingest.reading.headings import plain
from ingest.reading.notation import SHEET_ERRORS
from ingest.shopfiles.shop_parts import Log
from ingest.terms.clock import Order
from ingest.terms.questions import FileProblem
from ingest.terms.units import unit_of

SAMPLES = 5
MOSTLY = 0.95  # of the cells of a column stand at one stage
NOTHING = ("-", "--", "---", "n/a", *(error.casefold() for error in SHEET_ERRORS))
NO_SERIAL = "no column is taken for the serial: only necks of a lot at receiving could be read"
DATES = ("date", "started_at", "finished_at")
MEASURE = {item.key: item for item in MEASURES}


@dataclass(frozen=True)
class ColumnSeen:
    """One column of a sheet: heading, guess, how many cells are filled, some of them."""

    guess: Guess
    filled: int
    samples: tuple[str, ...]
    cells: tuple[str, ...] = field(repr=False)
    profile: Profile = field(repr=False)

    @property
    def heading(self) -> str:
        """As typed."""
        return self.guess.heading


@dataclass
class Survey:
    """One kind of sheet, looked at without a shop: a file, a tab of a workbook, or several files that are alike."""

    name: str  # of its first file
    files: tuple[str, ...]
    tab: str
    rows: int
    shape: str  # visit | instrument | measurement | study
    columns: list[ColumnSeen]
    order: Order
    order_sure: bool
    decimal: str
    stage: str = ""  # as the tab's or file's name tells it
    notes: list[str] = field(default_factory=list)
    said: LogSaid = field(default_factory=LogSaid)
    once: tuple[str, ...] = ()  # headings of columns that are filled once for many rows
    known: Log | None = None  # the [[log]] of the shop that reads it already
    legend: dict[str, str] = field(default_factory=dict)  # what words mean by another tab of the workbook
    hints: tuple[str, ...] = ()  # of each column, what stands right below its heading

    @property
    def title(self) -> str:
        """The file, with the tab where it is one of a workbook."""
        return f"{self.name}, tab {self.tab}" if self.tab else self.name

    def column(self, name: str) -> ColumnSeen | None:
        """The first column of a field that is sure enough to be read."""
        return next((column for column in self.columns if column.guess.field == name and column.guess.taken), None)

    def days(self) -> list[str]:
        """The cells that say when, of all columns."""
        mine = (column for column in self.columns if column.guess.field in DATES and column.guess.taken)
        return [cell for column in mine for cell in column.cells[:2000]]

    def measures(self) -> list[ColumnSeen]:
        """The columns that hold measurements."""
        return [column for column in self.columns if column.guess.field == "reading" and column.guess.taken]

    def values(self) -> list[ColumnSeen]:
        """The columns that hold the value of a row of one measurement: one, or what was found and what was left."""
        return [column for column in self.columns if column.guess.field == "value" and column.guess.taken]

    def unsure(self) -> list[ColumnSeen]:
        """Filled columns that are asked about: a guess that is not sure."""
        return [column for column in self.columns if column.guess.level == "unsure" and column.filled]

    def words(self, name: str) -> Counter[str]:
        """The distinct words of a field over all its columns, with counts."""
        mine = (column for column in self.columns if column.guess.field == name and column.guess.taken)
        found = Counter(cell.strip() for column in mine for cell in column.cells)
        found.update(text for _, field, text in self.results() if field == name)
        return Counter({cell: count for cell, count in found.items() if cell and tidy(cell) not in NOTHING})

    def results(self) -> list[tuple[str, str, str]]:
        """Name, field of the visit and text of each row of one measurement that measures nothing."""
        what, value = self.column("what"), next(iter(self.values()), None)
        return results(what.cells, value.cells, self.said) if self.shape == "measurement" and what and value else []

    def stage_order(self) -> list[str]:
        """The words of the stage column in the order in which instruments meet them, on the average."""
        stage, serial = self.column("stage"), self.column("serial")
        if stage is None or serial is None:
            return []
        met: dict[str, list[str]] = {}
        for who, where in zip(serial.cells, stage.cells, strict=True):
            if where.strip() and where.strip() not in met.setdefault(who.strip(), []):
                met[who.strip()].append(where.strip())
        places: dict[str, list[float]] = {}
        for route in met.values():
            for place, where in enumerate(route):
                places.setdefault(where, []).append((place + 0.5) / len(route))
        return sorted(places, key=lambda where: sum(places[where]) / len(places[where]))

    def rows_a_serial(self) -> float:
        """Rows of one serial, on the average; 1 where no column is the serial."""
        serial = self.column("serial")
        many = {cell.strip() for cell in serial.cells if cell.strip()} if serial else set()
        return self.rows / len(many) if many else 1.0

    def usual_unit(self, measure: str, meanings: Mapping[str, str] | None = None) -> tuple[str, bool, list[str]]:
        """(unit of the bare numbers of a measurement, is it needed, some of its cells).

        measure : the trade's.  meanings : in a sheet of a row a measurement, the trade's measurement of each name.
        """
        item = MEASURE.get(measure)
        if item is None:
            return "", False, []
        cells = [
            cell.strip()
            for column in self.measures()
            if (measure_of(column.guess.measure) or column.guess.measure) == measure and not column.guess.unit
            for cell in column.cells
        ]
        cells += self._values(measure, meanings or {})
        cells = cells[:: max(1, len(cells) // LOOKED_AT)]
        bare = [cell for cell in cells if re.fullmatch(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)", tidy(cell))]
        unit = bare_unit(item, bare, self._system())
        return unit, bool(bare) and item.quantity in ("length", "pitch", "angle"), list(dict.fromkeys(bare))[:SAMPLES]

    def _values(self, measure: str, meanings: Mapping[str, str]) -> list[str]:
        """The values of a measurement that say no unit, where each row holds one."""
        what, unit = self.column("what"), self.column("unit")
        values = [column for column in self.values() if not column.guess.unit]
        if what is None:
            return []
        units = unit.cells if unit else ("",) * self.rows
        rows = (row for value in values for row in zip(what.cells, value.cells, units, strict=True))
        return [cell.strip() for name, cell, told in rows if meanings.get(name.strip()) == measure and not told.strip()]

    def _system(self) -> str:
        """'mm' or 'in' where the sheet's own headings speak of one of them only, else ''."""
        units = {
            column.guess.unit for column in self.columns if column.guess.unit in ("mm", "cm", "in", "thou", "64ths")
        }
        if units and units <= {"mm", "cm"}:
            return "mm"
        return "in" if units and units <= {"in", "thou", "64ths"} else ""


def survey_of(name: str, table: RawTable, said: LogSaid | None = None) -> Survey:
    """Look at one table. FileProblem where no column could be the serial or holds dates.

    said : what somebody said about this sheet; it goes before every guess.
    """
    told = said or LogSaid()
    order: Order = told.date_order or "dmy"
    sure = bool(told.date_order)
    if not told.date_order:
        stamps = [cells for cells in table.columns if profile(tuple(cells[:400])).dates > 0.5]
        order, sure = date_order(cell for cells in stamps for cell in cells[:2000])
    columns = []
    hints = table.hints or ("",) * len(table.headings)
    for heading, cells, hint in zip(table.headings, table.columns, hints, strict=True):
        looks = profile(tuple(cells), order)
        known = said_guess(heading, told)
        columns.append(_seen(known or _in_unit(guess_column(heading, looks), hint), cells, looks))
    columns = _again(columns, by_said_words(columns, told))
    if told.shape in ("", "instrument"):
        columns = _again(columns, by_stations(columns, told.words.get("stage", {})))
    columns = _again(columns, among_others(columns, order))
    when = [column for column in columns if column.guess.field in DATES and column.guess.taken]
    if when and not told.date_order:  # other days, such as those of an export, do not say how these are written
        order, sure = date_order(cell for column in when for cell in column.cells[:2000])
    title = f"{name}, tab {table.tab}" if table.tab else name
    if not any(column.filled for column in columns):
        raise FileProblem(f"{title}: a heading and no row below it; wanted some rows to look at")
    if not any(column.guess.field in DATES and column.guess.taken for column in columns):
        raise FileProblem(f"{title}: no column holds dates{_named_so(columns)}; wanted one, such as 'Date'")
    fields = {column.guess.field for column in columns if column.guess.taken}
    if "serial" not in fields and "lot" not in fields and "part" not in fields:
        raise FileProblem(f"{title}: no column could be the serial; wanted one, such as 'Serial'")
    unnamed = [] if "serial" in fields or "part" in fields else [NO_SERIAL]
    shape = told.shape or _shape(columns)
    if shape in ("visit", "measurement"):
        columns = [_without_stage(column) for column in columns]
    if shape in ("visit", "instrument"):  # a row is no single measurement there
        columns = [_of_row(column) for column in columns]
    held = [column.cells for column in columns if column.guess.field in ("reading", "value")]
    numbers = [cells[:: max(1, len(cells) // LOOKED_AT)] for cells in held]
    words = {plain(word): key for word, key in told.words.get("stage", {}).items()}
    stage = stage_named([table.tab, re.sub(r"\.\w+$", "", name)], words)
    columns = _again(columns, [as_it_came(one.guess, _read_where(one, columns, shape, stage)) for one in columns])
    return Survey(
        name=name,
        files=(name,),
        tab=table.tab,
        rows=table.rows,
        shape=shape,
        columns=_once(columns, shape),
        order=order,
        order_sure=sure,
        decimal=told.decimal or decimal_sign((c for cells in numbers for c in cells), workbook=bool(table.tab)),
        stage=stage,
        notes=[*(unnamed if shape in ("visit", "measurement") else []), *(n for n in table.notes if n != NO_SERIAL)],
        said=told,
        once=() if "same_as_above" in told.rest else written_once(columns),
        hints=table.hints,
    )


def _named_so(columns: Sequence[ColumnSeen]) -> str:
    """What stands in the column that is headed as one of dates."""
    named = next((one for one in columns if one.filled and guess_heading(one.heading).field in DATES), None)
    return f" that can be read: {named.heading!r} holds {named.samples[0]!r}" if named else ""


def _read_where(column: ColumnSeen, columns: Sequence[ColumnSeen], shape: str, stage: str) -> str:
    """The one stage at which a column of a row a visit is filled, by the words of the trade; that of the sheet else."""
    where = next((one for one in columns if one.guess.field == "stage" and one.guess.taken), None)
    if shape != "visit" or where is None or column.guess.field != "reading":
        return "" if shape == "instrument" else stage
    words = Counter(at.strip() for at, cell in zip(where.cells, column.cells, strict=True) if cell.strip())
    named = Counter[str]()
    for word, count in words.items():
        named[stage_of_word(word)] += count
    best, count = max(named.items(), key=lambda one: one[1], default=("", 0))
    return best if count >= MOSTLY * words.total() else ""


def _in_unit(guess: Guess, hint: str) -> Guess:
    """A measurement in the unit that stands right below its heading."""
    item = MEASURE.get(guess.measure)
    if guess.field != "reading" or guess.unit or item is None or not hint:
        return guess
    return replace(guess, unit=unit_of(hint.strip("()[] "), item.quantity) or "")


def _again(columns: Sequence[ColumnSeen], guesses: Sequence[Guess]) -> list[ColumnSeen]:
    """The columns under these guesses."""
    return [replace(column, guess=guess) for column, guess in zip(columns, guesses, strict=True)]


def _without_stage(column: ColumnSeen) -> ColumnSeen:
    """The column of a sheet whose rows name their stage: a stage in its heading says nothing there."""
    guess = column.guess
    if guess.level == "said" or not guess.stage:
        return column
    return replace(column, guess=replace(guess, stage="", level="unsure" if guess.field in DATES else guess.level))


def _of_row(column: ColumnSeen) -> ColumnSeen:
    """A column that would say something of a single measurement says nothing where a row holds several."""
    guess = column.guess
    if guess.field not in MEASUREMENT_FIELDS or guess.level == "said":
        return column
    cells = guess_by_cells(guess.heading, column.profile)
    kind = cells if cells.field in ("model", "outcome") else Guess(guess.heading, why="its place: a row holds several")
    return replace(column, guess=kind)


def _shape(columns: Sequence[ColumnSeen]) -> str:
    """How rows and measurements lie: by the fields that the columns hold."""
    taken = [column.guess for column in columns if column.guess.taken]
    fields = {guess.field for guess in taken}
    if {"study", "part", "value"} <= fields:
        return "study"
    if {"what", "value"} <= fields:
        return "measurement"
    staged = {guess.stage for guess in taken if guess.stage}
    return "instrument" if staged and "stage" not in fields else "visit"


def _seen(guess: Guess, cells: Sequence[str], looks: Profile) -> ColumnSeen:
    filled = [cell.strip() for cell in cells if cell.strip()]
    return ColumnSeen(guess, len(filled), tuple(dict.fromkeys(filled))[:SAMPLES], tuple(cells), looks)


def _once(columns: list[ColumnSeen], shape: str) -> list[ColumnSeen]:
    """Every meaning once: what somebody said keeps it, else the surest, else the first;
    of two measurements that are as sure neither is read: both are asked about."""
    rank = {"said": 0, "sure": 1, "likely": 2}
    order = sorted(
        range(len(columns)),
        key=lambda place: (rank.get(columns[place].guess.level, 3), checks_only(columns[place].heading), place),
    )
    taken: dict[tuple[str, ...], int] = {}
    out = list(columns)
    for place in order:
        guess = columns[place].guess
        if not guess.taken or guess.field in ("ignore", "other"):
            continue
        stage = guess.stage if shape == "instrument" else ""
        keys = [
            (guess.field, guess.measure, side, guess.moment or "found", stage) for side in guess.position.split("/")
        ]
        rival = next((taken[key] for key in keys if key in taken), None)
        if guess.level != "said" and rival is not None:
            out[place] = replace(columns[place], guess=Guess(guess.heading, why="its meaning is another column's"))
            if guess.field == "reading" and guess.level == columns[rival].guess.level:  # which of them, nobody knows
                why = f"its words, as {columns[rival].heading!r} is"
                out[place] = replace(columns[place], guess=replace(guess, level="unsure", why=why))
                other = columns[rival].guess
                why = f"its words, as {guess.heading!r} is"
                out[rival] = replace(columns[rival], guess=replace(other, level="unsure", why=why))
        taken |= {key: place for key in keys if key not in taken}
    return out

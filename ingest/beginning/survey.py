"""What an unknown sheet holds: its columns with counts and samples, a guess at each, its stages, models, techs,
outcomes and faults as typed.
"""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

from ingest.beginning.guesses import (
    Guess,
    are_dates,
    bare_unit,
    date_order,
    decimal_sign,
    guess_heading,
    guess_stage,
    reads,
)
from ingest.beginning.starting_values import MEASURES
from ingest.reading.encodings import MARK
from ingest.reading.files import read_tables
from ingest.reading.headings import plain
from ingest.reading.notation import NO_READING, Manner, tidy
from ingest.reading.tabular import Form, Tables
from ingest.terms.clock import Order
from ingest.terms.questions import FileProblem

SAMPLES = 5
DATES = ("date", "started_at", "finished_at")
MEASURE = {item.key: item for item in MEASURES}


@dataclass(frozen=True)
class ColumnSeen:
    """One column of a sheet: heading, guess, how many cells are filled, some of them."""

    guess: Guess
    filled: int
    samples: tuple[str, ...]
    cells: tuple[str, ...] = field(repr=False, default=())

    @property
    def heading(self) -> str:
        """The heading as typed."""
        return self.guess.heading


@dataclass
class Survey:
    """One file, looked at without a shop."""

    name: str
    rows: int
    shape: str  # visit | instrument
    columns: list[ColumnSeen]
    order: Order
    order_sure: bool
    decimal: str
    notes: list[str] = field(default_factory=list)

    def column(self, name: str) -> ColumnSeen | None:
        """The first column of a field."""
        return next((column for column in self.columns if column.guess.field == name), None)

    def measures(self) -> list[ColumnSeen]:
        """Columns that hold measurements."""
        return [column for column in self.columns if column.guess.field == "reading"]

    def words(self, name: str) -> Counter[str]:
        """The distinct words of a field over all its columns, with counts."""
        cells = (cell.strip() for column in self.columns if column.guess.field == name for cell in column.cells)
        return Counter(cell for cell in cells if cell and tidy(cell) not in ("-", "n/a"))

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

    def usual_unit(self, measure: str) -> tuple[str, bool, list[str]]:
        """(unit of the bare numbers of a measurement, is it needed, some of its cells)."""
        item = MEASURE[measure]
        cells = [
            cell.strip()
            for column in self.measures()
            if column.guess.measure == measure and not column.guess.unit
            for cell in column.cells
        ]
        bare = [cell for cell in cells if re.fullmatch(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)", tidy(cell))]
        unit, _ = bare_unit(item, bare, self.decimal)
        return unit, bool(bare) and item.quantity in ("length", "pitch"), bare[:SAMPLES]


def survey(name: str, data: bytes) -> Survey:
    """Look at one file. FileProblem where no heading line can be told, or no column could be the serial or the date."""
    found = read_tables(data, name, _form())
    columns, rows = _columns(found)
    order, sure = date_order(
        cell
        for column in columns
        if column.guess.field in DATES or not column.guess.field
        for cell in column.cells[:500]
    )
    columns = [_checked(column, order) for column in columns]
    columns = _with_keys(columns, order, name)
    numbers = (cell for column in columns if column.guess.field == "reading" for cell in column.cells)
    decimal = decimal_sign(numbers)
    has_stage = any(column.guess.field == "stage" for column in columns)
    staged = {column.guess.stage for column in columns if column.guess.stage}
    shape = "instrument" if staged and not has_stage else "visit"
    columns = [_readable(column, decimal) for column in columns]
    if shape == "visit":
        columns = [replace(column, guess=replace(column.guess, stage="")) for column in columns]
    return Survey(name, rows, shape, _once(columns, shape), order, sure, decimal, list(found.notes))


def _form() -> Form:
    """A header is a line of words of which half or more, and three or more, are known."""

    @lru_cache(maxsize=4096)
    def known(cell: str) -> bool:
        return bool(guess_heading(cell).field)

    def score(cells: Sequence[str]) -> int:
        filled = [cell.strip() for cell in cells if cell.strip()]
        if any(cell.strip(" .,:/-0123456789") == "" for cell in filled) or len({plain(cell) for cell in filled}) < len(
            filled
        ):
            return 0
        count = sum(known(cell) for cell in filled)
        return count if count >= 3 and 2 * count >= len(filled) else 0

    return Form(
        score,
        lambda header: [],
        "no heading line that can be told; wanted three or more headings such as Serial, Date, Stage, Relief",
    )


def _columns(found: Tables) -> tuple[list[ColumnSeen], int]:
    """The columns of all tables of a file by heading, and the number of rows."""
    cells: dict[str, list[str]] = {}
    rows = 0
    for table in found.tables:
        before, rows = rows, rows + table.rows.height
        for place, heading in enumerate(table.header):
            if heading.strip():
                held = cells.setdefault(heading.strip(), [])
                held += [""] * (before - len(held)) + table.rows[f"c{place}"].to_list()
    for held in cells.values():
        held += [""] * (rows - len(held))
    return [_seen(guess_heading(heading), held) for heading, held in cells.items()], rows


def _seen(guess: Guess, cells: list[str]) -> ColumnSeen:
    filled = [cell.strip() for cell in cells if cell.strip()]
    return ColumnSeen(guess, len(filled), tuple(dict.fromkeys(filled))[:SAMPLES], tuple(cells))


def _checked(column: ColumnSeen, order: Order) -> ColumnSeen:
    """A guess that the cells do not bear out is dropped: dates that are none, measurements that are words."""
    guess = column.guess
    if guess.field in DATES and column.filled and not are_dates(column.cells, order):
        clocks = re.compile(r"\d{1,2}[:.]\d{2}.*")
        kept = guess.field != "date" and all(clocks.fullmatch(sample) for sample in column.samples)
        if guess.stage and not guess.sure:  # headed by a stage alone: initials where they are short, else unknown
            return replace(
                column, guess=replace(guess, field="tech" if all(len(sample) <= 4 for sample in column.samples) else "")
            )
        return column if kept else replace(column, guess=Guess(guess.heading))
    return column


def _with_keys(columns: list[ColumnSeen], order: Order, name: str) -> list[ColumnSeen]:
    """The columns with a serial and a date among them: by their cells where no heading says so."""
    out = list(columns)
    if not any(column.guess.field in DATES for column in out):
        place = next(
            (
                place
                for place, column in enumerate(out)
                if not column.guess.field and column.filled and are_dates(column.cells, order)
            ),
            None,
        )
        if place is None:
            raise FileProblem(f"{name}: no column holds dates; wanted one, such as 'Date'")
        out[place] = replace(out[place], guess=replace(out[place].guess, field="date"))
    if not any(column.guess.field == "serial" for column in out):
        free = [place for place, column in enumerate(out) if not column.guess.field and column.filled]
        best = max(free, key=lambda place: len(set(out[place].cells)), default=None)
        if best is None or 2 * len(set(out[best].cells)) < out[best].filled:
            raise FileProblem(f"{name}: no column could be the serial; wanted one, such as 'Serial'")
        out[best] = replace(out[best], guess=replace(out[best].guess, field="serial"))
    return out


def _readable(column: ColumnSeen, decimal: str) -> ColumnSeen:
    """A measurement column of which less than half can be read is no measurement."""
    guess = column.guess
    if guess.field != "reading":
        return column
    item = MEASURE[guess.measure]
    unit = guess.unit or {"length": "mm", "pitch": "cents"}.get(item.quantity, "")
    positions = tuple(guess.position.split("/")) if guess.position else ("",)
    fills = ("1", "2", "3", "4") if item.quantity == "plain" and not guess.position else ()
    share = reads(column.cells, Manner(item.quantity, unit, decimal, positions, fills))
    return column if share > 0.5 or not column.filled else replace(column, guess=Guess(guess.heading))


def _once(columns: list[ColumnSeen], shape: str) -> list[ColumnSeen]:
    """Every meaning once: of two columns for one field the first keeps it, the other is kept as typed."""
    taken: set[tuple[str, ...]] = set()
    out = []
    for column in columns:
        guess = column.guess
        key = (guess.field, guess.measure, guess.position, guess.moment, guess.stage if shape == "instrument" else "")
        if guess.field and key in taken:
            column = replace(column, guess=Guess(guess.heading))
        taken.add(key)
        out.append(column)
    return out


def people(names: Iterable[str]) -> dict[str, list[str]]:
    """Techs by key with the other ways each is written: 'JR', 'J.R.' and 'jr' are one; two names in a cell are two."""
    found: dict[str, Counter[str]] = {}
    for name in names:
        for part in re.split(r"\s*[/+&,]\s*", name):
            if part.strip() and tidy(part) not in NO_READING and MARK not in part:
                found.setdefault(re.sub(r"[\s.]", "", part).casefold(), Counter())[part.strip()] += 1
    keys = {ways.most_common(1)[0][0]: sorted(ways) for ways in found.values()}
    return {key: [way for way in ways if plain(way) != plain(key)] for key, ways in sorted(keys.items())}


def stage_words(words: Iterable[str]) -> dict[str, str]:
    """Each word of a stage column with the stage it means: one of the trade's, else a key made of the word."""
    return {word: guess_stage(word) or re.sub(r"\W+", "_", plain(word)).strip("_") or "stage" for word in words}

"""What each column of a sheet holds: a field of the visit, or a measurement `CHARACTERISTIC [POSITION] [found|left]
[(UNIT)] [@ STAGE]`.
"""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from ingest.reading.amounts import hertz_reference
from ingest.reading.fields import FIELDS, MEASUREMENT_FIELDS, STUDY_FIELDS
from ingest.reading.mapped_wrongly import names_nothing
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Characteristic, Log
from ingest.terms.questions import FileProblem, closest, listed, quoted
from ingest.terms.units import unit_of

_UNIT = re.compile(r"[(\[]([^()\[\]]*)[)\]]")
_FRET = re.compile(r"(?:(?:string|str\.?|s)?\s*(\d{1,2})\s*,?\s*)(?:fret|f)\s*(\d{1,2})")
_STRING = re.compile(r"(?:string|str\.?|s)?\s*(\d{1,2})")
_OPEN = re.compile(r"(?:string|str\.?|s)?\s*(\d{1,2})\s+open")
NO_STAGE = "no stage column"
_SIDES = {"bass": "bass", "treble": "treble", "bass side": "bass", "treble side": "treble"}
_SIDE_WORDS = {"bass": "bass", "b": "bass", "E": "bass", "treble": "treble", "t": "treble", "e": "treble"}
_SIDE_WORDS |= {"diskant": "treble", "d": "treble"}
_TWO_SIDES = re.compile(r"(?<!\w)(\w+)\s*[/|]\s*(\w+)(?!\w)")
MOST_STRINGS = 12
_NTH = r"(\d{1,2})(?:ª|a|º|e|\.|st|nd|rd|th)?"
_OUTER = re.compile(rf"(?<![\w/]){_NTH}\s*[/|]\s*{_NTH}(?![\w/])")
_MOMENTS = {"as found": "found", "as left": "left", "found": "found", "left": "left"}
JOINED = ("fault",)  # fields that several columns may hold: a first and a second fault of one visit
NOT_SAID = "not said"  # of a heading that a name would be read by: nobody has said what the column is


@dataclass(frozen=True)
class Column:
    """What one column of a sheet holds."""

    place: int  # index of the column in its table
    heading: str  # as typed
    field: str  # a name of FIELDS, 'reading', 'other' (kept as typed) or 'ignore'
    stage: str = ""  # after '@': an instrument-a-row sheet
    unit: str = ""  # as `unit_of` gives it; '' = none in the heading
    characteristic: str = ""
    positions: tuple[str, ...] = ("",)  # two where the heading says bass/treble
    moment: str = "found"
    reference: float | None = None  # Hz, where the heading's unit says 'Hz re 329.63'
    meant: bool = True  # of 'other': somebody said that it is text; False: nobody has said what it is

    @property
    def meaning(self) -> str:
        """The column in the words of a heading, without its unit."""
        moment = "" if self.moment == "found" else self.moment  # of a value column too: what was left
        words = [self.characteristic, "/".join(self.positions)] if self.field == "reading" else [self.field]
        words.append(moment)
        return " ".join(word for word in words if word) + (f" @ {self.stage}" if self.stage else "")


@dataclass(frozen=True)
class Columns:
    """All columns of one table, and what is to be asked about its headings."""

    all: tuple[Column, ...]
    notes: tuple[str, ...] = field(default=())

    def readings(self) -> list[Column]:
        """Columns that hold measurements."""
        return [column for column in self.all if column.field == "reading"]

    def others(self) -> list[Column]:
        """Columns that nobody has named."""
        return [column for column in self.all if column.field == "other"]

    def values(self) -> list[Column]:
        """Columns with the value of a measurement a row: one, or one for what was found and one for what was left."""
        return [column for column in self.all if column.field == "value"]

    def has(self, name: str) -> bool:
        """Has any stage a column of a field?"""
        return any(column.field == name for column in self.all)

    def find(self, name: str, stage: str = "") -> Column | None:
        """The column of a field, at a stage where the sheet says so."""
        return next((column for column in self.all if column.field == name and column.stage == stage), None)


def plain(text: str) -> str:
    """A heading or word as it is compared: small letters, single spaces, no underscores, no closing colon."""
    return re.sub(r"[\s_]+", " ", unicodedata.normalize("NFKC", text)).strip(" :").casefold()


def position_of(text: str) -> str | None:
    """'bass', 'treble', a string number, 'N fret F' or '' out of what a heading says; None where it is none of them."""
    words = plain(text)
    if not words:
        return ""
    if words in _SIDES:
        return _SIDES[words]
    if found := _FRET.fullmatch(words):
        return f"{int(found[1])} fret {int(found[2])}"
    if found := _OPEN.fullmatch(words):
        return f"{int(found[1])} fret 0"
    if found := _STRING.fullmatch(words):
        return str(int(found[1]))
    return None


def sides_in_order(heading: str) -> tuple[str, ...]:
    """('bass', 'treble') or the other way round where a heading names two sides of one cell: by their words or notes,
    or as the outer strings, of which the first is the treble one; () where it does not.
    """
    bare = _UNIT.sub(" ", heading)
    if found := _OUTER.search(bare):
        one, other = (int(each) for each in found.groups())
        if 1 in (one, other) and 2 <= max(one, other) <= MOST_STRINGS:
            return ("treble", "bass") if one == 1 else ("bass", "treble")
    if found := _TWO_SIDES.search(bare):
        first, second = (_SIDE_WORDS.get(word, _SIDE_WORDS.get(word.casefold(), "")) for word in found.groups())
        return (first, second) if {first, second} == {"bass", "treble"} else ()
    return ()


def _told_apart(text: str) -> tuple[str, str]:
    """The words of a heading without those at its end that say found or left, and which: '' neither."""
    for words, meant in _MOMENTS.items():
        if text == words or text.endswith(" " + words):
            return text[: -len(words)].strip(), meant
    return text, ""


class Headings:
    """Reads the headings of one kind of sheet."""

    def __init__(self, shop: Shop, log: Log) -> None:
        self.shop, self.log = shop, log
        self.fields = STUDY_FIELDS if log.shape == "study" else FIELDS
        if log.shape == "measurement":
            self.fields = FIELDS | MEASUREMENT_FIELDS
        self._exact = {heading.strip(): target for heading, target in log.headings.items()}  # 'E' is not 'e'
        self._targets = {plain(heading): target for heading, target in log.headings.items()}
        self._ignored = {plain(heading) for heading in log.ignore}
        self._names = {plain(name): name for name in self.fields}
        self._aliases = {plain(alias): name for name, aliases in self.fields.items() for alias in aliases}
        self._stages = {plain(word): stage.key for stage in shop.stages for word in (stage.name, stage.key) if word}
        self._stages |= {plain(word): key for word, key in log.words.get("stage", {}).items()}
        by_name = {plain(item.name): item for item in shop.characteristics if item.name}
        by_key = {plain(item.key): item for item in shop.characteristics}
        self._characteristics: list[tuple[str, Characteristic]] = sorted(
            (by_name | by_key).items(), key=lambda pair: -len(pair[0])
        )

    def read(self, heading: str, place: int = 0) -> Column:
        """What one heading means; field 'other' where it is not known."""
        typed = plain(heading)
        if typed in self._ignored:
            return Column(place, heading, "ignore")
        if not typed:
            return Column(place, heading, "other", meant=False)
        column = self._read(self._target(heading) or typed) or Column(0, "", "other", meant=False)
        if column.positions == ("",) and self._two_sided(column):
            column = replace(column, positions=sides_in_order(heading) or ("",))
        return replace(column, place=place, heading=heading)

    def _two_sided(self, column: Column) -> bool:
        """Does a column hold what is read on the bass and on the treble side?"""
        item = self.shop.by_characteristic.get(column.characteristic)
        return item is not None and {*item.positions} == {"bass", "treble"}

    def meant(self, target: str) -> str:
        """A meaning as shop.toml writes it, in the words in which a column tells its own."""
        column = self._read(plain(target))
        return target if column is None else column.meaning

    def _target(self, heading: str) -> str:
        """What this [[log]] says a heading means, as it is typed before it is compared loosely; '' where nothing."""
        return self._exact.get(heading.strip()) or self._targets.get(plain(heading), "")

    def _numbered(self, header: Sequence[str]) -> list[str]:
        """The headings, the second of two that are alike as 'Date #2' where the sheet's [[log]] names it so."""
        seen: dict[str, int] = {}
        out = []
        for heading in header:
            same = heading.strip() if heading.strip() in self._exact else plain(heading)
            seen[same] = count = seen.get(same, 0) + 1
            again = f"{heading} #{count}"
            known = plain(again) in self._targets or plain(again) in self._ignored
            out.append(again if count > 1 and known else heading)
        return out

    def _read(self, text: str) -> Column | None:
        text, unit_text, stage = self._parts(text)
        if stage is None:
            return None
        if text in ("ignore", "other"):
            return Column(0, "", text)
        if text == NOT_SAID:
            return Column(0, "", "other", meant=False)
        name = self._names.get(text)
        if name is None and self.log.shape != "study" and (column := self._measurement(text, unit_text)):
            return replace(column, stage=stage)
        name = name or self._aliases.get(text) or self._aliases.get(text.replace(".", "").replace("#", "no").strip())
        if name is None:
            return self._value(text, stage, unit_text)
        quantity = {"temperature": "temperature", "rh": "humidity", "minutes": "minutes"}.get(name, "plain")
        unit = unit_of(unit_text, quantity)
        return None if unit is None else Column(0, "", name, stage, unit)

    def _value(self, text: str, stage: str, unit_text: str) -> Column | None:
        """One of two columns of values: `value found` and `value left`."""
        bare, moment = _told_apart(text)
        if self.log.shape != "measurement" or not moment or "value" not in (bare, self._aliases.get(bare)):
            return None
        unit = unit_of(unit_text, "plain")
        return None if unit is None else Column(0, "", "value", stage, unit, moment=moment)

    def _parts(self, text: str) -> tuple[str, str, str | None]:
        """(words, unit, stage) of a heading; stage None where what stands after '@' is no stage of the shop."""
        unit_text, stage = "", ""
        if found := _UNIT.search(text):
            unit_text, text = found[1], text[: found.start()] + " " + text[found.end() :]
        words, at, behind = text.partition("@")
        if at:
            key = self._stages.get(plain(behind))
            if key is None and self.log.shape != "instrument":
                words = text  # a name such as 'action @12' is a whole name
            else:
                return plain(words), unit_text, key
        return plain(words), unit_text, stage

    def _measurement(self, text: str, unit_text: str) -> Column | None:
        for name, item in self._characteristics:
            if text == name or text.startswith(name + " "):
                rest, moment = _told_apart(text[len(name) :].strip())
                own = {plain(place): place for place in item.positions}  # such as 'point 3', round a rim

                def place_of(side: str, own: dict[str, str] = own) -> str | None:
                    return own.get(plain(side)) or position_of(side)

                sides = tuple(place_of(side) or "" for side in rest.split("/")) if "/" in rest else (place_of(rest),)
                if any(side is None or (side == "" and len(sides) > 1) for side in sides):
                    continue
                reference = hertz_reference(unit_text) if item.quantity == "pitch" else None
                unit = "Hz" if reference else unit_of(unit_text, item.quantity)
                if unit is None:
                    continue
                return Column(
                    0,
                    "",
                    "reading",
                    "",
                    unit,
                    item.key,
                    tuple(side or "" for side in sides),
                    moment or "found",
                    reference,
                )
        return None

    def table(self, header: Sequence[str], name: str) -> Columns:
        """The columns of a table. FileProblem where two headings name one column; unlisted headings are asked about
        once.

        header : headings as typed, left to right.  name : the file's, for messages.
        """
        columns = [self.read(heading, place) for place, heading in enumerate(self._numbered(header))]
        taken: dict[tuple[str, str], Column] = {}
        for column in columns:
            if column.field in ("other", "ignore"):
                continue
            places = column.positions if column.field == "reading" else ("",)
            for position in places:
                key = (
                    f"{column.characteristic} {position} {column.moment}"
                    if column.field == "reading"
                    else f"{column.field} {column.moment}",
                    column.stage,
                )
                if key in taken and column.field not in JOINED:
                    raise FileProblem(
                        f"{name}: the headings {taken[key].heading!r} and {column.heading!r} both mean "
                        f"{column.meaning}; "
                        "rename one, or put one under `ignore` of this [[log]]"
                    )
                taken[key] = column
        for column in columns:
            target = self._target(column.heading)
            if column.field == "other" and target and plain(target) not in ("other", NOT_SAID):
                words, unit, _ = self._parts(plain(target))
                near = closest(words, [*self.fields, *(word for word, _ in self._characteristics)])
                meant = self._measurement(words, "") if unit else None
                of = self.shop.by_characteristic[meant.characteristic] if meant else None
                raise FileProblem(f"{name}: {names_nothing(column.heading, target, unit, of, near)}")
        unknown = [
            column.heading
            for column in columns
            if column.field == "other" and plain(column.heading) and plain(column.heading) not in self._targets
        ]
        notes = [self._ask(heading) for heading in dict.fromkeys(unknown)]
        undeclared = {
            (column.characteristic, position): column.heading
            for column in columns
            if column.field == "reading"
            for position in column.positions
            if position
            and not {position, position.split(" ")[0]} & {*self.shop.by_characteristic[column.characteristic].positions}
        }
        for (characteristic, position), heading in undeclared.items():
            notes.append(
                f"heading {heading!r} is read as {characteristic} {position}, a position the shop does not declare "
                "for it"
            )
        return Columns(tuple(columns), tuple(notes))

    def _ask(self, heading: str) -> str:
        """One question about a heading that is not known: what it may be, by its words only; never a note for want of
        anything better.
        """
        near = closest(plain(heading), [*self.fields, *(word for word, _ in self._characteristics)], least=80)
        told = f"heading {heading!r} is not known; its cells are kept as typed under `other`. In this [[log]]: "
        leave = f"ignore = [{quoted(heading)}]"
        if not near:
            return f"{told}headings = {{ {quoted(heading)} = ... }} with what it holds, or {leave}"
        field = near.replace(" ", "_")
        meant = field if field in self.fields else near
        return f"{told}headings = {{ {quoted(heading)} = {quoted(meant)} }} if that is meant, or {leave}"

    def known(self, header: Sequence[str]) -> set[str]:
        """The fields that a row of cells would name as a header: 'serial', 'date' ... and 'reading'."""
        return {
            column.field for column in (self.read(cell) for cell in header) if column.field not in ("other", "ignore")
        }


def missing(columns: Columns, log: Log) -> str:
    """What a table lacks to be read as a log of its shape, '' where nothing."""
    fields = {column.field for column in columns.all}
    if log.shape == "study":
        lacks = [name for name in ("study", "characteristic", "part", "tech", "value") if name not in fields]
        return f"no column for {listed(lacks)}" if lacks else ""
    if "serial" not in fields and "lot" not in fields:
        return "no serial column"
    if not fields & {"date", "started_at", "finished_at"}:
        return "no date column"
    if log.shape == "measurement" and (lacks := [name for name in ("what", "value") if name not in fields]):
        return f"no column for {listed(lacks)}"
    if log.shape in ("visit", "measurement") and "stage" not in fields and not log.stage:
        return NO_STAGE
    return ""

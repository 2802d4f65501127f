"""What a person said about their sheets and shop, as TOML with any tables of shop.toml: it goes before every guess."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatch
from pathlib import Path
from types import UnionType
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from rapidfuzz import fuzz

from ingest.beginning.guesses import Guess
from ingest.beginning.heading_sense import words_of
from ingest.beginning.starting_values import MEASURES
from ingest.beginning.trade_words import MEASURE_PHRASES
from ingest.reading.fields import FIELDS, MEASUREMENT_FIELDS, STUDY_FIELDS
from ingest.reading.headings import plain, position_of
from ingest.shopfiles.shop import Shop, ShopProblem
from ingest.terms.clock import Order
from ingest.terms.questions import closest
from ingest.terms.units import quantity_of

_TARGET_UNIT = re.compile(r"[(\[]([^()\[\]]*)[)\]]")
ONLY_HEADINGS = {"files", "tab", "headings"}
SAID_FIELDS = frozenset((*FIELDS, *MEASUREMENT_FIELDS, *STUDY_FIELDS, "other", "ignore", "rows"))


@dataclass(frozen=True)
class LogSaid:
    """What somebody said of one kind of sheet; '' and empty: nothing."""

    name: str = ""
    files: str = ""
    tab: str = ""
    shape: str = ""
    stage: str = ""
    date_order: Order | Literal[""] = ""
    decimal: str = ""
    empty_outcome: str = ""
    headings: Mapping[str, str] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()
    units: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    rest: Mapping[str, Any] = field(default_factory=dict)  # further keys, kept word for word
    mark: tuple[int, ...] = ()  # which of the [[log]] tables said it


@dataclass(frozen=True)
class Said:
    """Everything that somebody said."""

    table: Mapping[str, Any] = field(default_factory=dict)
    name: str = "answers"

    def logs(self) -> list[Mapping[str, Any]]:
        """The [[log]] tables."""
        return list(self.table.get("log", []))

    def tables(self, kind: str) -> list[Mapping[str, Any]]:
        """The tables of a kind such as 'stage', in their order."""
        return list(self.table.get(kind, []))


def read_answers(path: Path) -> Said:
    """A file of answers. ShopProblem, a line a fault: not readable, no TOML, a key that shop.toml does not have."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as fault:
        raise ShopProblem(f"{path}: cannot be opened: {fault.strerror or fault}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise ShopProblem(f"{path.name}: not readable as TOML: {fault}") from None
    return checked_answers(table, path.name)


def checked_answers(table: Mapping[str, Any], name: str = "answers") -> Said:
    """Answers whose every key is one of shop.toml's. ShopProblem, a line a fault."""
    faults: list[str] = []
    out: dict[str, Any] = {}
    fields = {field.alias or key: field for key, field in Shop.model_fields.items()}
    for key, value in table.items():
        if key not in fields:
            near = closest(key, fields)
            faults.append(f"{name}: {key} is not a table; wanted one of {', '.join(fields)}{_meant(near)}")
            continue
        model, many = _model_of(fields[key].annotation)
        entries = value if isinstance(value, list) else [value]
        if not all(isinstance(entry, dict) for entry in entries) or (len(entries) > 1 and not many):
            faults.append(f"{name}: {key} is {str(value)[:60]!r}; wanted {f'[[{key}]]' if many else f'[{key}]'} tables")
            continue
        for number, entry in enumerate(entries, 1):
            faults += _unknown(entry, model, f"{name}: {key} {entry.get('key') or entry.get('name') or number}")
        out[key] = [dict(entry) for entry in entries] if many else dict(entries[0])
    if faults:
        raise ShopProblem("\n".join(faults))
    return Said(out, name)


def _unknown(entry: Mapping[str, Any], model: type[BaseModel], where: str) -> list[str]:
    keys = [field.alias or key for key, field in model.model_fields.items()]
    faults = [
        f"{where}: {key} is not a key; wanted one of {', '.join(keys)}{_meant(closest(key, keys))}"
        for key in entry
        if key not in keys
    ]
    for key in ("headings", "units"):
        held = entry.get(key, {}) if "headings" in keys else {}
        if not isinstance(held, dict) or not all(isinstance(value, str) for value in held.values()):
            faults.append(f'{where}: {key} is {str(held)[:60]!r}; wanted texts such as {{ "S/N" = "serial" }}')
    held = entry.get("words", {}) if "headings" in keys else {}
    if not isinstance(held, dict) or not all(isinstance(value, dict) for value in held.values()):
        faults.append(
            f'{where}: words is {str(held)[:60]!r}; wanted words by column, {{ outcome = {{ "ok" = "pass" }} }}'
        )
    return faults


def _meant(near: str) -> str:
    return f" ({near!r}?)" if near else ""


def _model_of(annotation: Any) -> tuple[type[BaseModel], bool]:
    """(the model of a table of shop.toml, does it stand there many times)."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    if get_origin(annotation) is tuple:
        return next(arg for arg in get_args(annotation) if isinstance(arg, type)), True
    assert isinstance(annotation, UnionType) or get_args(annotation)
    return next(_model_of(arg) for arg in get_args(annotation) if arg is not type(None))


def said_of(said: Said, name: str, tab: str) -> LogSaid:
    """What was said of one sheet: the first [[log]] whose `files` and `tab` fit, and those that name neither or say
    nothing but headings, the earlier before the later.
    """
    every = [
        (place, entry)
        for place, entry in enumerate(said.logs())
        if fnmatch(name.casefold(), str(entry.get("files", "*")).casefold())
        and (not entry.get("tab") or (tab and fnmatch(tab.strip().casefold(), str(entry["tab"]).strip().casefold())))
    ]
    kinds = [place for place, entry in every if (entry.keys() & {"files", "tab"}) and entry.keys() - ONLY_HEADINGS]
    fitting = [(place, entry) for place, entry in every if place not in kinds[1:]]
    out: dict[str, Any] = {}
    for _, entry in fitting:
        for key, value in entry.items():
            if isinstance(value, dict):
                held = out.setdefault(key, {})
                for word, meaning in value.items():
                    if isinstance(meaning, dict):
                        held[word] = {**meaning, **held.get(word, {})}
                    else:
                        held.setdefault(word, meaning)
            elif key == "ignore":
                out[key] = (*out.get(key, ()), *value)
            else:
                out.setdefault(key, value)
    known = LogSaid.__dataclass_fields__
    rest = {key: value for key, value in out.items() if key not in known}
    taken = {key: value for key, value in out.items() if key in known}
    return LogSaid(**taken, rest=rest, mark=tuple(place for place, _ in fitting))


def unheard(said: Said, sheets: Sequence[tuple[str, str, Sequence[str]]]) -> list[str]:
    """What was said of no sheet: [[log]] tables that fit none, headings that none of theirs has. A line each.

    sheets : file name, tab, headings.
    """
    lines = []
    for place, entry in enumerate(said.logs()):
        mine = [sheet for sheet in sheets if place in said_of(said, sheet[0], sheet[1]).mark]
        where = f"{said.name}: log {entry.get('name') or place + 1}"
        if not mine:
            told = " ".join(f"{key} = {entry[key]!r}" for key in ("files", "tab") if entry.get(key))
            lines.append(f"{where}: {told} fits none of the sheets")
            continue
        every = {same(heading) for _, _, headings in mine for heading in headings}
        by_rows = (*entry.get("only_rows", {}), *entry.get("not_rows", {}))
        for heading in (*entry.get("headings", {}), *entry.get("ignore", ()), *by_rows):
            if not any(_fits(heading, one) for one in every):
                near = closest(heading, [heading for _, _, headings in mine for heading in headings])
                lines.append(f"{where}: no column is headed {heading!r}{_meant(near)}")
    return lines


def same(heading: str) -> str:
    """A heading as it is compared with what somebody wrote: words only."""
    return " ".join(words_of(re.sub(r"[\s_/|>:-]+", " ", plain(heading))))


def _fits(said: str, heading: str) -> bool:
    """Is a heading the one that was said? A unit that stands right below it, and goes with it, may be left out."""
    named, _, unit = heading.rpartition(" ")
    return same(said) in (heading, named if quantity_of(unit) != "plain" else heading)


def said_guess(heading: str, told: LogSaid) -> Guess | None:
    """What a heading means as somebody said it; None where nobody said."""
    mine = same(heading)
    if any(_fits(each, mine) for each in told.ignore):
        return Guess(heading, "ignore", level="said", why="said", said="ignore")
    target = told.headings.get(heading.strip())
    if target is None:
        target = next((target for each, target in told.headings.items() if _fits(each, mine)), None)
    return None if target is None else meaning_of(target, heading)


def meaning_of(target: str, heading: str = "") -> Guess:
    """A meaning such as 'action bass (mm)', 'relief @ final_inspection' or 'serial' taken apart, kept word for word."""
    guess = Guess(heading, level="said", why="said", said=target.strip())
    unit = ""
    if found := _TARGET_UNIT.search(target):
        unit, target = found[1].strip(), target[: found.start()] + " " + target[found.end() :]
    words, at, stage = target.partition("@")
    key = plain(words)
    if key.replace(" ", "_") in SAID_FIELDS:
        return replace(guess, field=key.replace(" ", "_"), stage=stage.strip(), unit=unit if key == "value" else "")
    parts = words.split()
    moment = parts.pop() if len(parts) > 1 and parts[-1] in ("found", "left") else ""
    if parts == ["value"] and moment:
        return replace(guess, field="value", moment=moment, unit=unit)
    fitting = {}
    for length in range(1, len(parts) + 1):
        sides = [position_of(side) for side in " ".join(parts[length:]).split("/")]
        if all(side is not None for side in sides):
            fitting[length] = "/".join(side or "" for side in sides)
    known = [length for length in fitting if measure_of("_".join(parts[:length]))]
    if not fitting:
        return guess
    length = known[-1] if known else min(fitting)
    name, at_stage = "_".join(parts[:length]), stage.strip() if at else ""
    return Guess(heading, "reading", name, fitting[length], moment, at_stage, unit, "said", "said", guess.said)


def measure_of(name: str) -> str:
    """The trade's measurement that a name means: 'nut_height' and 'Saitenlage' have one; '' where none has it."""
    keys = {item.key for item in MEASURES}
    if name in keys:
        return name
    text = " ".join(words_of(name.replace("_", " ")))
    whole = {" ".join(words_of(phrase)): key for key, phrases in MEASURE_PHRASES.items() for phrase in phrases}
    whole |= {" ".join(words_of(item.name)): item.key for item in MEASURES}
    return whole.get(text, "")


def slip(target: str, declared: Sequence[str]) -> str:
    """The word that was probably meant where what was said names no field and no measurement, '' where it may stand."""
    guess = meaning_of(target)
    if guess.field and guess.field != "reading":
        return ""
    name = guess.measure or plain(target)
    if name in declared or measure_of(name) or plain(name) in {plain(each) for each in declared}:
        return ""
    known = [*SAID_FIELDS, *(item.key for item in MEASURES), *declared]
    return closest(name, known) if _is_near(name, known) else ""


def _is_near(name: str, known: Sequence[str]) -> bool:
    return any(fuzz.ratio(name, each) >= 75 for each in known)

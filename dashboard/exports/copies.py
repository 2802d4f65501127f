"""A dataclass with all that hangs on it as text, and back: how a week that was reviewed is kept as it was shown.

The text is JSON that a person can read and `forget` can rewrite: names stand in it as typed. What JSON has no word for
stands under `~`: a day, a moment, a tuple, a table, a dataclass by its name. A field that a later version has dropped
is passed over, one that it has added takes its default.
"""

import json
from collections.abc import Callable, Iterable
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
import polars as pl

from ingest.terms.tables import TIME

FORMAT = 1  # of the text; another one is not read
KIND = "~"
DTYPES: dict[str, pl.DataType] = {
    str(dtype): dtype
    for dtype in (
        pl.String(), pl.Int8(), pl.Int16(), pl.Int32(), pl.Int64(), pl.UInt8(), pl.UInt32(), pl.UInt64(), pl.Float32(),
        pl.Float64(), pl.Boolean(), pl.Date(), TIME, pl.Null(), pl.List(pl.String()), pl.List(pl.Float64()),
    )
}  # fmt: skip
Put = Callable[[str], str]


class NoCopy(ValueError):
    """A text that is no copy this version can read."""


def to_text(kept: Any) -> str:
    """A dataclass (of dataclasses, tables, arrays, days, plain values) as one line of text. TypeError where something
    in it is none of these.
    """
    return json.dumps(_out(kept), ensure_ascii=False, separators=(",", ":"))


def from_text(text: str, classes: Iterable[type], *, words: Iterable[str] = (), put: Put | None = None) -> Any:
    """What `to_text` was given. NoCopy where the text is none, or names a class that is not among `classes`.

    words : fields and columns that hold what somebody wrote; `put` says how they are shown.
    """
    known = {each.__name__: each for each in classes}
    shown, wordy = put or (lambda said: said), frozenset(words)
    try:
        return _Reading(known, wordy, shown).of(json.loads(text))
    except (ValueError, TypeError, KeyError, AttributeError, pl.exceptions.PolarsError) as fault:
        raise NoCopy(f"the copy cannot be read ({fault})") from None


def _out(value: Any) -> Any:
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, datetime):
        return {KIND: "time", "of": value.isoformat()}
    if isinstance(value, date):
        return {KIND: "day", "of": value.isoformat()}
    if isinstance(value, tuple):
        return {KIND: "tuple", "of": [_out(one) for one in value]}
    if isinstance(value, list | np.ndarray):
        return [_out(one) for one in value]
    if isinstance(value, dict):
        return {KIND: "dict", "of": [[_out(key), _out(one)] for key, one in value.items()]}
    if isinstance(value, pl.DataFrame):
        kinds = {name: str(dtype) for name, dtype in value.schema.items()}
        if strange := {name: kind for name, kind in kinds.items() if kind not in DTYPES}:
            raise TypeError(f"no table with such columns is kept: {strange}")
        columns = {name: [_out(one) for one in value[name].to_list()] for name in value.columns}
        return {KIND: "table", "kinds": kinds, "of": columns}
    if is_dataclass(value) and not isinstance(value, type):
        held = {each.name: _out(getattr(value, each.name)) for each in fields(value)}
        return {KIND: type(value).__name__, "of": held}
    raise TypeError(f"a {type(value).__name__} is not kept")


class _Reading:
    """The way back."""

    def __init__(self, classes: dict[str, type], words: frozenset[str], put: Put) -> None:
        self.classes, self.words, self.put = classes, words, put

    def of(self, value: Any, name: str = "") -> Any:
        if isinstance(value, str):
            return self.put(value) if name in self.words else value
        if isinstance(value, list):
            return [self.of(one, name) for one in value]
        if not isinstance(value, dict):
            return value
        kind, held = value[KIND], value["of"]
        match kind:
            case "time":
                return datetime.fromisoformat(held)
            case "day":
                return date.fromisoformat(held)
            case "tuple":
                return tuple(self.of(one, name) for one in held)
            case "dict":
                return {self.of(key): self.of(one, key if isinstance(key, str) else name) for key, one in held}
            case "table":
                schema = {column: DTYPES[word] for column, word in value["kinds"].items()}
                return pl.DataFrame({column: self.of(held[column], column) for column in schema}, schema=schema)
        made = self.classes[kind]
        known = {each.name for each in fields(made)}
        return made(**{each: self.of(one, each) for each, one in held.items() if each in known})

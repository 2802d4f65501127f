"""Parts of matters as one line of text and back, to the last digit."""

import json
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from typing import Any

from analysis.studies.matters.parts import Measured, Part
from analysis.studies.matters.records import Candidate, Creeping, MovesWith, Planned, TellApart

KINDS = {kind.__name__: kind for kind in (Part, Measured, Creeping, Candidate, MovesWith, Planned, TellApart)}
KIND, DAY, TIME, ROW = "kind", "day", "time", "row"


def written(parts: list[Part] | None) -> str:
    """One line; a number is written so that it is read as the same one."""
    return json.dumps(_plain(parts), ensure_ascii=True)


def read(text: str) -> list[Part] | None:
    """What was written."""
    found: list[Part] | None = json.loads(text, object_hook=_told)
    return found


def _plain(told: Any) -> Any:
    if told is None or isinstance(told, str | int | float):  # nearly all that there is
        return told
    if is_dataclass(told) and not isinstance(told, type):
        return {KIND: type(told).__name__} | {each.name: _plain(getattr(told, each.name)) for each in fields(told)}
    if isinstance(told, datetime):
        return {TIME: told.isoformat()}
    if isinstance(told, date):
        return {DAY: told.isoformat()}
    if isinstance(told, tuple):
        return {ROW: [_plain(each) for each in told]}
    return [_plain(each) for each in told] if isinstance(told, list) else told


def _told(held: dict[str, Any]) -> Any:
    if KIND in held:
        return KINDS[held.pop(KIND)](**held)
    if DAY in held:
        return date.fromisoformat(held[DAY])
    return datetime.fromisoformat(held[TIME]) if TIME in held else tuple(held[ROW])

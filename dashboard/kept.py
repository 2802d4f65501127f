"""What a page keeps in the browser between two presses, by the id it is kept under: of which shape it is. What comes
back in another shape was not kept by a page of ours.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

STREAM = ("characteristic", "position", "model", "stage", "tech")
ANSWERED = {"first": int, "last": int, "settled": int, "logs": list, "at": str, "said": str}  # one answer on Logs


def _text(value: Any) -> bool:
    return isinstance(value, str)


def _day(value: Any) -> bool:
    return _is_read(date.fromisoformat, value)


def _number(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _texts(*names: str) -> Callable[[Any], bool]:
    """A record of single values, of which these are texts."""

    def fits(value: Any) -> bool:
        whole = isinstance(value, dict) and all(_text(value.get(name)) for name in names)
        return whole and not any(isinstance(each, list | dict) for each in value.values())

    return fits


def _signal(value: Any) -> bool:
    """A stream, with the chart and the moment of a signal where there is one."""
    return _texts(*STREAM)(value) and (
        not value.get("opened_at") or _is_read(datetime.fromisoformat, value["opened_at"])
    )


def _list_of(*kinds: Callable[[Any], bool]) -> Callable[[Any], bool]:
    """A list of as many things as there are kinds, each of its own."""

    def fits(value: Any) -> bool:
        whole = isinstance(value, list) and len(value) == len(kinds)
        return whole and all(kind(each) for kind, each in zip(kinds, value, strict=True))

    return fits


def _answered(value: Any) -> bool:
    return isinstance(value, list) and all(
        isinstance(each, dict) and all(isinstance(each.get(name), kind) for name, kind in ANSWERED.items())
        for each in value
    )


def _mapped(value: Any) -> bool:
    """What was shown of sheets nobody knew yet: answers, columns and what somebody has said of them, texts to texts."""
    return (
        isinstance(value, dict)
        and value.keys() == {"answers", "shown", "said"}
        and all(isinstance(each, dict) and all(map(_text, each.values())) for each in value.values())
    )


def _is_read(read: Callable[[str], Any], value: Any) -> bool:
    try:
        return isinstance(value, str) and bool(read(value))
    except ValueError:
        return False


KEPT: dict[str, Callable[[Any], bool]] = {
    "bench-about": _texts("tech", "stage"),
    "drift-about": _signal,
    "drift-closer-stream": _texts(*STREAM),
    "drift-limits-about": _texts(*STREAM),
    "drift-tried": lambda value: isinstance(value, list),
    "drift-written": _number,
    "logs-correct-cell": _list_of(_text, _number, _text),
    "logs-here": _text,
    "logs-new-held": _mapped,
    "logs-work-at": _text,
    "logs-work-done": _answered,
    "week-on": _day,
}


def fits(id: str, value: Any) -> bool:
    """May this have been kept by a page under that id? Nothing kept yet always fits."""
    return value is None or (id in KEPT and KEPT[id](value))

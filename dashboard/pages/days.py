"""A day as a person types it: in the order of the shop's own sheets, or year-month-day anywhere."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

from analysis.methods.problems import UnusableData
from dashboard import parts
from dashboard.desk import desk

WRITTEN = {  # order: how a day is written, and its words
    "ymd": ("%Y-%m-%d", "year-month-day"),
    "dmy": ("%d/%m/%Y", "day/month/year"),
    "mdy": ("%m/%d/%Y", "month/day/year"),
}
HINTS = {"ymd": "yyyy-mm-dd", "dmy": "dd/mm/yyyy", "mdy": "mm/dd/yyyy"}
SOME_DAY = date(2026, 11, 27)
TYPED = re.compile(r"(\d{1,4})[-/. ]+(\d{1,2})[-/. ]+(\d{1,4})\.?")


def _order() -> str:
    return desk.here().snapshot().shop.date_order


def field(label: str, id: Any, value: date | str | None = "", **more: Any) -> parts.DayInput:
    """A day: typed in the shop's order, or picked from the browser's own calendar. value : a day, or 2026-11-27."""
    order, day = _order(), date.fromisoformat(str(value)) if value else None
    shown, picked = (day.strftime(WRITTEN[order][0]), str(day)) if day else ("", "")
    hint = HINTS[order]
    return parts.DayInput(
        id=id, label=label, value=shown, day=picked, order=order, placeholder=hint, className="field day", **more
    )


def read(text: str | None) -> date | None:
    """A day as typed, None of nothing; ValueError with words for the form where it is none."""
    typed, order = str(text or "").strip(), _order()
    if not typed:
        return None
    found = TYPED.fullmatch(typed)
    try:
        return _day(*(found[k] for k in (1, 2, 3)), order=order)  # type: ignore[index]  # None: told below
    except (ValueError, TypeError):
        form, words = WRITTEN[order]
        wanted = f"{SOME_DAY.strftime(form)} ({words})"
        raise ValueError(f"{typed!r} is not a date; write it as {wanted}.") from None


def _day(first: str, second: str, third: str, *, order: str) -> date:
    if len(first) == 4:
        return date(int(first), int(second), int(third))
    year = int(third) + 2000 if len(third) == 2 else int(third)
    if order == "ymd" or len(third) not in (2, 4):
        raise ValueError
    day, month = (first, second) if order == "dmy" else (second, first)
    return date(year, int(month), int(day))


def in_address(text: str | None) -> str:
    """The same as an address says it, '' of nothing; UnusableData where it is no day."""
    try:
        return str(read(text) or "")
    except ValueError as wrong:
        raise UnusableData(str(wrong).rstrip(".")) from None


FROM_TO = {"from": in_address, "to": in_address}

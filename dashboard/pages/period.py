"""Two days that a page may be about, read from its address: one type for Capability, Necks and Bench."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from typing import Any

from dashboard import numbers
from dashboard.pages import days


@dataclass(frozen=True)
class Period:
    """From a first to a last day, both included; None: open at that end. A first day after the last is an empty one."""

    first: date | None = None
    last: date | None = None

    @property
    def address(self) -> dict[str, str | None]:
        """As values of an address."""
        return {"from": str(self.first) if self.first else None, "to": str(self.last) if self.last else None}

    def __bool__(self) -> bool:
        return self.first is not None or self.last is not None

    def holds(self, day: date) -> bool:
        """Does the day lie within?"""
        return (self.first is None or day >= self.first) and (self.last is None or day <= self.last)

    def words(self) -> str:
        """`from 5 Oct 2026 to 1 Nov 2026`, `since 5 Oct 2026`, `up to 1 Nov 2026`, or nothing."""
        first, last = (f"{numbers.day(end)} {end.year}" if end else "" for end in (self.first, self.last))
        if first and last:
            return f"from {first} to {last}"
        return f"since {first}" if first else f"up to {last}" if last else ""


def read(given: Mapping[str, Any]) -> Period:
    """The period of an address; '' and what is no day leave that end open."""
    ends: list[date | None] = []
    for name in ("from", "to"):
        ends.append(None)
        with suppress(ValueError):
            ends[-1] = date.fromisoformat(str(given.get(name) or ""))
    return Period(*ends)


def fields(period: Period, since: str, until: str) -> list[Any]:
    """The two days as fields. since, until : their ids."""
    told = period.address
    return [days.field("From", since, told["from"] or ""), days.field("To", until, told["to"] or "")]

"""Filters live in the address: building one, and reading back what someone may have edited by hand."""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import urlencode


def address(path: str, **filters: object) -> str:
    """A link to a page with its filters; empty ones are left out. `address("/drift", model="LARK-25") ==
    "/drift?model=LARK-25"`.
    """
    kept = {name: value for name, value in filters.items() if value not in (None, "", [])}
    return f"{path}?{urlencode(kept, doseq=True)}" if kept else path


def chosen(value: object, among: Iterable[str], default: str | None) -> str | None:
    """The filter's value where it is one of those on offer, else the default: an edited or old address never breaks a
    page.
    """
    return value if isinstance(value, str) and value in set(among) else default


def whole_number(value: object, low: int, high: int, default: int) -> int:
    """A whole number between low and high, else the default."""
    try:
        number = int(str(value))
    except ValueError:
        return default
    return number if low <= number <= high else default

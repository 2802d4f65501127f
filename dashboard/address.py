"""Filters live in the address: building one, and reading back what someone may have edited by hand.

Each page has a type of its own for its address, a subclass of `Address` with a field for each name it reads. What is
no value of a field is a `BadAddress`, told in one line; a value that is not on offer falls back to the page's default.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Annotated, TypeVar
from urllib.parse import parse_qsl, urlencode, urlsplit

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError

LONGEST = 2_000  # characters of a value: a list of serials
FIRST_DAY, LAST_DAY = date(1990, 1, 1), date(2199, 12, 31)  # days a shop may be asked about
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f]")


class BadAddress(ValueError):
    """An address that cannot be read: the name, what stood there and what was wanted, in one line."""


def _text(value: str) -> str:
    if len(value) > LONGEST or _CONTROL.search(value):
        raise ValueError(f"at most {LONGEST} characters of text")
    return value


def _day(value: str) -> str:
    if value and not (re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value) and _is_day(value)):
        raise ValueError(f"a day from {FIRST_DAY} to {LAST_DAY} such as 2026-11-27")
    return value


def _is_day(value: str) -> bool:
    try:
        return FIRST_DAY <= date.fromisoformat(value) <= LAST_DAY
    except ValueError:
        return False


def _flag(value: str) -> str:
    if value not in ("", "0", "1"):
        raise ValueError("1, 0 or nothing")
    return value


def _question(value: str) -> str:
    if value and not re.fullmatch(r"[0-9a-zA-Z_-]{1,64}:[0-9]{1,12}:.*", value, re.DOTALL):
        raise ValueError("the address of a question as Logs gives it")
    return _text(value)


Text = Annotated[str, AfterValidator(_text)]
Day = Annotated[str, AfterValidator(_day)]  # '' or a day, 2026-11-27
Flag = Annotated[str, AfterValidator(_flag)]
QuestionKey = Annotated[str, AfterValidator(_question)]  # log:line:column


class Address(BaseModel):
    """The values of a page's address; names it does not know are passed over."""

    model_config = ConfigDict(extra="ignore", frozen=True, populate_by_name=False)


A = TypeVar("A", bound=Address)


def read(kind: type[A], given: Mapping[str, str | Sequence[str]]) -> A:
    """The address as its page's type. BadAddress, one line, where a name stands twice or its value is none of its kind.

    given : name -> value, or values where the name stands several times.
    """
    values: dict[str, str] = {}
    for name, value in given.items():
        several = [value] if isinstance(value, str) else list(value)
        if len(several) != 1 or not isinstance(several[0], str):
            raise BadAddress(f"{short(name)} stands {len(several)} times in the address; wanted once")
        values[name] = several[0]
    try:
        return kind.model_validate(values)
    except ValidationError as wrong:
        first = wrong.errors()[0]
        name, wanted = str(first["loc"][0]), str(first["msg"]).removeprefix("Value error, ")
        raise BadAddress(f"{name} is {short(values.get(name, ''))!r}; wanted {wanted}") from None


def short(text: str, most: int = 60) -> str:
    """A text that may be shown: on one line, not too long, without control characters."""
    line = " ".join(_CONTROL.sub(" ", text).split())
    return line if len(line) <= most else line[: most - 3] + "..."


def address(path: str, **filters: object) -> str:
    """A link to a page with its filters; empty ones are left out. `address("/drift", model="LARK-25") ==
    "/drift?model=LARK-25"`.
    """
    kept = {name: value for name, value in filters.items() if value not in (None, "", [])}
    return f"{path}?{urlencode(kept, doseq=True)}" if kept else path


def of_days(link: str, first: date, last: date) -> str:
    """A link with the days it is about, where it says nothing of days itself."""
    asked = dict(parse_qsl(urlsplit(link).query))
    if {"from", "to", "week", "weeks"} & asked.keys():
        return link
    return f"{link}{'&' if asked else '?'}{urlencode({'from': first, 'to': last})}"


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

"""The tables of shop.toml that hold for the whole shop: clock and money, paid hours, judging, people."""

import re
from datetime import date, time
from itertools import pairwise
from typing import Annotated, Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, field_validator, model_validator

from ingest.shopfiles.shop_parts import Key, Part

RunRule = Literal["beyond", "one side", "climb", "sawtooth", "two of three", "four of five", "hugging", "avoiding"]
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def span(text: str) -> tuple[time, time]:
    """Begin and end of '07:30-17:00'; ValueError where it is none or ends before it begins."""
    found = re.fullmatch(r"\s*(\d{1,2}):(\d{2})\s*-\s*(\d{1,2}):(\d{2})\s*", text)
    try:
        if not found:
            raise ValueError
        begin, end = time(int(found[1]), int(found[2])), time(int(found[3]), int(found[4]))
    except ValueError:
        raise ValueError(f"{text!r} is no span of time; wanted one such as '07:30-17:00'") from None
    if end <= begin:
        raise ValueError(f"{text!r} ends before it begins; wanted a span within one day")
    return begin, end


def days(text: str) -> tuple[date, date]:
    """First and last day of '2026-12-24' or '2026-12-24/2027-01-01'; ValueError where it is neither."""
    first, slash, last = text.partition("/")
    try:
        begin = date.fromisoformat(first.strip())
        end = date.fromisoformat(last.strip()) if slash else begin
    except ValueError:
        raise ValueError(f"{text!r} is no day; wanted '2026-12-24' or '2026-12-24/2027-01-01'") from None
    if end < begin:
        raise ValueError(f"{text!r} ends before it begins")
    return begin, end


class About(Part):
    """[shop]: its name, its clock, its units and money."""

    name: Key
    timezone: Key
    length: Literal["mm", "in"] = "mm"
    temperature: Literal["C", "F"] = "C"
    serials: Literal["exact", "loose", "bare"] = "exact"  # loose: capitals and spaces mean nothing; bare: nor do dashes
    currency: str = "EUR"
    labour_per_hour: Annotated[float, Field(ge=0)] = 0.0
    week_starts: Literal["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"] = "Monday"

    @field_validator("timezone")
    @classmethod
    def _is_a_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise ValueError("not a known time zone; wanted one such as 'Europe/Dublin' or 'UTC'") from None
        return value


class Calendar(Part):
    """Paid hours; minutes of a visit outside them are not labour. Days are open unless closed."""

    open: str = ""
    breaks: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()  # "2026-12-24" or "2026-12-24/2027-01-01", both ends included

    @field_validator("open")
    @classmethod
    def _opens(cls, value: str) -> str:
        if value:
            span(value)
        return value

    @field_validator("breaks")
    @classmethod
    def _breaks_end(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        spans = sorted(span(entry) for entry in value)
        if any(later[0] < earlier[1] for earlier, later in pairwise(spans)):
            raise ValueError("two breaks overlap; wanted breaks one after the other")
        return value

    @field_validator("closed")
    @classmethod
    def _are_days(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for entry in value:
            days(entry)
        return value


class Judging(Part):
    """[judging]: baselines and the budget of false signals."""

    baseline_readings: Annotated[int, Field(ge=2)] = 100
    least_readings: Annotated[int, Field(ge=2)] = 25
    false_signals_per_week: Annotated[float, Field(gt=0)] | None = None  # None with `width` None: 1.0
    width: Annotated[float, Field(gt=0)] | None = None
    rules: tuple[RunRule, ...] = ("beyond",)
    ewma_weight: Annotated[float, Field(gt=0, le=1)] = 0.1
    air: bool = False  # streams whose baseline follows the air are judged on what it does not explain

    @model_validator(mode="after")
    def _is_one_or_the_other(self) -> Self:
        if self.width is not None and self.false_signals_per_week is not None:
            raise ValueError("false_signals_per_week and width are both given; wanted one of them")
        return self

    @property
    def budget(self) -> float | None:
        """False signals a week the shop allows; None where it asks for classical charts of a `width`."""
        if self.width is not None:
            return None
        return 1.0 if self.false_signals_per_week is None else self.false_signals_per_week


class People(Part):
    """[people]: what is shown of persons, for what, for how long."""

    show: Literal["none", "codes", "names"] = "codes"
    purpose: str = ""
    keep_months: Annotated[int, Field(ge=1)] = 24
    publish: Literal["none", "codes", "names"] = "codes"  # what leaves for other shops to read

    @model_validator(mode="after")
    def _names_have_a_purpose(self) -> Self:
        if self.show == "names" and not self.purpose.strip():
            raise ValueError('show = "names" needs a purpose; wanted purpose = "what the figures are for"')
        if self.publish == "names" and self.show != "names":
            raise ValueError('publish = "names" needs show = "names" too; wanted publish = "codes" or "none"')
        return self

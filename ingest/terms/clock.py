"""Dates and times: as typed to the shop's clock, the shop's clock to UTC and back.

`local` columns are naive Datetime('us') on the shop's clock; `utc` columns are tables.TIME. Nothing here reads the
clock.
"""

import re
from datetime import datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import polars as pl

from ingest.terms.eastern_days import eastern_clock, eastern_day
from ingest.terms.tables import TIME
from ingest.terms.units import straight
from ingest.terms.zone_letters import BEHIND, KNOWN, OF_UTC

LOCAL = pl.Datetime("us")
Order = Literal["ymd", "dmy", "mdy"]
WRITTEN = {"ymd": "year-month-day", "dmy": "day-month-year", "mdy": "month-day-year"}
FIRST_YEAR, LAST_YEAR = 1970, 2099  # a visit outside is a slip of the pen
EXCEL_DAY_0 = datetime(1899, 12, 30)  # day 0 of a spreadsheet's day numbers
EXCEL_DAYS = (36526, 73050)  # 2000-01-01 to 2099-12-31: other bare numbers are no date here

MONTHS = {  # by how they begin; English and German, and what other languages of Europe write
    begins: number
    for number, every in enumerate(
        (
            "jan jän gen ene sty led",
            "feb fév fev lut úno",
            "mar mär mrt maa bře",
            "apr avr abr kwi dub",
            "may mai maj mei mag",
            "jun jún juin giu cze čer",
            "jul júl juil lug lip",
            "aug aoû aou ago sie srp",
            "sep set wrz zář",
            "oct okt ott out paź říj",
            "nov lis",
            "dec dez déc des dic gru pro",
        ),
        1,
    )
    for begins in reversed(every.split())
}
_CLOCK = (
    r"(?P<hour>\d{1,2})[:.h](?P<minute>\d{2})(?:[:.](?P<second>\d{2})(?:[.,](?P<part>\d{1,9}))?)?"
    r"\s*(?:(?P<half>[ap]\.?m\.?)|uhr)?"
)
_OFFSET = rf"\s*(?P<offset>[+-]\d{{2}}:?\d{{2}}|{'|'.join((*OF_UTC, *KNOWN))})?"
_YMD = re.compile(
    rf"(?P<y>\d{{4}})[-/.](?P<m>\d{{1,2}})[-/.](?P<d>\d{{1,2}})(?:[T\s,]+{_CLOCK}{_OFFSET})?", re.IGNORECASE
)
_THREE = re.compile(
    rf"(?P<a>\d{{1,4}})\s*[-/.]\s*(?P<b>\d{{1,2}})\s*[-/.]\s*(?P<c>\d{{1,4}})(?:[T\s,]+{_CLOCK}{_OFFSET})?",
    re.IGNORECASE,
)
_NAMED = re.compile(
    rf"(?P<d>\d{{1,2}})(?:er)?[-\s./]*(?:de\s+)?(?P<name>[^\W\d_]{{3,12}}?)[-\s./,]*(?:de\s+)?(?P<y>\d{{4}}|\d{{2}})(?:[T\s,]+{_CLOCK}{_OFFSET})?",
    re.IGNORECASE,
)
_NAME_FIRST = re.compile(
    rf"(?P<name>[^\W\d_]{{3,12}})[-\s./]+(?P<d>\d{{1,2}})(?:st|nd|rd|th)?[-\s./,]+(?P<y>\d{{4}})(?:[T\s,]+{_CLOCK}{_OFFSET})?",
    re.IGNORECASE,
)
_COMPACT = re.compile(
    rf"(?P<y>(?:19|20)\d{{2}})(?P<m>\d{{2}})(?P<d>\d{{2}})(?:[T\s_,]+(?:{_CLOCK}{_OFFSET}|(?P<digits>\d{{4}}(?:\d{{2}})?)))?",
    re.IGNORECASE,
)
_DIGIT_CLOCK = re.compile(r"(\d{1,2})(\d{2})()|(\d{2})(\d{2})(\d{2})")  # 741, 0741, 074130
_BARE_CLOCK = re.compile(rf"{_CLOCK}\s*(?:{'|'.join(KNOWN)})?", re.IGNORECASE)
_DAY_NUMBER = re.compile(r"\d{5}(?:[.,]\d+)?")
_DAY = r"^(?:19[7-9]|20\d)\d-\d{2}-\d{2}$"
_TO_THE_MINUTE, _TO_THE_SECOND = (_DAY[:-1] + r"[T ]\d{2}:\d{2}" + rest for rest in ("$", r":\d{2}$"))

STAMPS = {"text": pl.String(), "local": LOCAL, "utc": TIME, "has_day": pl.Boolean(), "has_clock": pl.Boolean()}


def read_stamp(text: str, order: Order) -> tuple[datetime | None, datetime | None, bool, bool] | None:
    """One typed stamp: (local, utc, has a day, has a clock), or None where it is no date or time.

    A stamp with an offset gives utc, any other local; letters of a zone behind it, as EDT, are passed over
    (`zone_typed`). A clock alone stands on 1899-12-30; of figures alone (`0741`,
    `074130`) it is one where no day is. Dates are ISO, eight figures (`20261102`) or in `order`; a month by name is
    taken in any order; two-digit years are 20yy, years outside 1970 to 2099 are no date; spreadsheet day numbers from
    2000 to 2099 are taken.
    """
    text = straight(text).strip()
    if len(text) in (3, 4, 6) and text.isdecimal():
        of_day = _of_digits(text)
        return None if of_day is None else (EXCEL_DAY_0 + of_day, None, False, True)
    if _DAY_NUMBER.fullmatch(text):
        number = float(text.replace(",", "."))
        if not EXCEL_DAYS[0] <= number <= EXCEL_DAYS[1]:
            return None
        moment = EXCEL_DAY_0 + timedelta(seconds=round(number * 86400))
        return moment, None, True, number != int(number)
    dotted = text.count(".") == 2 and _THREE.fullmatch(text)  # 02.11.26 is a day before it is a time of day
    if not dotted and (clock := _BARE_CLOCK.fullmatch(text)):
        of_day = _time_of_day(clock)
        return None if of_day is None else (EXCEL_DAY_0 + of_day, None, False, True)
    if found := _YMD.fullmatch(text):
        year, month, day = (int(found[part]) for part in "ymd")
    elif found := _THREE.fullmatch(text):
        typed = dict(zip(order, (found["a"], found["b"], found["c"]), strict=True))
        if len(typed["y"]) not in (2, 4) or len(typed["m"]) > 2 or len(typed["d"]) > 2:
            return None
        year, month, day = _year(typed["y"]), int(typed["m"]), int(typed["d"])
    elif found := _COMPACT.fullmatch(text):
        year, month, day = (int(found[part]) for part in "ymd")
    elif (found := _NAMED.fullmatch(text) or _NAME_FIRST.fullmatch(text)) and (month := month_of(found["name"])):
        year, day = _year(found["y"]), int(found["d"])
    elif eastern := eastern_day(text):
        return _eastern(*eastern)
    else:
        return None
    begun = _midnight(year, month, day)
    if begun is None:
        return None
    moment = begun
    digits = found.groupdict().get("digits")
    if digits:
        of_day = _of_digits(digits)
        return None if of_day is None else (moment + of_day, None, True, True)
    if found["hour"] is None:
        return moment, None, True, False
    of_day = _time_of_day(found)
    if of_day is None:
        return None
    moment += of_day
    if found["offset"] is None:
        return moment, None, True, True
    offset = found["offset"].upper().replace(":", "")
    if offset.isalpha() and offset not in OF_UTC:
        return moment, None, True, True
    if offset not in OF_UTC:
        sign = -1 if offset[0] == "-" else 1
        moment -= sign * timedelta(hours=int(offset[1:3]), minutes=int(offset[3:5]))
    return None, moment, True, True


def _midnight(year: int, month: int, day: int) -> datetime | None:
    """The beginning of a day; None where there is no such day, or no log tells of such a year."""
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return None
    try:
        return datetime(year, month, day)
    except ValueError:
        return None


def _eastern(year: int, month: int, day: int, rest: str) -> tuple[datetime | None, datetime | None, bool, bool] | None:
    """The stamp of a day whose year, month and day are named by their signs, and of the time of day behind it."""
    moment = _midnight(year, month, day)
    if moment is None:
        return None
    clock = _BARE_CLOCK.fullmatch(rest)
    of_day = _time_of_day(clock) if clock else eastern_clock(rest)
    if of_day is None:
        return None if rest else (moment, None, True, False)
    return moment + of_day, None, True, True


def zone_typed(texts: pl.Series) -> pl.Series:
    """The letters of a time zone behind each time, in capitals; null where there are none, or those of UTC."""
    if not texts.str.contains("[A-Za-z]$").any():
        return pl.Series(texts.name, [None], dtype=pl.String).new_from_index(0, len(texts))
    return texts.str.extract(BEHIND).str.to_uppercase()


def month_of(name: str) -> int:
    """The month that a name or its beginning means in a language of Europe, 0 where none does."""
    text = name.casefold()
    return MONTHS.get(text[:4], 0) or MONTHS.get(text[:3], 0)


def _of_digits(text: str) -> timedelta | None:
    """The time of day of figures without a sign between: 741, 0741 or 074130."""
    found = _DIGIT_CLOCK.fullmatch(text)
    if found is None:
        return None
    hour, minute, second = int(found[1] or found[4]), int(found[2] or found[5]), int(found[3] or found[6] or 0)
    return timedelta(hours=hour, minutes=minute, seconds=second) if hour < 24 and minute < 60 and second < 60 else None


def _year(text: str) -> int:
    return int(text) + (2000 if len(text) == 2 else 0)


def _time_of_day(found: re.Match[str]) -> timedelta | None:
    hour, minute, second = int(found["hour"]), int(found["minute"]), int(found["second"] or 0)
    half = (found["half"] or "").lower().replace(".", "")
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half == "pm" else 0)
    if hour > 23 or minute > 59 or second > 59:
        return None
    micro = int((found["part"] or "0").ljust(6, "0")[:6])
    return timedelta(hours=hour, minutes=minute, seconds=second, microseconds=micro)


def read_stamps(texts: pl.Series, order: Order) -> pl.DataFrame:
    """STAMPS of a column of typed stamps, row for row; `local` and `utc` both null where the text is empty or no stamp.

    The regular ISO stamp is cast all at once, every other distinct text is read once.
    """
    column = texts.rename("text").to_frame()
    minutes, seconds, day = (pl.col("text").str.contains(form) for form in (_TO_THE_MINUTE, _TO_THE_SECOND, _DAY))
    whole = (
        pl.when(minutes)
        .then(pl.col("text") + ":00")
        .when(seconds)
        .then("text")
        .when(day)
        .then(pl.col("text") + " 00:00:00")
    )
    column = column.with_columns(
        whole.str.replace("T", " ", literal=True).str.strptime(LOCAL, "%Y-%m-%d %H:%M:%S", strict=False).alias("local")
    )
    column = column.with_columns(
        has_day=pl.col("local").is_not_null(),
        has_clock=pl.col("local").is_not_null() & (pl.col("text").str.len_bytes() > 10),
        utc=pl.lit(None, dtype=TIME),
    )
    rest = column.filter(pl.col("local").is_null() & (pl.col("text") != ""))["text"].unique().to_list()
    read = {text: stamp for text in rest if (stamp := read_stamp(text, order)) is not None}
    if read:
        rows = [(text, local, utc, has_day, has_clock) for text, (local, utc, has_day, has_clock) in read.items()]
        schema = {
            "text": pl.String(),
            "local_": LOCAL,
            "utc_": LOCAL,
            "has_day_": pl.Boolean(),
            "has_clock_": pl.Boolean(),
        }
        odd = pl.DataFrame(rows, schema=schema, orient="row").with_columns(pl.col("utc_").dt.replace_time_zone("UTC"))
        column = column.join(odd, on="text", how="left", maintain_order="left").with_columns(
            pl.coalesce("local", "local_").alias("local"),
            pl.col("utc_").alias("utc"),
            pl.coalesce("has_day_", "has_day").alias("has_day"),
            pl.coalesce("has_clock_", "has_clock").alias("has_clock"),
        )
    return column.select(pl.col(name).cast(dtype) for name, dtype in STAMPS.items())


def no_stamps(n: int) -> pl.DataFrame:
    """STAMPS of n empty cells."""
    return (
        pl.DataFrame(schema=STAMPS)
        .clear(n)
        .with_columns(text=pl.lit(""), has_day=pl.lit(False), has_clock=pl.lit(False))
    )


def to_utc(local: pl.Expr, zone: ZoneInfo) -> pl.Expr:
    """UTC of a time on the shop's clock: null where it does not exist, the earlier where it exists twice."""
    return local.dt.replace_time_zone(zone.key, ambiguous="earliest", non_existent="null").dt.convert_time_zone("UTC")


def shown_again(local: pl.Expr, utc: pl.Expr, zone: ZoneInfo) -> pl.Expr:
    """Does the clock on the wall show this time twice that day? `utc` is its first time, as `to_utc` gives it."""
    later = local.dt.replace_time_zone(zone.key, ambiguous="latest", non_existent="null").dt.convert_time_zone("UTC")
    return (utc != later).fill_null(False)


def day_begins(day: pl.Expr, zone: ZoneInfo) -> pl.Expr:
    """UTC of local midnight; where the clock skips midnight, the first hour of that day that exists."""
    midnight = day.cast(pl.Date).cast(LOCAL)
    return pl.coalesce(
        to_utc(midnight, zone), *(to_utc(midnight + pl.duration(minutes=minutes), zone) for minutes in (30, 60, 120))
    )


def to_local(utc: pl.Expr, zone: ZoneInfo) -> pl.Expr:
    """The shop's clock (naive) at a UTC time."""
    return utc.dt.convert_time_zone(zone.key).dt.replace_time_zone(None)

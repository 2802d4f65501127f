"""How every figure is rounded and written: the same on pages, papers and at the command line.

A number and its unit are held together by a no-break space, a minus is U+2212, and nothing is ever written -0.00.
Sizes of n decide decimals only for shares: one decimal from a thousand on. Nothing here knows a study.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime

MINUS, NBSP, DASH = "\u2212", "\u00a0", "\u2013"
MM_PER_INCH = 25.4
SIXTY_FOURTHS = "64ths"
MM_OF = {"mm": 1.0, "in": MM_PER_INCH, SIXTY_FOURTHS: MM_PER_INCH / 64, "thou": MM_PER_INCH / 1000}
DECIMALS_OF = {"mm": (2, 2), "in": (3, 3), SIXTY_FOURTHS: (1, 2), "thou": (1, 1)}  # of a reading, of a mean
MARKS = (SIXTY_FOURTHS, "thou")  # counted by marks and leaves: a whole one is written whole
SHORT_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
SMALL = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
FINER = 3  # digits more than usual, at most, to tell a value from its limit
NONE = "no figure"  # what stands where a value could not be computed


def plain(value: float | None, decimals: int = 2) -> str:
    """`plain(-0.001) == "0.00"`, `plain(-1.5, 1) == "−1.5"`, thousands with a comma."""
    if value is None or math.isnan(value):
        return NONE
    text = f"{abs(value):,.{decimals}f}"
    return MINUS + text if value < 0 and text.strip("0.,") else text


def signed(value: float | None, decimals: int = 2) -> str:
    """With a plus where above 0: `signed(0.05) == "+0.05"`, `signed(0) == "0.00"`."""
    text = plain(value, decimals)
    return "+" + text if value is not None and value > 0 and text.strip("0.,") and text != NONE else text


def with_unit(text: str, unit: str) -> str:
    """Number and unit, held together: `with_unit("2.39", "mm")`; of 64ths `5.5/64 in`."""
    if unit == SIXTY_FOURTHS and text != NONE:
        text, unit = f"{text}/64", "in"
    unit = "cent" if unit == "cents" and text.lstrip("+-\u2212") == "1" else unit
    return f"{text}{NBSP}{unit}" if unit and text != NONE else text


# One reading or mean, by what its characteristic measures


def decimals_of(quantity: str, *, shown: str = "mm", mean: bool = False) -> int:
    """Decimals of a quantity: lengths 2 in mm, 3 in inches, 1 in thou and 64ths (means 2 in 64ths), cents whole (means
    1), angles 1, counts whole (means 1), plain 2.
    """
    if quantity == "length":
        return DECIMALS_OF[shown][mean]
    if quantity in ("pitch", "count"):
        return 1 if mean else 0
    return 1 if quantity == "angle" else 2


def least(quantity: str, *, shown: str = "mm") -> str:
    """The smallest amount of a quantity that is shown: `0.01 mm`, `1 cent`."""
    digits = decimals_of(quantity, shown=shown)
    return with_unit(plain(10.0**-digits, digits), unit_of(quantity, shown=shown))


def unit_of(quantity: str, *, shown: str = "mm") -> str:
    """The unit a quantity is shown in: `mm`, `in`, `64ths` or `thou`, `cents`, `°`, else none."""
    return {"length": shown, "pitch": "cents", "angle": "°"}.get(quantity, "")


def in_unit(value: float, quantity: str, *, shown: str = "mm") -> float:
    """A value in canonical units (mm, cents, degrees) in the unit it is shown in."""
    return value / MM_OF[shown] if quantity == "length" else value


def amount(
    value: float | None, quantity: str = "length", *, shown: str = "mm", mean: bool = False, sign: bool = False
) -> str:
    """A value in canonical units as the shop reads it: `2.39 mm`, `0.094 in`, `6/64 in`, `12.5 thou`, `−7 cents`."""
    if value is None:
        return NONE
    write = signed if sign else plain
    text = write(in_unit(value, quantity, shown=shown), decimals_of(quantity, shown=shown, mean=mean))
    return with_unit(text if mean else _whole(text, quantity, shown), unit_of(quantity, shown=shown))


def _whole(text: str, quantity: str, shown: str) -> str:
    """`6` of `6.0` marks."""
    return text.rstrip("0").removesuffix(".") if quantity == "length" and shown in MARKS and "." in text else text


def is_some(text: str) -> bool:
    """Is an amount, as it is written, more than nothing? `0.0/64 in` is not."""
    return any(digit in "123456789" for digit in text.partition("/64")[0])


def decimals_in(text: str, quantity: str, *, shown: str = "mm") -> int:
    """Decimals with which an amount is written, and at least those of its quantity: a whole mark is written whole."""
    number = text.partition(NBSP)[0].partition("/64")[0]
    return max(len(number.partition(".")[2]), decimals_of(quantity, shown=shown))


def apart(
    value: float, limit: float, quantity: str = "length", *, shown: str = "mm", mean: bool = False
) -> tuple[str, str]:
    """A value beside the limit that it lies beyond, both with as many digits as tell the one from the other:
    `("5.2 cents", "5.0 cents")`; as `amount` writes them where that does.
    """
    digits, unit = decimals_of(quantity, shown=shown, mean=mean), unit_of(quantity, shown=shown)
    both = [in_unit(one, quantity, shown=shown) for one in (value, limit)]
    enough = next(
        (digits + more for more in range(FINER + 1) if len({plain(x, digits + more) for x in both}) > 1), digits
    )
    texts = [plain(x, enough) for x in both]
    plain_ones = enough == digits and not mean
    one, other = (with_unit(_whole(x, quantity, shown) if plain_ones else x, unit) for x in texts)
    return one, other


def mm(value: float | None, *, shown: str = "mm", sign: bool = False) -> str:
    """A length: `0.11 mm`; in the unit that it is shown in."""
    return amount(value, "length", shown=shown, sign=sign)


def cents(value: float | None, *, mean: bool = False) -> str:
    """A pitch deviation: whole cents, one decimal for means."""
    return amount(value, "pitch", mean=mean)


def gauge(value: float, unit: str, *, with_mm: bool = False, quantity: str = "length") -> str:
    """A length as the bench's gauge says it: `14 thou`, `5.5/64 in`, `0.05 mm`; `with_mm` adds mm behind: `14 thou
    (0.36 mm)`.

    unit is `thou`, `64ths`, `in`, `mm`, or, for other quantities, ignored.
    """
    if quantity != "length":
        return amount(value, quantity)
    if unit == "thou":
        text = with_unit(_no_zeros(value / MM_PER_INCH * 1000), "thou")
    elif unit == "64ths":
        text = with_unit(_no_zeros(value / MM_PER_INCH * 64), SIXTY_FOURTHS)
    elif unit == "in":
        text = with_unit(plain(value / MM_PER_INCH, 3), "in")
    else:
        return mm(value)
    return f"{text} ({mm(value)})" if with_mm else text


def _no_zeros(value: float) -> str:
    """To the half, as a gauge is read: `14`, `5.5`."""
    halves = round(value * 2) / 2
    return plain(halves, 0 if halves == int(halves) else 1)


# Time and money


def minutes(value: float | None) -> str:
    """Whole minutes: `13 min`."""
    return with_unit(plain(value, 0), "min")


def hours(value: float | None, *, unit: str = "h") -> str:
    """Hours, one decimal: `5.3 h`."""
    return with_unit(plain(value, 1), unit)


def hours_of(minutes_: float | None, *, unit: str = "h") -> str:
    """Minutes written as hours."""
    return hours(None if minutes_ is None else minutes_ / 60, unit=unit)


def money(value: float | None, code: str) -> str:
    """Whole, with its code: `866 EUR`."""
    return with_unit(plain(value, 0), code)


def count(value: float | None) -> str:
    """A whole number with a comma at thousands."""
    return plain(value, 0)


def in_words(value: int, *, capital: bool = False) -> str:
    """Up to twelve in words, for sentences: `three`, `Three`, `13`."""
    text = SMALL[value] if 0 <= value < len(SMALL) else count(value)
    return text.capitalize() if capital else text


def listed(names: Sequence[str]) -> str:
    """`LARK-25`, `LARK-25 and WREN`, `LARK-25, WREN and DRAY-5`."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def of_in_words(k: int, n: int) -> str:
    """Begins a sentence: `Four of six`, `4 of 26`; both in words or neither."""
    if n >= len(SMALL):
        return of(k, n)
    return f"{in_words(k, capital=True)} of {in_words(n)}"


def of(k: int, n: int) -> str:
    """`6 of 50`."""
    return f"{count(k)}{NBSP}of{NBSP}{count(n)}"


# Shares and ranges


def share(value: float | None, n: int) -> str:
    """A share of n as %: whole, one decimal from n = 1,000; something never becomes nothing, nearly all never all."""
    if value is None:
        return NONE
    decimals = 1 if n >= 1000 else 0
    text = plain(100 * value, decimals)
    if value > 0 and float(text.replace(",", "")) == 0:
        return f"under {with_unit('0.1' if decimals else '1', '%')}"
    if value < 1 and float(text.replace(",", "")) == 100:
        return f"over {with_unit('99.9' if decimals else '99', '%')}"
    return with_unit(text, "%")


def share_range(low: float | None, high: float | None, n: int) -> str:
    """`5 to 24 %`, with the decimals of `share`."""
    if low is None or high is None:
        return NONE
    decimals = 1 if n >= 1000 else 0
    if high > 0 and float(plain(100 * high, decimals)) == 0:  # something never becomes nothing
        return share(high, n)
    if low < 1 and float(plain(100 * low, decimals)) == 100:  # nor nearly all all
        return share(low, n)
    return f"{plain(100 * low, decimals)} to {with_unit(plain(100 * high, decimals), '%')}"


def span(low: float | None, high: float | None, decimals: int = 2, unit: str = "") -> str:
    """A range in prose: `0.08 to 0.15 mm`, `5.5/64 to 6.5/64 in`."""
    if low is None or high is None:
        return NONE
    if unit == SIXTY_FOURTHS:
        return f"{with_unit(plain(low, decimals), unit).partition(NBSP)[0]} to {with_unit(plain(high, decimals), unit)}"
    return f"{plain(low, decimals)} to {with_unit(plain(high, decimals), unit)}"


def span_in_table(low: float | None, high: float | None, decimals: int = 2) -> str:
    """A range in a table: `0.08–0.15`; where a sign stands always `−0.01 to 0.03`."""
    if low is None or high is None:
        return NONE
    a, b = plain(low, decimals), plain(high, decimals)
    return f"{a} to {b}" if MINUS in a + b else f"{a}{DASH}{b}"


# Dates, on the shop's clock


def day(when: date | datetime, now: date | datetime | None = None) -> str:
    """`3 Nov`, with the year where it differs from now's."""
    year = f" {when.year}" if now is not None and when.year != now.year else ""
    return f"{when.day}{NBSP}{SHORT_MONTHS[when.month - 1]}{year}"


def days(first: date | datetime, last: date | datetime, now: date | datetime | None = None) -> str:
    """`30 Oct to 5 Nov`."""
    return f"{day(first, now)} to {day(last, now)}"


def long_day(when: date | datetime) -> str:
    """`Monday 9 November 2026`."""
    return f"{WEEKDAYS[when.weekday()]} {when.day}{NBSP}{MONTHS[when.month - 1]} {when.year}"


def weekday(when: date | datetime) -> str:
    """`Wed 18 Nov`."""
    return f"{WEEKDAYS[when.weekday()][:3]} {day(when)}"


def clock(when: datetime) -> str:
    """`Fri 13 Nov 2026, 16:40`; a day of which nobody wrote the time of day stands at its beginning and is a day."""
    hour = "" if (when.hour, when.minute, when.second, when.microsecond) == (0, 0, 0, 0) else f", {when:%H:%M}"
    return f"{weekday(when)} {when.year}{hour}"


def time_left(share: float, seconds: float) -> str:
    """About how long the rest of some work takes, once a twentieth is done: `, about 40 s left`; '' before."""
    if share < 0.05:
        return ""
    rest = seconds * (1 - share) / share
    return f", about {max(rest, 1):.0f} s left" if rest < 120 else f", about {rest / 60:.0f} min left"

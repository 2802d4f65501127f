"""What a bench hand writes in a cell: fractions, thou, signs, pairs, intervals, classes, ditto marks. One text in,
readings out.

Numbers stay in the unit they were typed in; `measurements` converts them. Nothing is guessed: what is not plain is a
question. The notations are common practice, no published source.
"""

import math
import re
from dataclasses import dataclass, replace
from datetime import date, timedelta

from ingest.terms.units import NEEDS_UNIT, POWERS, spelled, straight, unit_of

SHEET_ERRORS = (  # what a formula leaves in a cell where it found nothing, as spreadsheets write it
    "#N/A",
    "#NV",
    "#REF!",
    "#BEZUG!",
    "#DIV/0!",
    "#VALUE!",
    "#WERT!",
    "#NULL!",
    "#NUM!",
    "#ZAHL!",
    "#NAME?",
)
NO_READING = frozenset(
    [
        *("-", "--", "---", "n/a", "na", "n.a.", "ok", "✓", "✔", "√", "☑", "none", "not measured"),
        *(error.casefold() for error in SHEET_ERRORS),
    ]
)
DITTO = frozenset(('"', "''", "do", "do.", "ditto", "〃", '""', "idem", "id."))
CLASSES = {
    "bb": "BB",
    "back-bow": "BB",
    "backbow": "BB",
    "flat": "flat",
    "snug": "snug",
    "tight": "tight",
    "loose": "loose",
}
STRONG = ("strong", "full", "heavy")
WEAK = ("weak", "light", "scant", "shy")

_ARROW = re.compile(r"\s*(?:->|-->|=>|→|➔|➜|⇒)\s*")
_NUMBER = r"(?:\d{1,15}(?:[.,]\d{0,30})?|[.,]\d{1,30})"  # more digits are no measurement
_FRACTION = r"(?:(?:(\d{1,6})(?:\s+|\s*-\s*))?(\d{1,6}(?:[.,]\d{1,6})?)\s*/\s*(\d{1,6}))"
_UNIT = r"(?:\d{1,3}(?:ths?|nds?)|[a-zµμ°º\"'%¢#][a-zµμ°º\"'%¢# ]*)\.?"
_AMOUNT = re.compile(rf"([+-]?)\s*(?:{_FRACTION}|({_NUMBER}))\s*({_UNIT})?")
_SIXTY_FOURTHS = re.compile(r"([+-]?\s*\d{1,6}(?:[.,]\d{1,6})?)\s*/\s*(\d{1,6})\s*(ths|th|nds|nd)\b\.?")
_INTERVAL = re.compile(r"(.*?[\d\"a-z°¢%])\s*(?:-|(?<=\s)\.\.\.?(?=\s)|\.\.\.|\bto\b)\s*([.,]?\d.*)")
_GO = re.compile(r"(.+?)\s*go\W+(.+?)\s*(?:no[\s-]*go|nogo)")
_HERTZ = re.compile(
    rf"({_NUMBER})\s*hz\s*(?:\(|/|@|\bre\b\.?|\bref\b\.?|\bvs\b\.?|\bagainst\b|\bof\b)\s*({_NUMBER})\s*(?:hz)?\s*\)?"
)
_HERTZ_UNIT = re.compile(rf"hz\s*(?:/|@|\bre\b\.?|\bref\b\.?|\bvs\b\.?|\bagainst\b)\s*({_NUMBER})\s*(?:hz)?")
_SHARP_FLAT = re.compile(rf"({_NUMBER})\s*(c|ct|cts|cents?|¢)?\s*(sharp|flat)")
_THOUSANDS = re.compile(r"\d{1,3}(?:[.,]\d{3})+")
_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sept?|oct|nov|dec)[a-z]*"
_CALENDAR = re.compile(
    rf"(?:{_MONTH}[-\s./]*\d{{2,4}}|\d{{1,2}}[-\s./]*{_MONTH}(?:[-\s./]*\d{{2,4}})?|\d{{4}}-\d{{2}}-\d{{2}}(?:[t\s].*)?|\d{{1,2}}[./]\d{{1,2}}[./]\d{{4}})"
)
_DAY_NUMBERS = (10_000, 60_000)  # spreadsheet day numbers of 1927 to 2064: where 3/24 to 4/64 end up
_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}


@dataclass(frozen=True)
class Manner:
    """How the cells of one column are to be read."""

    quantity: str = "length"
    unit: str = ""  # of a bare number, as `unit_of` gives it; '' = none declared
    decimal: str = "."
    positions: tuple[str, ...] = ("",)  # of the heading: ('bass', 'treble') where it says bass/treble
    fills: tuple[str, ...] = ()  # declared positions that several numbers in one cell fill, where the heading has none
    moment: str = "found"
    leaves: bool = False  # read with feeler leaves: 0 means less than the smallest
    reference: float | None = None  # Hz against which a bare number in Hz is read


@dataclass(frozen=True)
class Reading:
    """One number out of a cell; `number` is NaN for a class."""

    number: float
    unit: str
    flag: str = ""  # above | below | interval | strong | weak | about | class
    position: str = ""
    moment: str = "found"


@dataclass(frozen=True)
class Cell:
    """What a cell says: readings; or nothing, where no reading was taken; or a question."""

    readings: tuple[Reading, ...] = ()
    reason: str = ""
    wanted: str = ""


class _Unclear(Exception):
    def __init__(self, reason: str, wanted: str) -> None:
        super().__init__(reason)
        self.reason, self.wanted = reason, wanted


def tidy(text: str) -> str:
    """Curly marks made straight, odd minus signs and vulgar fractions spelt out, spaces single, small letters."""
    text = straight(text)
    for sign, spelt in _VULGAR.items():
        if sign in text:
            text = re.sub(rf"\s*{sign}", spelt, re.sub(rf"(\d)\s*{sign}", rf"\1 {spelt}", text))
    for dash in "−–—‒‐‑":
        text = text.replace(dash, "-")
    return " ".join(text.replace("⁄", "/").replace("''", '"').split()).casefold()


def hertz_reference(unit_text: str) -> float | None:
    """The reference pitch in a heading's unit such as 'Hz re 329.63', None where it is no such unit."""
    found = _HERTZ_UNIT.fullmatch(tidy(unit_text))
    return float(found[1].replace(",", ".")) if found else None


def read_cell(text: str, manner: Manner) -> Cell:
    """What one cell of a column says.

    A bare number takes `manner.unit`; a fraction over 2, 4, 8 ... 128 without a unit is inches whatever the column's
    unit.
    """
    plain = tidy(text)
    if not plain or plain in NO_READING:
        return Cell()
    try:
        if plain in DITTO:
            raise _Unclear("ditto mark", "the number itself: ditto marks are never copied")
        if manner.quantity == "class":
            return Cell((Reading(math.nan, "", "class", manner.positions[0], manner.moment),))
        parts = _ARROW.split(plain)
        if len(parts) == 1:
            return Cell(tuple(_at_one_moment(plain, manner)))
        if len(parts) != 2 or not all(parts):
            raise _Unclear("found -> left with a part missing", "two numbers, such as '.012 -> .008'")
        if manner.moment == "left":
            raise _Unclear(
                "found -> left in a column for what was left", "one number, or a column headed without 'left'"
            )
        found, left = (
            _at_one_moment(part, replace(manner, moment=moment))
            for part, moment in zip(parts, ("found", "left"), strict=True)
        )
        return Cell((*found, *left))
    except _Unclear as fault:
        return Cell((), fault.reason, fault.wanted)


def _at_one_moment(text: str, manner: Manner) -> list[Reading]:
    if len(manner.positions) > 1:
        parts = _split_list(text, len(manner.positions))
        if parts is None:
            raise _Unclear(
                "not one number for each position",
                f"{len(manner.positions)} numbers, {'/'.join(manner.positions)}, such as '2.0/1.5'",
            )
        return _placed(parts, manner.positions, manner)
    if len(manner.fills) > 1:
        parts = _split_list(text, len(manner.fills))
        if parts is not None:
            return _placed(parts, manner.fills, manner)
    number = _single(text, manner)
    return [replace(number, position=manner.positions[0], moment=manner.moment)]


def _placed(parts: list[str], positions: tuple[str, ...], manner: Manner) -> list[Reading]:
    """One reading a position; a unit behind the last number only (2.0/1.5 mm) holds for all."""
    last = _AMOUNT.fullmatch(parts[-1])
    shared = unit_of(last[6], manner.quantity) if last and last[6] else None
    if shared and all((bare := _AMOUNT.fullmatch(part)) and not bare[6] and bare[5] for part in parts[:-1]):
        manner = replace(manner, unit=shared)
    return [
        replace(_single(part, manner), position=place, moment=manner.moment)
        for part, place in zip(parts, positions, strict=True)
    ]


def _split_list(text: str, wanted: int) -> list[str] | None:
    """The text as `wanted` numbers, or None: split at ; | spaced / or comma, then at spaces, then at a slash that is no
    fraction's.
    """
    for separator in (r"\s*;\s*", r"\s*\|\s*", r"\s+/\s+", r",\s+"):
        parts = re.split(separator, text)
        if len(parts) == wanted:
            return parts
        if len(parts) > 1:
            return None
    parts = text.split(",")
    if len(parts) == wanted > 2 and all(part.isdecimal() for part in parts):
        return parts
    parts = text.split(" ")
    if len(parts) == wanted and all(re.match(r"[+-]?[\d.,]", part) for part in parts) and not _AMOUNT.fullmatch(text):
        return parts
    parts = re.split(r"\s*/\s*", text)
    if len(parts) == wanted and not _looks_like_fraction(parts):
        return parts
    return None


def _looks_like_fraction(parts: list[str]) -> bool:
    return len(parts) == 2 and parts[1].strip('" in') in map(str, POWERS) and not re.search(r"[.,]", parts[0])


def _single(text: str, manner: Manner) -> Reading:
    if text in CLASSES and manner.quantity in ("length", "plain", "count"):
        return Reading(math.nan, "", "class")
    if _CALENDAR.fullmatch(text):
        raise _Unclear("a date where a number was meant", _date_hint(text))
    if (
        manner.quantity == "length"
        and text.isdecimal()
        and len(text) == 5
        and _DAY_NUMBERS[0] <= int(text) <= _DAY_NUMBERS[1]
    ):
        raise _Unclear("a date where a number was meant", _date_hint(text))
    if manner.quantity == "pitch" and (reading := _pitch(text, manner)):
        return reading
    flags: list[str] = []
    text = _strip_flags(text, flags)
    if not text:
        raise _Unclear("cannot be read", _example(manner))
    if found := _GO.fullmatch(text):
        return _between(found[1], found[2], flags, manner)
    number, unit = _try_amount(text, manner)
    if number is None:
        found = _INTERVAL.fullmatch(text)
        if found:
            return _between(found[1], found[2], flags, manner)
        raise _Unclear(*_why_not(text, manner))
    if number == 0 and manner.leaves and not flags:
        flags.append("below")
    return Reading(number, unit, ";".join(flags))


def _strip_flags(text: str, flags: list[str]) -> str:
    """The text without the signs that say more or less than the number; adds nothing to the number."""
    for signs, flag in (
        (("<=", "≤", "<"), "below"),
        ((">=", "≥", ">"), "above"),
        (("~", "≈", "ca.", "ca ", "approx. ", "about "), "about"),
    ):
        for sign in signs:
            if text.startswith(sign):
                flags.append(flag)
                return text[len(sign) :].strip()
    if len(text) > 1 and text[-1] in "+-":
        flags.append("above" if text[-1] == "+" else "below")
        return text[:-1].strip()
    head, _, last = text.rpartition(" ")
    if head and last in STRONG + WEAK:
        flags.append("strong" if last in STRONG else "weak")
        return head
    return text


def _between(low: str, high: str, flags: list[str], manner: Manner) -> Reading:
    """The middle of an interval; one unit at either end holds for both."""
    last = _AMOUNT.fullmatch(high.strip())
    if (
        last
        and last[6]
        and (bare := _AMOUNT.fullmatch(low.strip()))
        and not bare[6]
        and bare[5]
        and (unit := unit_of(last[6], manner.quantity))
    ):
        manner = replace(manner, unit=unit)
    first, first_unit = _try_amount(low.strip(), manner)
    if first is not None and first_unit and last and not last[6] and last[5]:
        manner = replace(manner, unit=first_unit)
    second, second_unit = _try_amount(high.strip(), manner)
    if first is None or second is None or first_unit != second_unit:
        raise _Unclear("cannot be read", _example(manner))
    if second < first:
        raise _Unclear("an interval from high to low", "the lower end first, such as '.010-.012'")
    return Reading((first + second) / 2, first_unit, ";".join([*flags, "interval"]))


def _try_amount(text: str, manner: Manner) -> tuple[float | None, str]:
    """(number, unit) of one amount; number None where the text is none."""
    if ths := _SIXTY_FOURTHS.fullmatch(text):
        text = f"{ths[1]} {ths[2]}{'nds' if int(ths[2]) % 10 == 2 else 'ths'}"
    found = _AMOUNT.fullmatch(text)
    if not found:
        return None, ""
    sign, whole, upper, lower, decimal, unit_text = found.groups()
    if upper is not None:
        bottom = int(lower)
        if bottom == 0:
            raise _Unclear("a fraction over 0", _example(manner))
        number = int(whole or 0) + _decimal(upper, manner) / bottom
    else:
        bottom, number = 0, _decimal(decimal, manner)
    if sign == "-":
        number = -number
    unit = unit_of((unit_text or "").rstrip(". ") or unit_text or "", manner.quantity)
    if unit is None:
        raise _Unclear("unit not known", f"{unit_text!r} is none of {spelled(manner.quantity)}")
    if unit:
        if unit == "Hz":
            raise _Unclear("Hz without a reference pitch", "cents, or both pitches, such as '441.2 Hz / 440'")
        return number, unit
    if upper is not None and manner.quantity == "length":
        if bottom in POWERS:
            return number, "in"
        raise _Unclear(
            "a fraction that is no inch fraction",
            f"a fraction over {', '.join(map(str, POWERS))}, or a decimal, or two columns",
        )
    if manner.reference is not None:
        if number <= 0:
            raise _Unclear("a pitch that is not above 0 Hz", _example(manner))
        return 1200 * math.log2(number / manner.reference), "cents"
    if not manner.unit and manner.quantity in NEEDS_UNIT:
        raise _Unclear(
            "a number without a unit",
            f"one of {spelled(manner.quantity)} in the cell, the heading or the sheet's `units`",
        )
    return number, manner.unit


def _decimal(text: str, manner: Manner) -> float:
    if "," in text and manner.decimal != ",":
        raise _Unclear("a comma in a sheet whose decimal is '.'", 'a point, or decimal = "," for this kind of sheet')
    if manner.decimal == "," and _THOUSANDS.fullmatch(text) and "." in text and not text.startswith("0"):
        raise _Unclear(
            "a point before three digits in a sheet whose decimal is ','", "a comma, or more or fewer digits"
        )
    return float(text.replace(",", "."))


def _pitch(text: str, manner: Manner) -> Reading | None:
    if found := _HERTZ.fullmatch(text):
        pitch, reference = _decimal(found[1], manner), _decimal(found[2], manner)
        if pitch <= 0 or reference <= 0:
            raise _Unclear("a pitch that is not above 0 Hz", _example(manner))
        return Reading(1200 * math.log2(pitch / reference), "cents")
    if found := _SHARP_FLAT.fullmatch(text):
        if not found[2] and not manner.unit:
            raise _Unclear(
                "a number without a unit", f"one of {spelled('pitch')} in the cell, the heading or the sheet's `units`"
            )
        number = _decimal(found[1], manner)
        return Reading(-number if found[3] == "flat" else number, "cents")
    return None


def _why_not(text: str, manner: Manner) -> tuple[str, str]:
    if re.fullmatch(rf"{_NUMBER}\s*/\s*{_NUMBER}.*", text) or _split_list(text, 2):
        return (
            "several numbers in a column for one",
            "one number, or a heading that names both positions, such as 'action bass/treble'",
        )
    if manner.fills and re.fullmatch(r"[\d.,;\s/+-]+", text):
        return "not one number for each position", f"{len(manner.fills)} numbers for {' '.join(manner.fills)}"
    if re.search(r"\d?\.\.\d", text):
        return "two points in a number", _example(manner)
    return "cannot be read", _example(manner)


def _example(manner: Manner) -> str:
    examples = {
        "length": "a length, such as '.010 in', '4/64' or '1.6 mm'",
        "pitch": "cents, such as '+3 cents'",
        "angle": "degrees, such as '3 deg'",
    }
    return examples.get(manner.quantity, "a number")


def _date_hint(text: str) -> str:
    """What a spreadsheet probably turned into this date."""
    if text.isdecimal():
        day = date(1899, 12, 30) + timedelta(days=int(text))
        if day.day == 1:
            return f"a spreadsheet's day number of {day:%Y-%m}: was {day.month}/{day.year % 100} meant?"
        return f"a spreadsheet's day number of {day:%Y-%m-%d}: was {day.month}/{day.day} meant?"
    return (
        "the fraction as it was typed: a spreadsheet has turned it into a date (4/64 becomes Apr-64); format the "
        "column as text"
    )

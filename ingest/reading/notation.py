"""What a bench hand writes in a cell: fractions, thou, signs, pairs, intervals, classes, ditto marks. One text in,
readings out.

Numbers stay in the unit they were typed in; `measurements` converts them. Nothing is guessed: what is not plain is a
question. The notations are common practice, no published source.
"""

import math
import re
from dataclasses import dataclass, replace
from datetime import date, timedelta

from ingest.reading.amounts import AMOUNT, NUMBER, Manner, Reading, Unclear, amount_of, example, pitch_of, tidy
from ingest.terms.units import POWERS, unit_of

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
CANNOT_BE_READ = "cannot be read"  # a text that is no notation at all
STRONG = ("strong", "full", "heavy")
WEAK = ("weak", "light", "scant", "shy")
_ARROW = re.compile(r"\s*(?:->|-->|=>|→|➔|➜|⇒)\s*")
_INTERVAL = re.compile(r"(.*?[\d\"a-z°¢%])\s*(?:-|(?<=\s)\.\.\.?(?=\s)|\.\.\.|\bto\b)\s*([.,]?\d.*)")
_GO = re.compile(r"(.+?)\s*go\W+(.+?)\s*(?:no[\s-]*go|nogo)")
_REMARK = re.compile(r"(.*\d[^()]*?)\s*\(([^()\d?!]+)\)")
_OTHERWISE = re.compile(  # words of a remark that make of the number beside it another one than the column's, or none
    r"\b(?:bass|treble|low|high|left|right|found|before|after|as|old|new|was|in|out|target|spec|nominal|limit|max|min"
    r"|wrong|bad|void|error|err|invalid|guess|guessed|not|no|ignore|vorher|nachher|soll|ist|alt|neu|falsch|ungültig)\b"
)
_ROUGHLY = re.compile(r"\b(?:est|estimated|approx|approximately|about|roughly|circa|ca|geschätzt|ungefähr|etwa)\b")
_MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sept?|oct|nov|dec)[a-z]*"
_CALENDAR = re.compile(
    rf"(?:{_MONTH}[-\s./]*\d{{2,4}}|\d{{1,2}}[-\s./]*{_MONTH}(?:[-\s./]*\d{{2,4}})?|\d{{4}}-\d{{2}}-\d{{2}}(?:[t\s].*)?|\d{{1,2}}[./]\d{{1,2}}[./]\d{{4}})"
)
_DAY_NUMBERS = (10_000, 60_000)  # spreadsheet day numbers of 1927 to 2064: where 3/24 to 4/64 end up


@dataclass(frozen=True)
class Cell:
    """What a cell says: readings; or nothing, where no reading was taken; or a question."""

    readings: tuple[Reading, ...] = ()
    reason: str = ""
    wanted: str = ""


def no_reading(text: str) -> bool:
    """Does a cell say that nothing was read?"""
    return tidy(text) in NO_READING


def read_cell(text: str, manner: Manner) -> Cell:
    """What one cell of a column says.

    A bare number takes `manner.unit`; a fraction over 2, 4, 8 ... 128 without a unit is inches whatever the column's
    unit, but for a whole number with one under 64ths or thou: '5½' counts those.
    """
    plain = tidy(text)
    if not plain or plain in NO_READING:
        return Cell()
    try:
        if plain in DITTO:
            raise Unclear("ditto mark", "the number itself: ditto marks are never copied")
        if manner.quantity == "class":
            return Cell((Reading(math.nan, "", "class", manner.positions[0], manner.moment),))
        parts = _ARROW.split(plain)
        if len(parts) == 1:
            return Cell(tuple(_at_one_moment(plain, manner)))
        if len(parts) != 2 or not all(parts):
            raise Unclear("found -> left with a part missing", "two numbers, such as '.012 -> .008'")
        if manner.moment == "left":
            raise Unclear(
                "found -> left in a column for what was left", "one number, or a column headed without 'left'"
            )
        found, left = (
            _at_one_moment(part, replace(manner, moment=moment))
            for part, moment in zip(parts, ("found", "left"), strict=True)
        )
        return Cell((*found, *left))
    except Unclear as fault:
        return Cell((), fault.reason, fault.wanted)


def _at_one_moment(text: str, manner: Manner) -> list[Reading]:
    if len(manner.positions) > 1:
        parts = _split_list(text, len(manner.positions))
        if parts is None:
            raise Unclear(
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
    """One reading a position; a unit behind the last number only (2.0/1.5 mm) holds for all, and where a part is empty
    or a dash none was taken there.
    """
    last = AMOUNT.fullmatch(parts[-1])
    shared = unit_of(last[6], manner.quantity) if last and last[6] else None
    if shared and all(
        part in ("", *NO_READING) or ((bare := AMOUNT.fullmatch(part)) and not bare[6] and bare[5])
        for part in parts[:-1]
    ):
        manner = replace(manner, unit=shared)
    return [
        replace(_single(part, manner), position=place, moment=manner.moment)
        for part, place in zip(parts, positions, strict=True)
        if part and part not in NO_READING
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
    if (
        len(parts) == wanted
        and all(re.match(r"[+-]?[\d.,]|-+$", part) for part in parts)
        and not AMOUNT.fullmatch(text)
    ):
        return parts
    parts = re.split(r"\s*/\s*", text)
    if len(parts) == wanted and not _looks_like_fraction(parts):
        return parts
    return None


_VERDICT = re.compile(r"\s*!+$|\s+(?:ok|o\.k\.?|okay|✓|✔)$")  # what somebody thought of the number behind it


def _looks_like_fraction(parts: list[str]) -> bool:
    return (
        len(parts) == 2
        and bool(parts[0])
        and parts[1].strip('" in') in map(str, POWERS)
        and not re.search(r"[.,]", parts[0])
    )


def _single(text: str, manner: Manner) -> Reading:
    text = _VERDICT.sub("", text)
    if text in CLASSES and manner.quantity in ("length", "plain", "count"):
        return Reading(math.nan, "", "class")
    if _CALENDAR.fullmatch(text):
        raise Unclear("a date where a number was meant", _date_hint(text))
    if (
        manner.quantity == "length"
        and text.isdecimal()
        and len(text) == 5
        and _DAY_NUMBERS[0] <= int(text) <= _DAY_NUMBERS[1]
    ):
        raise Unclear("a date where a number was meant", _date_hint(text))
    if manner.quantity == "pitch" and (reading := pitch_of(text, manner)):
        return reading
    flags: list[str] = []
    text = _strip_flags(text, flags)
    if not text:
        raise Unclear(CANNOT_BE_READ, example(manner))
    if found := _GO.fullmatch(text):
        return _between(found[1], found[2], flags, manner)
    number, unit = amount_of(text, manner)
    if number is None and (found := _REMARK.fullmatch(text)):
        return _beside_remark(found[1], found[2].strip(), flags, manner)
    if number is None:
        found = _INTERVAL.fullmatch(text)
        if found:
            return _between(found[1], found[2], flags, manner)
        raise Unclear(*_why_not(text, manner))
    if number == 0 and manner.leaves and not flags:
        flags.append("below")
    return Reading(number, unit, ";".join(flags))


def _beside_remark(text: str, remark: str, flags: list[str], manner: Manner) -> Reading:
    """The number before a remark in brackets, as in '91 (drum dial)'; brackets may hold its unit too."""
    if unit_of(remark, manner.quantity) and manner.quantity not in ("plain", "class"):
        return replace(_single(f"{text} {remark}", manner), flag=";".join(flags))
    if not re.search(r"\w", remark) or _OTHERWISE.search(remark):
        raise Unclear(CANNOT_BE_READ, example(manner))
    read = _single(text, manner)
    told = [*flags, *(["about"] if _ROUGHLY.search(remark) else []), read.flag]
    return replace(read, flag=";".join(filter(None, told)))


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
    last = AMOUNT.fullmatch(high.strip())
    if (
        last
        and last[6]
        and (bare := AMOUNT.fullmatch(low.strip()))
        and not bare[6]
        and bare[5]
        and (unit := unit_of(last[6], manner.quantity))
    ):
        manner = replace(manner, unit=unit)
    first, first_unit = amount_of(low.strip(), manner)
    if first is not None and first_unit and last and not last[6] and last[5]:
        manner = replace(manner, unit=first_unit)
    second, second_unit = amount_of(high.strip(), manner)
    if first is None or second is None or first_unit != second_unit:
        raise Unclear(CANNOT_BE_READ, example(manner))
    if second < first:
        raise Unclear("an interval from high to low", "the lower end first, such as '.010-.012'")
    return Reading((first + second) / 2, first_unit, ";".join([*flags, "interval"]))


def _why_not(text: str, manner: Manner) -> tuple[str, str]:
    if re.fullmatch(rf"{NUMBER}\s*/\s*{NUMBER}.*", text) or _split_list(text, 2):
        return (
            "several numbers in a column for one",
            "one number, or a heading that names both positions, such as 'action bass/treble'",
        )
    if manner.fills and re.fullmatch(r"[\d.,;\s/+-]+", text):
        return "not one number for each position", f"{len(manner.fills)} numbers for {' '.join(manner.fills)}"
    if re.search(r"\d?\.\.\d", text):
        return "two points in a number", example(manner)
    return CANNOT_BE_READ, example(manner)


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

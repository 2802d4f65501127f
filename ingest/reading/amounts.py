"""One amount as a bench hand writes it: a number or a fraction with its unit, or a pitch.

Numbers stay in the unit they were typed in; nothing is guessed: what is not plain is `Unclear`.
"""

import math
import re
from dataclasses import dataclass

from ingest.terms.units import NEEDS_UNIT, POWERS, spelled, straight, unit_of

NUMBER = r"(?:\d{1,15}(?:[.,]\d{0,30})?|[.,]\d{1,30})"  # more digits are no measurement
_FRACTION = r"(?:(?:(\d{1,6})(?:\s+|\s*-\s*))?(\d{1,6}(?:[.,]\d{1,6})?)\s*/\s*(\d{1,6}))"
_UNIT = r"(?:\d{1,3}(?:ths?|nds?)|[a-zµμ°º\"'%¢#][a-zµμ°º\"'%¢# ]*)\.?"
AMOUNT = re.compile(rf"([+-]?)\s*(?:{_FRACTION}|({NUMBER}))\s*({_UNIT})?")
_SIXTY_FOURTHS = re.compile(r"([+-]?\s*\d{1,6}(?:[.,]\d{1,6})?)\s*/\s*(\d{1,6})\s*(ths|th|nds|nd)\b\.?")
_AND_A_HALF = re.compile(r"([+-]?)\s*(\d{1,3})\s+([123])/([24])\s*/\s*(\d{1,3})\b(.*)")  # 6 1/2 /64: 6.5 of 64
_HERTZ = re.compile(
    rf"({NUMBER})\s*hz\s*(?:\(|/|@|\bre\b\.?|\bref\b\.?|\bvs\b\.?|\bagainst\b|\bof\b)\s*({NUMBER})\s*(?:hz)?\s*\)?"
)
_HERTZ_UNIT = re.compile(rf"hz\s*(?:/|@|\bre\b\.?|\bref\b\.?|\bvs\b\.?|\bagainst\b)\s*({NUMBER})\s*(?:hz)?")
_SHARP_FLAT = re.compile(rf"({NUMBER})\s*(c|ct|cts|cents?|¢)?\s*(sharp|flat)")
_THOUSANDS = re.compile(r"\d{1,3}(?:[.,]\d{3})+")
COUNTED = ("64ths", "thou")  # units of which whole ones and halves are read
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


class Unclear(Exception):
    """A text that is not plain: why, and what is wanted."""

    def __init__(self, reason: str, wanted: str) -> None:
        super().__init__(reason)
        self.reason, self.wanted = reason, wanted


_LIKE_FIGURES = {"o": "a nought", "oo": "noughts", "l": "a one", "i": "a one"}  # letters behind a number


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


def amount_of(text: str, manner: Manner) -> tuple[float | None, str]:
    """(number, unit) of one amount; number None where the text is none."""
    if ths := _SIXTY_FOURTHS.fullmatch(text):
        text = f"{ths[1]} {ths[2]}{'nds' if int(ths[2]) % 10 == 2 else 'ths'}"
    if half := _AND_A_HALF.fullmatch(text):
        text = f"{half[1]}{int(half[2]) + int(half[3]) / int(half[4])}/{half[5]}{half[6]}".replace(".", manner.decimal)
    found = AMOUNT.fullmatch(text)
    if not found:
        return None, ""
    sign, whole, upper, lower, decimal, unit_text = found.groups()
    if upper is not None:
        bottom = int(lower)
        if bottom == 0:
            raise Unclear("a fraction over 0", example(manner))
        number = int(whole or 0) + _decimal(upper, manner) / bottom
    else:
        bottom, number = 0, _decimal(decimal, manner)
    if sign == "-":
        number = -number
    unit = unit_of((unit_text or "").rstrip(". ") or unit_text or "", manner.quantity)
    if unit is None and (figure := _LIKE_FIGURES.get(unit_text or "")):
        raise Unclear("a letter in a number", f"figures alone: a letter {unit_text.upper()} for {figure}?")
    if unit is None:
        raise Unclear("unit not known", f"a unit such as {spelled(manner.quantity)}, or none, not {unit_text!r}")
    if unit:
        if unit == "Hz":
            raise Unclear("Hz without a reference pitch", "cents, or both pitches, such as '441.2 Hz / 440'")
        return number, unit
    if upper is not None and manner.quantity == "length":
        if bottom in POWERS:  # '5½' on a rule of 64ths counts its marks, and no string lies 5½ inches high
            return number, manner.unit if whole and manner.unit in COUNTED else "in"
        raise Unclear(
            "a fraction that is no inch fraction",
            f"a fraction over {', '.join(map(str, POWERS))}, or a decimal, or two columns",
        )
    if manner.reference is not None:
        if number <= 0:
            raise Unclear("a pitch that is not above 0 Hz", example(manner))
        return 1200 * math.log2(number / manner.reference), "cents"
    if not manner.unit and manner.quantity in NEEDS_UNIT:
        raise Unclear(
            "a number without a unit",
            f"one of {spelled(manner.quantity)} in the cell, the heading or the sheet's `units`",
        )
    return number, manner.unit


def _decimal(text: str, manner: Manner) -> float:
    if "," in text and manner.decimal != ",":
        raise Unclear("a comma in a sheet whose decimal is '.'", 'a point, or decimal = "," for this kind of sheet')
    if manner.decimal == "," and _THOUSANDS.fullmatch(text) and "." in text and not text.startswith("0"):
        raise Unclear("a point before three digits in a sheet whose decimal is ','", "a comma, or more or fewer digits")
    return float(text.replace(",", "."))


def pitch_of(text: str, manner: Manner) -> Reading | None:
    """A pitch in cents, of Hz against a reference or as '3 cents flat'; None where the text is neither."""
    if found := _HERTZ.fullmatch(text):
        pitch, reference = _decimal(found[1], manner), _decimal(found[2], manner)
        if pitch <= 0 or reference <= 0:
            raise Unclear("a pitch that is not above 0 Hz", example(manner))
        return Reading(1200 * math.log2(pitch / reference), "cents")
    if found := _SHARP_FLAT.fullmatch(text):
        if not found[2] and not manner.unit:
            raise Unclear(
                "a number without a unit", f"one of {spelled('pitch')} in the cell, the heading or the sheet's `units`"
            )
        number = _decimal(found[1], manner)
        return Reading(-number if found[3] == "flat" else number, "cents")
    return None


def example(manner: Manner) -> str:
    """What a cell of such a column may hold, for messages."""
    examples = {
        "length": "a length, such as '.010 in', '4/64' or '1.6 mm'",
        "pitch": "cents, such as '+3 cents'",
        "angle": "degrees, such as '3 deg'",
    }
    return examples.get(manner.quantity, "a number")

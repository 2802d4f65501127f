"""Units as they are typed, and what each is in canonical units: mm, cents, degrees, degC, %RH, minutes."""

import re
from fractions import Fraction

POWERS = (2, 4, 8, 16, 32, 64, 128)  # denominators of the inch

_SPELLINGS: dict[str, dict[str, tuple[str, ...]]] = {  # quantity -> unit -> how it is typed
    "length": {
        "mm": ("mm", "mms", "millimetre", "millimetres", "millimeter", "millimeters", "ミリ"),
        "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
        "um": ("um", "µm", "μm", "micron", "microns", "tausendstel mm", "tsd mm", "tsd. mm"),
        "hundredths of mm": (
            "hundredths of mm",
            "1/100 mm",
            "1/100",
            "1/100mm",
            "0.01 mm",
            "hundredths of a mm",
            "hundertstel",
            "hundertstel mm",
        ),
        "tenths of mm": ("tenths of mm", "1/10 mm", "1/10mm", "0.1 mm", "tenths of a mm", "zehntel", "zehntel mm"),
        "in": ("in", "inch", "inches", '"', "''", "in.", "zoll", "インチ"),
        "thou": (
            "thou",
            "thous",
            "mil",
            "mils",
            "thousandths",
            "thousands of an inch",
            "th",
            "tausendstel",
            "tausendstel zoll",
            "tsd",
            "tsd zoll",
            "tsd. zoll",
            "1/1000 in",
            "1/1000 zoll",
        ),
        **{
            f"{n}ths" if n % 10 != 2 else f"{n}nds": (
                f"{n}ths",
                f"{n}th",
                f"{n}nds",
                f"{n}nd",
                f"1/{n}",
                f"1/{n} in",
                f'1/{n}"',
            )
            for n in POWERS[2:]
        },
    },
    "pitch": {"cents": ("cents", "cent", "ct", "cts", "c", "¢", "セント"), "Hz": ("hz", "hertz")},
    "angle": {"deg": ("deg", "degs", "degree", "degrees", "°", "º")},
    "temperature": {"C": ("c", "°c", "degc", "celsius", "deg c"), "F": ("f", "°f", "degf", "fahrenheit", "deg f")},
    "humidity": {"%": ("%", "%rh", "rh", "% rh", "percent")},
    "minutes": {"min": ("min", "mins", "minute", "minutes", "m"), "h": ("h", "hr", "hrs", "hour", "hours")},
}
_BY_SPELLING = {
    quantity: {spelling: unit for unit, spellings in by_unit.items() for spelling in spellings}
    for quantity, by_unit in _SPELLINGS.items()
}
# Value in canonical units = number * top / bottom: two factors, so that 63 thou and .063 in are one and the same
# number.
_FACTORS: dict[tuple[str, str], tuple[float, float]] = {
    ("length", "mm"): (1, 1),
    ("length", "cm"): (10, 1),
    ("length", "um"): (1, 1000),
    ("length", "hundredths of mm"): (1, 100),
    ("length", "tenths of mm"): (1, 10),
    ("length", "in"): (25.4, 1),
    ("length", "thou"): (25.4, 1000),
    **{("length", unit): (25.4, int(re.sub(r"\D", "", unit))) for unit in _SPELLINGS["length"] if unit[0].isdigit()},
    ("pitch", "cents"): (1, 1),
    ("angle", "deg"): (1, 1),
    ("temperature", "C"): (1, 1),
    ("humidity", "%"): (1, 1),
    ("minutes", "min"): (1, 1),
    ("minutes", "h"): (60, 1),
}
CANONICAL = {"length": "mm", "pitch": "cents", "angle": "deg", "temperature": "C", "humidity": "%", "minutes": "min"}
NEEDS_UNIT = ("length", "pitch", "angle")  # a bare number of these is a question where no unit is declared
DECIMALS = 9  # canonical values are rounded here, so that one reading in two notations is one number
_QUOTES = str.maketrans(
    {chr(wide): chr(wide - 0xFEE0) for wide in range(0xFF01, 0xFF5F)}  # ０ to ９ and their like
    | {"\u3000": " ", "㎜": "mm", "㎝": "cm", "㎛": "um", "㎐": "Hz", "℃": "°C", "℉": "°F"}
    | {"“": '"', "”": '"', "„": '"', "″": '"', "ʺ": '"', "’": "'", "‘": "'", "′": "'", "ʹ": "'", "´": "'"}
)


def straight(text: str) -> str:
    """The text with curly and prime marks made straight, wide figures and letters narrow, ㎜ and its like spelt out."""
    return text.translate(_QUOTES)


def unit_of(text: str, quantity: str) -> str | None:
    """The unit that a spelling means for a quantity ('' for none), or None where it is not known.

    A count has no unit; a class or a plain gauge keeps whatever is typed.
    """
    typed = " ".join(straight(text).split()).casefold()
    if quantity in ("plain", "class"):
        return " ".join(text.split())
    if not typed:
        return ""
    if quantity == "count":
        return "" if typed in ("count", "pcs", "pieces", "#", "number") else None
    return _BY_SPELLING[quantity].get(typed)


def spellings(*quantities: str) -> list[str]:
    """Every way in which a unit of some quantities is typed, the longest first."""
    return sorted((spelling for quantity in quantities for spelling in _BY_SPELLING[quantity]), key=len, reverse=True)


def spelled(quantity: str) -> str:
    """The units of a quantity, for a message."""
    return ", ".join(_SPELLINGS.get(quantity, {"no unit": ()}))


def factors(unit: str, quantity: str) -> tuple[float, float]:
    """(top, bottom): the canonical value is number * top / bottom. Fahrenheit and Hz are no plain factor: see
    to_canonical.
    """
    return _FACTORS.get((quantity, unit), (1, 1))


def to_canonical(value: float, unit: str, quantity: str) -> float:
    """One number in its unit (as `unit_of` gives it) as mm, cents, degrees, degC, %RH or minutes; counts and plain
    gauges as they are.
    """
    if quantity == "temperature" and unit == "F":
        return round((value - 32) / 1.8, DECIMALS)
    top, bottom = factors(unit, quantity)
    return round(value * top / bottom, DECIMALS)


_AMOUNT = re.compile(r"^\s*([+-]?)\s*(?:(\d+)\s+)?(?:(\d+(?:\.\d+)?)\s*/\s*(\d+)|(\d+(?:\.\d*)?|\.\d+))\s*(.*?)\s*$")


def quantity_of(unit: str) -> str:
    """The quantity a declared unit belongs to: 'length', 'pitch' ..., 'plain' where it is none of them."""
    typed = " ".join(straight(unit).split()).casefold()
    return next((quantity for quantity, spellings in _BY_SPELLING.items() if typed in spellings), "plain")


def amount(text: str, quantity: str = "") -> float:
    """A declared amount such as '0.001 in', '1/128 in', '-1 mm' or '0.5 cents' in canonical units; ValueError where it
    is none.

    quantity : what it must be; '' = whatever its unit says. A length, pitch or angle needs a unit.
    """
    found = _AMOUNT.match(straight(text).replace("−", "-"))
    if not found:
        raise ValueError(f"{text!r} is no amount; wanted a number and a unit, such as '0.001 in'")
    sign, whole, upper, lower, decimal, unit_text = found.groups()
    if upper is not None:
        if int(lower) == 0:
            raise ValueError(f"{text!r} divides by 0")
        number = float(Fraction(upper) / int(lower)) + float(whole or 0)
    elif whole is not None:
        raise ValueError(f"{text!r} is no amount; wanted a number and a unit, such as '0.001 in'")
    else:
        number = float(decimal)
    kind = quantity or quantity_of(unit_text)
    unit = unit_of(unit_text, kind)
    if unit is None or (not unit and kind in NEEDS_UNIT):
        raise ValueError(f"{text!r} has no unit that fits; wanted one of {spelled(kind)}")
    return to_canonical(-number if sign == "-" else number, unit, kind)

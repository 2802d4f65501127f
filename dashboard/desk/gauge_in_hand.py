"""The gauge in hand: its unit and step as a bench says them, what was typed on it, and how that is written down."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

from analysis.studies.gauges.register import Standing
from ingest.reading.amounts import Manner
from ingest.reading.notation import CANNOT_BE_READ, read_cell
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Characteristic, Gauge
from ingest.terms.units import factors

_HALF = re.compile(r"(\d+)\s*(?:½|\s1/2)")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+")
SIXTY_FOURTHS, THOU = "64ths", "thou"
COUNTS = ("plain", "count")  # quantities that may reach a thousand
SHOWN = {SIXTY_FOURTHS: "/64 in", THOU: "thou", "mm": "mm", "cents": "cents", "deg": "°", "": ""}
SUCH_AS = {
    SIXTY_FOURTHS: "write 64ths, such as 6½",
    THOU: "write thou, such as 22",
    "mm": "write mm, such as 0.55",
    "cents": "write cents, such as +3",
}
HAND = {
    "mm": ("mm", 0.05),
    "in": (THOU, 1.0),
    THOU: (THOU, 1.0),
    SIXTY_FOURTHS: (SIXTY_FOURTHS, 0.5),
}  # by what is shown
USUAL = {"pitch": ("cents", 1.0), "angle": ("deg", 0.1), "count": ("", 1.0), "plain": ("", 1.0)}  # without a gauge


@dataclass(frozen=True)
class InHand:
    """A gauge as it is read for one characteristic."""

    key: str  # '' = none is declared
    name: str
    unit: str  # 64ths | thou | mm | cents | deg | ''
    step: float  # in that unit
    quantity: str

    @property
    def mm(self) -> float:
        """One of its unit in canonical units."""
        top, bottom = factors(self.unit, self.quantity) if self.unit else (1.0, 1.0)
        return top / bottom

    @property
    def shown(self) -> str:
        """The unit as it stands behind a value."""
        return SHOWN.get(self.unit, self.unit)

    def says(self, value: float) -> float:
        """A canonical value in the unit of the gauge."""
        return round(value / self.mm, 6)

    def amount(self, value: float) -> str:
        """`0.5/64 in`, `0.12 mm`: a canonical value in that unit, with it."""
        return f"{self.says(value):.2g}{'' if self.shown.startswith('/') else ' '}{self.shown}".rstrip()

    def limit(self, value: float, inward: int = 0) -> str:
        """A limit or target as this gauge reads it. In 64ths and thou it is the mark nearest to it: a reading of that
        mark has the limit in its own step, one mark further it is outside. Of two as near, the inner one. inward : 1 of
        a lower limit, -1 of an upper one.
        """
        if self.unit not in (SIXTY_FOURTHS, THOU):
            of_step = len(f"{self.step:g}".partition(".")[2])
            places = max({"mm": 2, "deg": 1}[self.unit], of_step) if self.unit in ("mm", "deg") else 0
            return f"{value / self.mm:.{places}f}" if places else f"{round(value / self.mm, 2):g}"
        step = min(1.0, self.step)
        mark = round(math.floor(value / self.mm / step + 0.5 + inward * 1e-6) * step, 6) + 0.0
        if self.unit == SIXTY_FOURTHS and abs(mark % 1) == 0.5:
            return f"{'-' if mark < 0 else ''}{int(abs(mark)) or ''}½"
        return f"{mark:g}"

    def limits(self, lower: float | None, upper: float | None) -> str:
        """`18 to 25`, `up to 25`, `from 18`; '' where neither is asked."""
        low, high = ("" if value is None else self.limit(value, way) for value, way in ((lower, 1), (upper, -1)))
        return f"{low} to {high}" if low and high else f"from {low}" if low else f"up to {high}" if high else ""

    def within(self, low: float, high: float) -> str:
        """`0 to 78 thou`: the first and last mark of the gauge between two canonical values."""
        least, most = math.ceil(low / self.mm / self.step - 1e-6), math.floor(high / self.mm / self.step + 1e-6)
        ends = " to ".join(f"{round(one * self.step, 6) + 0.0:g}" for one in (least, most))
        return f"{ends}{'' if self.shown.startswith('/') else ' '}{self.shown}".rstrip()

    def about(self, value: float) -> str:
        """A canonical value in that unit as text, to a tenth of a 64th or thou, or a hundredth of a mm: what lies
        between two marks.
        """
        return f"{round(value / self.mm, 2 if self.unit == 'mm' else 1):g}"


@dataclass(frozen=True)
class Typed:
    """What a text on that gauge says."""

    value: float | None  # canonical; None: nothing, or it cannot be read
    cell: str  # as it goes into the sheet
    why: str = ""  # why it cannot be read


def gauges(shop: Shop, item: Characteristic) -> list[InHand]:
    """The gauges declared for a characteristic, in the order of shop.toml; one without a name where none is."""
    own = [_of(shop, gauge, item) for gauge in shop.gauges if item.key in gauge.measures]
    return own or [_usual(shop, item)]


def in_hand(shop: Shop, item: Characteristic, key: str) -> InHand:
    """The gauge of that key as it is read for a characteristic; the first declared where that one is for others."""
    own = gauges(shop, item)
    return next((one for one in own if one.key == key), own[0])


def held(shop: Shop, gauge: str) -> InHand:
    """A gauge of the shop as it is read for what it measures first."""
    found = next(one for one in shop.gauges if one.key == gauge)
    item = next((shop.by_characteristic[key] for key in found.measures if key in shop.by_characteristic), None)
    return in_hand(shop, item or shop.characteristics[0], gauge)


def note_of(one: Standing, hand: InHand) -> str:
    """What is to be known of a gauge beside every verdict that rests on it; '' where its checks are in order."""
    if one.drifts and one.bias is not None:
        way = "high" if one.bias > 0 else "low"
        return f"reads {hand.amount(abs(one.bias))} {way}: check it first"
    if one.due:
        return f"check overdue: last {one.last_at:%d %b}" if one.last_at else "never checked on its master piece"
    return ""


def typed(text: str, hand: InHand) -> Typed:
    """Read what was typed: `6.5`, `6½`, `6 1/2` and `6.5/64` are one value on a rule of 64ths; a comma is a
    decimal sign where it can be no other.
    """
    text = text.strip()
    if not text:
        return Typed(None, "")
    if hand.quantity == "class":
        return Typed(None, text)
    if "," in text and "." in text:
        return Typed(None, text, "a point or a comma, not both")
    if hand.quantity in COUNTS and _THOUSANDS.fullmatch(text):
        return Typed(None, text, f"{text.replace(',', '')} or {text.replace(',', '.')}")
    bare = text
    if hand.unit == SIXTY_FOURTHS and (half := _HALF.fullmatch(bare)):
        bare = f"{half[1]}.5"
    cell = read_cell(bare, Manner(hand.quantity, hand.unit, decimal="," if "," in text else "."))
    if len(cell.readings) != 1 or math.isnan(cell.readings[0].number):
        plain = "" if cell.reason != CANNOT_BE_READ else SUCH_AS.get(hand.unit, "write a number")
        return Typed(None, text, plain or cell.wanted or cell.reason or "one number")
    one = cell.readings[0]
    top, bottom = factors(one.unit, hand.quantity) if one.unit else (1.0, 1.0)
    inches = one.unit == "in" and hand.unit == SIXTY_FOURTHS
    number, unit = (one.number * 64, SIXTY_FOURTHS) if inches else (one.number, one.unit)
    written = {SIXTY_FOURTHS: f"{number:.10g}/64 in", "": f"{number:.10g}"}.get(unit, f"{number:.10g} {unit}")
    return Typed(one.number * top / bottom, written)


def _of(shop: Shop, gauge: Gauge, item: Characteristic) -> InHand:
    name = gauge.name or gauge.key
    if item.quantity != "length":
        unit, step = USUAL.get(item.quantity, ("", 1.0))
        return InHand(gauge.key, name, unit, gauge.step or step, item.quantity)
    step = gauge.step or 0.05
    said = " ".join([gauge.resolution, *gauge.leaves]).strip().casefold()
    if not said:
        return replace(_usual(shop, item), key=gauge.key, name=name)
    if "/" in said and "mm" not in said:
        return InHand(gauge.key, name, SIXTY_FOURTHS, round(step / 25.4 * 64, 6), "length")
    if any(word in said for word in ("in", '"', "thou", "mil")):
        return InHand(gauge.key, name, THOU, round(step / 25.4 * 1000, 6), "length")
    return InHand(gauge.key, name, "mm", step, "length")


def _usual(shop: Shop, item: Characteristic) -> InHand:
    if item.quantity == "length":
        unit, step = HAND[shop.length_of(item.key)]
        return InHand("", "", unit, step, "length")
    unit, step = USUAL.get(item.quantity, ("", 1.0))
    return InHand("", "", unit, step, item.quantity)

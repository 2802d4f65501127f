"""What a play test says, in words: what is out, by how much, and what to do about it. Pure functions."""

from __future__ import annotations

from analysis.studies.room.play_test import CHOKE, SADDLE, TUNING, Advice
from dashboard import numbers
from ingest.shopfiles.shop import Shop

ALIKE = 0.25  # mm: two feet that move by amounts nearer than this move alike


def says(shop: Shop, one: Advice) -> str:
    """What was found on one instrument."""
    cents = f"{abs(one.cents):.0f} cents {'sharp' if one.cents > 0 else 'flat'}"
    if one.kind == CHOKE:
        return f"String {one.string} at fret {one.fret} chokes ({cents}): fret {one.stopped_by} stops it."
    if one.kind == TUNING:
        return f"String {one.string} stands {cents}, open and fretted alike."
    if one.kind in ("bridge", SADDLE):
        return f"All strings run {'sharp' if one.cents > 0 else 'flat'} up the neck, {cents} at fret 12."
    if one.kind == "string":
        return f"String {one.string} alone runs {'sharp' if one.cents > 0 else 'flat'} up the neck, {cents} at fret 12."
    if one.kind == "fret":
        return f"Fret {one.fret} is {cents} by itself, on all strings."
    if one.kind == "nut place":
        return f"All fretted notes are {cents} alike: the nut's place."
    where = f"string {one.string}" if one.string else "the low frets of all strings"
    return f"Fret 1 on {where} is {cents} more than the rest of the neck gives."


def to_do(shop: Shop, one: Advice) -> str:
    """What to do about it, in millimetres where the model's scale is known."""
    if one.kind == CHOKE:
        return f"Level fret {one.stopped_by}, then crown it; look whether fret {one.fret} sits low first."
    if one.kind == TUNING:
        return f"Tune string {one.string} and play it again."
    if one.kind in ("bridge", SADDLE) and one.treble_mm is not None and one.bass_mm is not None:
        return _feet(shop, one.kind, one.treble_mm, one.bass_mm)
    if one.kind == "string" and one.treble_mm is not None:
        which = f"the contact of string {one.string} on the saddle"
        return f"Move {which} {_way(shop, one.treble_mm)}, after a new string sounds the same."
    if one.kind == "fret":
        return f"Crown fret {one.fret}: its top is flat or stands off its centre."
    if one.kind == "nut place" and one.slots:
        mm = one.slots[0][1]
        return f"The nut stands about {_mm(shop, abs(mm))} too far {'back' if mm > 0 else 'forward'}; measure it first."
    if one.kind in ("nut", "slot") and one.slots:
        low = sum(mm for _, mm in one.slots) < 0
        if low:
            return "The slots look low: gauge them over fret 1 before anything else."
        return f"Gauge over fret 1, then deepen the slots{_slots(shop, one)}."
    return "Measure before working on it: the model's scale is not in shop.toml."


def line(shop: Shop, one: Advice) -> str:
    """Both, with where to look."""
    at = f" At {shop.stage_name(one.stage).lower()}." if one.stage else ""
    return f"{says(shop, one)} {to_do(shop, one)}{at}"


def _slots(shop: Shop, one: Advice) -> str:
    """`, all by about 0.4 mm`, or `: string 1 about 0.3 mm, string 2 about 0.4 mm`."""
    each = [(string, _mm(shop, abs(mm))) for string, mm in one.slots if abs(mm) >= 0.05]
    sizes = {size for _, size in each}
    if len(each) == len(one.slots) > 1 and len(sizes) == 1:
        return f", all by about {sizes.pop()}"
    return f": {', '.join(f'string {string} about {size}' for string, size in each)}"


def _feet(shop: Shop, kind: str, treble: float, bass: float) -> str:
    if kind == SADDLE:
        where = f"{_way(shop, bass)} at the bass, {_way(shop, treble)} at the treble"
        if abs(treble - bass) < ALIKE:
            where = f"{_way(shop, (treble + bass) / 2)}, all strings alike"
        return f"The saddle's line of contact wants to lie {where}."
    if abs(treble - bass) < ALIKE:
        return f"Move the bridge, both feet alike, {_way(shop, (treble + bass) / 2)}."
    return f"Move the bass foot {_way(shop, bass)}, the treble foot {_way(shop, treble)}."


def _way(shop: Shop, mm: float) -> str:
    return f"{_mm(shop, abs(mm))} {'back, away from the nut' if mm > 0 else 'forward, towards the nut'}"


def _mm(shop: Shop, mm: float) -> str:
    return numbers.mm(mm, shown="in") if shop.shop.length == "in" else numbers.with_unit(numbers.plain(mm, 1), "mm")

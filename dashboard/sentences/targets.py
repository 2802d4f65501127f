"""Targets in words: what a band asks in the unit of its gauge, where somebody stands, what the test promises."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from analysis.studies.people import targets
from analysis.studies.people.targets import Stand
from dashboard import numbers
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

FEW = 30
MARKS = {targets.SHOWN: "shown", targets.NOT_SHOWN: "not-shown", targets.TOO_FEW: "too-few"}
Row = dict[str, Any]


def gauge_unit(resolution: str) -> str:
    """The unit a gauge's step is spoken in: thou, 64ths, in, or mm."""
    text = resolution.strip()
    if not text.endswith("in"):
        return "mm"
    return "64ths" if "/" in text else "thou"


def band_unit(shop: Shop, band: Row) -> str:
    """The unit a band of a length is spoken in: that of its characteristic, where shop.toml says one, else its gauge's;
    the shop's where no gauge is declared.
    """
    key, resolution = str(band["characteristic"]), str(band["resolution"])
    item = shop.by_characteristic.get(key)
    said = item.length if item else None
    return said or (gauge_unit(resolution) if resolution else shop.shop.length)


def in_gauge(shop: Shop, band: Row, value: float | None, *, with_mm: bool = False) -> str:
    """A reading of a band as its gauge says it."""
    if value is None:
        return numbers.NONE
    return numbers.gauge(
        value, band_unit(shop, band), with_mm=with_mm, quantity=sentences.quantity(shop, str(band["characteristic"]))
    )


def hold(shop: Shop, band: Row, *, with_mm: bool = False) -> str:
    """The band in words: `12 to 16 thou`; with_mm adds `(0.30 to 0.41 mm)` where the gauge reads inches."""
    ends = [band["lower"], band["upper"]]
    told = _between([in_gauge(shop, band, end) if end is not None else "" for end in ends])
    inches = band_unit(shop, band) != "mm" and sentences.quantity(shop, str(band["characteristic"])) == "length"
    return (
        f"{told} ({_between([numbers.mm(end) if end is not None else '' for end in ends])})"
        if with_mm and inches
        else told
    )


def _between(ends: list[str]) -> str:
    """`12 to 16 thou` of `12 thou` and `16 thou`; an empty end is open."""
    low, high = ends
    if low and high:
        return f"{low.partition(numbers.NBSP)[0]} to {high}"
    return f"at most {high}" if high else f"at least {low}"


def target(shop: Shop, band: Row) -> str:
    """A target band in the unit of its gauge."""
    return in_gauge(shop, band, band["target"]) if band["target"] is not None else "inside the band"


def band_from(band: Row) -> str:
    """What a band rests on."""
    people = numbers.in_words(int(band["techs"]))
    return (
        f"nine tenths of what {people} qualified {'person sets' if band['techs'] == 1 else 'people set'}, with 95 % "
        "confidence, within the spec "
        f"({numbers.count(band['n'])} readings)"
    )


def standing(shop: Shop, stand: Stand) -> str:
    """Where somebody stands against one band."""
    n = len(stand.values)
    if not n and stand.left_out:
        return "Nothing counts yet: all that they set is left out."
    if not n:
        return "Not begun: no reading of theirs is on file."
    out = n - stand.inside
    few = " Few so far." if n < FEW else ""
    share = numbers.share_range(1 - stand.inside_high, 1 - stand.inside_low, n)
    edge = f", {numbers.count(stand.on_edge)} on its edge" if stand.on_edge else ""
    seen = f"{numbers.of(out, n)} outside the band ({share}){edge}."
    if stand.verdict == targets.SHOWN:
        return f"Shown to hold at instrument {stand.decided_at}; {seen}{few}"
    if stand.too_wide and stand.wide:
        own, n_own, theirs, of = stand.too_wide
        return (
            f"{seen} Shown by its test at instrument {stand.decided_at}, and not yet by the spread: "
            f"{numbers.plain(stand.wide[0], 1)} times as wide as the others, and {numbers.of(own, n_own)} outside the "
            f"bands of all models and places here (of the others {numbers.of(theirs, of)}).{few}"
        )
    if stand.verdict == targets.NOT_SHOWN:
        return f"{runs(shop, stand)} Not yet at instrument {stand.decided_at}; {seen}{few}".strip()
    first = int(np.argmax(stand.test.shown_at >= 0)) + 1
    half = max(stand.lasts.half_by, first)
    wait = f"it can be shown from instrument {first} on, half of those who hold it are told by {half}"
    return f"{numbers.count(n)} so far; {wait}. {seen}{few}"


def runs(shop: Shop, stand: Stand) -> str:
    """`Runs 1.5 thou high` where the interval of the mean leaves the target out by what the gauge shows."""
    goal = stand.band["target"]
    if (
        not isinstance(goal, float)
        or stand.mean is None
        or stand.mean_low is None
        or stand.mean_high is None
        or stand.mean_low <= goal <= stand.mean_high
    ):
        return ""
    off = stand.mean - float(goal)
    told = in_gauge(shop, stand.band, abs(off))
    if told == in_gauge(shop, stand.band, 0.0):
        return ""  # nothing that could be read on the gauge
    return f"Runs {told} {'high' if off > 0 else 'low'}."


def wide(shop: Shop, stands: Sequence[Stand]) -> list[str]:
    """`Nut: 1.9 times as wide as the others on the same models, positions and days (1.7 to 2.1). ...` of each
    characteristic whose spread is shown to be wide.
    """
    told = {str(one.band["characteristic"]): one.wide for one in stands if one.wide}
    return [
        f"{shop.characteristic_name(key)}: {numbers.plain(times, 1)} times as wide as the others on the same models, "
        f"positions and days ({numbers.span(low, high, 1)}). Narrower comes first."
        for key, (times, low, high) in told.items()
    ]


def one_step(band: Row) -> str:
    """`1 thou`, or `one step` where no gauge is declared."""
    step = band["step"]
    return numbers.gauge(step, gauge_unit(str(band["resolution"]))) if step else "one step"


def test_words(lasts: targets.Lasting) -> str:
    """The test before it starts: what it tells apart, what it promises at any time, and how long it takes."""
    good, poor = (numbers.share(share, 100) for share in (lasts.test.good, lasts.test.poor))
    return (
        f"The test, one instrument after another: it tells somebody with {good} outside the band from somebody with "
        f"{poor}. Of those with {poor} at most {numbers.share(targets.RISK_POOR, 100)} are ever told that they hold "
        f"it within {numbers.count(lasts.within)} instruments; of those with {good} "
        f"{numbers.share(lasts.good_ever, 100)} are, half of them by instrument {numbers.count(lasts.half_by)} and "
        f"nine in ten by {numbers.count(lasts.nine_by)}. It begins anew after each answer, and the latest answer "
        "counts. A person decides."
    )


def test_short(lasts: targets.Lasting) -> str:
    """The same in two lines, for the card."""
    good, poor = (numbers.share(share, 100) for share in (lasts.test.good, lasts.test.poor))
    return (
        f"Shown to hold or not yet is said instrument by instrument: of people with {poor} outside the band at most "
        f"{numbers.share(targets.RISK_POOR, 100)} are ever told that they hold it within {numbers.count(lasts.within)} "
        f"instruments; of those with {good} half are by instrument {numbers.count(lasts.half_by)}, nine in ten by "
        f"{numbers.count(lasts.nine_by)}. It begins anew after each answer; the latest counts. Ranges: 95 %; under "
        f"{FEW} is few."
    )


def in_days(words: str) -> str:
    """What a choice of days does to the page."""
    return (
        f"Bands show what was set {words}; word and evidence are of all days, and so is what stands below: a test cut "
        "to days of one's choice keeps no promise."
    )


def nothing_in_days(words: str) -> str:
    """That nothing was set in these days."""
    return f"Nothing with a target was set {words}; word and evidence are of all days, and so is what stands below."


def of_days(stand: Stand | None) -> str:
    """How many of what was set in the days lie outside the band."""
    if stand is None:
        return ""
    n = len(stand.values)
    few = ", few" if n < FEW else ""
    return f"In these days {numbers.of(sum(stand.out), n)} outside{few}."

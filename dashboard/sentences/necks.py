"""Findings on incoming necks in words, shared by the Necks page, the neck packet and the command line; pure functions,
nothing computed here.

A lot is told with its number of necks, its share outside and the interval of that share; under thirty necks it is
called few.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import polars as pl

from analysis.studies.necks import lots
from analysis.studies.necks.costs import DAMPER
from analysis.studies.necks.necks import Parts
from dashboard import numbers
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

FEW = 30
VERDICTS = {
    lots.ACCEPT: ("take", "take"),
    lots.REJECT: ("bring", "bring to the supplier"),
    lots.TOO_FEW: ("too-few", "measure more"),
}
Row = dict[str, Any]


def length(shop: Shop, key: str, value: float | None, *, sign: bool = False) -> str:
    """A length of a characteristic in the unit it is shown in."""
    return numbers.mm(value, shown=shop.length_of(key), sign=sign)


def fine(shop: Shop, key: str, value: float) -> str:
    """A length with a digit more than readings have: half a step, an uncertainty."""
    shown = shop.length_of(key)
    digits = numbers.decimals_of("length", shown=shown) + 1
    return numbers.with_unit(numbers.plain(numbers.in_unit(value, "length", shown=shown), digits), shown)


def none_yet(elsewhere: pl.DataFrame, shop: Shop) -> str:
    """What an empty page of necks wants, and what is on file that it does not take; `elsewhere` of `lots`."""
    if elsewhere.is_empty():
        return "No neck has been measured at receiving yet. Wanted: bow at a receiving stage, with supplier and lot."
    key, stage, many = elsewhere.row(0)
    count = f"{numbers.count(many)} reading{'s' if many != 1 else ''}"
    return (
        f"On file are {count} of {shop.characteristic_name(key).lower()} with supplier or lot, taken at "
        f"{shop.stage_name(stage).lower()}. Necks are judged as they come in, where the role of the stage in shop.toml "
        "is receiving: if that is what this stage does, say so there."
    )


def foremost(rows: list[Row]) -> Row | None:
    """The lot to speak of first; `rows` newest first: the newest that the plan does not take, else the newest that
    stands apart from the others of its supplier; without a plan the one with most outside its limits, where that is
    more than chance; None where no lot is to be spoken of.
    """
    for some in ([row for row in rows if row["verdict"] == lots.REJECT], stand_apart(rows)):
        if some:
            return some[0]
    if any(row["verdict"] == lots.ACCEPT for row in rows):
        return None
    return largest([row for row in rows if row["more_outside"]])


def largest(rows: list[Row]) -> Row | None:
    """The lot with most outside its limits, as far as its necks show it; None where none lies outside."""
    out = [row for row in rows if row["outside"]]
    return max(out, key=lambda row: (float(row["outside_low"] or 0.0), float(row["outside"])), default=None)


def headline(rows: list[Row], shop: Shop) -> str:
    """What `foremost` found, else how many are taken, else that none stands apart; `rows` newest first."""
    doubtful = [row for row in rows if row["verdict"] == lots.REJECT]
    if doubtful:
        row = doubtful[0]
        others = f", and {numbers.in_words(len(doubtful) - 1)} more" if len(doubtful) > 1 else ""
        bad = f"{outside(row)} outside{on_limit(row)}"
        return f"Lot {row['lot']} fails the agreed plan: {bad}, {in_lot(row)}{others}."
    judged = [row for row in rows if row["verdict"] == lots.ACCEPT]
    far = stand_apart(rows)
    if far:
        more = f" So {'does' if len(far) == 2 else 'do'} {numbers.in_words(len(far) - 1)} more." if len(far) > 1 else ""
        return f"Lot {far[0]['lot']} stands apart: its mean bow is {from_others(far[0], shop)}.{more}"
    if judged:
        many = "lot" if len(judged) == 1 else "lots"
        return (
            f"The agreed plan takes {numbers.in_words(len(judged))} {many} of {numbers.in_words(len(rows))}; none "
            "is in doubt."
        )
    worst = foremost(rows)
    if worst is not None:
        return f"Lot {worst['lot']} has most outside its limits: {outside(worst)}, {in_lot(worst)}."
    if most := largest(rows):
        return _none_apart(rows, most)
    many = "lot" if len(rows) == 1 else "lots"
    if any(row["outside"] is not None for row in rows):
        return f"{numbers.in_words(len(rows), capital=True)} {many} measured, no neck outside its limits."
    return f"{numbers.in_words(len(rows), capital=True)} {many} measured; without limits nothing can be called outside."


def _none_apart(rows: list[Row], most: Row) -> str:
    if len(rows) == 1:
        return f"One lot measured: {outside(most)} outside its limits, {in_lot(most)}."
    known = [(round(float(row["outside"]) * row["n"]), row["n"]) for row in rows if row["outside"] is not None]
    bad, measured = (sum(one) for one in zip(*known, strict=True))
    every = f"{numbers.count(bad)} of {numbers.count(measured)} necks"
    if bad == 1:
        return f"No lot stands apart: {every} lies outside its limits, in lot {most['lot']}."
    where = f"the largest share in {most['lot']} ({outside(most)})"
    return f"No lot stands apart: {every} lie outside their limits, {where}."


def stand_apart(rows: list[Row]) -> list[Row]:
    """Lots that stand apart from all others of their supplier, in the order given."""
    return [row for row in rows if row["apart"]]


def lots_apart(rows: list[Row], shop: Shop) -> str:
    """Lots that stand apart, the farthest named: `Lot K-0714 stands apart: ...`; '' without one. rows: of `apart`."""
    if not rows:
        return ""
    others = f" and {numbers.in_words(len(rows) - 1)} more lots" if len(rows) > 2 else " and one more lot"
    others, stand = (others, "stand") if len(rows) > 1 else ("", "stands")
    name = sentences.characteristic(shop, rows[0]["characteristic"])
    return f"Lot {rows[0]['lot']}{others} {stand} apart: its mean {name.lower()} is {from_others(rows[0], shop)}."


def from_others(row: Row, shop: Shop) -> str:
    """`0.279 mm, 0.101 mm (0.081 to 0.122) above that of its supplier's eleven other lots`; read in other air than most
    `0.204 mm at 49 % RH (read 0.254 mm at 66 % RH), 0.122 mm ...`.
    """
    key, side = row["characteristic"], 1 if row["off"] > 0 else -1
    shown = shop.length_of(key)
    scale, digits = numbers.in_unit(1.0, "length", shown=shown), numbers.decimals_of("length", shown=shown) + 1
    near, far = sorted(side * row[end] for end in ("off_low", "off_high"))
    where = "above" if side > 0 else "below"
    same = "" if row.get("air_moves") is None else ", at the same air"
    that = " that do not stand apart" if row["others_apart"] else ""
    return (
        f"{_mean_of(row, shop)}, {fine(shop, key, abs(row['off']))} "
        f"({numbers.span(near * scale, far * scale, digits)}) {where} that of its supplier's "
        f"{numbers.in_words(row['others'])} other lots{that}{same}, like models held against like"
    )


def _mean_of(row: Row, shop: Shop) -> str:
    """The mean of a lot; of one that was read in other air than most, at theirs."""
    key = row["characteristic"]
    if not in_other_air(row):
        return fine(shop, key, row["mean"])
    return (
        f"{fine(shop, key, row['mean'] - row['air_moves'])} at {humid(row['air_usual'])} (read "
        f"{fine(shop, key, row['mean'])} at {humid(row['air_rh'])})"
    )


def in_other_air(row: Row) -> bool:
    """Was a lot read in air that moved it, so far from that of most necks that it is told?"""
    return row.get("air_moves") is not None and abs(row["air_rh"] - row["air_usual"]) >= DAMPER


def humid(rh: float) -> str:
    """`66 % RH`."""
    return f"{numbers.plain(rh, 0)}{numbers.NBSP}%{numbers.NBSP}RH"


def outside(row: Row) -> str:
    """`6 of 50`."""
    return (
        numbers.of(round(float(row["outside"]) * int(row["n"])), int(row["n"]))
        if row["outside"] is not None
        else numbers.NONE
    )


def whole(row: Row) -> bool:
    """Was every neck of the lot measured, as far as lots.csv says how many came?"""
    return row["quantity"] is not None and int(row["quantity"]) == int(row["n"])


def in_lot(row: Row) -> str:
    """`all 84 necks of it measured`, else `5 to 24 % in the whole lot`."""
    if row["outside"] is None:
        return "no limit agreed, or several"
    if whole(row):
        return f"all {numbers.count(row['n'])} necks of it measured"
    return f"{numbers.share_range(row['outside_low'], row['outside_high'], int(row['n']))} in the whole lot"


def in_strip(row: Row) -> str:
    """The line under a lot's strip: its interval, or that all were measured."""
    if row["outside"] is None:
        return in_lot(row)
    return "all measured" if whole(row) else in_lot(row).replace(" in the whole lot", " in the lot")


def on_limit_in_strip(row: Row) -> str:
    """`9 on the limit`, the line after it; nothing where there is none or no limit."""
    return f"{numbers.count(row['on_limit'])} on the limit" if row["outside"] is not None and row["on_limit"] else ""


def outside_in_table(row: Row) -> str:
    """`6 of 50 (5 to 24 %)`; of a lot measured whole `6 of 50, the whole lot`."""
    if row["outside"] is None:
        return in_lot(row)
    if whole(row):
        return f"{outside(row)} (the whole lot)"
    return f"{outside(row)} ({numbers.share_range(row['outside_low'], row['outside_high'], int(row['n']))})"


def on_limit(row: Row) -> str:
    """`, 48 more on the limit`, or nothing: necks whose leaf the limit divides, shown neither to conform nor not to."""
    many = row["on_limit"]
    return f", {numbers.count(many)} more on the limit" if many else ""


def still_outside(row: Row) -> str:
    """How many of the necks outside stay so with the expanded uncertainty of a gauge study; '' without a study."""
    if row["outside_still"] is None or not row["outside"]:
        return ""
    bad = round(float(row["outside"]) * int(row["n"]))
    if int(row["outside_still"]) == bad:
        return f"all {numbers.count(bad)} outside also by more than the gauge's expanded uncertainty"
    return f"{numbers.count(row['outside_still'])} of those outside by more than the gauge's expanded uncertainty"


def received(row: Row, shop: Shop) -> date:
    """The day a lot came, else the day its first neck was measured."""
    return row["received_on"] or sentences.local(shop, row["first_at"]).date()


def limits(row: Row, shop: Shop) -> str:
    """`hump 0.10 and hollow 0.25 mm` of one lot."""
    low, high, key = row["lower"], row["upper"], row["characteristic"]
    hump = (
        f"a hump of {length(shop, key, abs(low))}"
        if low is not None and low < 0
        else f"at least {length(shop, key, low)}"
        if low is not None
        else ""
    )
    hollow = f"a hollow of {length(shop, key, high)}" if high is not None else ""
    return " and ".join(part for part in (hump, hollow) if part) or "no limit"


def state(row: Row, *, short: bool = False) -> str:
    """In which state the necks of a lot were measured, as far as it is on file; `short` for a cell of a table."""
    in_room, rod = (f"{numbers.NBSP}h", "") if short else (" hours in the room", "rod: ")
    told = [
        f"{numbers.plain(row['rh'], 0)}{numbers.NBSP}%{numbers.NBSP}RH" if row["rh"] is not None else "",
        f"{numbers.plain(row['hours_acclimatised'], 0)}{in_room}" if row["hours_acclimatised"] is not None else "",
        f"{rod}{row['rod_state']}" if row["rod_state"] else "",
    ]
    return ", ".join(part for part in told if part) or "not on file"


def states(rows: Sequence[Row]) -> str:
    """The range of the states in which many lots were measured: `43 to 51 % RH, 73 to 104 hours in the room, rod slack
    (24 lots)`.
    """
    told = []
    for name, words in (("rh", f"{numbers.NBSP}%{numbers.NBSP}RH"), ("hours_acclimatised", " hours in the room")):
        known = [row[name] for row in rows if row[name] is not None]
        absent = len(rows) - len(known)
        missing = f" (not on file for {numbers.count(absent)} {'lot' if absent == 1 else 'lots'})" if absent else ""
        if known:
            told.append(f"{numbers.span(min(known), max(known), 0)}{words}{missing}")
    rods = [row["rod_state"] or "" for row in rows]
    told += [
        f"{rod if 'rod' in rod else f'rod {rod}'} ({numbers.count(rods.count(rod))} "
        f"{'lot' if rods.count(rod) == 1 else 'lots'})"
        for rod in dict.fromkeys(rods)
        if rod
    ]
    return ", ".join(told) or "states not on file"


def ppk(row: Row) -> str:
    """Ppk with its bounds."""
    if row["ppk"] is None:
        return numbers.NONE
    return f"{numbers.plain(row['ppk'])} ({numbers.span(row['ppk_low'], row['ppk_high'])})"


def mean(row: Row, shop: Shop) -> str:
    """The mean of a lot."""
    return _with_range(row, "mean", shop)


def mean_at_air(row: Row, shop: Shop) -> str:
    """The mean of a lot; of one read in other air than most also what it would be in theirs."""
    if not in_other_air(row):
        return mean(row, shop)
    key = row["characteristic"]
    shown = shop.length_of(key)
    digits = numbers.decimals_of("length", shown=shown) + 1
    there = numbers.plain(numbers.in_unit(row["mean"] - row["air_moves"], "length", shown=shown), digits)
    return f"{mean(row, shop)}; {there} at {humid(row['air_usual'])}"


def sd(row: Row, shop: Shop) -> str:
    """The spread of a lot."""
    return _with_range(row, "sd", shop)


def _with_range(row: Row, name: str, shop: Shop) -> str:
    shown = shop.length_of(row["characteristic"])
    scale, digits = numbers.in_unit(1.0, "length", shown=shown), numbers.decimals_of("length", shown=shown) + 1
    if row[name] is None:
        return numbers.NONE
    low, high = row[f"{name}_low"], row[f"{name}_high"]
    middle = numbers.plain(row[name] * scale, digits)
    return f"{middle} ({numbers.span(low * scale, high * scale, digits)})" if low is not None else middle


def edges(row: Row, shop: Shop) -> str:
    """Bass less treble edge, mean and spread: a difference of edges. Twist leaves both edges straight and shows on
    winding sticks.
    """
    if row["edges"] is None:
        return numbers.NONE
    key = row["characteristic"]
    spread = f", spread {length(shop, key, row['edges_sd'])}" if row["edges_sd"] is not None else ""
    return f"{length(shop, key, row['edges'], sign=True)}{spread}"


def linked(found: Parts) -> str:
    """Which necks an instrument has taken."""
    if not found.unlinked:
        return f"All {numbers.count(found.measured)} necks measured are in instruments on file."
    return (
        f"{numbers.count(found.linked)} of {numbers.count(found.measured)} necks measured are in instruments on file; "
        f"the other {numbers.count(found.unlinked)} are judged by their lot."
    )


def few(n: int) -> str:
    """A small sample, called small."""
    return " Few necks." if n < FEW else ""

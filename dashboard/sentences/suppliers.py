"""Suppliers against each other, what the air did to lots and what bow took at the bench, in words: for the Necks page,
the neck packet and the review; pure functions, nothing computed here.

Where a paper goes to one supplier the others are `the shop's other suppliers`, and no name of theirs stands in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analysis.studies.necks.air import Followed
from analysis.studies.necks.costs import STRAIGHTENING, Costs, Spent
from dashboard import numbers
from dashboard.sentences.necks import FEW, Row, fine, humid, in_other_air
from ingest.shopfiles.shop import Shop

PAIRS_TOLD = 3  # two by two, the farthest apart first
LOTS_NAMED = 4  # lots read in far air that are named


def more_bowed(row: Row) -> bool:
    """Is a supplier shown to differ from the others, to the worse: its necks farther from straight?"""
    if not row["differs"]:
        return False
    return bool(abs(row["mean"]) > abs(row["mean"] - row["off"]))


def foremost(rows: Sequence[Row]) -> Row | None:
    """The supplier shown to come more bowed than the others, the farthest; None without one. rows: of `suppliers`."""
    return max((row for row in rows if more_bowed(row)), key=lambda row: abs(row["off"]), default=None)


def off(row: Row, shop: Shop) -> str:
    """`0.029 mm (0.025 to 0.034) more bowed`, `less bowed` or, across straight, `above`, `below`."""
    key = row["characteristic"]
    side = 1 if row["off"] > 0 else -1
    shown = shop.length_of(key)
    scale, digits = numbers.in_unit(1.0, "length", shown=shown), numbers.decimals_of("length", shown=shown) + 1
    near, far = sorted(side * row[end] * scale for end in ("off_low", "off_high"))
    size = f"{fine(shop, key, abs(row['off']))} ({numbers.span(near, far, digits)})"
    if "mean" in row and row["mean"] * (row["mean"] - row["off"]) < 0:
        return f"{size} {'above' if side > 0 else 'below'}"
    more = abs(row["mean"]) > abs(row["mean"] - row["off"]) if "mean" in row else side > 0
    return f"{size} {'more' if more else 'less'} bowed"


def at_air(followed: Followed) -> str:
    """`at the same air, ` where bow follows it."""
    return "at the same air, " if followed.shown else ""


def against_others(row: Row, shop: Shop, followed: Followed) -> str:
    """One supplier's usual lots beside those of all others, none of which is named."""
    if row["off"] is None:
        return ""
    many = f"{numbers.in_words(row['other_lots'])} {'lot' if row['other_lots'] == 1 else 'lots'}"
    usual = "lots that do not stand apart, " if row["lots_apart"] else ""
    than = f"than those of the shop's other suppliers ({many}; {usual}{at_air(followed)}like models held against like)"
    few = " Few necks." if row["n"] < FEW else ""
    if not row["differs"]:
        span = off(row, shop)
        return f"No difference is shown: necks come {span} {than}.{few}"
    return f"Necks come {off(row, shop)} {than}.{few}"


def pairs(rows: Sequence[Row], shop: Shop) -> str:
    """Who differs from whom. rows : of `suppliers.pair_rows`, the more bowed first in each."""
    if not rows:
        return ""
    differ = sorted((row for row in rows if row["differs"]), key=lambda row: -row["off"])
    if not differ:
        return "No two suppliers are shown to differ." if len(rows) > 1 else "The two are not shown to differ."
    named: dict[str, list[str]] = {}
    for row in differ[:PAIRS_TOLD]:
        named.setdefault(row["supplier"], []).append(f"{off(row, shop)} than {row['other']}'s")
    told = [f"{supplier}'s necks come {', '.join(each)}" for supplier, each in named.items()]
    more = max(len(differ) - PAIRS_TOLD, 0)
    rest = f" So do {numbers.in_words(more)} more pairs." if more else ""
    if not more and len(differ) < len(rows):
        left = len(rows) - len(differ)
        rest = " The other two are not shown to differ." if left == 1 else " No other two are shown to differ."
    return f"{'; '.join(told)}.{rest}"


def headline(row: Row, shop: Shop, followed: Followed, spent: Spent | None, measure: str) -> str:
    """`Ashgrove's necks come 0.029 mm (0.025 to 0.034) more bowed than the others', at the same air: 32 hours ...`."""
    cost = f": {hours(spent)} more {_at(measure)}" if spent is not None and spent.low > 0 else ""
    same = ", at the same air" if followed.shown else ""
    return f"{row['supplier']}'s necks come {off(row, shop)} than the others'{same}{cost}."


def hours(spent: Spent) -> str:
    """`32 hours (27 to 38)`; under ten with a decimal."""
    one, low, high = spent.hours
    digits = 0 if abs(one) >= 10 else 1
    return f"{numbers.plain(one, digits)} hours ({numbers.span(low, high, digits)})"


def a_neck(spent: Spent) -> str:
    """`0.78 minutes a neck (0.65 to 0.92)`."""
    return f"{numbers.plain(spent.minutes, 2)} minutes a neck ({numbers.span(spent.low, spent.high, 2)})"


def _at(measure: str) -> str:
    return "at neck straightening" if measure == STRAIGHTENING else "of paid minutes"


def _worth(spent: Spent, shop: Shop, money: bool) -> str:
    rate, code = shop.shop.labour_per_hour, shop.shop.currency
    if not rate or not money:
        return ""
    one, low, high = (part * rate for part in spent.hours)
    return f", {numbers.money(one, code)} ({numbers.span(low, high, 0)}) of labour"


def _over(spent: Spent) -> str:
    return f"over {numbers.count(spent.necks)} judged necks{', few' if spent.necks < FEW else ''}"


def supplier_cost(spent: Spent, measure: str, shop: Shop, *, money: bool = True) -> str:
    """What a supplier's usual lots took more than the others', or less."""
    over = _over(spent)
    if not spent.shown:
        return f"They are not shown to take more or less {_at(measure)} than the others': {a_neck(spent)}, {over}."
    if spent.high < 0:
        less = f"{a_neck(spent.less)} less {_at(measure)}"
        return f"They took {less} than the others': {hours(spent.less)} {over}."
    return (
        f"They took {a_neck(spent)} more {_at(measure)} than the others': {hours(spent)}"
        f"{_worth(spent, shop, money)} {over}."
    )


def lots_cost(spent: Spent, many: int, measure: str, shop: Shop, *, money: bool = True) -> str:
    """What a supplier's lots that stand apart took more than its usual ones."""
    which = "The lot that stands apart" if many == 1 else f"The {numbers.in_words(many)} lots that stand apart"
    over = _over(spent)
    if not spent.shown:
        return f"{which} {_is(many)} not shown to take more {_at(measure)}: {a_neck(spent)}, {over}."
    if spent.high < 0:
        return f"{which} took {a_neck(spent.less)} less {_at(measure)} than the supplier's usual lots, {over}."
    return (
        f"{which} took {a_neck(spent)} more {_at(measure)} than the supplier's usual lots: {hours(spent)}"
        f"{_worth(spent, shop, money)} {over}."
    )


def _is(many: int) -> str:
    return "is" if many == 1 else "are"


def lot_took(spent: Spent | None, measure: str) -> str:
    """`it took 2.74 minutes a neck (2.34 to 3.14) more at neck straightening, 4.1 hours (3.5 to 4.7)`; '' unshown."""
    if spent is None or spent.low <= 0:
        return ""
    return f"it took {a_neck(spent)} more {_at(measure)}, {hours(spent)} over {numbers.count(spent.necks)} necks"


def air_cost(found: Costs, followed: Followed) -> str:
    """What the air itself took, which is no supplier's doing."""
    if found.air is None or found.air.low <= 0:
        return ""
    return (
        f"The air itself: {numbers.count(found.air.necks)} necks read in {'damper' if followed.slope > 0 else 'drier'} "
        f"air took {a_neck(found.air)} more, {hours(found.air)}; that is the room's, no supplier's."
    )


def of_air(followed: Followed, rows: Sequence[Row], shop: Shop, key: str) -> str:
    """What the air did to the lots shown, or that nobody knows; '' where all lay in much the same. rows: `by_lot`."""
    moved = [row for row in rows if in_other_air(row)]
    if moved:
        row = max(moved, key=lambda row: abs(row["air_rh"] - row["air_usual"]))
        off_usual = row["air_rh"] - row["air_usual"]
        by = off_usual * followed.slope
        ends = sorted(off_usual * end * (1 if by > 0 else -1) for end in (followed.low, followed.high))
        shown = shop.length_of(key)
        scale, digits = numbers.in_unit(1.0, "length", shown=shown), numbers.decimals_of("length", shown=shown) + 1
        span = numbers.span(ends[0] * scale, ends[1] * scale, digits)
        return (
            f"Bow follows the air: at {humid(row['air_rh'])} the necks of all suppliers read "
            f"{fine(shop, key, abs(by))} ({span}) {'more' if by > 0 else 'less'} than at {humid(row['air_usual'])}, "
            "the middle of all. Lots and suppliers are held against each other at the same air; necks outside are "
            "counted as they were read."
        )
    far = [row for row in rows if row.get("air_far")]
    if not far:
        return ""
    names = [row["lot"] for row in far[:LOTS_NAMED]]
    more = f" and {numbers.in_words(len(far) - len(names))} more" if len(far) > len(names) else ""
    low, high = min(row["air_rh"] for row in far), max(row["air_rh"] for row in far)
    read = humid(low) if round(low) == round(high) else f"{numbers.plain(low, 0)} to {humid(high)}"
    return (
        f"{'Lot' if len(far) == 1 else 'Lots'} {', '.join(names)}{more} {'was' if len(far) == 1 else 'were'} read at "
        f"{read}, the middle of all necks at {humid(far[0]['air_usual'])}. Whether bow follows the air these readings "
        "do not show, so part of what stands here may be the air's."
    )


def would_be(row: Row) -> str:
    """`; 19 at 49 % RH`, necks that would lie outside in the air of most; '' for a lot that was read in it."""
    if not in_other_air(row) or row["bad_same_air"] is None:
        return ""
    return f"; {numbers.count(row['bad_same_air'])} at {humid(row['air_usual'])}"


def in_strip(row: Row) -> str:
    """`19 outside at 49 % RH`, the line after a lot's share; '' of a lot read in the air of most."""
    if not in_other_air(row) or row["bad_same_air"] is None:
        return ""
    return f"{numbers.count(row['bad_same_air'])} outside at {humid(row['air_usual'])}"


def air_when_measured(row: Row) -> tuple[bool, str]:
    """Is the air of a lot settled for the talk, and in words; after what is on file of it."""
    if row.get("air_far"):
        return False, f"; the middle of all necks at {humid(row['air_usual'])}, and what that does is not shown"
    if in_other_air(row):
        return True, f"; all necks read otherwise there, so it is held against others at {humid(row['air_usual'])}"
    return True, ""


def at_usual_air(row: Row, shop: Shop) -> str:
    """`at 49 % RH: 0.204, 19 outside`, of a lot read in other air; '' of others."""
    if not in_other_air(row):
        return ""
    shown = shop.length_of(row["characteristic"])
    digits = numbers.decimals_of("length", shown=shown) + 1
    mean = numbers.plain(numbers.in_unit(row["mean"] - row["air_moves"], "length", shown=shown), digits)
    bad = "" if row["bad_same_air"] is None else f", {numbers.count(row['bad_same_air'])} outside"
    return f"at {humid(row['air_usual'])}: {mean}{bad}"


def table_rows(rows: Sequence[Row], found: Costs | None, shop: Shop) -> list[dict[str, Any]]:
    """Suppliers as cells of a table, the most bowed first."""
    told = []
    for row in sorted(rows, key=lambda row: -abs(row["mean"])):
        key = row["characteristic"]
        shown = shop.length_of(key)
        scale, digits = numbers.in_unit(1.0, "length", shown=shown), numbers.decimals_of("length", shown=shown) + 1

        def ranged(name: str, row: Row = row, scale: float = scale, digits: int = digits, *, sign: bool = False) -> str:
            if row[name] is None:
                return numbers.NONE
            middle = (numbers.signed if sign else numbers.plain)(row[name] * scale, digits)
            low, high = row[f"{name}_low"], row[f"{name}_high"]
            return middle if low is None else f"{middle} ({numbers.span(low * scale, high * scale, digits)})"

        usual = found.suppliers.get(row["supplier"]) if found else None
        far = found.apart.get(row["supplier"]) if found else None
        told.append(
            {
                "supplier": row["supplier"],
                "lots": numbers.count(row["lots"]),
                "n": f"{numbers.count(row['n'])}{', few' if row['n'] < FEW else ''}",
                "mean": ranged("mean"),
                "off": ranged("off", sign=True),
                "minutes": _in_table(usual, 2),
                "hours": _hours_in_table(usual),
                "apart": numbers.count(row["lots_apart"]) if row["lots_apart"] else "",
                "apart_hours": _hours_in_table(far) if far else "",
            }
        )
    return told


def _in_table(spent: Spent | None, digits: int) -> str:
    if spent is None:
        return numbers.NONE
    return f"{numbers.signed(spent.minutes, digits)} ({numbers.span(spent.low, spent.high, digits)})"


def _hours_in_table(spent: Spent | None) -> str:
    if spent is None:
        return numbers.NONE
    one, low, high = spent.hours
    digits = 0 if abs(one) >= 10 else 1
    return f"{numbers.signed(one, digits)} ({numbers.span(low, high, digits)})"

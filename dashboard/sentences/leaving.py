"""What left the bench, as a finding of the week: shipped outside its limits, and whose limits those are."""

from typing import Any

import polars as pl

from analysis.review import Review
from analysis.studies.week.leaving import ANY, NO_FINAL, OUTSIDE
from dashboard import numbers
from dashboard.address import address
from dashboard.charts import sparkline
from dashboard.sentences.shared import FEW, STARTING, Sentence, characteristic
from ingest.shopfiles.shop import Shop

MOST_PLACES = 4  # named where instruments lay outside equally often
MANY = 0.2  # so many of the instruments outside, shown by their interval, come before anything that moved


def shipped(found: Review, why: str) -> int:
    """How many serials were shipped for a reason (OUTSIDE, NO_FINAL)."""
    return found.shipped.filter(pl.col("why") == why)["serial"].n_unique() if found.shipped.height else 0


def heavy(found: Review) -> bool:
    """Are so many outside as set that it is told though nothing was shipped?"""
    row = _row(found, ANY)
    return row is not None and row["low"] >= MANY


def comes_first(found: Review) -> bool:
    """Does nothing that moved come before it? Not by limits that are starting values: a shop is not held against a
    guess.
    """
    row = _row(found, ANY)
    return heavy(found) and row is not None and 2 * row["starting"] <= row["outside"]


def leaving(found: Review, shop: Shop) -> Sentence | None:
    """Instruments shipped outside their limits or without a final inspection; else those outside as set, where they are
    many; None where nothing of it is.
    """
    out, without = shipped(found, OUTSIDE), shipped(found, NO_FINAL)
    each, whole = _largest(found), _row(found, ANY)
    if out and each and whole:
        lead = f"{_instruments(out)} shipped outside {'its' if out == 1 else 'their'} limits"
        rest = f", {_most_shipped(found, shop, out)}.{_gone_out_since(found, out)}"
        set_ = f"As set {numbers.of(whole['outside'], whole['n'])} were outside, "
        more = f" {_instruments(without)} shipped without a final inspection." if without else ""
    elif without:
        return Sentence(
            "question",
            "no final",
            f"{_instruments(without)} shipped without a final inspection on file",
            ".",
            "A sheet may be late.",
        )
    elif heavy(found) and each and whole:
        lead, more = f"{numbers.of(whole['outside'], whole['n'])} instruments were set outside their limits", ""
        rest, set_ = ".", ""
    else:
        return None
    n, inside = each["n"], numbers.share_range(each["low"], each["high"], each["n"])
    name = characteristic(shop, each["characteristic"], each["position"]).lower()
    few = " Few instruments so far." if n < FEW else ""
    starting = f" {STARTING}" if each["starting"] else ""
    most = f"{set_}by share most at {name}: {numbers.of(each['outside'], n)} ({inside})."
    ends = whole["share"], whole["low"], whole["high"]
    return Sentence(
        "outside",
        "outside",
        lead,
        rest,
        f"{most if set_ else most[0].upper() + most[1:]}{starting}{more}{few}",
        address("/capability", characteristic=each["characteristic"]),
        "Capability",
        sparkline.interval_spark(*ends, None, max(1.5 * ends[2], 0.1)),
        "Share of instruments outside as set with its interval",
    )


def _most_shipped(found: Review, shop: Shop, out: int) -> str:
    """Where most of those shipped outside are so: `most often at intonation string 4 (6 of them)`; where no place has
    more than another, at which.
    """
    rows = found.shipped.filter(pl.col("why") == OUTSIDE)
    each = rows.group_by("characteristic", "position", maintain_order=True).agg(pl.col("serial").n_unique())
    tops = each.filter(pl.col("serial") == pl.col("serial").max())
    names = [characteristic(shop, *place).lower() for place in tops.select("characteristic", "position").iter_rows()]
    top = int(tops["serial"][0])
    if len(names) > 1:
        where = numbers.listed(names) if len(names) <= MOST_PLACES else f"{numbers.count(len(names))} places"
        return f"at {where}, {numbers.in_words(top)} each"
    if top == out:
        return f"{'all ' if out > 1 else ''}at {names[0]}"
    return f"most often at {names[0]} ({numbers.in_words(top)} of them)"


def _gone_out_since(found: Review, out: int) -> str:
    """How many of those shipped outside lay inside as set, so that the number of those set outside is another."""
    rows = found.shipped.filter(pl.col("why") == OUTSIDE)
    if "set_outside" not in rows.columns:  # a week kept before this was worked out
        return ""
    since = rows.filter(~pl.col("set_outside").fill_null(True))["serial"].n_unique()
    if not since:
        return ""
    if since == out:
        all_ = "It" if out == 1 else "All of them"
        return f" {all_} lay inside when first inspected, and outside when last."
    kept = numbers.in_words(out - since, capital=True)
    return f" {kept} lay outside when first inspected, {numbers.in_words(since)} only when last."


def next_step(found: Review, shop: Shop) -> str:
    """What to do about instruments outside."""
    each = _largest(found)
    if each is None:
        return "see which left, below."
    name = characteristic(shop, each["characteristic"], each["position"]).lower()
    if each["starting"]:
        return f"say in specs.csv what {name} is to be in this shop; then see on Capability which model is off."
    return f"hold what has not left yet, and see on Capability which model is off at {name}."


def in_short(found: Review) -> str:
    """`Nineteen instruments shipped outside their limits`, as part of the week's headline; '' where none."""
    out = shipped(found, OUTSIDE)
    if not out:
        return ""
    return f"{_instruments(out, start=False)} shipped outside {'its' if out == 1 else 'their'} limits"


def _instruments(n: int, *, start: bool = True) -> str:
    many = "instrument was" if n == 1 else "instruments were"
    return f"{numbers.in_words(n, capital=start)} {many}"


def _row(found: Review, key: str) -> dict[str, Any] | None:
    if found.outside.is_empty():
        return None
    rows = found.outside.filter(pl.col("characteristic") == key)
    return rows.row(0, named=True) if rows.height else None


def _largest(found: Review) -> dict[str, Any] | None:
    """The characteristic and position with the largest share outside; None where nothing lies outside."""
    if found.outside.is_empty():
        return None
    rows = found.outside.filter((pl.col("characteristic") != ANY) & (pl.col("outside") > 0))
    return rows.sort("low", descending=True, maintain_order=True).row(0, named=True) if rows.height else None

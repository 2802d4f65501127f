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
    each = _largest(found)
    if out and each:
        lead = f"{_instruments(out)} shipped outside {'its' if out == 1 else 'their'} limits"
        more = f" {_instruments(without)} shipped without a final inspection." if without else ""
    elif without:
        return Sentence(
            "question",
            "no final",
            f"{_instruments(without)} shipped without a final inspection on file",
            ".",
            "A sheet may be late.",
        )
    elif heavy(found) and each:
        row = _row(found, ANY) or each
        lead, more = f"{numbers.of(row['outside'], row['n'])} instruments were set outside their limits", ""
    else:
        return None
    n, inside = each["n"], numbers.share_range(each["low"], each["high"], each["n"])
    name = characteristic(shop, each["characteristic"], each["position"]).lower()
    few = " Few instruments so far." if n < FEW else ""
    starting = f" {STARTING}" if each["starting"] else ""
    return Sentence(
        "outside",
        "outside",
        lead,
        f", most at {name}: {numbers.of(each['outside'], n)} as set ({inside}).",
        f"{starting}{more}{few}".strip(),
        address("/capability", characteristic=each["characteristic"]),
        "Capability",
        sparkline.interval_spark(each["share"], each["low"], each["high"], None, max(1.5 * each["high"], 0.1)),
        f"Share outside at {name} with its interval",
    )


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

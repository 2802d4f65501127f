"""Practice of somebody new at a bench in words: minutes, send-backs, spread and offset, where they stand, and what may
be said of what lies ahead. Pure functions.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis.studies.people.learning_curves import BLOCK, MINUTES, Learning, Offset, Practice
from analysis.studies.people.level_reached import Since
from dashboard import numbers
from dashboard.sentences import shared as sentences
from dashboard.sentences.targets import FEW
from ingest.shopfiles.shop import Shop

LEAST_RUNS = 4  # runs of instruments with a spread each, from which a curve is drawn


def minutes(found: Learning) -> str:
    """Minutes with practice; said last, after method and yield."""
    if not len(found.minutes.value):
        return (
            "No first visit here has minutes of its own, typed or by the clock; planned ones say nothing of practice."
        )
    since = found.reached.get(MINUTES)
    there = "" if since is None else f" At their minutes, to 5 %, {_since(since)}."
    beside = f"{_quartiles(found)}{there}"
    return _practice(found.minutes, lambda x: numbers.with_unit(numbers.plain(x, 1), "min"), beside)


def _since(since: Since) -> str:
    """Since when somebody lies with the others, with the weeks between which that lies."""
    told = f"since about the week of {numbers.day(since.at)}"
    if since.low == since.high:
        return told
    return f"{told} (earliest {numbers.day(since.low)}, latest {numbers.day(since.high)})"


def reached(since: Since | None) -> str:
    """When what somebody new sets came to the others' level; '' where it was never off, or is not shown to be there."""
    return "" if since is None else f" With the others, to a quarter of their spread, {_since(since)}."


def _quartiles(found: Learning) -> str:
    if found.minutes_hands is None:
        return f"Nobody {'qualified' if found.signed else 'else'} has timed visits here to hold it against."
    low, high = found.minutes_hands
    return (
        f"The middle half of the visits of {_hands(found)} takes {numbers.span(low, high, 1, 'min')}, brought to the "
        "same mix of models."
    )


def _hands(found: Learning) -> str:
    return "qualified people" if found.signed else "old hands"


def send_backs(found: Learning) -> str:
    """Send-backs with practice."""
    beside = ""
    if found.came_back_hands is not None:
        share = numbers.share(found.came_back_hands, 100)
        beside = f"On the same mix of models {share} of the instruments of {_hands(found)} come back."
    back = int(np.nansum(found.came_back.value))
    seen = f"{numbers.of(back, len(found.came_back.value))} judged instruments came back."
    if not back:
        return f"{seen} {beside}".strip()
    return f"{seen} {_practice(found.came_back, lambda x: numbers.share(x, len(found.came_back.value)), beside)}"


def spread(found: Practice) -> str:
    """How somebody's spread changed with practice: in runs of so many instruments, each with a spread of its own."""
    if len(found.value) < LEAST_RUNS:
        runs = numbers.in_words(len(found.value)) if len(found.value) else "none"
        return (
            f"Cannot be said: it takes {numbers.in_words(LEAST_RUNS)} runs of {numbers.count(BLOCK)} instruments with "
            f"readings that can be held against the others'; there {'is' if runs == 'one' else 'are'} {runs} so far."
        )
    return _practice(
        found, lambda x: f"{numbers.plain(x, 2)} times", "1 is as wide as the others on the same models and positions."
    )


def _practice(found: Practice, write: Callable[[float], str], beside: str) -> str:
    """Where a curve stands now and what may be said of what lies ahead."""
    if not len(found.curve):
        return f"Cannot be said yet: {_plain(found.says)}. {beside}".strip()
    last = float(np.max(found.unit)) if len(found.unit) else 1.0
    k = max(int(np.searchsorted(found.x, last, side="right")) - 1, 0)
    now = f"About {write(found.curve[k])} now"
    if len(found.low):
        now += f" ({write(found.low[k])} to {write(found.high[k])}, 90 % band)"
    ahead = ""
    if found.says:
        ahead = f" What lies ahead cannot be said: {_plain(found.says)}."
    elif len(found.low):
        ahead = (
            f" By instrument {numbers.count(round(found.x[-1]))} about {write(found.curve[-1])} "
            f"({write(found.low[-1])} to {write(found.high[-1])})."
            " The curve is a guide, not a due date."
        )
    return f"{now}.{ahead} {beside}".strip()


def _plain(text: str) -> str:
    return text.removeprefix("cannot be said yet: ").rstrip(".")


def counted(found: Learning) -> str:
    """From where instruments are counted."""
    start = "" if found.begins_in_logs else " What was done before the logs began is not counted."
    few = " Few so far." if found.instruments < FEW else ""
    return f"{numbers.count(found.instruments)} instruments, counted from the first in the logs.{start}{few}"


def offsets(shop: Shop, key: str, first: Offset, last: Offset, since: Since | None = None) -> str:
    """Where somebody new stood against the others at first, where they stand now, and since when they are with them."""

    def stood(one: Offset) -> str:
        told = [sentences.amount(shop, key, value, sign=True, mean=True) for value in (one.offset, one.low, one.high)]
        return f"{told[0]} from the others ({told[1]} to {told[2]})"

    return (
        f"{shop.characteristic_name(key)} with practice: {stood(first)} over the first {numbers.count(first.of)} "
        f"instruments, {stood(last)} over the last {numbers.count(last.of)}.{reached(since)}"
    )

"""Matters of weekly shares: signals of a stage and of its models that tell of one thing, and what they tell."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from analysis.studies.drift import shares_told
from analysis.studies.drift.shares import Shares
from analysis.studies.drift.watching import SHARE
from analysis.studies.matters.groups import Group
from analysis.studies.matters.units import Signal

OPEN = {"closed_at": None}  # as it stood while it lasted


def of_shares(signals: Iterable[Signal]) -> bool:
    """Are they signals of weekly shares?"""
    return all(one.row["chart"] == SHARE for one in signals)


def share_groups(signals: Iterable[Signal]) -> list[list[Signal]]:
    """Signals of weekly shares among these, those that tell of one thing together."""
    some = [one for one in signals if one.row["chart"] == SHARE]
    return [[some[place] for place in group] for group in shares_told.together([one.row for one in some])]


def still_open(weekly: Shares | None, signals: list[Signal], apart: set[int], since: datetime) -> list[Group]:
    """Groups of open signals of weekly shares, with those of the same thing that closed meanwhile. What rose on all
    models has ended where its stage is back, whichever of its models has not shown it yet, told so long as since then;
    after that they stand by themselves.

    apart : numbers of signals that a person's word keeps from others.
    """
    groups = share_groups(one for one in signals if one.number not in apart or one.row["closed_at"] is None)
    found = []
    for each in groups:
        if any(one.row["closed_at"] is None for one in each):
            ended = weekly is not None and _back_with_its_stage(weekly, each, since)
            found.append(Group({one.number for one in each}, [], ended=ended))
    return found


def _back_with_its_stage(weekly: Shares, group: list[Signal], since: datetime) -> bool:
    whole = [one.row for one in group if one.row["model"] == ""]
    if not whole or any(row["closed_at"] is None for row in whole):
        return False
    over = max(row["closed_at"] for row in whole)
    as_then = [one.row | OPEN for one in group if one.row["opened_at"] <= over]
    return bool(over >= since) and not shares_told.told(weekly, as_then).models


def saying_when(weekly: Shares, signals: list[Signal], *, ended: bool) -> list[Signal]:
    """Those of them that say since when and until when: of what rose on all models and is over the stage's own."""
    over = ended or all(one.row["closed_at"] is not None for one in signals)
    whole = [one for one in signals if one.row["model"] == ""]
    if not over or not whole:
        return signals
    return whole if not shares_told.told(weekly, [one.row | OPEN for one in signals]).models else signals


def share_main(weekly: Shares, signals: list[Signal]) -> dict[str, Any]:
    """The signal that stands for them, with what they tell together in place of its own: since when, how many, and
    others_back, others_instruments, others_expected, others_low, others_high, other of the models beside (null where
    none is named).
    """
    told = shares_told.told(weekly, [one.row for one in signals])
    named = [one.row for one in signals if one.row["model"] in (told.models or ("",))]
    main = min(named or [one.row for one in signals], key=lambda row: (row["closed_at"] is not None, row["opened_at"]))
    seen, others = told.since, told.others
    before, after = seen.expected / seen.instruments, seen.came_back / seen.instruments
    start = weekly.taken[told.first]
    return main | {
        "models": list(told.models),
        "before": before,
        "after": after,
        "size": after - before,
        "began_at": start if start < main["opened_at"] else main["began_at"],
        "came_back": seen.came_back,
        "instruments": seen.instruments,
        "expected": seen.expected,
        "times_low": seen.low,
        "times_high": seen.high,
        "others_back": others.came_back if others else None,
        "others_instruments": others.instruments if others else None,
        "others_expected": others.expected if others else None,
        "others_low": others.low if others else None,
        "others_high": others.high if others else None,
        "other": told.other,
    }

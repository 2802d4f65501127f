"""Matters of weekly shares: signals of a stage and of its models that tell of one thing, and what they tell."""

from collections.abc import Iterable
from typing import Any

from analysis.studies.drift import shares_told
from analysis.studies.drift.shares import Shares
from analysis.studies.drift.watching import SHARE
from analysis.studies.matters.groups import Group
from analysis.studies.matters.units import Signal


def of_shares(signals: Iterable[Signal]) -> bool:
    """Are they signals of weekly shares?"""
    return all(one.row["chart"] == SHARE for one in signals)


def share_groups(signals: Iterable[Signal]) -> list[list[Signal]]:
    """Signals of weekly shares among these, those that tell of one thing together."""
    some = [one for one in signals if one.row["chart"] == SHARE]
    return [[some[place] for place in group] for group in shares_told.together([one.row for one in some])]


def still_open(signals: list[Signal], apart: set[int]) -> list[Group]:
    """Groups of open signals of weekly shares, with those of the same thing that closed meanwhile; apart : numbers of
    signals that a person's word keeps from others.
    """
    groups = share_groups(one for one in signals if one.number not in apart or one.row["closed_at"] is None)
    return [Group({one.number for one in each}, []) for each in groups if any(not one.row["closed_at"] for one in each)]


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

"""Weeks of which nothing was read, in words."""

from collections.abc import Sequence
from datetime import date, timedelta

import polars as pl

from dashboard import numbers

NAMED = 3  # matters
NOTHING = "Nothing was read of this week: no work, or a file that is missing?"
LOAD_IT = "load its file, or say in shop.toml that the shop was closed."


def is_silent(rows: pl.DataFrame, week: date) -> bool:
    """Was nothing read of the week under review (its first day) itself?"""
    return bool((rows["first"] >= week).any())


def asked_of(rows: pl.DataFrame) -> list[tuple[str, str]]:
    """Weeks of which nothing was read: what to ask, and how somebody says that the shop was closed. Weeks in a row are
    one question.
    """
    told = []
    for first, last, weeks in _in_a_row(rows):
        many = f"{numbers.in_words(weeks)} weeks, " if weeks > 1 else ""
        files = "files that are missing" if weeks > 1 else "a file that is missing"
        load = "files" if weeks > 1 else "file"
        ask = f"Nothing was read of {many}{numbers.days(first, last)}: no work, or {files}?"
        shut = f'[calendar] closed = ["{first}/{last}"]'
        told.append((ask, f" Load the {load}, or say in shop.toml that the shop was closed: {shut}."))
    return told


def _in_a_row(rows: pl.DataFrame) -> list[tuple[date, date, int]]:
    """First and last working day of weeks that follow each other, and how many they are; a week with work, or one in
    which the shop was closed, parts them.
    """
    runs: list[tuple[date, date, int]] = []
    for first, last in rows.select("first", "last").sort("first").iter_rows():
        if runs and first - runs[-1][1] <= timedelta(days=7):
            runs[-1] = (runs[-1][0], last, runs[-1][2] + 1)
        else:
            runs.append((first, last, 1))
    return runs


def standing(names: Sequence[str]) -> str:
    """What stands open from before a week of which nothing was read: `Two matters stand open from before it: ...`"""
    many = "matter stands" if len(names) == 1 else "matters stand"
    shown = [names[0], *(one[:1].lower() + one[1:] for one in names[1:NAMED])]
    more = f" and {numbers.in_words(len(names) - NAMED)} more" if len(names) > NAMED else ""
    return f"{numbers.in_words(len(names), capital=True)} {many} open from before it: {'; '.join(shown)}{more}."

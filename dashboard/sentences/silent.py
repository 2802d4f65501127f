"""Weeks of which nothing was read, in words."""

from datetime import date

import polars as pl

from dashboard import numbers

NOTHING = "Nothing was read of this week: no work, or a file that is missing?"
LOAD_IT = "load its file, or say in shop.toml that the shop was closed."


def is_silent(rows: pl.DataFrame, week: date) -> bool:
    """Was nothing read of the week under review (its first day) itself?"""
    return bool((rows["first"] >= week).any())


def asked_of(rows: pl.DataFrame) -> list[tuple[str, str]]:
    """Weeks of which nothing was read: what to ask, and how somebody says that the shop was closed."""
    return [
        (
            f"Nothing was read of {numbers.days(first, last)}: no work, or a file that is missing?",
            f' Load the file, or say in shop.toml that the shop was closed: [calendar] closed = ["{first}/{last}"].',
        )
        for first, last in rows.select("first", "last").iter_rows()
    ]

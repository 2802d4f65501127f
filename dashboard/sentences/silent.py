"""Weeks of which nothing was read, in words."""

import polars as pl

from dashboard import numbers


def asked_of(rows: pl.DataFrame) -> list[tuple[str, str]]:
    """Weeks of which nothing was read: what to ask, and how somebody says that the shop was closed."""
    return [
        (
            f"Nothing was read of {numbers.days(first, last)}: no work, or a file that is missing?",
            f' Load the file, or say in shop.toml that the shop was closed: [calendar] closed = ["{first}/{last}"].',
        )
        for first, last in rows.select("first", "last").iter_rows()
    ]

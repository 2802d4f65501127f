"""specs.csv: targets and limits, with the date from which they hold, and which row holds for a reading."""

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from ingest import tables
from ingest.shop import Shop

PREFERENCE = ("model", "position", "family", "stage", "supplier")  # a row with the earlier of these filled wins, then the latest from_date


@dataclass(frozen=True)
class Specs:
    """The rows of specs.csv in canonical units (tables.SPECS), in file order."""

    rows: pl.DataFrame

    def match(self, keys: pl.DataFrame) -> pl.Series:
        """Which row of `rows` holds for each key row.

        keys : characteristic, position, family, model, stage, supplier (text) and date (the local date: for a characteristic with
            `set_at` the date it was set where the setter is known, else the date it was read), shape (n, 7).
        Returns Int64 (n,): index into `rows`, null where none holds. Filled fields must all match; rows are not merged.
        """
        raise NotImplementedError


def read_specs(path: Path, shop: Shop) -> Specs:
    """The specs of a shop folder; no file: no rows. ShopProblem, a line per fault, where the file does not agree with the shop."""
    return Specs(tables.empty(tables.SPECS))

"""Figures worked out anew of the rows that shops published, beside those that they published themselves.

A shop's own figures are the measure: where the same version of the program finds others in its rows, that is said and
its own stand. Of another version figures are taken as found here, so that all shops are told by one program.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Protocol

import polars as pl

from ingest.store.target import Target, pieces_of, tables_of


class Worked(Protocol):
    """What became of one shop's studies."""

    @property
    def shop(self) -> str:
        """Its name at the target."""

    @property
    def tables(self) -> Mapping[str, pl.DataFrame]:
        """Figures by name; none where they were not worked out."""

    @property
    def why(self) -> str:
        """They were not worked out."""


Afresh = Callable[[Target, list[dict[str, Any]]], Iterable[Worked]]


def laid_over(
    tables: dict[str, pl.DataFrame], rows: list[dict[str, Any]], found: Iterable[Worked], program: str
) -> list[str]:
    """Put figures worked out here in the place of those published, in place; what is to be said of it, a line each.

    rows : of `shops`, of every shop whose figures stand in `tables`; program : the version that worked them out.
    """
    by = {row["shop"]: (row["program"], set(tables_of(pieces_of(row)))) for row in rows}
    not_here: dict[str, list[str]] = {}
    other: dict[str, list[str]] = {}
    unlike: list[str] = []
    instead: dict[str, dict[str, pl.DataFrame]] = {}
    for one in sorted(found, key=lambda one: one.shop):
        if one.why:
            not_here.setdefault(one.why, []).append(one.shop)
            continue
        its_program, published = by[one.shop]
        wrong = [name for name, frame in one.tables.items() if not _equal(frame, tables.get(name), one.shop)]
        if its_program != program:
            other.setdefault(its_program, []).append(one.shop)
        elif told := [name for name in wrong if name in published]:
            unlike.append(f"{one.shop}: its rows give other {', '.join(told)} than it published; its own stand")
        for name in wrong:
            if its_program != program or name not in published:
                instead.setdefault(name, {})[one.shop] = one.tables[name]
    for name, frames in instead.items():
        held = tables.get(name, pl.DataFrame(schema={"shop": pl.String}))
        new = [frame.select(pl.lit(shop).alias("shop"), pl.all()) for shop, frame in frames.items()]
        tables[name] = pl.concat([held.filter(~pl.col("shop").is_in(list(frames))), *new], how="diagonal_relaxed")
    said = [f"{', '.join(shops)}: {why}" for why, shops in sorted(not_here.items())]
    said += [
        f"{', '.join(shops)}: published by version {version}, worked out here by {program}"
        for version, shops in sorted(other.items())
    ]
    return said + unlike


def _equal(found: pl.DataFrame, held: pl.DataFrame | None, shop: str) -> bool:
    """Are figures those that the shop published, to the last digit, in whatever order?"""
    mine = held.filter(pl.col("shop") == shop).drop("shop") if held is not None else pl.DataFrame()
    if len(mine) != len(found) or not set(found.columns) <= set(mine.columns):
        return len(found) == 0 == len(mine)
    mine = mine.select(found.columns)
    return mine.sort(mine.columns).equals(found.cast(dict(mine.schema)).sort(found.columns))  # type: ignore[arg-type]

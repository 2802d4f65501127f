"""What stands in no row of Capability, and what would bring it there, in words."""

from collections.abc import Sequence
from typing import Any

import polars as pl

from analysis.studies.room.left_out import ELSEWHERE, FEW, INCOMING, NO_LIMITS
from dashboard import numbers
from ingest.shopfiles.shop import Shop

NAMED = 4  # characteristics; then a count


def note(found: pl.DataFrame, shop: Shop) -> str:
    """`Not among them: neck bow, incoming (of what comes in: see Necks).`; '' where nothing is left out."""
    if found.is_empty():
        return ""
    told = [f"{_name(row, shop)} ({why(row, shop)})" for row in found.head(NAMED).iter_rows(named=True)]
    more = f"; {numbers.in_words(len(found) - NAMED)} more" if len(found) > NAMED else ""
    return f"Not among them: {'; '.join(told)}{more}."


def why(row: dict[str, Any], shop: Shop) -> str:
    """Why a characteristic is judged nowhere here."""
    if row["why"] == INCOMING:
        return "of what comes in: see Necks"
    if row["why"] == NO_LIMITS:
        return "no limits in specs.csv"
    if row["why"] == FEW:
        return "too few readings to say how far they spread"
    where = numbers.listed([shop.stage_name(stage).lower() for stage in row["stages"]])
    setting = shop.by_characteristic[row["characteristic"]].set_stages
    if setting:
        names = numbers.listed([shop.stage_name(stage).lower() for stage in setting])
        return f"read at {where}, neither at {names}, where it is set, nor at a final inspection"
    return f"read at {where}, not at a final inspection, and no set_at in shop.toml says which bench sets it"


def nothing(found: pl.DataFrame, shop: Shop) -> str:
    """What is missing for a first verdict, and what to do; '' where nothing at all was read."""
    rows = found.to_dicts()
    told = []
    if some := [row for row in rows if row["why"] == NO_LIMITS]:
        told.append(
            f"{_many(some)} of {_names(some, shop)} are held against nothing: no row of specs.csv says what they are "
            "to be. Put a target and limits there for each model or family, beside shop.toml."
        )
    told += [
        f"{_name(row, shop, capital=True)}: {numbers.count(row['n'])} readings, {why(row, shop)}."
        for row in rows
        if row["why"] in (ELSEWHERE, FEW)
    ][:NAMED]
    if some := [row for row in rows if row["why"] == INCOMING]:
        told.append(f"{_many(some)} of {_names(some, shop)} are of what comes in; Necks judges them.")
    return " ".join(told)


def _many(rows: Sequence[dict[str, Any]]) -> str:
    return f"{numbers.count(sum(row['n'] for row in rows))} readings"


def _names(rows: Sequence[dict[str, Any]], shop: Shop) -> str:
    names = [_name(row, shop) for row in rows]
    left = len(names) - NAMED
    return numbers.listed([*names[:NAMED], f"{numbers.in_words(left)} more"] if left > 0 else names)


def _name(row: dict[str, Any], shop: Shop, *, capital: bool = False) -> str:
    name = shop.characteristic_name(row["characteristic"])
    return name if capital else name[:1].lower() + name[1:]

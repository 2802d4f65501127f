"""Lines of specs.csv that hold for nobody, for no model has their family, where a model is held to nothing instead."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ingest.shopfiles.shop import Shop
from ingest.terms.questions import closest, listed


@dataclass(frozen=True)
class OfNoModel:
    """A family of specs.csv that no [[model]] has, and what of it is missed."""

    family: str
    near: str  # the closest family of a model, '' where none comes near
    families: tuple[str, ...]  # those of models
    lines: tuple[int, ...]
    characteristics: tuple[str, ...]  # of which a model has no limit


def of_no_model(
    left_out: Iterable[tuple[int, Mapping[str, str]]], rows: Iterable[Mapping[str, object]], shop: Shop
) -> tuple[OfNoModel, ...]:
    """The families of lines that were left out, in file order, whose limits some model lacks.

    left_out : line and cells of each.  rows : those that hold.
    """
    held = [{name: str(row[name]) for name in ("characteristic", "position", "family", "model")} for row in rows]
    families = tuple(sorted({model.family for model in shop.models}))
    found: dict[str, list[tuple[int, str]]] = {}
    for line, cells in left_out:
        if any(not _holds(held, cells, model.key, shop) for model in shop.models):
            found.setdefault(cells["family"], []).append((line, cells["characteristic"]))
    return tuple(
        OfNoModel(
            family,
            closest(family, families),
            families,
            tuple(line for line, _ in missed),
            tuple(dict.fromkeys(name for _, name in missed)),
        )
        for family, missed in found.items()
    )


def _holds(held: list[dict[str, str]], cells: Mapping[str, str], model: str, shop: Shop) -> bool:
    """Has the model a limit for what a line is of?"""
    return any(
        row["characteristic"] == cells["characteristic"]
        and row["position"] in ("", cells["position"])
        and row["family"] in ("", shop.families[model])
        and row["model"] in ("", model, shop.setups[model])
        for row in held
    )


def said(one: OfNoModel, shop: Shop) -> str:
    """One line for whoever wrote specs.csv or shop.toml."""
    lines = f"line {one.lines[0]}" if len(one.lines) == 1 else f"lines {listed(map(str, one.lines), 6)}"
    wanted = f"the closest is {one.near!r}" if one.near else f"wanted one of {', '.join(one.families)}"
    what = ", ".join(shop.characteristic_name(key).lower() for key in one.characteristics)
    return (
        f"specs.csv, {lines}: no model of shop.toml has the family {one.family!r}; {wanted}. "
        f"Until one of the two is put right {what} is held against no limit there."
    )

"""specs.csv: targets and limits, with the date from which they hold, and which row holds for a reading."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import polars as pl

from ingest.shopfiles.marks import BetweenMarks, between_marks
from ingest.shopfiles.plain_csv import Fault, date_of, rows_of
from ingest.shopfiles.shop import Shop, ShopProblem
from ingest.shopfiles.shop_parts import Characteristic
from ingest.shopfiles.unheld import OfNoModel, of_no_model
from ingest.terms import tables
from ingest.terms.units import NEEDS_UNIT, spelled, to_canonical, unit_of

PREFERENCE = (
    "model",
    "position",
    "family",
    "stage",
    "supplier",
)  # a row with the earlier of these filled wins, then the latest from_date
COLUMNS = (
    "characteristic",
    "position",
    "family",
    "model",
    "stage",
    "supplier",
    "target",
    "lower",
    "upper",
    "unit",
    "from_date",
    "agreed_on",
    "note",
)
KEYS = ("characteristic", "position", "family", "model", "stage", "supplier", "date")
STARTING_VALUE = "starting value, not yours"  # the note of a limit that the program put there to start from
AT_ONCE = 4_000_000  # comparisons held in memory at a time
MOST_CODES = 2**62  # numbers that told keys apart until they are counted anew


@dataclass(frozen=True)
class Specs:
    """The rows of specs.csv in canonical units (tables.SPECS), in file order."""

    rows: pl.DataFrame
    setups: Mapping[str, str] = field(default_factory=dict)  # model -> setup: a row may name either
    between: tuple[BetweenMarks, ...] = ()  # limits that lie between two marks of the gauge
    missed: tuple[OfNoModel, ...] = ()  # starting values of a family that no model has, and that a model lacks

    @property
    def starting(self) -> pl.Series:
        """Is each row of `rows` a starting value and not the shop's own? Boolean, shape (n,)."""
        return (self.rows["note"] == STARTING_VALUE).fill_null(False)

    def match(self, keys: pl.DataFrame) -> pl.Series:
        """Which row of `rows` holds for each key row.

        keys : characteristic, position, family, model, stage, supplier (text) and date (the local date: for a
        characteristic with
            `set_at` the date it was set where the setter is known, else the date it was read), shape (n, 7). A model
            may be a setup's name.
        Returns Int64 (n,): index into `rows`, null where none holds. Filled fields must all match; rows are not merged.
        """
        if keys.is_empty() or self.rows.is_empty():
            return pl.Series("spec", [None], dtype=pl.Int64).new_from_index(0, keys.height)
        code = self._told_apart(keys)
        first, place = _once(code)
        held = self._match_distinct(tables.plain(keys.select(KEYS)[first]))
        found = pl.Series("spec", held[place], dtype=pl.Int64)
        return found.set(found == -1, None)

    def _told_apart(self, keys: pl.DataFrame) -> np.ndarray:
        """A number for each key (n,): the same where the same row holds. Of dates only those from which a row holds
        part them.
        """
        begins = self.rows["from_date"].drop_nulls().unique().sort().cast(pl.Int32).to_numpy()
        when = keys["date"].cast(pl.Int32).fill_null(np.iinfo(np.int32).min).to_numpy()
        code = np.searchsorted(begins, when, side="right").astype(np.int64)
        many = len(begins) + 1
        for name in ("characteristic", *PREFERENCE):
            if not (self.rows[name] != "").any():  # no row asks for it
                continue
            place = tables.rank(keys[name])
            size = int(place.max(initial=0)) + 1
            if many * size > MOST_CODES:
                seen, code = np.unique(code, return_inverse=True)
                many = len(seen)
            code = code * size + place
            many *= size
        return np.asarray(code)

    def _match_distinct(self, keys: pl.DataFrame) -> np.ndarray:
        """Index of the row that holds for each key, -1 where none, shape (n,)."""
        order = self._by_preference()
        rows = self.rows[order]
        setup = keys["model"].replace(dict(self.setups))
        best = np.full(keys.height, -1, dtype=np.int64)
        step = max(1, AT_ONCE // rows.height)
        for start in range(0, keys.height, step):
            part = slice(start, min(start + step, keys.height))
            fits = np.ones((part.stop - part.start, rows.height), dtype=bool)
            for name in ("characteristic", *PREFERENCE):
                codes = _codes(
                    pl.concat([keys[name][part], rows[name], setup[part]])
                    if name == "model"
                    else pl.concat([keys[name][part], rows[name]])
                )
                n, m = fits.shape
                mine, theirs = codes[:n, None], codes[None, n : n + m]
                same = mine == theirs
                if name == "model":
                    same |= codes[n + m :, None] == theirs
                fits &= same if name == "characteristic" else same | (rows[name] == "").to_numpy()[None, :]
            since = rows["from_date"].cast(pl.Int32).fill_null(np.iinfo(np.int32).min).to_numpy()
            when = keys["date"][part].cast(pl.Int32).fill_null(np.iinfo(np.int32).min).to_numpy()
            fits &= since[None, :] <= when[:, None]
            first = fits.argmax(axis=1)
            best[part] = np.where(fits[np.arange(len(first)), first], np.asarray(order)[first], -1)
        return best

    def _by_preference(self) -> list[int]:
        """Indices of the rows, the one that wins over another before it."""
        filled = [pl.col(name) == "" for name in PREFERENCE]
        ranked = self.rows.select(
            pl.int_range(pl.len()).alias("index"),
            *(each.alias(name) for each, name in zip(filled, PREFERENCE, strict=True)),
            "from_date",
        )
        ranked = ranked.sort(
            *PREFERENCE,
            "from_date",
            descending=[False] * len(PREFERENCE) + [True],
            nulls_last=True,
            maintain_order=True,
        )
        return ranked["index"].to_list()


def _once(code: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A row of each different whole number from 0 on (k,), and which of them each row has (n,)."""
    many = int(code.max()) + 1
    if many > 4 * len(code):
        return np.unique(code, return_index=True, return_inverse=True)[1:]
    row = np.full(many, -1, dtype=np.int64)
    row[code] = np.arange(len(code))
    there = row >= 0
    return row[there], (np.cumsum(there) - 1)[code]


def _codes(texts: pl.Series) -> np.ndarray:
    """One whole number for each distinct text, shape (n,)."""
    return texts.rank("dense").to_numpy()


def read_specs(path: Path, shop: Shop) -> Specs:
    """The specs of a shop folder; no file: no rows, and no row of a starting value for a family that no model has.
    ShopProblem, a line per fault, where the file does not agree with the shop.
    """
    if not path.exists():
        return Specs(tables.empty(tables.SPECS), shop.setups)
    faults: list[str] = []
    rows: list[dict[str, object]] = []
    left_out: list[tuple[int, dict[str, str]]] = []
    families = {model.family for model in shop.models}
    for line, cells in rows_of(path, COLUMNS, required=("characteristic", "target", "lower", "upper")):
        if cells["note"] == STARTING_VALUE and cells["family"] and cells["family"] not in families:
            left_out.append((line, cells))  # a family put right by hand leaves limits that the program began with
            continue
        row, wrong = _row(cells, shop)
        faults += [f"{path.name}, line {line}: {fault}" for fault in wrong]
        if not wrong:
            rows.append({"line": line} | row)
    faults += [f"{path.name}, {fault}" for fault in _twins(rows, shop)]
    if faults:
        raise ShopProblem("\n".join(faults))
    held = tables.shaped(pl.DataFrame(rows, schema=tables.SPECS), tables.SPECS)
    return Specs(held, shop.setups, between_marks(held, shop), of_no_model(left_out, rows, shop))


def _row(cells: dict[str, str], shop: Shop) -> tuple[dict[str, object], list[str]]:
    """One line of specs.csv in canonical units, and everything that is wrong with it."""
    wrong: list[str] = []
    item = shop.by_characteristic.get(cells["characteristic"])
    if item is None:
        wrong.append(_not_known("characteristic", cells, [c.key for c in shop.characteristics]))
    allowed = {
        "stage": [stage.key for stage in shop.stages],
        "family": sorted({model.family for model in shop.models}),
        "model": [*(model.key for model in shop.models), *sorted(set(shop.setups.values()) - set(shop.by_model))],
    }
    wrong += [
        _not_known(name, cells, known) for name, known in allowed.items() if cells[name] and cells[name] not in known
    ]
    if item is not None and cells["position"] and cells["position"].split(" fret ")[0] not in item.positions:
        wrong.append(
            _not_known(
                "position",
                cells,
                [*item.positions, "or empty"] if item.positions else ["empty: the shop declares no positions for it"],
            )
        )
    model = shop.by_model.get(cells["model"])
    if model and cells["family"] and model.family != cells["family"]:
        wrong.append(f"model {model.key!r} is a {model.family}, not a {cells['family']}; leave family empty")
    quantity = item.quantity if item else "plain"
    unit = unit_of(cells["unit"], quantity)
    if unit is None or (not unit and quantity in NEEDS_UNIT):
        wrong.append(f"unit is {cells['unit']!r}; wanted one of {spelled(quantity)}")
    row: dict[str, object] = {
        name: cells[name] for name in ("characteristic", "position", "family", "model", "stage", "supplier", "note")
    }
    for name in ("target", "lower", "upper"):
        try:
            number = float(cells[name]) if cells[name] else None
        except ValueError:
            wrong.append(f"{name} is {cells[name]!r}; wanted a number with a point, or empty")
            number = None
        if number is not None and not np.isfinite(number):
            wrong.append(f"{name} is {cells[name]!r}; wanted a number, or empty")
            number = None
        row[name] = None if number is None or unit is None else to_canonical(number, unit, quantity)
    for name in ("from_date", "agreed_on"):
        try:
            row[name] = date_of(cells[name])
        except Fault as fault:
            wrong.append(f"{name} {fault}")
    return row, wrong + list(_out_of_order(row, cells)) + list(_beyond_what_is_plausible(row, cells, item))


def _not_known(name: str, cells: dict[str, str], allowed: list[str]) -> str:
    return f"{name} is {cells[name]!r}; wanted one of {', '.join(allowed)}"


def _out_of_order(row: dict[str, object], cells: dict[str, str]) -> Iterator[str]:
    target, lower, upper = (row[name] for name in ("target", "lower", "upper"))
    if not any(cells[name] for name in ("target", "lower", "upper")):
        yield "target, lower and upper are all empty; wanted one of them or more"
    if isinstance(lower, float) and isinstance(upper, float) and lower > upper:
        yield f"lower is {cells['lower']!r} and upper {cells['upper']!r}; wanted lower below upper"
    elif isinstance(target, float) and (
        (isinstance(lower, float) and target < lower) or (isinstance(upper, float) and target > upper)
    ):
        yield f"target is {cells['target']!r}; wanted one within lower and upper"


def _beyond_what_is_plausible(
    row: dict[str, object], cells: dict[str, str], item: Characteristic | None
) -> Iterator[str]:
    """Limits that no reading could lie within: whatever is plausible lies on one side of them."""
    bounds = item.plausible_range if item else None
    if item is None or item.plausible is None or bounds is None:
        return
    target, lower, upper = (row[name] for name in ("target", "lower", "upper"))
    given = [f"{name} {cells[name]}" for name in ("target", "lower", "upper") if row[name] is not None]
    above = any(isinstance(one, float) and one > bounds[1] for one in (target, lower))
    if above or any(isinstance(one, float) and one < bounds[0] for one in (target, upper)):
        yield (
            f"{', '.join(given)} {cells['unit']} lie outside what shop.toml calls plausible of {item.key}, "
            f"{item.plausible[0]} to {item.plausible[1]}; is the unit right?"
        )


def _twins(rows: list[dict[str, object]], shop: Shop) -> Iterator[str]:
    """Pairs of rows of which both would remain for one reading: equal filled fields and from_date, the model and its
    setup counted as one.
    """
    seen: dict[tuple[object, ...], tuple[object, object]] = {}
    for row in rows:
        named = str(row["model"])
        models = [model for model, setup in shop.setups.items() if named in (model, setup)] or [named]
        for model in models:
            key = (
                row["characteristic"],
                *(row[name] for name in PREFERENCE if name != "model"),
                model,
                row["from_date"],
            )
            if key in seen and seen[key][0] != row["line"]:
                yield (
                    f"lines {seen[key][0]} and {row['line']}: both hold for the same readings from the same date; "
                    "wanted one of them"
                )
                break
            seen[key] = (row["line"], named)

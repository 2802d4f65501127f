"""lots.csv, changes.csv and climate.csv of a shop folder: optional; every fault is one line with file, line, column and
what is wanted.
"""

from collections.abc import Callable
from functools import cache, partial
from pathlib import Path

import polars as pl

from ingest.shopfiles.plain_csv import Fault, date_of, number_of, rows_of, texts_of
from ingest.shopfiles.shop import Shop, ShopProblem
from ingest.terms import clock, tables
from ingest.terms.units import amount
from ingest.terms.zone_letters import letters_of, zone_in

DISPOSITIONS = ["used", "sorted", "returned"]  # what became of a lot
SHARES = (0, 100)  # %
Cell = Callable[[str], object]


def read_lots(folder: Path, shop: Shop) -> pl.DataFrame:
    """tables.LOTS of lots.csv; agreed_limit in canonical units ('0.25 mm' or a bare number of mm). No file: no rows."""

    def limit(text: str) -> float | None:
        if not text:
            return None
        try:
            return amount(text if any(letter.isalpha() or letter == '"' for letter in text) else f"{text} mm")
        except ValueError as fault:
            raise Fault(str(fault)) from None

    def count(text: str) -> int | None:
        number = number_of(text, 0)
        if number is not None and number != int(number):
            raise Fault(f"is {text!r}; wanted a whole number")
        return None if number is None else int(number)

    readers: dict[str, Cell] = {
        "supplier": _needed,
        "lot": _needed,
        "model": _listed([*shop.by_model, *shop.setups.values()]),
        "received_on": date_of,
        "quantity": count,
        "rod_state": str,
        "hours_acclimatised": lambda text: number_of(text, 0),
        "agreed_limit": limit,
        "disposition": _listed(DISPOSITIONS),
    }
    return _read(folder / "lots.csv", readers, tables.LOTS, ("supplier", "lot"), key=("supplier", "lot"))


def read_changes(folder: Path, shop: Shop) -> pl.DataFrame:
    """tables.CHANGES of changes.csv: from_date needed, to_date not before it. No file: no rows."""
    readers: dict[str, Cell] = {
        "from_date": lambda text: date_of(_needed(text)),
        "to_date": date_of,
        "model": _listed([*shop.by_model, *shop.setups.values()]),
        "stage": _listed([stage.key for stage in shop.stages]),
        "characteristic": _listed(list(shop.by_characteristic)),
        "what": _needed,
        "planned": _yes_or_no,
        "target": str,
        "note": str,
    }
    frame = _read(folder / "changes.csv", readers, tables.CHANGES | {"target": pl.String()}, ("from_date", "what"))
    frame = _with_targets(frame, shop)
    wrong = frame.filter(pl.col("to_date") < pl.col("from_date"))
    if wrong.height:
        raise ShopProblem(
            "\n".join(
                f"changes.csv: {row['what']!r} ends {row['to_date']} before it begins {row['from_date']}"
                for row in wrong.to_dicts()
            )
        )
    return frame


def _yes_or_no(text: str) -> bool | None:
    words = {"": None, "yes": True, "no": False}
    if text.lower() not in words:
        raise Fault(f"is {text!r}; wanted yes, no or empty")
    return words[text.lower()]


def _with_targets(frame: pl.DataFrame, shop: Shop) -> pl.DataFrame:
    """Targets as numbers in the canonical unit of their characteristic ('2.1 mm', or a bare number in that unit)."""
    targets: list[float | None] = []
    for row in frame.iter_rows(named=True):  # a few a year
        text = row["target"]
        if not text:
            targets.append(None)
            continue
        item = shop.by_characteristic.get(row["characteristic"])
        if item is None:
            raise ShopProblem(f"changes.csv: {row['what']!r} has a target; wanted the characteristic that it is of")
        try:
            bare = not any(letter.isalpha() or letter == '"' for letter in text)
            targets.append(float(text) if bare else amount(text, item.quantity if item.canonical_unit else "plain"))
        except ValueError:
            raise ShopProblem(
                f"changes.csv: target of {row['what']!r} is {text!r}; wanted a number, or one with a unit such as "
                f"'2.1 {item.canonical_unit or 'mm'}'"
            ) from None
    return frame.with_columns(pl.Series("target", targets, dtype=pl.Float64))


def read_climate(folder: Path, shop: Shop) -> pl.DataFrame:
    """tables.CLIMATE of climate.csv: `at` on the shop's clock, rh in %, temperature in the shop's unit. In time order.
    No file: no rows.
    """
    fahrenheit = shop.shop.temperature == "F"
    degrees = (-40, 140 if fahrenheit else 60)
    read_stamp = cache(partial(clock.read_stamp, order="ymd"))  # each cell is asked twice, and rooms share an hour

    def stamp(text: str) -> object:
        read = read_stamp(_needed(text))
        if read is None or not read[2]:
            raise Fault(f"is {text!r}; wanted year-month-day hour:minute")
        if (letters := zone_in(text)) and letters not in letters_of(shop.zone.key):
            raise Fault(f"is {text!r}; wanted a time on the clock of {shop.zone.key}")
        local, utc, _, _ = read
        return local if local is not None else utc.replace(tzinfo=None)  # type: ignore[union-attr]

    def offset(text: str) -> bool:
        read = read_stamp(text)
        return read is not None and read[1] is not None

    readers: dict[str, Cell] = {
        "at": stamp,
        "room": str,
        "rh": lambda text: number_of(text, *SHARES),
        "temperature": lambda text: number_of(text, *degrees),
    }
    schema = tables.CLIMATE | {"at": clock.LOCAL}
    plain = _plain_climate(folder / "climate.csv", degrees)
    frame = (
        _read(
            folder / "climate.csv",
            readers | {"in_utc": offset},
            schema | {"in_utc": pl.Boolean()},
            ("at",),
            copy={"in_utc": "at"},
        )
        if plain is None
        else plain
    )
    at = (
        pl.when("in_utc")
        .then(pl.col("at").dt.replace_time_zone("UTC"))
        .otherwise(clock.to_utc(pl.col("at"), shop.zone))
    )
    frame = frame.with_columns(
        at.alias("at"),
        ((pl.col("temperature") - 32) / 1.8 if fahrenheit else pl.col("temperature")).alias("temperature"),
    )
    return tables.shaped(
        frame.drop_nulls("at").sort("at", "room", maintain_order=True), tables.CLIMATE
    )  # an hour the clock skipped did not happen


def _plain_climate(path: Path, degrees: tuple[float, float]) -> pl.DataFrame | None:
    """The rows of a climate file in which every cell is as it should be, all at once: a logger writes tens of thousands
    a year. None where one is not: then each is read by itself, and what is wrong is said.
    """
    cells = texts_of(path, ("at", "room", "rh", "temperature"), ("at",))
    if cells is None:
        return None
    stamps = clock.read_stamps(cells["at"], "ymd")
    numbers = [cells[name] for name in ("rh", "temperature")]
    read = [column.replace("", None).cast(pl.Float64, strict=False) for column in numbers]
    whole = stamps["has_day"].all() and (stamps["local"].is_not_null() | stamps["utc"].is_not_null()).all()
    for text, number, (low, high) in zip(numbers, read, (SHARES, degrees), strict=True):
        plain = text.str.contains(r"^(-?\d+(\.\d+)?)?$")
        whole = whole and bool(plain.all()) and bool(number.is_between(low, high).fill_null(True).all())
    if not whole:
        return None
    return cells.select(
        stamps["local"].fill_null(stamps["utc"].dt.replace_time_zone(None)).alias("at"),
        "room",
        *read,
        in_utc=stamps["utc"].is_not_null(),
    )


def _read(
    path: Path,
    readers: dict[str, Cell],
    schema: dict[str, pl.DataType],
    required: tuple[str, ...],
    *,
    key: tuple[str, ...] = (),
    copy: dict[str, str] | None = None,
) -> pl.DataFrame:
    """Rows of a side file, each cell read by its column's reader; ShopProblem with a line per fault."""
    if not path.exists():
        return pl.DataFrame(schema=schema)
    rows: list[dict[str, object]] = []
    faults: list[str] = []
    seen: dict[tuple[str, ...], int] = {}
    names = [name for name in readers if name not in (copy or {})]
    told: dict[str, dict[str, object]] = {name: {} for name in readers}  # what a cell says, hundreds of lots say
    for line, cells in rows_of(path, names, required):
        row: dict[str, object] = {}
        for name, read in readers.items():
            text, known = cells[(copy or {}).get(name, name)], told[name]
            try:
                row[name] = known[text] if text in known else known.setdefault(text, read(text))
            except Fault as fault:
                faults.append(f"{path.name}, line {line}: {name} {fault}")
        if key:
            named = tuple(cells[name] for name in key)
            if seen.setdefault(named, line) != line:
                faults.append(
                    f"{path.name}, lines {seen[named]} and {line}: both are {' '.join(named)}; wanted one row a lot"
                )
        rows.append(row)
    if faults:
        raise ShopProblem("\n".join(faults))
    return pl.DataFrame(rows, schema=schema)


def _needed(text: str) -> str:
    if not text:
        raise Fault("is empty; wanted something")
    return text


def _listed(allowed: list[str]) -> Cell:
    def read(text: str) -> str:
        if text and text not in allowed:
            raise Fault(f"is {text!r}; wanted one of {', '.join(dict.fromkeys(allowed))}, or empty")
        return text

    return read

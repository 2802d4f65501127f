"""Cells of measurement columns as readings in canonical units: each distinct text read once, then joined back."""

import math
from dataclasses import dataclass, replace

import polars as pl

from ingest.reading.amounts import Manner
from ingest.reading.cells import Cells
from ingest.reading.frets import choke
from ingest.reading.headings import Column
from ingest.reading.notation import read_cell
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.terms.questions import IMPLAUSIBLE, Asides
from ingest.terms.units import CANONICAL, DECIMALS, factors, unit_of

# A plain decimal of up to three digits before the point is cast, all at once; everything else is read as notation.
_PLAIN = {
    ".": r"^[+-]?(?:[0-9]{1,3}(?:\.[0-9]{1,30})?|\.[0-9]{1,30})$",
    ",": r"^[+-]?(?:[0-9]{1,3}(?:,[0-9]{1,30})?|,[0-9]{1,30})$",
}
_PIECES = {
    "text": pl.String(),
    "number": pl.Float64(),
    "unit": pl.String(),
    "flag": pl.String(),
    "position": pl.String(),
    "moment": pl.String(),
}
_FAULTS = {"text": pl.String(), "reason": pl.String(), "wanted": pl.String()}
FOUND = {
    "row": pl.UInt32(),
    "value": pl.Float64(),
    "raw": pl.String(),
    "unit": pl.String(),
    "flag": pl.String(),
    "position": pl.String(),
    "moment": pl.String(),
}


LARGER = {"thou": "in", "64ths": "in", "32nds": "in", "hundredths of mm": "mm"}  # of units that are counted
TENTH, HALF = 0.1, 0.5


@dataclass(frozen=True)
class Found:
    """Readings of one column (FOUND; row = index into the rows given) and its cells without a reading where one was
    said to be missing.
    """

    readings: pl.DataFrame
    not_taken: int
    larger: int = 0  # bare numbers that were read in a larger unit than the column's
    other_unit: int = 0  # bare numbers beyond what is plausible that would be so in millimetres or inches


def manner_of(column: Column, shop: Shop, log: Log) -> Manner:
    """How the cells of a column are to be read: unit of heading, then of the sheet; positions; gauge."""
    item = shop.by_characteristic[column.characteristic]
    unit = column.unit
    if not unit:
        declared = next(
            (log.units[key] for key in (column.meaning, column.heading, item.key, item.name) if key in log.units), ""
        )
        unit = unit_of(declared, item.quantity) or ""
    bare = column.positions == ("",)
    fills = item.positions if bare and {*item.positions} != {"bass", "treble"} else ()  # two sides: in which order?
    gauges = [gauge for gauge in shop.gauges if item.key in gauge.measures]
    leaves = bool(gauges) and all(gauge.leaves for gauge in gauges)
    return Manner(item.quantity, unit, log.decimal, column.positions, fills, column.moment, leaves, column.reference)


def readings_of(column: Column, rows: pl.DataFrame, shop: Shop, log: Log, asides: Asides, real: pl.DataFrame) -> Found:
    """Readings of one column; cells that cannot be read or believed go to `asides`.

    rows : `row` (UInt32), `line`, `text` (stripped; '' = empty).
    real : line, raw of this column's cells that somebody has said are real.
    """
    manner = manner_of(column, shop, log)
    plausible = shop.by_characteristic[column.characteristic].plausible_range
    plain = _plain_readings(rows, manner)
    if plain.height < rows.height:
        rest = (
            rows.filter(pl.col("text") != "")
            if plain.is_empty()
            else rows.filter((pl.col("text") != "") & ~_is_plain(manner))
        )
        pieces, faults, not_taken = _pieces(rest["text"].unique(maintain_order=True), manner)
        other = rest.join(pieces, on="text", how="inner", maintain_order="left").select(plain.columns)
        plain = pl.concat([plain, other]).sort("row", maintain_order=True) if other.height else plain
        if faults.height:
            _ask(rest.join(faults, on="text", how="inner"), column, asides)
        skipped = rest.filter(pl.col("text").is_in(not_taken)).height if not_taken else 0
    else:
        skipped = 0
    plain, larger = _in_larger(plain, manner, column, asides)
    values = _canonical(plain, manner.quantity)
    readings = _believed(values, column, plausible, manner.quantity, asides, real)
    otherwise = (
        values.filter(_fits_otherwise(manner, plausible)).join(readings.select("row"), on="row", how="anti").height
    )
    return Found(readings.rename({"text": "raw"}).select(list(FOUND)), skipped, larger, otherwise)


OTHER = {"mm": ("in", 25.4), "in": ("mm", 1 / 25.4)}  # what a bare number may have been read in instead


def _fits_otherwise(manner: Manner, plausible: tuple[float, float] | None) -> pl.Expr:
    """Bare numbers beyond what is plausible that lie within it as inches where millimetres are written, and the other
    way round.
    """
    if plausible is None or manner.quantity != "length" or manner.unit not in OTHER:
        return pl.lit(False)
    bare = (pl.col("unit") == manner.unit) & ~pl.col("text").str.contains(r"\p{L}")
    value = pl.col("value")
    other = value * OTHER[manner.unit][1]
    return bare & ~value.is_between(*plausible) & other.is_between(*plausible) & (value != 0)


def _in_larger(plain: pl.DataFrame, manner: Manner, column: Column, asides: Asides) -> tuple[pl.DataFrame, int]:
    """Bare numbers under a tenth in a column that counts thou, 64ths or hundredths are inches or millimetres, `.003`
    among thou: nobody reads so small a part of those. From a tenth to a half is asked. The readings, how many of them.
    """
    larger = LARGER.get(manner.unit, "")
    size = pl.col("number").abs()
    small = (
        (size > 0) & (size < HALF - 1e-12) & (pl.col("unit") == manner.unit) & ~pl.col("text").str.contains(r"\p{L}")
    )
    if not larger or not plain.select(small.any()).item():
        return plain, 0
    asked = plain.filter(small & (size >= TENTH - 1e-12)).unique("row", keep="first", maintain_order=True)
    wanted = f"{larger} or {manner.unit} written behind the number; so small a part of {manner.unit} is never read"
    _ask(asked.with_columns(reason=pl.lit(f"less than half of {manner.unit}"), wanted=pl.lit(wanted)), column, asides)
    kept = plain.join(asked.select("row"), on="row", how="anti", maintain_order="left")
    number = kept.filter(small).height
    return kept.with_columns(unit=pl.when(small).then(pl.lit(larger)).otherwise("unit")), number


def _believed(
    readings: pl.DataFrame,
    column: Column,
    plausible: tuple[float, float] | None,
    quantity: str,
    asides: Asides,
    real: pl.DataFrame,
) -> pl.DataFrame:
    """The readings within the plausible range, or said to be real and flagged so; the cells of the others go to
    `asides`.
    """
    out = _implausible(readings, plausible, quantity)
    if out.is_empty():
        return readings
    said = out.join(real.select("line", pl.col("raw").alias("text")), on=["line", "text"], how="semi").select(
        "row", real=True
    )
    refused = out.join(said, on="row", how="anti")
    _ask(refused, column, asides)
    kept = readings.join(refused, on="row", how="anti", maintain_order="left").join(
        said, on="row", how="left", maintain_order="left"
    )
    return kept.with_columns(flag=pl.when("real").then(_with("real")).otherwise("flag")).drop("real")


def numbers_of(
    column: Column | None, cells: Cells, manner: Manner, bounds: tuple[float, float], asides: Asides
) -> pl.Series:
    """Numbers of a field such as minutes, rh or temperature, row for row; null where empty; what cannot be read or
    believed goes to `asides`.
    """
    nothing = pl.Series("value", [None], dtype=pl.Float64).new_from_index(0, cells.rows.height)
    if column is None:
        return nothing
    rows = cells.long(column)
    if column.unit:
        manner = replace(manner, unit=column.unit)
    rows = rows.filter(pl.col("text") != "")
    pieces, faults, _ = _pieces(rows["text"].unique(maintain_order=True), manner)
    readings = _canonical(rows.join(pieces, on="text", how="inner", maintain_order="left"), manner.quantity)
    _ask(rows.join(faults, on="text", how="inner"), column, asides)
    readings = _believed(
        readings, column, bounds, manner.quantity, asides, pl.DataFrame(schema={"line": pl.Int64, "raw": pl.String})
    )
    return nothing.scatter(readings["row"], readings["value"]) if readings.height else nothing


def read_values(frame: pl.DataFrame, heading_unit: str, shop: Shop, log: Log) -> pl.DataFrame:
    """Values of a gauge study, row for row: number (canonical), unit, reason, wanted ('' where it could be read).

    frame : characteristic, value, unit (text).
    """
    distinct = frame.select("characteristic", "value", "unit").unique(maintain_order=True)
    rows: list[tuple[str, str, str, float | None, str, str, str]] = []
    for characteristic, text, unit_text in distinct.iter_rows():
        item = shop.by_characteristic.get(characteristic)
        unit = unit_of(unit_text, item.quantity) if item else ""
        if item is None or not text:
            rows.append((characteristic, text, unit_text, None, "", "", ""))
        elif unit is None:
            rows.append(
                (characteristic, text, unit_text, None, "", "unit not known", f"{unit_text!r} is no unit of {item.key}")
            )
        else:
            declared = (
                unit
                or unit_of(heading_unit, item.quantity)
                or unit_of(log.units.get(item.key, ""), item.quantity)
                or ""
            )
            cell = read_cell(text, Manner(item.quantity, declared, log.decimal))
            if len(cell.readings) != 1 or math.isnan(cell.readings[0].number):
                rows.append(
                    (
                        characteristic,
                        text,
                        unit_text,
                        None,
                        "",
                        cell.reason or "no single number",
                        cell.wanted or "one reading a row",
                    )
                )
            else:
                top, bottom = factors(cell.readings[0].unit, item.quantity)
                rows.append(
                    (
                        characteristic,
                        text,
                        unit_text,
                        round(cell.readings[0].number * top / bottom, DECIMALS),
                        cell.readings[0].unit,
                        "",
                        "",
                    )
                )
    schema = {
        "characteristic": pl.String,
        "value": pl.String,
        "unit": pl.String,
        "number": pl.Float64,
        "unit_": pl.String,
        "reason": pl.String,
        "wanted": pl.String,
    }
    table = pl.DataFrame(rows, schema=schema, orient="row")
    joined = frame.join(table, on=["characteristic", "value", "unit"], how="left", maintain_order="left")
    return joined.select("number", pl.col("unit_").alias("unit"), "reason", "wanted")


def _with(word: str) -> pl.Expr:
    return pl.when(pl.col("flag") == "").then(pl.lit(word)).otherwise(pl.col("flag") + f";{word}")


def _ask(cells: pl.DataFrame, column: Column, asides: Asides) -> None:
    asides.add_frame(
        cells.select("line", pl.lit(column.heading).alias("column"), pl.col("text").alias("raw"), "reason", "wanted")
    )


def _is_plain(manner: Manner) -> pl.Expr:
    """Cells that hold a plain decimal, which takes the column's unit."""
    return pl.col("text").str.contains(_PLAIN[manner.decimal])


def _plain_readings(rows: pl.DataFrame, manner: Manner) -> pl.DataFrame:
    """The plain decimals of a column, cast all at once: row, line, text and the columns of _PIECES."""
    single = len(manner.positions) == 1 and manner.quantity != "class" and manner.reference is None
    if not single or not (manner.unit or manner.quantity in ("plain", "count")):
        return pl.DataFrame(schema=rows.schema | _PIECES)
    number = pl.col("text").str.replace(",", ".", literal=True) if manner.decimal == "," else pl.col("text")
    flag = pl.when(pl.col("number") == 0).then(pl.lit("below")).otherwise(pl.lit("")) if manner.leaves else pl.lit("")
    return (
        rows.filter(_is_plain(manner))
        .with_columns(number.str.strip_prefix("+").cast(pl.Float64).alias("number"))
        .with_columns(
            pl.lit(manner.unit).alias("unit"),
            flag.alias("flag"),
            pl.lit(manner.positions[0]).alias("position"),
            pl.lit(manner.moment).alias("moment"),
        )
    )


def _pieces(texts: pl.Series, manner: Manner) -> tuple[pl.DataFrame, pl.DataFrame, list[str]]:
    """(readings of each distinct text, its faults, the texts that say no reading was taken)."""
    rows: list[tuple[str, float | None, str, str, str, str]] = []
    faults: list[tuple[str, str, str]] = []
    not_taken: list[str] = []
    for text in texts.to_list():
        cell = read_cell(text, manner)
        if cell.reason:
            faults.append((text, cell.reason, cell.wanted))
        elif not cell.readings:
            not_taken.append(text)
        rows += [
            (text, None if math.isnan(r.number) else r.number, r.unit, r.flag, r.position, r.moment)
            for r in cell.readings
        ]
    return (
        pl.DataFrame(rows, schema=_PIECES, orient="row"),
        pl.DataFrame(faults, schema=_FAULTS, orient="row"),
        not_taken,
    )


def _canonical(pieces: pl.DataFrame, quantity: str) -> pl.DataFrame:
    """`number` in its unit as `value` in canonical units."""
    if quantity == "temperature":
        fahrenheit = (pl.col("number") - 32) / 1.8
        return pieces.with_columns(
            pl.when(pl.col("unit") == "F").then(fahrenheit).otherwise("number").round(DECIMALS).alias("value")
        ).drop("number")
    if pieces.is_empty():
        return pieces.rename({"number": "value"})
    by_unit = {unit: factors(unit, quantity) for unit in pieces["unit"].unique().to_list()}
    if len(by_unit) == 1:
        ((top, bottom),) = by_unit.values()
        value = pl.col("number") * top / bottom
    else:
        top_of = pl.col("unit").replace_strict(
            {unit: float(top) for unit, (top, _) in by_unit.items()}, return_dtype=pl.Float64
        )
        bottom_of = pl.col("unit").replace_strict(
            {unit: float(bottom) for unit, (_, bottom) in by_unit.items()}, return_dtype=pl.Float64
        )
        value = pl.col("number") * top_of / bottom_of
    return pieces.with_columns(value.cast(pl.Float64).round(DECIMALS).alias("value")).drop("number")


def _implausible(readings: pl.DataFrame, plausible: tuple[float, float] | None, quantity: str) -> pl.DataFrame:
    """row, line, text, reason, wanted of the cells with a reading outside the plausible range, each cell once."""
    schema = {name: readings.schema[name] for name in ("row", "line", "text")} | {
        "reason": pl.String(),
        "wanted": pl.String(),
    }
    if (
        plausible is None
        or not readings.select(
            pl.any_horizontal(pl.col("value").min() < plausible[0], pl.col("value").max() > plausible[1])
        ).item()
    ):
        return pl.DataFrame(schema=schema)
    low, high = plausible
    unit = f" {CANONICAL[quantity]}" if quantity in CANONICAL else ""
    beyond = (pl.col("value") < low - 1e-9) | (pl.col("value") > high + 1e-9)
    out = readings.filter(beyond & ~choke(quantity)).unique("row", keep="first", maintain_order=True)
    wanted = pl.format(f"{low:g} to {high:g}{unit}; read as {{}}{unit}: {IMPLAUSIBLE}", pl.col("value").round(6))
    return out.select("row", "line", "text", pl.lit("implausible").alias("reason"), wanted.alias("wanted"))

"""A gauge study: one row a reading of one part by one tech.

A position, in its column or behind the characteristic ('action bass'), belongs to the part: 'P1 bass' and 'P1 treble'
are two parts.
"""

import polars as pl

from ingest.reading.cells import Cells, Refusals
from ingest.reading.headings import Columns, Headings
from ingest.reading.measurements import read_values
from ingest.reading.sheet import Reading
from ingest.shopfiles.shop_parts import Log
from ingest.terms import tables


def read_trials(rows: pl.DataFrame, columns: Columns, reading: Reading) -> pl.DataFrame:
    """tables.GAUGE_TRIALS of a study sheet; a row without study, part, tech, a listed characteristic or a readable
    value is set aside whole.
    """
    cells = Cells(rows, columns)
    refused = Refusals(rows)
    text = {field: cells.text(field) for field in ("study", "part", "tech", "trial", "value", "unit")}
    for field in ("study", "part", "tech", "value"):
        refused.add(text[field] == "", f"no {field}", f"the {field} of every reading")
    keys, places = _measured(cells, reading)
    refused.add(
        keys.is_null() | (keys == ""),
        "characteristic not known",
        f"one of {', '.join(c.key for c in reading.shop.characteristics)}",
    )
    techs, unknown = reading.words.or_as_typed("tech", text["tech"])
    if reading.words.asks_techs:
        for word in unknown:
            reading.note(reading.words.ask("tech", word))
    frame = rows.select("line", pl.int_range(pl.len(), dtype=pl.UInt32).alias("row")).with_columns(
        keys.fill_null("").alias("characteristic"),
        techs.alias("tech"),
        *(text[field].alias(field) for field in ("study", "trial", "value", "unit")),
        part=text["part"] + pl.when(places == "").then(pl.lit("")).otherwise(" " + places),
    )
    heading_unit = (columns.find("value").unit if columns.find("value") else "") or ""  # type: ignore[union-attr]
    values = read_values(frame, heading_unit, reading.shop, reading.log)
    refused.add(values["reason"] != "", values["reason"], values["wanted"])
    keep = refused.settle(reading)
    trials = frame.with_columns(
        pl.lit(reading.log_id).alias("log_id"), raw=pl.col("value"), value=values["number"], unit=values["unit"]
    )
    return tables.shaped(trials if keep is None else trials.filter(keep), tables.GAUGE_TRIALS)


def _measured(cells: Cells, reading: Reading) -> tuple[pl.Series, pl.Series]:
    """(characteristic, null where not known; position) of each row."""
    named, placed = cells.text("characteristic"), cells.text("position")
    keys = reading.words.translate("characteristic", named)
    headings = Headings(reading.shop, Log())
    columns = {word: headings.read(word) for word in named.filter(keys.is_null()).unique().to_list()}
    known = {word: column for word, column in columns.items() if column.field == "reading"}
    if known:
        table = pl.DataFrame(
            {
                "word": list(known),
                "key": [c.characteristic for c in known.values()],
                "at": [c.positions[0] for c in known.values()],
            }
        )
        joined = named.rename("word").to_frame().join(table, on="word", how="left", maintain_order="left")
        keys = joined.select(pl.coalesce(keys, "key")).to_series()
        placed = joined.select(pl.when(placed == "").then(pl.col("at").fill_null("")).otherwise(placed)).to_series()
    return keys, placed

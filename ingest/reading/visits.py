"""Rows of a table as visits, readings and faults: words, times, measurements, all rows at once."""

import polars as pl

from ingest.reading.amounts import Manner
from ingest.reading.bench_clocks import set_right
from ingest.reading.cells import Cells, Refusals
from ingest.reading.checks import failed_checks, of_the_words, uneven
from ingest.reading.fields import CARRIED
from ingest.reading.frets import on_the_neck
from ingest.reading.headings import Column, Columns, plain
from ingest.reading.measurements import numbers_of, readings_of
from ingest.reading.notation import DITTO, NO_READING
from ingest.reading.pieces import ordinal
from ingest.reading.row_text import other_json, text_hash
from ingest.reading.sheet import VISIT_ROWS, Reading, Rows
from ingest.reading.side_by_side import side_by_side
from ingest.reading.stamps import read_times
from ingest.reading.typed_again import tell_typed_again
from ingest.reading.words import Words
from ingest.shopfiles.shop import Shop
from ingest.terms import tables

_DAMAGED = r"^\d(?:[.,]\d+)?[eE]\+?\d+$"  # a serial that a spreadsheet has turned into a power of ten


def read_visits(rows: pl.DataFrame, columns: Columns, reading: Reading) -> Rows:
    """Every row of a visit-a-row table.

    rows : line, c0, c1 ... as `files.Table` has them.
    """
    cells = Cells(rows, columns)
    found = read_rows(cells, columns.readings(), reading, stage=reading.log.stage)
    tell_typed_again(found.visits, cells, reading)
    return found


def read_rows(cells: Cells, measures: list[Column], reading: Reading, *, stage: str, keys_of_row: bool = False) -> Rows:
    """Rows at the stage each names (or at `stage`) as visits, with the readings of `measures`.

    keys_of_row : the times hold for several stages, so a time of day says nothing (an instrument-a-row sheet).
    """
    rows, words, log = cells.rows, reading.words, reading.log
    refused = Refusals(cells.as_typed())
    serial = cells.text("serial")
    refused.add(
        serial.str.contains(_DAMAGED),
        "serial damaged by a spreadsheet",
        "the serial as it stands on the instrument; format the column as text",
    )
    refused.add(
        serial.str.to_lowercase().is_in(list(DITTO)), "ditto mark", "the serial itself: ditto marks are never copied"
    )
    stages = _listed("stage", cells, refused, words, default=stage)
    if not stage:
        refused.add(
            stages == "", "no stage", "the stage in its column, or `stage` in the [[log]] of a sheet of one stage"
        )
    models = _listed("model", cells, refused, words, default=_only_model(reading.shop))
    outcomes = _listed("outcome", cells, refused, words, default=log.empty_outcome)
    _tell_remarks(cells, reading)
    lots = _as_typed("lot", cells, reading)
    receiving = stages.is_in([key for key, role in reading.shop.roles.items() if role == "receiving"])
    refused.add(
        (serial == "") & ~(receiving & (lots != "")),
        "no serial",
        "a serial; only a part at receiving may have a lot in its place",
    )
    times = set_right(read_times(cells, refused, reading, day_only=keys_of_row), stages, reading)
    keep = refused.settle(reading)
    visits = times.with_columns(
        rows["line"].alias("line"),
        serial.alias("serial"),
        stages.alias("stage"),
        models.alias("model"),
        outcomes.alias("outcome"),
        lots,
    )
    if keep is not None:
        visits, cells = visits.filter(keep), cells.kept(keep)
    visits = _with_fields(visits, cells, reading)
    readings = _readings(visits, cells, measures, reading)
    faults = pl.concat(
        [_faults(visits, cells, reading), *failed_checks(visits, readings, reading), *uneven(readings, reading)]
    )
    part = pl.when(pl.col("serial") == "").then(pl.col("lot") + "/" + pl.col("neck")).otherwise(pl.lit(""))
    visits = visits.with_columns(part.alias("part"))
    hashes = text_hash(cells.rows, cells.columns, cells.at, here=not cells.at or cells.at == log.stage)
    visits = visits.with_columns(hashes)
    visits = visits.with_columns(ordinal(visits))
    return Rows(tables.shaped(visits, VISIT_ROWS), readings, faults)


SLIPS = 5  # cells from which on a unit may be another rather than a number mistyped


def _tell_remarks(cells: Cells, reading: Reading) -> None:
    """Say which outcomes were read out of cells that say more, each text once."""
    known = reading.words.by_field["outcome"]
    for text in cells.text("outcome").unique().sort().to_list():
        if text and plain(text) not in known and (meant := reading.words.outcome_before(text)):
            reading.note(f"outcome {text!r} is read as {meant!r}")


def _only_model(shop: Shop) -> str:
    """What a row without a model tells of in a shop of a single model; '' in any other."""
    return shop.models[0].key if len(shop.models) == 1 else ""


def _listed(field: str, cells: Cells, refused: Refusals, words: Words, default: str = "") -> pl.Series:
    """Keys of a field whose unlisted words set the row aside; `default` where empty."""
    text = cells.text(field)
    keys = words.translate(field, text)
    unknown = keys.is_null()
    if unknown.any():
        distinct = text.filter(unknown).unique().to_list()
        table = pl.DataFrame({"text": distinct, "wanted": [words.wanted(field, each) for each in distinct]})
        shown = table.with_columns(reason=pl.format(f"{field} '{{}}' is not known", pl.col("text").str.slice(0, 60)))
        told = text.rename("text").to_frame().join(shown, on="text", how="left", maintain_order="left")
        refused.add(unknown, told["reason"], told["wanted"])
        keys = keys.fill_null("")
    return (
        keys
        if not default
        else keys.to_frame()
        .select(pl.when(pl.col(keys.name) == "").then(pl.lit(default)).otherwise(pl.col(keys.name)).alias(field))
        .to_series()
    )


def _as_typed(field: str, cells: Cells, reading: Reading, times: pl.DataFrame | None = None) -> pl.Series:
    """Cells of a field kept as typed where no word of the shop says better; ditto marks are set aside. times : of the
    rows of techs.
    """
    text = cells.text(field)
    column = cells.column(field)
    if column is None and field == "tech" and not cells.columns.has("tech"):
        text = pl.Series(field, [reading.log.tech], dtype=pl.String).new_from_index(0, text.len())
    elif column is None:
        return text
    ditto = text.str.to_lowercase().is_in(list(DITTO))
    if column is not None and ditto.any():
        reading.asides.add_frame(
            cells.rows.select("line", pl.lit(column.heading).alias("column"))
            .with_columns(
                text.alias("raw"),
                pl.lit("ditto mark").alias("reason"),
                pl.lit("the word itself: ditto marks are never copied").alias("wanted"),
            )
            .filter(ditto)
        )
        text = text.to_frame().select(pl.when(ditto).then(pl.lit("")).otherwise(pl.col(field)).alias(field)).to_series()
    keys, unknown = reading.words.or_as_typed(field, text)
    if {"tech": reading.words.asks_techs, "gauge": reading.words.asks_gauges}.get(field, False):
        for word in unknown:
            near = reading.words.nearest(field, word)
            if near and times is not None and side_by_side(times.with_columns(keys.alias("tech")), word, near):
                near = ""
            reading.note(reading.words.ask(field, word, near))
    if field == "tech":
        for typed, key in pl.DataFrame({"typed": text, "key": keys}).unique().sort("typed").rows():
            if typed != key and typed.isdecimal() and key.isdecimal() and int(typed) == int(key):
                reading.note(f"tech {typed!r} is read as {key!r}")
    return keys


def _with_fields(visits: pl.DataFrame, cells: Cells, reading: Reading) -> pl.DataFrame:
    """The visits with everything else their rows say."""
    shop, log = reading.shop, reading.log
    fields = [
        _as_typed(field, cells, reading, visits if field == "tech" else None)
        for field in ("tech", "neck", *(name for name in CARRIED if name not in ("model", "lot")))
    ]
    places = [_place(field, cells, reading) for field in ("sent_back_to", "cause")]
    numbers = [
        numbers_of(
            cells.column("minutes"), cells, Manner("minutes", "min", log.decimal), (0, 100_000), reading.asides
        ).alias("minutes"),
        numbers_of(cells.column("rh"), cells, Manner("humidity", "%", log.decimal), (0, 100), reading.asides).alias(
            "rh"
        ),
        numbers_of(
            cells.column("temperature"),
            cells,
            Manner("temperature", log.units.get("temperature", shop.shop.temperature), log.decimal),
            (-40, 60),
            reading.asides,
        ).alias("temperature"),
    ]
    places[0] = _behind_outcomes(visits, places[0], cells, reading)
    note = cells.column("note")
    notes = cells.long(note)["text"].alias("note") if note else cells.text("note")
    return visits.with_columns(
        *fields, *places, *numbers, notes, other_json(cells.rows, cells.columns).alias("other")
    ).with_columns(
        pl.lit(reading.log_id).alias("log_id"),
        pl.when(pl.col("minutes").is_null()).then(pl.lit("")).otherwise(pl.lit("typed")).alias("minutes_from"),
    )


def _behind_outcomes(visits: pl.DataFrame, places: pl.Series, cells: Cells, reading: Reading) -> pl.Series:
    """Where each went back to; of a send-back without a place where the cell of its outcome names one: 'back: nut'. No
    visit sends back to its own stage, which 'fail final inspection' names.
    """
    texts = cells.text("outcome")
    silent = (visits["outcome"] == "send back") & (places == "")
    behind = {text: reading.words.place_behind(text) for text in texts.filter(silent).unique().to_list()}
    behind = {text: place for text, place in behind.items() if place}
    if not behind:
        return places
    told = texts.replace_strict(behind, default="", return_dtype=pl.String)
    silent &= (told != "") & (told != visits["stage"])
    for text in texts.filter(silent).unique().sort().to_list():
        reading.note(f"outcome {text!r} is read as sent back to {behind[text]}")
    return told.zip_with(silent, places).rename("sent_back_to")


def _place(field: str, cells: Cells, reading: Reading) -> pl.Series:
    """A stage, supplier, handling or unknown; what is none of them is set aside as a cell."""
    column = cells.column(field)
    text = cells.text(field)
    if column is None:
        return text
    keys = reading.words.translate(field, text)
    unknown = keys.is_null()
    if unknown.any():
        wanted = {each: reading.words.wanted(field, each) for each in text.filter(unknown).unique().to_list()}
        reading.asides.add_frame(
            cells.rows.select("line", pl.lit(column.heading).alias("column"))
            .with_columns(
                text.alias("raw"),
                pl.lit(f"{field} is no stage of the shop").alias("reason"),
                text.replace_strict(wanted, default="").alias("wanted"),
            )
            .filter(unknown)
        )
    return keys.fill_null("").alias(field)


def _readings(visits: pl.DataFrame, cells: Cells, measures: list[Column], reading: Reading) -> list[pl.DataFrame]:
    """tables.READINGS of each measurement column."""
    if not measures or visits.is_empty():
        return []
    gauges = _as_typed("gauge", cells, reading)
    named = cells.column("gauge") is not None
    base = visits.select(
        "line", "serial", "stage", pl.coalesce("finished_at", "started_at").alias("taken_at"), "clock_twice", "came_at"
    )
    two_days = base["came_at"].null_count() < base.height
    both = {column.characteristic for column in measures if column.moment == "left"}
    twice = bool(visits["clock_twice"].any())
    every = pl.int_range(base.height, dtype=pl.UInt32, eager=True)
    not_taken = larger = other_unit = 0
    out: list[pl.DataFrame] = []
    for done, column in enumerate(measures):
        real = reading.settled.filter(pl.col("column") == column.heading)
        texts = on_the_neck(cells.long(column), column, visits["model"], reading)
        texts = of_the_words(texts, column, reading)
        found = readings_of(column, texts, reading.shop, reading.log, reading.asides, real)
        not_taken, larger = not_taken + found.not_taken, larger + found.larger
        other_unit += found.other_unit
        index = found.readings["row"]
        all_rows = base.height == index.len() and bool((index == every).all())
        frame = found.readings.hstack(base if all_rows else base[index]).with_columns(
            pl.lit(reading.log_id).alias("log_id"), pl.lit(column.characteristic).alias("characteristic")
        )
        frame = frame.with_columns(
            _gauges_for(column.characteristic, gauges[index], reading).alias("gauge")
            if named
            else pl.lit("").alias("gauge")
        )
        if twice:
            flagged = (
                pl.when(pl.col("flag") == "").then(pl.lit("clock twice")).otherwise(pl.col("flag") + ";clock twice")
            )
            frame = frame.with_columns(pl.when("clock_twice").then(flagged).otherwise("flag").alias("flag"))
        if two_days:
            before = (pl.col("moment") == "left").any().over("row") | pl.lit(column.characteristic in both)
            came = pl.when((pl.col("moment") == "found") & before).then("came_at")
            frame = frame.with_columns(pl.coalesce(came, "taken_at").alias("taken_at"))
        out.append(tables.shaped(frame, tables.READINGS))
        reading.progress(0.3 + 0.6 * (done + 1) / len(measures), column.heading)
    reading.count(
        larger, "numbers under a tenth of the unit of their column are read in the larger one (.003 as inches)"
    )
    if other_unit >= SLIPS:
        reading.count(
            other_unit,
            "cells are no plausible millimetres and would be plausible inches, or the other way round; were they read "
            "so? Then write the unit behind the number",
        )
    reading.count(not_taken, "cells say that no reading was taken (-, n/a, ok or a tick)")
    return out


def _gauges_for(characteristic: str, gauges: pl.Series, reading: Reading) -> pl.Series:
    """The gauge a row names, where it can measure the characteristic; '' where another of the row's measurements is
    meant.
    """
    others = {gauge.key: "" for gauge in reading.shop.gauges if gauge.measures and characteristic not in gauge.measures}
    return gauges.replace(others) if others else gauges


def _faults(visits: pl.DataFrame, cells: Cells, reading: Reading) -> pl.DataFrame:
    """tables.FAULTS: several in a cell are split at ';', places are dealt out where there are as many."""
    if cells.column("fault") is None:
        return tables.empty(tables.FAULTS)
    known = reading.words.by_field["fault"]
    frame = visits.select("log_id", "line", "serial", "stage").with_columns(
        cells.text("fault").alias("raw"), cells.text("fault_at").alias("fault_at")
    )
    frame = frame.filter(
        (pl.col("raw") != "") & ~(pl.col("raw").str.to_lowercase().is_in(sorted(NO_READING - known.keys())))
    )
    if frame.is_empty():
        return tables.empty(tables.FAULTS)
    frame = frame.with_columns(
        pl.col("raw").str.split(";").alias("fault"), pl.col("fault_at").str.split(";").alias("places")
    )
    dealt = pl.col("places").list.len() == pl.col("fault").list.len()
    spread = pl.concat(
        [
            frame.filter(dealt).explode("fault", "places").with_columns(pl.col("places").alias("fault_at")),
            frame.filter(~dealt).explode("fault").with_columns(pl.lit("").alias("places")),
        ]
    )
    spread = spread.with_columns(pl.col("fault").str.strip_chars(), pl.col("fault_at").str.strip_chars()).filter(
        pl.col("fault") != ""
    )
    keys, unknown = reading.words.or_as_typed("fault", spread["fault"])
    if reading.words.asks_faults:
        for word in unknown:
            reading.note(reading.words.ask("fault", word))
    return tables.shaped(spread.with_columns(keys.alias("fault")).sort("line", maintain_order=True), tables.FAULTS)

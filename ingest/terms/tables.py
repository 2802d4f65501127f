"""Every table by name: its columns, once, with unit and sign.

Canonical units: mm, cents, degrees, minutes, %RH, degC; times UTC. Empty text is '', a number that is not there is
null, never NaN. Rows of `readings` and `faults` belong to the visit with the same (log_id, line, stage).
"""

import numpy as np
import polars as pl

GONE = "told of no longer"  # in place of a column that differs: a newer edition has no such visit
TIME = pl.Datetime("us", "UTC")

LOG_ID = "log_id"  # the first 16 hexadecimal digits of the SHA-256 of the file as it came
LINE = "line"  # line in that file, from 1, quoted line breaks counted; in a workbook the row of the sheet
SERIAL = "serial"  # '' = a part without a serial yet (receiving only)
MODEL = "model"
STAGE = "stage"
TECH = "tech"  # as in the shop's list; kept as typed where unlisted
STARTED_AT = "started_at"  # UTC; local midnight where only the date is known
FINISHED_AT = "finished_at"  # UTC; null where not known
TAKEN_AT = "taken_at"  # UTC: finished_at, else started_at; of a reading its own where its row says so
CHARACTERISTIC = "characteristic"
POSITION = "position"  # '' | string number | bass | treble | 'N fret F'
MOMENT = "moment"  # found | left
# mm, cents, degrees or as the gauge gives it; relief and bow: hollow positive, hump and back-bow negative; sharp
# positive
VALUE = "value"

VISITS: dict[str, pl.DataType] = {
    LOG_ID: pl.String(),
    LINE: pl.Int64(),
    SERIAL: pl.String(),
    MODEL: pl.String(),
    STAGE: pl.String(),
    TECH: pl.String(),
    STARTED_AT: TIME,
    FINISHED_AT: TIME,
    "time_known": pl.Boolean(),
    "minutes": pl.Float64(),  # as typed; null where not typed: the story works out the rest
    "minutes_from": pl.String(),  # 'typed' or ''
    "outcome": pl.String(),  # pass | fixed | send back | hold | second | reject | pulled | return | open
    "sent_back_to": pl.String(),
    "cause": pl.String(),  # a stage, supplier, handling, unknown or ''
    "supplier": pl.String(),
    "lot": pl.String(),
    "neck": pl.String(),
    "job": pl.String(),
    "string_set": pl.String(),
    "grade": pl.String(),
    "hand": pl.String(),
    "rh": pl.Float64(),
    "temperature": pl.Float64(),
    "note": pl.String(),
    "other": pl.String(),
}

READINGS: dict[str, pl.DataType] = {
    LOG_ID: pl.String(),
    LINE: pl.Int64(),
    SERIAL: pl.String(),
    STAGE: pl.String(),
    TAKEN_AT: TIME,
    CHARACTERISTIC: pl.String(),
    POSITION: pl.String(),
    MOMENT: pl.String(),
    VALUE: pl.Float64(),
    "raw": pl.String(),  # the cell as typed
    "unit": pl.String(),  # the unit it was typed in
    "flag": pl.String(),  # words joined by ';': above, below, interval, strong, class, corrected, real ...
    "gauge": pl.String(),
}

FAULTS: dict[str, pl.DataType] = {
    LOG_ID: pl.String(),
    LINE: pl.Int64(),
    SERIAL: pl.String(),
    STAGE: pl.String(),
    "fault": pl.String(),
    "fault_at": pl.String(),
    "raw": pl.String(),
}

LOGS: dict[str, pl.DataType] = {
    LOG_ID: pl.String(),
    "name": pl.String(),
    "rows_read": pl.Int64(),
    "accepted": pl.Int64(),
    "changed": pl.Int64(),
    "already_held": pl.Int64(),
    "set_aside": pl.Int64(),
    "cells_set_aside": pl.Int64(),
    "passed_over": pl.Int64(),
    "loaded_at": TIME,
}

SET_ASIDE: dict[str, pl.DataType] = {  # column '' = the whole row
    LOG_ID: pl.String(),
    "name": pl.String(),
    LINE: pl.Int64(),
    "column": pl.String(),
    "raw": pl.String(),
    "reason": pl.String(),
    "wanted": pl.String(),
}

COLUMNS: dict[str, pl.DataType] = {  # a row a column of a log: what it is taken for, and how much of it was read
    LOG_ID: pl.String(), "heading": pl.String(),
    "field": pl.String(),  # of the visit, or 'reading'; 'other' = nobody has said; on purpose: 'text', 'ignore'
    STAGE: pl.String(),  # of a sheet with a row an instrument, else ''
    CHARACTERISTIC: pl.String(), POSITION: pl.String(), MOMENT: pl.String(),
    "filled": pl.Int64(),  # cells with anything but a dash in them
    "numbers": pl.Int64(),  # of these, cells that begin as a number does
    "aside": pl.Int64(),  # cells that could not be read
}  # fmt: skip

GAUGE_TRIALS: dict[str, pl.DataType] = {  # one row a reading of a gauge study; value canonical
    LOG_ID: pl.String(),
    LINE: pl.Int64(),
    "study": pl.String(),
    CHARACTERISTIC: pl.String(),
    "part": pl.String(),
    TECH: pl.String(),
    "trial": pl.String(),
    VALUE: pl.Float64(),
    "raw": pl.String(),
    "unit": pl.String(),
}

LOTS: dict[str, pl.DataType] = {
    "supplier": pl.String(),
    "lot": pl.String(),
    MODEL: pl.String(),
    "received_on": pl.Date(),
    "quantity": pl.Int64(),
    "rod_state": pl.String(),
    "hours_acclimatised": pl.Float64(),
    "agreed_limit": pl.Float64(),
    "disposition": pl.String(),  # used | sorted | returned | ''
}

CHANGES: dict[str, pl.DataType] = {
    "from_date": pl.Date(),
    "to_date": pl.Date(),
    MODEL: pl.String(),
    STAGE: pl.String(),
    CHARACTERISTIC: pl.String(),
    "what": pl.String(),
    "planned": pl.Boolean(),  # made on purpose; null: not said
    "target": pl.Float64(),  # of a planned change, canonical unit
    "note": pl.String(),
}

CLIMATE: dict[str, pl.DataType] = {"at": TIME, "room": pl.String(), "rh": pl.Float64(), "temperature": pl.Float64()}

SPECS: dict[str, pl.DataType] = {  # canonical units; a limit that is not there is null
    LINE: pl.Int64(),
    CHARACTERISTIC: pl.String(),
    POSITION: pl.String(),
    "family": pl.String(),
    MODEL: pl.String(),
    STAGE: pl.String(),
    "supplier": pl.String(),
    "target": pl.Float64(),
    "lower": pl.Float64(),
    "upper": pl.Float64(),
    "from_date": pl.Date(),
    "agreed_on": pl.Date(),
    "note": pl.String(),
}

# What people decided (book.sqlite, append-only). `sequence` rises by one with every line of the book, whatever its
# table.
_WRITTEN: dict[str, pl.DataType] = {"sequence": pl.Int64(), "at": TIME, "who": pl.String(), "why": pl.String()}

LIMITS_ON_FILE: dict[str, pl.DataType] = (
    _WRITTEN
    | {  # a row a stream; the latest that holds at a reading counts; n 0 = taken off file again
        CHARACTERISTIC: pl.String(),
        POSITION: pl.String(),
        MODEL: pl.String(),
        STAGE: pl.String(),
        TECH: pl.String(),
        "baseline_from": pl.Date(),
        "baseline_to": pl.Date(),
        "holds_from": TIME,
        "centre": pl.Float64(),
        "sigma": pl.Float64(),
        "n": pl.Int64(),
        "left_out": pl.String(),  # JSON list of serials left out of the baseline by a person
    }
)

BENCH_BOOK: dict[str, pl.DataType] = (
    _WRITTEN
    | {  # tied to a signal: stream + opening reading; all '' / null = tied to the week
        "kind": pl.String(),  # cause | action | done | close | reopen | known | note | decision | step
        # | signed off | caused by (text: the stage, supplier or handling; of the send-back of a serial at a stage then)
        CHARACTERISTIC: pl.String(),
        POSITION: pl.String(),
        MODEL: pl.String(),
        STAGE: pl.String(),
        TECH: pl.String(),
        "chart": pl.String(),
        "opened_at": TIME,
        SERIAL: pl.String(),
        "text": pl.String(),
        "owner": pl.String(),
        "due": pl.Date(),
        "until": pl.Date(),
        "week": pl.Date(),
        "done_on": pl.Date(),  # of a line `done`: the day on which it was done
        "about": pl.Int64(),  # the line of the book it is about, where that is a decision
    }
)

TARGETS_BY_HAND: dict[str, pl.DataType] = _WRITTEN | {  # canonical; the latest of a band and tech counts
    CHARACTERISTIC: pl.String(),
    POSITION: pl.String(),
    MODEL: pl.String(),  # the setup where models share one
    STAGE: pl.String(),  # where it is set
    TECH: pl.String(),  # '' = whoever has none of their own
    "target": pl.Float64(),
    "lower": pl.Float64(),
    "upper": pl.Float64(),  # neither end = taken back
}

CORRECTIONS: dict[str, pl.DataType] = _WRITTEN | {  # the latest for a cell counts; undone = the original counts again
    LOG_ID: pl.String(),
    LINE: pl.Int64(),
    "column": pl.String(),
    VALUE: pl.String(),
    "undone": pl.Boolean(),
}

SETTLED: dict[str, pl.DataType] = _WRITTEN | {  # verdict: it is real | keep held | take new
    # | cannot be known | an edition | another log | asked again (the answer before it is taken back)
    LOG_ID: pl.String(),
    LINE: pl.Int64(),
    "column": pl.String(),
    "raw": pl.String(),
    "verdict": pl.String(),
}


WORDS: dict[str, pl.DataType] = _WRITTEN | {  # what a word of the logs means; the latest of a field and word counts
    "field": pl.String(),
    "word": pl.String(),
    "means": pl.String(),
    "undone": pl.Boolean(),
}

WEEKS_REVIEWED: dict[str, pl.DataType] = _WRITTEN | {  # the latest of a week counts
    "week": pl.Date(),  # its first day
    "what": pl.String(),  # reviewed | taken back
    "version": pl.Int64(),  # of the store
    "as_of": TIME,
    "copy_format": pl.Int64(),  # of the copy, which the book keeps beside: the week as it was shown
}


def empty(schema: dict[str, pl.DataType]) -> pl.DataFrame:
    """A table of that schema without a row."""
    return pl.DataFrame(schema=schema)


def shaped(rows: pl.DataFrame, schema: dict[str, pl.DataType]) -> pl.DataFrame:
    """`rows` with exactly the columns of `schema`, in its order and types; absent text is '', all else absent is
    null.
    """
    return pl.DataFrame([_column(rows, name, dtype) for name, dtype in schema.items()])


def _column(rows: pl.DataFrame, name: str, dtype: pl.DataType) -> pl.Series:
    """A column of those rows in its type; by the series itself, since most tables are small and asked for often."""
    absent = "" if dtype == pl.String() else None
    if name not in rows.columns:
        one = pl.Series(name, [absent], dtype=dtype)
        return one.new_from_index(0, rows.height) if rows.height else one.clear()
    column = rows[name] if rows[name].dtype == dtype else rows[name].cast(dtype)
    return column.fill_null(absent) if absent is not None and column.null_count() else column


def coded(texts: pl.Series) -> pl.Series:
    """Texts as categories: each is held once, however many rows say it; they compare and sort as before."""
    return texts.cast(pl.Categorical) if texts.dtype == pl.String() else texts


def rank(texts: pl.Series) -> np.ndarray:
    """The place of each text among the different ones, from 0, in the order of texts; int64 (n,), a null before all."""
    words = coded(texts)
    some = words.drop_nulls().unique()
    code = words.to_physical().cast(pl.Int64).fill_null(-1).to_numpy()
    place = np.zeros(int(code.max(initial=-1)) + 2, dtype=np.int64)  # the last: of a null
    place[some.to_physical().to_numpy()] = some.cast(pl.String).rank("dense").to_numpy() - (words.null_count() == 0)
    return np.asarray(place[code])


def one_key(*parts: np.ndarray) -> np.ndarray:
    """One whole number for each row that sorts as its parts do, the first before all; parts are whole numbers (n,)."""
    key = np.zeros(len(parts[0]), dtype=np.int64)
    for part in parts:
        low = int(part.min(initial=0))
        size = int(part.max(initial=0)) - low + 1
        if (int(key.max(initial=0)) + 1) * size >= 2**62:
            key = np.unique(key, return_inverse=True)[1]
        key = key * size + (part - low)
    return key


def plain(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows whose categories are plain texts again, as a join with a table of texts wants them."""
    return rows.with_columns(pl.col(pl.Categorical).cast(pl.String))

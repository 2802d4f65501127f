"""Readings laid to their visits and put in order, a column at a time."""

from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from analysis.methods.segments import Ints, Rows, lengths
from analysis.studies.story.calendar import local_day
from analysis.studies.story.of_visits import OF_VISIT
from analysis.studies.story.passes import last_before
from ingest.shopfiles.shop import Shop
from ingest.terms import tables

SET = ("set_stage", "set_by", "set_on")
ONLY_LEFT = "only_left"  # what hangs on all readings of a kind of sheet, and so on no visit alone
NAMES = (*tables.READINGS, "part", *OF_VISIT, "visit", "day", *SET, ONLY_LEFT)  # columns of the story's readings
TYPED = ("line", "log_id", "moment")
ROW = ("log_id", "line", "stage")  # what names the visit of a reading
STREAM = ("characteristic", "position", "setup", "stage")
OF_A_SHEET = ["log_id", "stage", "characteristic"]


class Readings:
    """Readings that have a visit, in the order of the story; found and put in order by their keys alone."""

    def __init__(self, read: Callable[[str], pl.Series], told: pl.DataFrame, number: Ints, shop: Shop) -> None:
        """`read` gives a column of the table `readings`; `told`: visits and parts in time order, `number` (n,) the row
        of each among the story's visits, -1 of a part.
        """
        self._read, self._told, self._number, self._shop = read, told, number, shop
        reading, row = _found(read, told)  # of a column of all readings no more stands in memory than is needed
        # parts are sorted as texts are, and have no serial
        serial = narrow(np.where(number >= 0, _ints(told["who"]) + 1, 0))[row]
        stream = tables.one_key(
            *(narrow(tables.rank(read(name)))[reading] for name in ("characteristic", "position")),
            *(narrow(tables.rank(told[name]))[row] for name in ("setup", "stage")),
        )
        stream = narrow(stream)
        typed = typed_key(pl.DataFrame([read(name).gather(reading) for name in TYPED]))
        taken = _ints(read("taken_at").cast(pl.Int64).fill_null(np.iinfo(np.int64).min))[reading]
        order = np.lexsort((typed, serial, taken, stream)).astype(np.int32)
        del typed, serial, taken, stream
        self.reading, self.row = reading[order], row[order]

    def column(self, name: str) -> pl.Series:
        """One of NAMES but ONLY_LEFT, which hangs on all readings of a kind of sheet (`kinds_left`)."""
        told = self._told
        if name in OF_VISIT or name in ("serial", "part"):
            found = told[name].gather(self.row)
        elif name in tables.READINGS:
            found = self._read(name).gather(self.reading)
        elif name == "visit":
            found = pl.Series(self._number[self.row]).replace(-1, None)
        elif name == "day":
            found = self.column("taken_at").to_frame().select(local_day(pl.col("taken_at"), self._shop)).to_series()
        else:
            found = self._set[name]
        return found.alias(name)

    def table(self, names: Iterable[str]) -> pl.DataFrame:
        """Several of them."""
        return pl.DataFrame([self.column(name) for name in names])

    @cached_property
    def _set(self) -> pl.DataFrame:
        """Where each is set, by whom and when (SET)."""
        told, order = self._told, self._shop.bench_order
        pairs = pl.DataFrame([self.column("characteristic"), self.column("family")])
        where = _where_set(self._shop)
        set_stage = pairs.join(where, on=["characteristic", "family"], how="left", maintain_order="left")["set_stage"]
        stage = set_stage.replace_strict(order, default=-1, return_dtype=pl.Int64).to_numpy()
        setter = pl.Series("_setter", last_before(told, self.row, stage, itself=True)).replace(-1, None)
        set_by = told["tech"].gather(setter).fill_null("")
        set_on = pl.when(pl.Series(set_by != "")).then(told["day"].gather(setter)).otherwise(self.column("day"))
        return pl.DataFrame(
            {"set_stage": set_stage.fill_null(""), "set_by": set_by, "set_on": pl.select(set_on).to_series()}
        )


def streams_of(readings: pl.DataFrame) -> pl.DataFrame:
    """The streams of readings that stand stream after stream, in their order: STREAM, and `n` readings; texts.

    readings : STREAM.
    """
    codes = [readings[name].to_physical().to_numpy() for name in STREAM]
    first = np.ones(len(readings), dtype=bool)
    if len(readings):
        first[1:] = np.logical_or.reduce([code[1:] != code[:-1] for code in codes])
    starts = np.flatnonzero(first)
    return tables.plain(readings[starts]).with_columns(n=pl.Series(lengths(starts, len(readings)), dtype=pl.Int64))


def typed_key(keys: pl.DataFrame) -> Ints:
    """Where each stands in what was typed: line, log and moment as one number that sorts so."""
    return tables.one_key(_ints(keys["line"]), *(narrow(tables.rank(keys[name])) for name in ("log_id", "moment")))


def narrow(numbers: Ints) -> npt.NDArray[Any]:
    """Whole numbers from 0 on in the smallest width that holds them."""
    return numbers.astype(np.min_scalar_type(int(numbers.max(initial=0))))


def sheets_of(readings: pl.DataFrame) -> pl.DataFrame:
    """How many readings (`n`) a log has of a characteristic at a stage, and how many of them are `left`; texts.

    readings : moment and OF_A_SHEET.
    """
    left = (pl.col("moment") == "left").sum().cast(pl.Int64)
    return tables.plain(readings.group_by(OF_A_SHEET).agg(n=pl.len().cast(pl.Int64), left=left)).sort(OF_A_SHEET)


def kinds_left(sheets: pl.DataFrame, logs: pl.DataFrame) -> pl.DataFrame:
    """OF_A_SHEET of the readings left at a stage by a kind of sheet that nowhere says what was found of the
    characteristic there: they are the single numbers of their visits. Sheets are of one kind where their names differ
    by numbers alone.

    sheets : as `sheets_of` tells them, of all readings; logs : log_id and name of each log.
    """
    all_left = pl.col("n") == pl.col("left")
    rows = sheets.join(logs.unique("log_id"), on="log_id", how="left", maintain_order="left").with_columns(
        pl.coalesce("name", "log_id").str.replace_all(r"\d+", "").alias("name")
    )
    return rows.filter(all_left.all().over("name", "stage", "characteristic")).select(OF_A_SHEET)


def only_left(readings: pl.DataFrame, kinds: pl.DataFrame) -> pl.Series:
    """Which readings are of those kinds (`kinds_left`). readings : OF_A_SHEET."""
    if kinds.is_empty():
        return pl.Series([False], dtype=pl.Boolean).new_from_index(0, len(readings))
    marks = kinds.with_columns(pl.col(OF_A_SHEET).cast(pl.Categorical), _all=pl.lit(True))
    told = readings.select(OF_A_SHEET).join(marks, on=OF_A_SHEET, how="left", maintain_order="left")
    return told.select(pl.col("_all").fill_null(False)).to_series()


def _found(read: Callable[[str], pl.Series], told: pl.DataFrame) -> tuple[Rows, Rows]:
    """Each reading that has a visit, in their order, and the row of that visit."""
    numbers = [{name: _numbers(of(name)) for name in ROW} for of in (read, told.get_column)]
    wide = [max(int(each[name].max(initial=0)) for each in numbers) + 1 for name in ROW]
    if (
        wide[0] * wide[1] * wide[2] < 2**62
        and min(int(part.min(initial=0)) for e in numbers for part in e.values()) >= 0
    ):
        ours, theirs = (pl.DataFrame({"key": _one_number(each, wide)}) for each in numbers)
    else:
        ours, theirs = (pl.DataFrame([of(name) for name in ROW]) for of in (read, told.get_column))
    at = ours.with_row_index("_reading").join(
        theirs.with_row_index("_row"), on=ours.columns, how="inner", maintain_order="left"
    )
    return _rows(at["_reading"]), _rows(at["_row"])


def _numbers(column: pl.Series) -> npt.NDArray[Any]:
    """The numbers of a column, -1 of none, in a small width; a category has one number wherever it stands."""
    physical = column.to_physical()
    wide = physical.cast(pl.Int64).fill_null(-1) if physical.null_count() or physical.dtype != pl.UInt32 else physical
    found = wide.to_numpy()
    return found if int(found.max(initial=0)) >= 2**31 else found.astype(np.int32)


def _one_number(parts: Mapping[str, npt.NDArray[Any]], wide: list[int]) -> Ints:
    """Parts in one number. wide : one more than the largest of each."""
    key = np.zeros(len(parts[ROW[0]]), dtype=np.int64)
    for name, size in zip(ROW, wide, strict=True):
        key *= size
        key += parts[name]
    return key


def _where_set(shop: Shop) -> pl.DataFrame:
    """The stage that sets each characteristic on each family; '' as family: of parts whose model is not known."""
    families = [*dict.fromkeys(shop.families.values()), ""]
    rows = [(item.key, family, item.set_stage(family)) for item in shop.characteristics for family in families]
    names = ("characteristic", "family", "set_stage")
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String()), orient="row").cast(pl.Categorical)


def _ints(column: pl.Series) -> Ints:
    return np.asarray(column.to_numpy(), dtype=np.int64)


def _rows(column: pl.Series) -> Rows:
    return np.asarray(column.to_numpy(), dtype=np.int32)

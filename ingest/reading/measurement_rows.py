"""A sheet with a row a measurement: what was measured, its value and unit each in a column; visits are many rows.

Rows of one serial at one stage by one tech belong to one visit where they stand on one day, within an hour of each
other, and measure nothing twice; the visit has the line of its first row, each cell that is asked about its own.
`words.what` says what a name measures, as a heading would: `"Saitenlage Bass" = "action bass"`; `position` and `moment`
may have columns of their own. Where two columns hold values, `value found` and `value left`, a row is two readings. An
outcome that differs within a visit is the worst of them.
"""

from dataclasses import replace

import polars as pl

from ingest.reading.cells import Cells
from ingest.reading.headings import Column, Columns, Headings, plain, position_of
from ingest.reading.sheet import Reading, Rows
from ingest.reading.strings_by_tuning import by_tuning
from ingest.reading.visits import read_rows
from ingest.terms import clock
from ingest.terms.questions import Question, short
from ingest.terms.units import spelled, unit_of

AN_HOUR = 3600  # seconds between two rows of one visit at most
A_DAY = 86_400
FIRST_SAID = (
    "sent_back_to",
    "cause",
    "fault_at",
    "model",
    "supplier",
    "lot",
    "neck",
    "job",
    "string_set",
    "grade",
    "hand",
)
WORST_FIRST = ("reject", "second", "send back", "return", "pulled", "hold", "fixed", "pass", "open")
OF_ROW = ("what", "value", "unit", "position", "moment")  # columns that say something of one measurement
_MOMENTS = {
    "found": "found",
    "as found": "found",
    "before": "found",
    "left": "left",
    "as left": "left",
    "after": "left",
}
_NAMED_BY = ("what", "position", "moment", "unit", "nth")  # what tells one thing measured from another


class _Cells(Cells):
    """The cells of visits made of several rows: a measured cell keeps the line it stands on."""

    def as_typed(self) -> pl.DataFrame:
        """The first row of each visit as a person typed it, without the columns made of other rows."""
        made = [column.place for column in self.columns.all if f"l{column.place}" in self.rows.columns]
        return self.rows.drop([f"{letter}{place}" for place in made for letter in "cl"])

    def long(self, column: Column) -> pl.DataFrame:
        """row, line, text of one column."""
        found = super().long(column)
        own = f"l{column.place}"
        return found.with_columns(self.rows[own].alias("line")) if own in self.rows.columns else found


def read_measurements(rows: pl.DataFrame, columns: Columns, reading: Reading) -> Rows:
    """Every row of a measurement-a-row table, gathered into visits; a row that stands twice to the letter, as where a
    page begins with the end of the one before, is one.
    """
    rows = _once(rows, columns, reading)
    cells = Cells(rows, columns)
    named = _each_value(cells, reading)
    meanings = _meanings(named, columns, reading)
    _ask_unknown(named, meanings, columns, reading)
    every = named.join(meanings, on=list(_NAMED_BY), how="left", maintain_order="left")
    keyed = every.filter(pl.col("nth") == 0)  # a row each
    keyed = keyed.with_columns(visit=_visits(keyed))
    every = every.join(keyed.select("row", "visit"), on="row", how="left", maintain_order="left")
    wide = _gathered(keyed, rows, columns, reading)
    wide, pivoted = _wide(wide, every, meanings, columns)
    before = reading.asides.whole_lines()
    own = list(columns.readings())
    keys = tuple(column for column in columns.all if column.field not in OF_ROW)
    gathered = _Cells(wide, Columns((*keys, *pivoted), columns.notes))
    found = read_rows(gathered, [*own, *pivoted], reading, stage=reading.log.stage)
    _ask_whole(keyed, wide, rows, before, reading)
    if found.readings:
        found.readings[len(own) :] = _at_their_moment(found.readings[len(own) :], wide, pivoted, keyed)
    return found


def _at_their_moment(
    frames: list[pl.DataFrame], wide: pl.DataFrame, pivoted: list[Column], keyed: pl.DataFrame
) -> list[pl.DataFrame]:
    """The readings of each column of a visit, each taken when its own row says and not when the first one does."""
    at = keyed.select("line", "at")
    out = []
    for frame, column in zip(frames, pivoted, strict=True):
        lines = wide.select("line", own=f"l{column.place}").join(at, on="line", how="left")
        later = lines.join(at, left_on="own", right_on="line", how="left", suffix="_own")
        since = pl.duration(seconds=(pl.col("at_own") - pl.col("at")).fill_null(0))
        told = frame.join(later.select("line", since=since), on="line", how="left", maintain_order="left")
        out.append(told.with_columns(pl.col("taken_at") + pl.col("since")).drop("since"))
    return out


def _each_value(cells: Cells, reading: Reading) -> pl.DataFrame:
    """A row for each value of each row: `nth` column of values, what the row says of it, whose visit it may be of."""
    columns = cells.columns.values()
    told = cells.rows.select("line").with_columns(
        *(cells.text(field).alias(field) for field in OF_ROW if field != "position"),
        by_tuning(cells, reading).alias("position"),
        *(cells.text(field).alias(f"of {field}") for field in ("serial", "stage", "tech")),
        seconds_of(cells, reading).alias("at"),
        pl.int_range(pl.len(), dtype=pl.UInt32).alias("row"),
    )
    moment = cells.columns.find("moment")
    if moment is not None and len(columns) > 1:
        names = " and ".join(repr(column.heading) for column in columns)
        reading.note(f"{moment.heading!r} is not asked for found or left: {names} say it themselves")
        told = told.with_columns(moment=pl.lit(""))
    each = [
        told.with_columns(cells.filled(column).alias("value"), nth=pl.lit(nth, pl.UInt32))
        for nth, column in enumerate(columns)
    ]
    return pl.concat(each)


def _once(rows: pl.DataFrame, columns: Columns, reading: Reading) -> pl.DataFrame:
    """The rows without those that repeat an earlier one in every cell, where each says its time of day."""
    clocked = pl.Series(seconds_of(Cells(rows, columns), reading) % A_DAY != 0).fill_null(False)
    copies = rows.drop("line").hash_rows() if clocked.any() else pl.Series(dtype=pl.UInt64)
    if not copies.is_duplicated().any():
        return rows
    copy = ~rows.drop("line").select(pl.struct(pl.all()).is_first_distinct().alias("copy"))["copy"] & clocked
    reading.copies += int(copy.sum())
    reading.count(int(copy.sum()), "rows repeat an earlier one to the letter and count once")
    return rows.filter(~copy)


def visit_keys(rows: pl.DataFrame, columns: Columns, reading: Reading) -> pl.Series:
    """A number of each row; rows of one visit have the same, for they are of one serial and day."""
    cells = Cells(rows, columns)
    day = (seconds_of(cells, reading) // A_DAY).alias("day")
    return pl.DataFrame([cells.text("serial"), day]).select(pl.struct(pl.all()).hash().alias("visit")).to_series()


def seconds_of(cells: Cells, reading: Reading) -> pl.Series:
    """Seconds since 1970 of each row on the sheet's own clock, by date and start or finish; null where unreadable."""
    order = reading.log.date_order
    stamps = [clock.read_stamps(cells.text(field), order) for field in ("date", "started_at", "finished_at")]
    days, of_day = [], []
    for n in range(3):
        local = pl.col(f"local{n}")
        days.append(pl.when(pl.col(f"has_day{n}")).then(local.dt.truncate("1d")))
        of_day.append(pl.when(pl.col(f"has_clock{n}")).then(local - local.dt.truncate("1d")))
    frame = pl.concat(
        [
            stamp.select(
                pl.coalesce("local", pl.col("utc").dt.replace_time_zone(None)).alias(f"local{n}"),
                "has_day",
                "has_clock",
            ).rename({"has_day": f"has_day{n}", "has_clock": f"has_clock{n}"})
            for n, stamp in enumerate(stamps)
        ],
        how="horizontal",
    )
    moment = pl.coalesce(*days) + pl.coalesce(*of_day).fill_null(pl.duration(minutes=0))
    return frame.select(moment.dt.epoch("s")).to_series()


def _meanings(named: pl.DataFrame, columns: Columns, reading: Reading) -> pl.DataFrame:
    """For each distinct what, position, moment and unit: the column it makes, null where it makes none."""
    headings = Headings(reading.shop, reading.log)
    own = {plain(word): meaning for word, meaning in reading.log.words.get("what", {}).items()}
    values = columns.values()
    rows = []
    for what, position, moment, unit, nth in named.select(*_NAMED_BY).unique(maintain_order=True).rows():
        column = headings.read(own.get(plain(what), what)) if what else None
        fault = "" if column is None or column.field in ("reading", "ignore") else "measurement not known"
        made = column if column is not None and column.field == "reading" else None
        if made is not None:
            if len(values) > 1 or values[nth].moment == "left":
                made = replace(made, moment=values[nth].moment)
            made, fault = _with_row(made, position, moment, unit or values[nth].unit, reading)
        meaning = "" if made is None else f"{made.meaning} [{made.unit}]"
        ignored = column is not None and column.field == "ignore"
        rows.append((what, position, moment, unit, nth, meaning, fault, ignored, made))
    kinds: dict[str, type[pl.DataType]] = dict.fromkeys((*_NAMED_BY, "meaning", "fault"), pl.String)
    kinds |= {"nth": pl.UInt32, "ignored": pl.Boolean, "column": pl.Object}
    return pl.DataFrame({name: [row[place] for row in rows] for place, name in enumerate(kinds)}, schema=kinds)


def _with_row(column: Column, position: str, moment: str, unit: str, reading: Reading) -> tuple[Column | None, str]:
    """The column of a measurement with what its row says of place, moment and unit; a fault where it cannot be read."""
    words = reading.log.words
    if position:
        meant = {plain(word): place for word, place in words.get("position", {}).items()}.get(plain(position))
        place = position_of(position) if meant is None else meant
        if place is None:
            return None, "string not known" if " of " in position else "position not known"
        column = replace(column, positions=(place,)) if place else column
    if moment:
        meant = {plain(word): each for word, each in words.get("moment", {}).items()}.get(plain(moment))
        when = meant or _MOMENTS.get(plain(moment))
        if when is None:
            return None, "moment not known"
        column = replace(column, moment=when)
    if unit:
        quantity = reading.shop.by_characteristic[column.characteristic].quantity
        known = unit_of(unit, quantity)
        if known is None:
            return None, "unit not known"
        column = replace(column, unit=known)
    return column, ""


def _ask_unknown(named: pl.DataFrame, meanings: pl.DataFrame, columns: Columns, reading: Reading) -> None:
    """Cells whose name, place, moment or unit is not known are set aside, each name told once."""
    faults = meanings.drop("column").filter(pl.col("fault") != "")
    if faults.is_empty():
        return
    cells = named.join(faults, on=list(_NAMED_BY), how="inner", maintain_order="left")
    filled = pl.col("value") != ""  # of several values of a row the empty ones ask nothing
    cells = cells.filter(filled | ((pl.col("nth") == 0) & ~filled.any().over("row")))
    headings = {nth: column.heading for nth, column in enumerate(columns.values())}
    known = ", ".join(item.key for item in reading.shop.characteristics)
    said_of = {
        "unit not known": f"a unit such as {spelled('length')}",
        "measurement not known": f"one of {known}, or a word for it under words.what",
        "position not known": "bass, treble or a string's number, or a word under words.position",
        "string not known": 'its strings from the highest number down, tuning = "G C E A" in the [[model]]',
        "moment not known": "found or left, or a word under words.moment",
    }
    wanted = pl.col("fault").replace_strict(said_of, return_dtype=pl.String)
    said = pl.concat_str("what", "position", "moment", "value", "unit", separator=" ").str.replace_all(r"\s+", " ")
    reading.asides.add_frame(
        cells.select(
            "line",
            pl.col("nth").replace_strict(headings, return_dtype=pl.String).alias("column"),
            said.alias("raw"),
            pl.col("fault").alias("reason"),
            wanted.alias("wanted"),
        )
    )


def _visits(keyed: pl.DataFrame) -> pl.Series:
    """Which visit each row belongs to, numbered by first line."""
    who = ["of serial", "of stage", "of tech"]
    ordered = keyed.select("row", *who, "at", "meaning").sort(*who, "at", "row", maintain_order=True, nulls_last=True)
    new = pl.any_horizontal(pl.col(name) != pl.col(name).shift(1) for name in who)
    apart = (pl.col("at") - pl.col("at").shift(1) > AN_HOUR) | (pl.col("at") // A_DAY != pl.col("at").shift(1) // A_DAY)
    ordered = ordered.with_columns(
        block=(new | apart.fill_null(False) | (pl.col("at").is_null() != pl.col("at").shift(1).is_null()))
        .fill_null(True)
        .cum_sum()
    )
    again = pl.int_range(pl.len(), dtype=pl.UInt32).over("block", "meaning")
    ordered = ordered.with_columns(again=pl.when(pl.col("meaning").fill_null("") != "").then(again))
    ordered = ordered.with_columns(pl.col("again").forward_fill().over("block").fill_null(0))  # a result: of the last
    first = pl.col("row").min().over("block", "again")
    return ordered.with_columns(first=first).sort("row")["first"].rename("visit")


def _wide(
    wide: pl.DataFrame, every: pl.DataFrame, meanings: pl.DataFrame, columns: Columns
) -> tuple[pl.DataFrame, list[Column]]:
    """A row a visit: the cells of its first row, and a column for each thing measured with the line of each cell."""
    made: list[Column] = []
    wide_as_typed = wide.width - 2
    by_meaning = {row["meaning"]: (row["column"], row["nth"]) for row in meanings.iter_rows(named=True)}
    for meaning, (column, nth) in by_meaning.items():
        if not meaning:
            continue
        place = wide_as_typed + len(made)
        mine = every.filter((pl.col("meaning") == meaning) & (pl.col("value") != ""))
        cells = mine.select("visit", pl.col("value").alias(f"c{place}"), pl.col("line").alias(f"l{place}"))
        wide = wide.join(cells.unique("visit", keep="first"), on="visit", how="left", maintain_order="left")
        wide = wide.with_columns(pl.col(f"c{place}").fill_null(""), pl.col(f"l{place}").fill_null(pl.col("line")))
        made.append(replace(column, place=place, heading=columns.values()[nth].heading))
    lines = [f"l{column.place}" for column in made]
    return wide.select(*(name for name in wide.columns if name not in (*lines, "visit")), *lines), made


def _gathered(keyed: pl.DataFrame, rows: pl.DataFrame, columns: Columns, reading: Reading) -> pl.DataFrame:
    """The first row of each visit with what its rows say together: the worst outcome, every fault and note once, of the
    rest the first that says something, as where only the row that failed says where the instrument went back to.
    """
    visit = keyed.select("visit")
    firsts = keyed["visit"].unique().sort()
    wide = rows[firsts].with_columns(visit=firsts)
    for field in ("outcome", "fault", "note", *FIRST_SAID):
        column = columns.find(field)
        if column is None:
            continue
        cell = f"c{column.place}"
        told = pl.concat([visit, rows.select(cell)], how="horizontal").filter(pl.col(cell) != "")
        if field == "outcome":
            keys = reading.words.translate("outcome", told[cell]).fill_null("")
            rank = {word: place for place, word in enumerate(WORST_FIRST)}
            told = told.with_columns(rank=keys.replace_strict(rank, default=-1, return_dtype=pl.Int64))
            told = told.sort("visit", "rank", maintain_order=True).unique("visit", keep="first", maintain_order=True)
        elif field in FIRST_SAID:
            told = told.unique("visit", keep="first", maintain_order=True)
        else:
            joined = pl.col(cell).unique(maintain_order=True).str.join("; ")
            told = told.group_by("visit", maintain_order=True).agg(joined)
        wide = wide.drop(cell).join(told.select("visit", cell), on="visit", how="left", maintain_order="left")
        wide = wide.with_columns(pl.col(cell).fill_null(""))
    return wide.select("line", *(f"c{place}" for place in range(rows.width - 1)), "visit")


def _ask_whole(
    keyed: pl.DataFrame, wide: pl.DataFrame, rows: pl.DataFrame, before: pl.Series, reading: Reading
) -> None:
    """Where a visit was set aside whole, so are the other rows it was made of, for the same reason."""
    lines = reading.asides.whole_lines()
    new = lines.filter(~lines.is_in(before.implode())) if before.len() else lines
    if new.is_empty():
        return
    told = {
        line: (reason, wanted)
        for frame in reading.asides.frames
        for line, column, reason, wanted in frame.select("line", "column", "reason", "wanted").rows()
        if column == ""
    }
    firsts = wide.select("line").filter(pl.col("line").is_in(new.implode()))
    visit_of = keyed.select("line", "visit")
    mine = visit_of.join(firsts, on="line", how="semi").rename({"line": "first"})
    others = visit_of.join(mine, on="visit", how="inner").filter(pl.col("line") != pl.col("first"))
    for line, first in others.select("line", "first").rows():
        whole = rows.filter(pl.col("line") == line).row(0)[1:]
        reading.asides.add(Question(line, "", short(" | ".join(whole).rstrip(" |")), *told[first]))

"""Every instrument's story, worked out once per snapshot: passes, rounds, who set what, loops, causes, what is judged.

All studies begin here: `snapshot.once(story)`. Nothing of it is stored, since logs arrive late and out of order.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Ints
from analysis.studies.story.calendar import local_day, week_of
from analysis.studies.story.instruments import instruments_of
from analysis.studies.story.passes import last_before, with_minutes, with_passes
from analysis.studies.story.time_order import visits_in_order
from analysis.studies.story.walks import with_loops
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

ELSEWHERE = ("supplier", "handling", "unknown")  # causes that are no stage
ANSWERED = ("send back", "fixed", "reject")  # outcomes that ask for a cause
CAUSED_BY = (
    "caused by"  # kind of line of the bench book: where a send-back was caused, confirmed after the log was written
)
OF_VISIT = ("model", "setup", "family", "supplier", "lot", "neck", "round", "pass_no", "first_pass", "role", "outcome",
            "tech")  # fmt: skip
OF_A_SHEET = ["log_id", "stage", "characteristic"]
SEVERAL = r"[/+&,]"  # between the names of a visit that two worked on


@dataclass(frozen=True)
class Story:
    """The tables of every study. `visit` is the row of `visits`; times are UTC, days and weeks are those of the clock
    on the wall. Texts of `visits` and `readings` are categories but for serial, part and neck (`tables.plain` makes
    them texts again, where they are joined with a table of texts); those of the other tables are texts.
    """

    visits: pl.DataFrame
    """A row a visit of an instrument, sorted by serial as text and time order: the columns of tables.VISITS, carried
    ones (model, supplier, lot, neck, job, string_set, grade, hand) filled for all the serial's visits, and

    visit Int64 · taken_at · day, week Date · bench_order Int64 · role, family, setup · round Int32 · pass_no Int32
    (at this stage in this round) · first_pass Bool (the first pass of round 1) · outcome settled, outcome_typed as
    typed · minutes, minutes_from worked out · sent_to (sent_back_to where it is a stage, supplier or handling) ·
    caused_at, confirmed, fault (the first; '' none; of visits that ask for a cause, else '', False) · loop Int64 or
    null (innermost loop open when it began) · loop_minutes (its minutes where they are the loop's, else 0).
    """

    readings: pl.DataFrame
    """A row a reading, sorted by characteristic, position, setup, stage, then time order (taken_at, serial, line):
    the columns of tables.READINGS, and visit (null: a part without an instrument) · part (the serial, else the neck
    or the line: one text a part) · model, setup, family, supplier, lot, neck · round, pass_no, first_pass, role,
    outcome · tech (who took it) · set_stage (where it is set on this family, '' nowhere) · set_by ('' unknown) ·
    set_on Date (the day it was set where the setter is known, else the day it was read: the date for specs.csv) ·
    day. Of parts without a serial, serial is '' unless a visit named their neck.
    """

    faults: pl.DataFrame
    """A row a fault: tables.FAULTS, and visit, model, setup, family, supplier, lot, round, outcome, caused_at,
    confirmed, day, week, taken_at.
    """

    instruments: pl.DataFrame
    """A row an instrument: see instruments.instruments_of."""

    loops: pl.DataFrame
    """A row a send-back: loop (its row) · serial, model, setup, family, supplier, lot · visit, round · caught_at,
    sent_to, caused_at (a stage, supplier, handling or unknown), confirmed Bool · fault (the first, '' none) · tech
    (who sent it back) · charged, charged_visit (see `caused`) · opened_at, opened_day, opened_week · closing_visit,
    closed_at (null while open) · closed_by ('stage', an ending outcome, 'round', 'lost', '') · open Bool · minutes,
    hours, cost (so far while open) · parent (the loop it was opened in, or null).
    """

    caused: pl.DataFrame
    """A row a send-back, fix or reject: visit, serial, model, setup, family, supplier, lot, round, kind (the
    outcome), caught_at, caused_at, confirmed, fault, taken_at, day, week, tech (who found it), charged_visit (the
    last visit at the stage that caused it before it, or null), charged (its tech; '' where nobody, or two names,
    stand there).
    """


def story(snapshot: Snapshot) -> Story:
    """The story of all instruments of a snapshot up to its `as_of`; ask for it with `snapshot.once(story)`."""
    shop = snapshot.shop
    told = with_minutes(with_passes(visits_in_order(snapshot)), shop)
    with_parts = told.with_columns(week_of(pl.col("day"), shop).alias("week"))
    own = (with_parts["serial"] != "").to_numpy()
    visits = (
        with_parts.filter(pl.Series(own))
        .drop("part")
        .with_row_index("visit")
        .with_columns(pl.col("visit").cast(pl.Int64))
    )
    faults = snapshot.coded("faults")
    visits = _with_causes(_with_word(visits, snapshot), faults, shop)
    visits, loops = with_loops(visits, snapshot)
    caused = _caused(visits, shop)
    return Story(
        visits=visits.drop("who"),
        readings=_readings(snapshot, with_parts, own),
        faults=_faults(faults, visits),
        instruments=tables.plain(instruments_of(visits, snapshot)),
        loops=loops.join(
            caused.select("visit", "charged", "charged_visit"), on="visit", how="left", maintain_order="left"
        ),
        caused=caused,
    )


def _with_word(visits: pl.DataFrame, snapshot: Snapshot) -> pl.DataFrame:
    """Lays over `cause` what somebody confirmed later in the bench book, the latest word of each visit; an empty one
    takes the word before it back.
    """
    said = snapshot.lines(CAUSED_BY)
    if said.is_empty():
        return visits
    key = ["serial", "stage", "taken_at"]
    latest = said.sort("sequence").unique(["serial", "stage", "opened_at"], keep="last", maintain_order=True)
    latest = latest.with_columns(tables.coded(latest["stage"]))
    word = latest.select("serial", "stage", pl.col("opened_at").alias("taken_at"), pl.col("text").alias("_word"))
    told = visits.join(word, on=key, how="left", maintain_order="left")
    known = pl.col("_word").fill_null("") != ""
    return told.with_columns(cause=pl.when(known).then("_word").otherwise("cause")).drop("_word")


def _with_causes(visits: pl.DataFrame, faults: pl.DataFrame, shop: Shop) -> pl.DataFrame:
    """Adds sent_to, caused_at, confirmed and fault."""
    first = faults.group_by("log_id", "line", "stage", maintain_order=True).agg(pl.col("fault").first())
    places = [*shop.bench_order, "supplier", "handling"]
    confirmed = pl.col("cause").is_in(places)
    sent_to = pl.when(pl.col("sent_back_to").is_in(places)).then("sent_back_to").otherwise(pl.lit(""))
    known = pl.when(confirmed).then("cause").when(sent_to != "").then(sent_to).otherwise(pl.lit("unknown"))
    asked = pl.col("outcome").is_in(ANSWERED) | pl.col("outcome").is_in(["second", "return"])
    return visits.join(first, on=["log_id", "line", "stage"], how="left", maintain_order="left").with_columns(
        pl.col("fault").fill_null(""),
        sent_to.alias("sent_to"),
        pl.when(asked).then(known).otherwise(pl.lit("")).alias("caused_at"),
        (asked & confirmed).alias("confirmed"),
    )


def _caused(visits: pl.DataFrame, shop: Shop) -> pl.DataFrame:
    events = visits.filter(pl.col("outcome").is_in(ANSWERED))
    stage = events["caused_at"].replace_strict(shop.bench_order, default=-1, return_dtype=pl.Int64).to_numpy()
    charged = pl.Series("charged_visit", last_before(visits, _ints(events["visit"]), stage, itself=False)).replace(
        -1, None
    )
    tech = visits["tech"].gather(charged).fill_null("").cast(pl.String)
    several = tech.str.contains(SEVERAL)
    told = events.select(
        "visit",
        "serial",
        "model",
        "setup",
        "family",
        "supplier",
        "lot",
        "round",
        pl.col("outcome").alias("kind"),
        pl.col("stage").alias("caught_at"),
        "caused_at",
        "confirmed",
        "fault",
        "taken_at",
        "day",
        "week",
        "tech",
        charged,
        pl.select(pl.when(several).then(pl.lit("")).otherwise(tech)).to_series().alias("charged"),
    )
    return tables.plain(told)


def _faults(faults: pl.DataFrame, visits: pl.DataFrame) -> pl.DataFrame:
    told = visits.select(
        "log_id",
        "line",
        "stage",
        "visit",
        pl.col("serial").alias("_serial"),
        "model",
        "setup",
        "family",
        "supplier",
        "lot",
        "round",
        "outcome",
        "caused_at",
        "confirmed",
        "day",
        "week",
        "taken_at",
    )
    joined = faults.join(told, on=["log_id", "line", "stage"], how="inner", maintain_order="left")
    told = joined.with_columns(pl.col("_serial").alias("serial")).drop("_serial").sort("visit", maintain_order=True)
    return tables.plain(told)


def _readings(snapshot: Snapshot, told: pl.DataFrame, own: np.ndarray) -> pl.DataFrame:
    """Readings with their visit; `told`: visits and parts in time order, `own` (n,) those of an instrument.

    Found and put in order by their keys alone, so that no column stands in memory twice.
    """
    shop = snapshot.shop
    read = snapshot.coded("readings")
    reading, row = _found(read, told)
    serial = np.where(own, _ints(told["who"]), -1)[row]  # parts are sorted as texts are, and have no serial
    stream = tables.one_key(
        *(tables.rank(read[name])[reading] for name in ("characteristic", "position")),
        *(tables.rank(told[name])[row] for name in ("setup", "stage")),
    )
    typed = tables.one_key(
        _ints(read["line"].gather(reading)), *(tables.rank(read[name])[reading] for name in ("log_id", "moment"))
    )
    taken = _ints(read["taken_at"].cast(pl.Int64).fill_null(np.iinfo(np.int64).min))[reading]
    order = np.lexsort((typed, serial, taken, stream))
    reading, row = reading[order], row[order]
    columns = {
        name: told[name].gather(row) if name == "serial" else read[name].gather(reading) for name in tables.READINGS
    }
    del read, typed, taken, stream, serial, order  # what found the order stands in memory no longer
    columns["part"] = told["part"].gather(row)
    columns |= {name: told[name].gather(row) for name in OF_VISIT}
    columns["visit"] = pl.Series(np.where(own, np.cumsum(own) - 1, -1)[row]).replace(-1, None)
    columns["day"] = columns["taken_at"].to_frame().select(local_day(pl.col("taken_at"), shop)).to_series()
    where = _where_set(shop)
    pairs = pl.DataFrame([columns["characteristic"], columns["family"]])
    set_stage = pairs.join(where, on=["characteristic", "family"], how="left", maintain_order="left")["set_stage"]
    stage = set_stage.replace_strict(shop.bench_order, default=-1, return_dtype=pl.Int64).to_numpy()
    setter = pl.Series("_setter", last_before(told, row, stage, itself=True)).replace(-1, None)
    set_by = told["tech"].gather(setter).fill_null("")
    set_on = pl.when(pl.Series(set_by != "")).then(told["day"].gather(setter)).otherwise(columns["day"])
    columns |= {"set_stage": set_stage.fill_null(""), "set_by": set_by, "set_on": pl.select(set_on).to_series()}
    columns["only_left"] = _only_left(pl.DataFrame([columns[name] for name in ("moment", *OF_A_SHEET)]), snapshot)
    return pl.DataFrame([each.alias(name) for name, each in columns.items()])


def _only_left(readings: pl.DataFrame, snapshot: Snapshot) -> pl.Series:
    """Readings left at a stage by a kind of sheet that nowhere says what was found of the characteristic there: they
    are the single numbers of their visits. Sheets are of one kind where their names differ by numbers alone.

    readings : moment and OF_A_SHEET.
    """
    never = pl.Series([False], dtype=pl.Boolean).new_from_index(0, len(readings))
    rows = readings.group_by(OF_A_SHEET).agg((pl.col("moment") == "left").all().alias("_all"))
    if not rows["_all"].any():
        return never
    names = snapshot.table("logs", "log_id", "name").unique("log_id")
    rows = (
        tables.plain(rows)
        .join(names, on="log_id", how="left")
        .with_columns(pl.coalesce("name", "log_id").str.replace_all(r"\d+", "").alias("name"))
    )
    kinds = rows.with_columns(pl.col("_all").all().over("name", "stage", "characteristic")).filter("_all")
    if kinds.is_empty():
        return never
    kinds = kinds.select(pl.col(OF_A_SHEET).cast(pl.Categorical), "_all")
    told = readings.join(kinds, on=OF_A_SHEET, how="left", maintain_order="left")
    return told.select(pl.col("_all").fill_null(False)).to_series()


def _found(read: pl.DataFrame, told: pl.DataFrame) -> tuple[Ints, Ints]:
    """Each reading that has a visit, in their order, and the row of that visit."""
    numbers = [
        [_ints(rows[name].to_physical().cast(pl.Int64).fill_null(-1)) for name in ("log_id", "stage", "line")]
        for rows in (read, told)
    ]  # a category has one number wherever it stands
    wide = [max(int(part.max(initial=0)) for part in parts) + 1 for parts in zip(*numbers, strict=True)]
    if (
        wide[0] * wide[1] * wide[2] < 2**62
        and min(int(part.min(initial=0)) for parts in numbers for part in parts) >= 0
    ):
        key = ["key"]
        ours, theirs = (pl.DataFrame({"key": (log * wide[1] + stage) * wide[2] + line}) for log, stage, line in numbers)
    else:
        key = ["log_id", "line", "stage"]
        ours, theirs = read.select(key), told.select(key)
    at = ours.with_row_index("_reading").join(theirs.with_row_index("_row"), on=key, how="inner", maintain_order="left")
    return _ints(at["_reading"]), _ints(at["_row"])


def _where_set(shop: Shop) -> pl.DataFrame:
    """The stage that sets each characteristic on each family; '' as family: of parts whose model is not known."""
    families = [*dict.fromkeys(shop.families.values()), ""]
    rows = [(item.key, family, item.set_stage(family)) for item in shop.characteristics for family in families]
    names = ("characteristic", "family", "set_stage")
    return pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String()), orient="row").cast(pl.Categorical)


def _ints(column: pl.Series) -> Ints:
    return np.asarray(column.to_numpy(), dtype=np.int64)

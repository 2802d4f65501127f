"""What is derived of visits: passes, rounds, loops, causes, what stands of each instrument."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints
from analysis.studies.story.calendar import week_of
from analysis.studies.story.instruments import OF_INSTRUMENT, instruments_of
from analysis.studies.story.passes import last_before, with_minutes, with_passes
from analysis.studies.story.time_order import visits_in_order
from analysis.studies.story.unclocked import WAY
from analysis.studies.story.walks import with_loops
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

ELSEWHERE = ("supplier", "handling", "unknown")  # causes that are no stage
ANSWERED = ("send back", "fixed", "reject")  # outcomes that ask for a cause
CAUSED_BY = (
    "caused by"  # kind of line of the bench book: where a send-back was caused, confirmed after the log was written
)
SEVERAL = r"[/+&,]"  # between the names of a visit that two worked on
# of a visit what its readings say of it, and what else they are laid to it by
OF_VISIT = ("model", "setup", "family", "supplier", "lot", "neck", "round", "pass_no", "first_pass", "role", "outcome",
            "tech")  # fmt: skip
TOLD = tuple(dict.fromkeys((*WAY, "serial", "part", "who", "stage", "day", *OF_VISIT)))


@dataclass(frozen=True)
class OfVisits:
    """Tables of the story that no reading goes into (story.Story), and what its readings are laid to."""

    told: pl.DataFrame  # TOLD of every visit, of parts without an instrument too, by `part` and time order
    own: Flags  # (n,) those of an instrument
    visits: pl.DataFrame
    faults: pl.DataFrame
    instruments: pl.DataFrame
    loops: pl.DataFrame
    caused: pl.DataFrame

    @property
    def number(self) -> Ints:
        """Of each row of `told` its row of `visits`, -1 of a part without an instrument, shape (n,)."""
        return np.where(self.own, np.cumsum(self.own) - 1, -1)


def of_visits(snapshot: Snapshot, ways: pl.DataFrame | None = None, usual: pl.DataFrame | None = None) -> OfVisits:
    """What is derived of all visits of a snapshot up to its `as_of`. ways : see time_order.visits_in_order; usual : see
    passes.with_minutes.
    """
    shop = snapshot.shop
    told = with_minutes(with_passes(visits_in_order(snapshot, ways)), shop, usual)
    with_parts = told.with_columns(week_of(pl.col("day"), shop).alias("week"))
    own = (with_parts["serial"] != "").to_numpy()
    visits = (
        (with_parts if own.all() else with_parts.filter(pl.Series(own)))  # nearly always no column stands twice
        .drop("part")
        .with_row_index("visit")
        .with_columns(pl.col("visit").cast(pl.Int64))
    )
    faults = snapshot.coded("faults")
    visits = _with_causes(_with_word(visits, snapshot), faults, shop)
    visits, loops = with_loops(visits, snapshot)
    caused = _caused(visits, shop)
    return OfVisits(
        told=with_parts.select(TOLD),
        own=own,
        visits=visits.drop("who"),
        faults=_faults(faults, visits),
        instruments=tables.plain(instruments_of(visits, snapshot)),
        loops=loops.join(
            caused.select("visit", "charged", "charged_visit"), on="visit", how="left", maintain_order="left"
        ),
        caused=caused,
    )


def latest_words(snapshot: Snapshot) -> pl.DataFrame:
    """What somebody confirmed last in the bench book of each send-back: serial, stage, taken_at, word; an empty one
    takes the word before it back.
    """
    said = snapshot.lines(CAUSED_BY).sort("sequence")
    latest = said.unique(["serial", "stage", "opened_at"], keep="last", maintain_order=True)
    return latest.select("serial", "stage", pl.col("opened_at").alias("taken_at"), pl.col("text").alias("word"))


def _with_word(visits: pl.DataFrame, snapshot: Snapshot) -> pl.DataFrame:
    """Lays over `cause` what somebody confirmed later."""
    said = latest_words(snapshot)
    if said.is_empty():
        return visits
    word = said.with_columns(pl.col("stage", "word").cast(pl.Categorical)).rename({"word": "_word"})
    key = ["serial", "stage", "taken_at"]
    told = visits.select(*key, "cause").join(word, on=key, how="left", maintain_order="left")
    known = pl.col("_word").fill_null("") != ""
    return visits.with_columns(told.select(cause=pl.when(known).then("_word").otherwise("cause"))["cause"])


def _with_causes(visits: pl.DataFrame, faults: pl.DataFrame, shop: Shop) -> pl.DataFrame:
    """Adds sent_to, caused_at, confirmed and fault."""
    first = faults.group_by("log_id", "line", "stage", maintain_order=True).agg(pl.col("fault").first())
    places = [*shop.bench_order, "supplier", "handling"]
    confirmed = pl.col("cause").is_in(places)
    sent_to = pl.when(pl.col("sent_back_to").is_in(places)).then("sent_back_to").otherwise(pl.lit(""))
    known = pl.when(confirmed).then("cause").when(sent_to != "").then(sent_to).otherwise(pl.lit("unknown"))
    asked = pl.col("outcome").is_in(ANSWERED) | pl.col("outcome").is_in(["second", "return"])
    row = ["log_id", "line", "stage"]
    fault = visits.select(row).join(first, on=row, how="left", maintain_order="left")["fault"]
    return visits.with_columns(
        fault.fill_null(""),
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
        *OF_INSTRUMENT,
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
        *OF_INSTRUMENT,
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


def _ints(column: pl.Series) -> Ints:
    return np.asarray(column.to_numpy(), dtype=np.int64)

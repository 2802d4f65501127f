"""What is known of each instrument of a bench, whichever of its positions are looked at: when it was read, who and what
it went through, the air round it and the dated changes that may touch it.

Worked out once for all readings of a bench and a span; those of some positions are some of its rows, as long as the
readings of one instrument say the same of it.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from analysis.methods.segments import Flags, Floats, Ints, dense, spans
from analysis.studies.drift.signals import Signals
from analysis.studies.matters.air import raw_airs
from analysis.studies.matters.dated_changes import NEW_TARGET, dated_changes
from analysis.studies.matters.records import (
    CHANGE,
    GAUGE,
    KIND,
    LOT,
    SET_BY,
    SET_WITH,
    SHEET,
    STRING_SET,
    SUPPLIER,
    WEEKDAY,
)
from analysis.studies.matters.set_with import set_with
from analysis.studies.matters.sheet_kinds import kinds, with_units
from analysis.studies.matters.sheets_kept import sheets
from analysis.studies.story.columns import Columns
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

OF_READINGS = ("serial", "taken_at", "day", "set_on", "setup", "set_by", "lot", "supplier", "gauge", "unit", "visit")
OF_FACTOR = {
    SET_BY: pl.col("set_by"),
    LOT: pl.col("lot"),
    SUPPLIER: pl.col("supplier"),
    GAUGE: pl.col("gauge"),
    STRING_SET: pl.col("string_set"),
    SHEET: pl.col("sheet"),
    KIND: pl.col("kind"),
    SET_WITH: pl.col("set_with"),
    WEEKDAY: pl.col("day").dt.strftime("%A"),
}
MODEL = "model"


@dataclass(frozen=True, eq=False)
class Words:
    """What each instrument says in a column of texts."""

    words: list[str]  # in the order of texts
    code: Ints  # (n,) the place of its word; -1: none

    def says(self, word: str) -> Flags:
        """Who says a word (n,)."""
        return np.asarray(self.code == (self.words.index(word) if word in self.words else len(self.words)))

    def only(self, kept: Flags) -> "Words":
        """Of some of them, without the words that none of these says."""
        code = self.code[kept]
        said = np.bincount(code + 1, minlength=len(self.words) + 1)[1:] > 0
        number = np.append(np.cumsum(said) - 1, -1)
        return Words([word for word, some in zip(self.words, said, strict=True) if some], number[code])


@dataclass(frozen=True, eq=False)
class Instruments:
    """Instruments of one characteristic at one stage, oldest first."""

    at: Ints  # (m,) their readings, rows of Streams.readings, rising
    of: Ints  # (m,) the instrument of each
    alike: bool  # do all readings of one instrument say the same of it?
    rows: pl.DataFrame  # serial, visit, taken_at, day, model, set_by, gauge
    told: dict[str, Words]  # by factor, and of the model
    early: list[tuple[str, Ints]]  # by stage, who worked on each before it was read: a number of `people`, -1: nobody
    people: list[str]
    setter: Ints  # (n,) who set it, the same way; -2: somebody else
    air: dict[str, tuple[tuple[int, ...], Floats]]  # by column of climate.csv: lags, and the air so long before
    changes: list[tuple[str, dict[str, object], Flags]]  # name, row of tables.CHANGES and whom it touches

    def only(self, some: Flags) -> "Instruments":
        """Those of some readings (m,)."""
        of = self.of[some]
        kept = np.zeros(len(self.rows), dtype=bool)
        kept[of] = True
        number = np.cumsum(kept) - 1
        return replace(
            self,
            at=self.at[some],
            of=number[of],
            rows=self.rows.filter(pl.Series(kept)),
            told={name: each.only(kept) for name, each in self.told.items()},
            early=[(stage, code[kept]) for stage, code in self.early],
            setter=self.setter[kept],
            air={name: (lags, raw[kept]) for name, (lags, raw) in self.air.items()},
            changes=[(name, row, touched[kept]) for name, row, touched in self.changes],
        )


def instruments(snapshot: Snapshot, judged: Signals, characteristic: str, stage: str, at: Ints) -> Instruments:
    """Of some readings of a bench (rows of Streams.readings, rising)."""
    told = judged.streams.readings.at(at, *OF_READINGS).rename({"setup": MODEL})
    rows, of = grouped(told)
    visits = snapshot.once(story).visits
    item = snapshot.shop.by_characteristic.get(characteristic)
    set_at = item.set_stages if item else ()
    later = () if stage in set_at else set_at
    rows = rows.with_columns(
        set_with(snapshot, characteristic, later, rows),
        string_set=visits["string_set"].gather(rows["visit"]).fill_null("").cast(pl.String),
        sheet=snapshot.once(sheets).gather(rows["visit"]).cast(pl.String),
        kind=with_units(snapshot.once(kinds).gather(rows["visit"]).cast(pl.String), rows["unit"]),
    )
    people = snapshot.once(hands).people
    number = {tech: k for k, tech in enumerate(people)}
    return Instruments(
        at,
        of,
        _alike(told.drop("serial", "visit"), of),
        rows.select("serial", "visit", "taken_at", "day", MODEL, "set_by", "gauge"),
        _told(rows.select(pl.col(MODEL), *(how.alias(name) for name, how in OF_FACTOR.items()))),
        _earlier(snapshot, rows, stage, itself=not set_at),
        people,
        rows["set_by"].replace_strict(number, default=-2, return_dtype=pl.Int64).to_numpy(),
        raw_airs(snapshot, rows, visits),
        _changes(snapshot, rows, characteristic, stage, set_at),
    )


def grouped(told: pl.DataFrame) -> tuple[pl.DataFrame, Ints]:
    """Of readings (OF_READINGS, the setup as MODEL) a row for each visit, and for each part without one by its serial,
    by time and serial: what its first reading says, and the first gauge named; and the row of each reading (m,).
    """
    visit = told["visit"].cast(pl.Int64).fill_null(-1).to_numpy()
    parts = np.flatnonzero(visit < 0)
    key = visit.copy()
    key[parts] = int(visit.max(initial=-1)) + 1 + tables.rank(told["serial"].gather(parts))
    known = dense(key)
    turn = np.argsort(known.first)  # those of which a reading comes first stand first
    number = np.empty(len(turn), dtype=np.int64)
    number[turn] = np.arange(len(turn))
    of, first = number[known.code], known.first[turn]
    named = np.flatnonzero((told["gauge"] != "").fill_null(False).to_numpy())
    gauge = np.full(len(first), -1)
    gauge[of[named[::-1]]] = named[::-1]  # the last that is put down stays
    said = told["gauge"].gather(pl.Series(gauge).replace(-1, None)).cast(pl.String).fill_null("")
    rows = tables.plain(told.drop("gauge")[first]).with_columns(said.alias("gauge"))
    rows = rows.with_row_index("place").sort("taken_at", "serial")
    at = rows["place"].to_numpy()
    number[at] = np.arange(len(at))
    return rows.drop("place"), number[of]


def _alike(told: pl.DataFrame, of: Ints) -> bool:
    """Do all readings of each instrument say the same?"""
    first = np.zeros(int(of.max(initial=-1)) + 1, dtype=np.int64)
    first[of[::-1]] = np.arange(len(of))[::-1]
    codes = told.select(pl.all().to_physical().cast(pl.Int64).fill_null(-1))
    return all(bool((code == code[first[of]]).all()) for code in (each.to_numpy() for each in codes))


def _told(table: pl.DataFrame) -> dict[str, Words]:
    """Of each column of texts; of all but the model '' and null are no word."""
    codes = table.select(pl.all().cast(pl.Categorical).to_physical().cast(pl.Int64).fill_null(-1))
    found = {}
    for name in table.columns:
        code = codes[name].to_numpy()
        place = np.full(int(code.max(initial=-1)) + 2, -1)  # of each word where somebody says it
        place[code] = np.arange(len(code))
        known = np.flatnonzero(place >= 0)
        said = table[name].gather(place[known]).to_list()
        words = sorted(word for word in said if word or (name == MODEL and word is not None))
        number = {word: k for k, word in enumerate(words)}
        place[known] = [number.get(word, -1) for word in said]
        found[name] = Words(words, place[code])
    return found


@dataclass(frozen=True, eq=False)
class Hands:
    """Who worked on each instrument at each stage in its first pass, and in which visit: the first visit of its first
    pass whose row says who it was, in the order of the visits. Looked for where somebody asks (`known`).
    """

    visits: Columns
    starts: Ints  # (i + 1,) the first visit of each instrument, and behind the last of the last one
    stages: list[str]
    people: list[str]
    known: Flags  # (i,)
    tech: npt.NDArray[np.int32]  # (i, stages) number of people, from 1; 0: nobody
    visit: npt.NDArray[np.int32]  # (i, stages)

    def of(self, which: Ints) -> tuple[Ints, Ints]:
        """Who worked on some instruments at each stage, a number of people, -1 for nobody; and in which visit (k,
        stages).
        """
        asked = np.zeros(len(self.known), dtype=bool)
        asked[which] = True
        new = np.flatnonzero(asked & ~self.known)
        if len(new):
            self._look(new)
        return self.tech[which].astype(np.int64) - 1, self.visit[which].astype(np.int64)

    def _look(self, new: Ints) -> None:
        starts, ends = self.starts[new], self.starts[new + 1]
        rows = spans(starts, ends)
        at = pl.Series(rows)
        names = (("tech", self.people), ("stage", self.stages))
        tech, stage = (
            self.visits.numbers(name, at).by_word({word: k for k, word in enumerate(words)}, -1)
            for name, words in names
        )
        first = self.visits.numbers("first_pass", at).numbers == 1
        some = np.flatnonzero(first & (tech >= 0) & (stage >= 0))[::-1]  # the last that is put down stays
        of = np.repeat(new, ends - starts)[some]
        self.tech[of, stage[some]] = tech[some] + 1
        self.visit[of, stage[some]] = rows[some]
        self.known[new] = True


def hands(snapshot: Snapshot) -> Hands:
    """Of each instrument and stage, nobody looked for yet."""
    told = snapshot.once(story)
    sizes = told.rest["instruments"]["visits"].to_numpy().astype(np.int64)
    people, stages = (sorted(told.visits.numbers(name).said()) for name in ("tech", "stage"))
    people = [one for one in people if one]
    shape = len(sizes), len(stages)
    return Hands(
        told.visits,
        np.append(0, np.cumsum(sizes)),
        stages,
        people,
        np.zeros(len(sizes), dtype=bool),
        np.zeros(shape, dtype=np.int32),
        np.zeros(shape, dtype=np.int32),
    )


def _earlier(snapshot: Snapshot, rows: pl.DataFrame, here: str, *, itself: bool) -> list[tuple[str, Ints]]:
    """Who worked on the instrument at each stage before it was read, by first-pass visits: a number of people, -1 for
    nobody; `itself`: of stage `here` also in the visit in which it was read. Not at stages that come later along the
    bench, whatever a clock says: no hand there has touched what is read here.
    """
    every = snapshot.once(hands)
    if not every.people:
        return []
    read = rows["visit"].cast(pl.Int64).fill_null(-1).to_numpy()
    tech, visit = every.of(np.searchsorted(every.starts[:-1], read, side="right") - 1)
    until = read[:, None] + np.array([itself and one == here for one in every.stages])
    before = np.where(visit < until, tech, -1)
    shop, later = snapshot.shop, set[str]()
    if shop.roles.get(here) != "repair":
        later = {one.key for one in shop.stages if one.role != "repair" and _after(shop.bench_order, one.key, here)}
    return [(one, before[:, k].astype(np.int64)) for k, one in enumerate(every.stages) if one not in later]


def _after(order: dict[str, int], stage: str, other: str) -> bool:
    return order.get(stage, -1) > order.get(other, len(order))


def _changes(
    snapshot: Snapshot, rows: pl.DataFrame, characteristic: str, stage: str, set_at: tuple[str, ...]
) -> list[tuple[str, dict[str, object], Flags]]:
    """Dated changes that may touch these readings, and which they touch."""
    shop = snapshot.shop
    last = snapshot.as_of.astimezone(shop.zone).date()
    found: list[tuple[str, dict[str, object], Flags]] = []
    known = snapshot.once(dated_changes).filter(
        pl.col("stage").is_in(["", stage, *set_at]) & (pl.col("from_date") <= last)
    )
    for number, row in enumerate(known.iter_rows(named=True)):  # a few a year
        if row.get("characteristic") not in (None, "", characteristic):
            continue
        model = shop.setups.get(row["model"], row["model"])
        day = rows["set_on"] if row["stage"] in set_at or row["what"] == NEW_TARGET else rows["day"]
        touched = day >= row["from_date"]
        if row["to_date"] is not None:
            touched &= day <= row["to_date"]
        if model:
            touched &= rows[MODEL] == model
        elif row["family"]:
            touched &= rows[MODEL].is_in([shop.setups[one] for one, of in shop.families.items() if of == row["family"]])
        found.append((f"{CHANGE} {number}", row, np.asarray(touched.fill_null(False).to_numpy())))
    return found

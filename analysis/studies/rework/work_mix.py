"""Which work of each week stands behind what came back to a stage: models, lots and inspectors, and how much of it came
back. Dated and counted as `stage_weeks` says.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints, fresh, segment_ids
from analysis.studies.story.of_visits import ANSWERED
from analysis.studies.story.scope import first_passes, instrument_of, judged, place_in, stage_of
from analysis.studies.story.story import Story, story
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

UNKNOWN = "unknown"  # a cause that nobody told: see `story`
MIX = ["model", "lot", "inspector"]
WORK: dict[str, pl.DataType] = {
    "stage": pl.String(),
    "week": pl.Date(),
    "model": pl.String(),
    "lot": pl.String(),
    "inspector": pl.String(),  # who judged it
    "instruments": pl.Int64(),
    "came_back": pl.Int64(),
    "faults": pl.Int64(),
}
NEVER = np.iinfo(np.int64).max


def every_mix(snapshot: Snapshot) -> pl.DataFrame:
    """WORK of all judged instruments, sorted by stage, week, model, lot, inspector."""
    return mix_of(snapshot, judged(snapshot))


def mix_of(snapshot: Snapshot, instruments: pl.DataFrame) -> pl.DataFrame:
    """WORK of some judged instruments: rows of the story's."""
    if instruments.is_empty():
        return pl.DataFrame(schema=WORK)
    told = snapshot.once(story)
    tech = told.visits["tech"].gather(instruments["judged_visit"]).fill_null("").cast(pl.String).alias("inspector")
    kinds = instruments.select("week", "model", "lot", "family", "judged_visit").with_columns(tech)
    key = tables.one_key(_days(kinds["week"]), *(tables.rank(kinds[name]) for name in MIX))
    order = np.argsort(key, kind="stable")
    starts = np.flatnonzero(fresh(key[order]))
    kinds = kinds[order]  # work of one kind stands together
    grid = _grid(snapshot, kinds)
    size = np.add.reduceat(grid.here, starts, axis=0, dtype=np.int64)
    of, stage = grid.cell
    counts = np.zeros((2, *size.shape), dtype=np.int64)
    mine = grid.here[of, stage]
    cells = np.searchsorted(starts, of[mine], side="right") - 1, stage[mine]
    for count, part in zip(counts, (grid.came_back, grid.faults), strict=True):
        np.add.at(count, cells, part[mine])
    stage, kind = np.nonzero(size.T)
    return pl.DataFrame(
        [grid.words.gather(stage).alias("stage"), *kinds.select("week", *MIX)[starts[kind]]]
        + [
            pl.Series(name, count[kind, stage])
            for name, count in zip(("instruments", "came_back", "faults"), (size, *counts), strict=True)
        ]
    )


@dataclass(frozen=True, eq=False)
class _Grid:
    """Judged instruments (i) by stages (s), and what was caused to them (c)."""

    words: pl.Series  # (s,) the stages, sorted as texts
    here: Flags  # (i, s) does it count there?
    cell: tuple[Ints, Ints]  # instrument and stage of what was caused, (c,) each
    came_back: Ints  # (c,) with a send-back: 0 or 1
    faults: Ints  # (c,)


def _grid(snapshot: Snapshot, instruments: pl.DataFrame) -> _Grid:
    """At which stages instruments count: those of their first passes, UNKNOWN where something came back of which nobody
    says where from, and stages that write nothing down.
    """
    told, shop = snapshot.once(story), snapshot.shop
    at = instrument_of(told)
    caused = _caused(told, place_in(told, instruments)[at])
    stages, stage_at = snapshot.once(stage_of)
    words = pl.concat([stages, caused["stage"], pl.Series([*shop.bench_order, UNKNOWN])]).unique().sort()
    number = words.search_sorted(stages).to_numpy().astype(np.int64)
    rows, of = first_passes(told, instruments)
    key = of * len(words) + number[stage_at[rows]]
    here = np.zeros((len(instruments), len(words)), dtype=bool)
    here.reshape(-1)[key] = True
    of, stage = caused["_of"].to_numpy(), words.search_sorted(caused["stage"]).to_numpy().astype(np.int64)
    came_back, unknown = caused["came_back"].to_numpy(), int(words.search_sorted(UNKNOWN))
    first = _first_visits(rows, key, of * len(words) + stage)
    if came_back[stage == unknown].any():
        here[:, unknown] = here.any(axis=1)
    bench = caused["stage"].is_in(list(shop.bench_order)).to_numpy()
    late = bench & (first >= caused["_caught"].to_numpy())
    _add_unwritten(here, words, (of[late], stage[late]), instruments, shop)
    return _Grid(words, here, (of, stage), came_back, caused["faults"].to_numpy())


def _first_visits(rows: Ints, key: Ints, wanted: Ints) -> Ints:
    """The row of a first pass at each wanted cell (c,), NEVER without one. rows, key : of all first passes."""
    asked = np.zeros(max(int(key.max(initial=0)), int(wanted.max(initial=0))) + 1, dtype=bool)
    asked[wanted] = True
    some = np.flatnonzero(asked[key])
    found = dict(zip(key[some].tolist(), rows[some].tolist(), strict=True))  # a few of many
    return np.array([found.get(cell, NEVER) for cell in wanted.tolist()], dtype=np.int64)


def _caused(told: Story, of: Ints) -> pl.DataFrame:
    """_of (row of the judged instruments), stage, came_back, faults, _caught (the first visit that caught it) of what
    was caused in round 1. of : the judged instrument of each visit, -1 of none.
    """
    named = (
        told.faults.filter(pl.col("outcome").is_in(ANSWERED))
        .group_by("visit")
        .agg(pl.len().cast(pl.Int64).alias("faults"))
    )
    events = told.caused.filter(pl.col("round") == 1).select("visit", "kind", stage="caused_at")
    return (
        events.with_columns(_of=pl.Series(of[events["visit"].to_numpy()]))
        .filter(pl.col("_of") >= 0)
        .join(named, on="visit", how="left")
        .group_by("_of", "stage")
        .agg(
            (pl.col("kind") == "send back").any().cast(pl.Int64).alias("came_back"),
            pl.col("faults").fill_null(1).sum(),
            pl.col("visit").min().alias("_caught"),
        )
    )


def _add_unwritten(
    here: Flags, words: pl.Series, without: tuple[Ints, Ints], instruments: pl.DataFrame, shop: Shop
) -> None:
    """Count in `here` (i, s) also the instruments of stages that write no row, or only of what came back: in a week in
    which no judged instrument had a row of the stage before something caused there was caught, all that go by it; in
    other weeks those alone to which something was caused there.

    without : instrument and stage of what was caused to one that had no row there before. instruments : sorted by week.
    """
    if not len(without[0]):
        return
    here[without] = False
    day = _days(instruments["week"])
    starts = np.flatnonzero(fresh(day))
    week: Ints = segment_ids(starts, len(day))
    written = np.logical_or.reduceat(here, starts, axis=0)
    here[without] = True
    of, stage = without
    silent = set(words.gather(np.unique(stage[~written[week[of], stage]])))
    for one in (one for one in shop.stages if one.key in silent):  # a few stages
        goes = [name for name in instruments["family"].unique() if one.holds_for(str(name))]
        column = int(words.search_sorted(one.key))
        here[:, column] |= instruments["family"].is_in(goes).to_numpy() & ~written[week, column]


def _days(week: pl.Series) -> Ints:
    return np.asarray(week.to_physical().to_numpy(), dtype=np.int64)

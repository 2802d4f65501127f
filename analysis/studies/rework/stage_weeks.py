"""Each stage, week by week: the share of instruments that came back to it and the faults an instrument, judged by the
twelve weeks before: the share by what those weeks let expect of this week's models, lots and inspectors, so that a week
of hard models is not a bad week. A rise that stays is looked for by `drift/shares`, against a base that is frozen.

Dated so that work not yet inspected flatters nobody: an instrument counts in the week it was judged, with all that was
caused to it in round 1, whenever that was caught. Send-backs of which nobody says where they were caused stand under
`unknown`, of all judged instruments, and those to a stage that writes no row of its own under that stage, of all that
go by it: they are dropped nowhere, and a rise of them is a rise.
"""

import numpy as np
import polars as pl

from analysis.methods.counts_ahead import binomial_ahead, poisson_ahead
from analysis.methods.expected_counts import Pieces, at_the_same_mix
from analysis.methods.segments import Floats, Ints, fresh
from analysis.studies.rework.work_mix import MIX, UNKNOWN, every_mix, mix_of
from analysis.studies.story.scope import ALL, Scope, judged
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

BASE_WEEKS = 12
FALSE_RATE = 0.003  # a stage and week, on each side, whatever the true share


def weekly_shares(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """A row a stage and week with judged instruments that visited the stage, stages in bench order, oldest week first;
    last `unknown`, where the stage of some send-back is.

    stage, week · instruments, came_back (with a send-back caused there), share · base_instruments, base_came_back (the
    twelve calendar weeks before), base_share (what those weeks let expect at this week's mix; null without), base_like
    (so many of base_instruments would have come back at this week's mix) · lower, upper (shares still within),
    state (above | below | within | no base) · faults (recorded with a send-back, fix or reject caused there; one
    where none is named), faults_each, base_faults_each, faults_lower, faults_upper, faults_state.

    scope : its weeks are those shown; the twelve weeks before are there all the same.
    """
    if scope.models or scope.families:
        mix = mix_of(snapshot, judged(snapshot, Scope(models=scope.models, families=scope.families)))
    else:
        mix = snapshot.once(every_mix)
    if mix.is_empty():
        return pl.DataFrame(schema=_SCHEMA)
    cells = counted(mix)
    order = _order(snapshot)
    first = mix["week"].min()
    week = ((cells["week"] - first).dt.total_days() // 7).to_numpy()
    stage = cells["stage"].replace_strict(order, return_dtype=pl.Int64).to_numpy()
    grid = np.zeros((3, len(order), int(week.max()) + 1))
    for i, name in enumerate(("instruments", "came_back", "faults")):
        grid[i, stage, week] = cells[name].to_numpy()
    now, base = grid[:, stage, week], _before(grid)[:, stage, week]
    held = base[0] > 0
    expected = _expected(mix, stage, week, order)
    like, low, high = _let_expect(now[0], base[0], expected)
    few, many = (np.full(len(cells), np.nan) for _ in range(2))
    few[held], many[held] = poisson_ahead(base[2][held], base[0][held], now[0][held], false_rate=FALSE_RATE)
    size, base_size = now[0], np.where(held, base[0], np.nan)
    columns = {
        "share": now[1] / size,
        "base_share": np.where(held, expected / now[0], np.nan),
        "base_like": like,
        "lower": low / size,
        "upper": high / size,
        "faults_each": now[2] / size,
        "base_faults_each": base[2] / base_size,
        "faults_lower": few / size,
        "faults_upper": many / size,
    }
    table = cells.with_columns(
        *(pl.Series(name, values).fill_nan(None) for name, values in columns.items()),
        pl.Series("base_instruments", base[0]).cast(pl.Int64),
        pl.Series("base_came_back", base[1]).cast(pl.Int64),
        pl.Series("state", _state(now[1], low, high)),
        pl.Series("faults_state", _state(now[2], few, many)),
        pl.Series("_order", stage),
    )
    return scope.weeks_of(table.sort("_order", "week").select(*_SCHEMA), "week")


_SCHEMA = {
    "stage": pl.String,
    "week": pl.Date,
    "instruments": pl.Int64,
    "came_back": pl.Int64,
    "share": pl.Float64,
    "base_instruments": pl.Int64,
    "base_came_back": pl.Int64,
    "base_share": pl.Float64,
    "base_like": pl.Float64,
    "lower": pl.Float64,
    "upper": pl.Float64,
    "state": pl.String,
    "faults": pl.Int64,
    "faults_each": pl.Float64,
    "base_faults_each": pl.Float64,
    "faults_lower": pl.Float64,
    "faults_upper": pl.Float64,
    "faults_state": pl.String,
}


def counted(mix: pl.DataFrame) -> pl.DataFrame:
    """stage, week, instruments, came_back, faults of a mix of work (`every_mix`), in its order."""
    return mix.group_by("stage", "week", maintain_order=True).agg(pl.col("instruments", "came_back", "faults").sum())


def counted_weeks(snapshot: Snapshot) -> tuple[pl.DataFrame, pl.DataFrame]:
    """stage, week, instruments, came_back of every stage, in the order of `weekly_shares` and without what it lets
    expect; and the mix of each: row (of the first), model and inspector (numbers in the order of their texts),
    instruments and came_back, sorted by the first three.
    """
    mix = snapshot.once(every_mix)
    cells = mix.group_by("stage", "week", maintain_order=True).agg(  # they stand together
        pl.col("instruments", "came_back").sum(), pl.len()
    )
    if mix.is_empty():
        return cells.drop("len"), mix
    place = pl.col("stage").replace_strict(_order(snapshot), return_dtype=pl.Int64)
    rows = cells.with_row_index("cell").sort(place, "week")
    row = np.empty(len(rows), dtype=np.int64)
    row[rows["cell"].to_numpy()] = np.arange(len(rows))
    key = [np.repeat(row, cells["len"].to_numpy()), *(tables.rank(mix[name]) for name in ("model", "inspector"))]
    one = tables.one_key(*key)
    order = np.argsort(one, kind="stable")
    starts = np.flatnonzero(fresh(one[order]))
    counts = {name: np.add.reduceat(mix[name].to_numpy()[order], starts) for name in ("instruments", "came_back")}
    first, names = order[starts], ("row", "model", "inspector")
    of_rows = {name: part[first] for name, part in zip(names, key, strict=True)}
    return rows.drop("cell", "len"), pl.DataFrame(of_rows | counts)


def _order(snapshot: Snapshot) -> dict[str, int]:
    """The place of each stage: bench order, then what nobody told."""
    order = snapshot.shop.bench_order
    return order | {UNKNOWN: len(order)}


def _let_expect(now: Floats, base: Floats, expected: Floats) -> tuple[Floats, Floats, Floats]:
    """Where `expected` of the instruments counted `now` would come back: how many of `base` that makes, and the counts
    still within; nan where nothing was counted before.
    """
    held = base > 0
    like, low, high = (np.full(len(now), np.nan) for _ in range(3))
    like[held] = np.minimum(expected[held] / now[held], 1.0) * base[held]
    low[held], high[held] = binomial_ahead(like[held], base[held], now[held], false_rate=FALSE_RATE)
    return like, low, high


def _expected(mix: pl.DataFrame, stage: Ints, week: Ints, order: dict[str, int]) -> Floats:
    """Of each stage and week (n,): how many would have come back at the rates of the twelve weeks before it."""
    first = mix["week"].min()
    at = (mix["stage"].replace_strict(order, return_dtype=pl.Int64) * FAR_WEEKS).to_numpy() + (
        (mix["week"] - first).dt.total_days() // 7
    ).to_numpy()
    levels = np.column_stack([mix[name].rank("dense").to_numpy().astype(np.int64) - 1 for name in MIX])
    n, k = (mix[name].to_numpy().astype(np.float64) for name in ("instruments", "came_back"))
    groups = stage * FAR_WEEKS + week
    sorted_groups, place = np.sort(groups), np.argsort(groups)
    mine = place[np.searchsorted(sorted_groups, at)]
    # each row is in the base of the next twelve weeks, as far as they are there
    row, after = np.repeat(np.arange(len(n)), BASE_WEEKS), (at[:, None] + np.arange(1, BASE_WEEKS + 1)).ravel()
    found = np.minimum(np.searchsorted(sorted_groups, after), len(groups) - 1)
    hit = sorted_groups[found] == after
    base, group = row[hit], place[found[hit]]
    result = at_the_same_mix(Pieces(group, levels[base], n[base]), k[base], Pieces(mine, levels, n), len(groups))
    return np.asarray(np.nan_to_num(result.expected), dtype=np.float64)


FAR_WEEKS = 100_000  # more weeks than a shop has: stage and week as one number


def _before(grid: Floats) -> Floats:
    """Sums over the twelve weeks before each; shape of `grid` (.., weeks)."""
    n = grid.shape[2]
    run = np.cumsum(np.pad(grid, ((0, 0), (0, 0), (BASE_WEEKS + 1, 0))), axis=2)
    return np.asarray(run[:, :, BASE_WEEKS:][:, :, :n] - run[:, :, :n], dtype=np.float64)


def _state(count: Floats, low: Floats, high: Floats) -> list[str]:
    with np.errstate(invalid="ignore"):
        picked = np.select([np.isnan(high), count > high, count < low], ["no base", "above", "below"], "within")
    return [str(word) for word in picked]

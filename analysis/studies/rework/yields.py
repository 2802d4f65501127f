"""Yields: work that went straight through a stage, work that held, and both along a model's whole route."""

import numpy as np
import polars as pl

from analysis.methods.intervals import binomial_exact, wilson
from analysis.methods.segments import Floats, Ints, dense
from analysis.studies.story.outcomes import causes_read, minutes_known, outcome_read, outcomes_at, told_instruments
from analysis.studies.story.scope import ALL, Scope, first_passes, instrument_of, judged, place_in, stage_of
from analysis.studies.story.story import story
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables


def stage_yields(snapshot: Snapshot, scope: Scope = ALL) -> pl.DataFrame:
    """A row a stage of the shop in bench order, over judged instruments that visited it in round 1.

    stage, instruments, visits, minutes (of all their visits), straight (first visit ended in pass), held (no send-back,
    fix or reject caused there), yield_caught, yield_caused, and their exact 95 % bounds (.._low, .._high); null where
    no instrument came.
    """
    told = snapshot.once(story)
    instruments = judged(snapshot, scope)
    of = place_in(told, instruments)[instrument_of(told)]
    rows = np.flatnonzero((told.visits["round"] == 1).to_numpy() & (of >= 0))
    here = told.visits.at(rows, "stage", "minutes", "first_pass", "outcome")
    counted = here.group_by("stage").agg(
        pl.len().cast(pl.Int64).alias("visits"),
        pl.col("minutes").sum(),
        (pl.col("first_pass") & (pl.col("outcome") == "pass")).sum().cast(pl.Int64).alias("straight"),
    )
    stages, stage_at = snapshot.once(stage_of)
    came, came_back = np.zeros((2, len(instruments), len(stages)), dtype=np.bool_)
    came[of[rows], stage_at[rows]] = True
    caused = told.caused.filter(pl.col("round") == 1).select("visit", "caused_at")
    place = {stage: at for at, stage in enumerate(stages)}
    at = caused["caused_at"].replace_strict(place, default=-1, return_dtype=pl.Int64).to_numpy()
    mine = of[caused["visit"].to_numpy()]
    known = (mine >= 0) & (at >= 0)
    came_back[mine[known], at[known]] = True
    instruments_at = pl.DataFrame(
        {"stage": stages, "instruments": came.sum(axis=0), "came_back": (came_back & came).sum(axis=0)},
        schema_overrides={"instruments": pl.Int64, "came_back": pl.Int64},
    )
    table = pl.DataFrame({"stage": list(snapshot.shop.bench_order)}).join(
        tables.plain(counted), on="stage", how="left", maintain_order="left"
    )
    table = table.join(instruments_at, on="stage", how="left", maintain_order="left").with_columns(
        pl.col("instruments", "visits", "straight", "came_back").fill_null(0), pl.col("minutes").fill_null(0.0)
    )
    held = (pl.col("instruments") - pl.col("came_back")).alias("held")
    table = table.select("stage", "instruments", "visits", "minutes", "straight", held)
    table = with_shares(table, {"yield_caught": ("straight", "instruments"), "yield_caused": ("held", "instruments")})
    return _of_what_was_read(table, snapshot)


def _of_what_was_read(table: pl.DataFrame, snapshot: Snapshot) -> pl.DataFrame:
    """Yields null where no log tells how a visit at the stage ended, those by cause also where none tells of causes;
    minutes null where nothing is known of any of its visits.
    """
    told = snapshot.once(story).visits.group_by("stage").agg(minutes_known().any().alias("_minutes"))
    at = snapshot.once(outcomes_at).with_columns(_caught=pl.lit(True))
    table = table.join(at, on="stage", how="left", maintain_order="left")
    table = table.join(tables.plain(told), on="stage", how="left", maintain_order="left")
    caught = pl.col("_caught").fill_null(False)
    caused = pl.lit(causes_read(snapshot) and snapshot.once(outcome_read).any())
    ends = ("", "_low", "_high")
    return table.with_columns(
        *(pl.when(caught).then(f"yield_caught{end}").alias(f"yield_caught{end}") for end in ends),
        *(pl.when(caused).then(f"yield_caused{end}").alias(f"yield_caused{end}") for end in ends),
        pl.when(pl.col("_minutes").fill_null(True)).then("minutes").alias("minutes"),
    ).drop("_caught", "_minutes")


def with_shares(table: pl.DataFrame, shares: dict[str, tuple[str, str]]) -> pl.DataFrame:
    """Adds a share and its exact 95 % bounds for each name: (count, out of); null where out of nothing."""
    for name, (count, out_of) in shares.items():
        low, high = binomial_exact(table[count].to_numpy(), table[out_of].to_numpy())
        any_ = pl.col(out_of) > 0
        table = table.with_columns(
            pl.when(any_).then(pl.col(count) / pl.col(out_of)).alias(name),
            pl.when(any_).then(pl.Series(low)).alias(f"{name}_low"),
            pl.when(any_).then(pl.Series(high)).alias(f"{name}_high"),
        )
    return table


def rolled_yields(snapshot: Snapshot, scope: Scope = ALL, *, by: tuple[str, ...] = ("model",)) -> pl.DataFrame:
    """Rolled yield along each model's own route, beside the observed share never sent back; a row for each group in
    `by`.

    by : of model, family, week (empty: one row). Columns: those of `by`, judged, rolled_yield with approximate 95 %
    bounds rolled_low, rolled_high, never (count never sent back), never_sent_back with exact bounds.

    A model's rolled yield is the product of its yields caught over the stages of its route (repair stands outside) that
    a judged instrument of it visited; of several models, the mean over judged instruments. Bounds: those of each
    stage's log yield joined as independent (Zou & Donner 2008, Statistics in Medicine 27, cited from memory), the score
    interval for each stage.
    """
    instruments = judged(snapshot, scope)
    groups = [name for name in by if name != "model"]
    if instruments.is_empty():
        columns = (
            {name: pl.Date if name == "week" else pl.String for name in by}
            | {"judged": pl.Int64}
            | dict.fromkeys(("rolled_yield", "rolled_low", "rolled_high"), pl.Float64)
            | {"never": pl.Int64}
            | dict.fromkeys(("never_sent_back", "never_sent_back_low", "never_sent_back_high"), pl.Float64)
        )
        return pl.DataFrame(schema=columns)
    key = [*groups, "model"]
    cells = _first_passes_of(snapshot, instruments, key)
    per_model = instruments.group_by(key).agg(
        pl.len().cast(pl.Int64).alias("judged"), (pl.col("sent_back") == 0).sum().cast(pl.Int64).alias("never")
    )
    per_model = per_model.sort(key).join(_products(cells, key), on=key, how="left", maintain_order="left")
    if "model" not in by:
        weight = pl.col("judged") / pl.col("judged").sum()
        spread = [
            (weight * (pl.col("rolled_yield") - pl.col(f"rolled_{side}"))).pow(2).sum().sqrt().alias(side)
            for side in ("low", "high")
        ]
        means = [
            pl.col("judged").sum(),
            pl.col("never").sum(),
            ((pl.col("judged") * pl.col("rolled_yield")).sum() / pl.col("judged").sum()).alias("rolled_yield"),
            *spread,
        ]
        per_model = (
            per_model.group_by(groups).agg(means).sort(groups) if groups else per_model.select(means)
        ).with_columns(
            (pl.col("rolled_yield") - pl.col("low")).clip(0, 1).alias("rolled_low"),
            (pl.col("rolled_yield") + pl.col("high")).clip(0, 1).alias("rolled_high"),
        )
    table = with_shares(
        per_model.select(*by, "judged", "rolled_yield", "rolled_low", "rolled_high", "never"),
        {"never_sent_back": ("never", "judged")},
    )
    return _of_told(table, instruments, by, snapshot)


def _first_passes_of(snapshot: Snapshot, instruments: pl.DataFrame, key: list[str]) -> pl.DataFrame:
    """k first passes that passed of n of each group of judged instruments (columns `key`) at each stage of their
    routes: key, stage, k, n, sorted.
    """
    told = snapshot.once(story)
    names, family = (instruments["family"].unique().sort(), instruments["family"])
    stages, stage_at = snapshot.once(stage_of)
    way = set(routes(snapshot.shop).select("family", "stage").iter_rows())
    goes = np.array([[(name, stage) in way for stage in stages] for name in names])  # families by stages
    number = tables.one_key(*(_ranks(instruments[name]) for name in key))
    groups = dense(number)
    rows, of = first_passes(told, instruments)
    stage = stage_at[rows]
    on_route = goes[_ranks(family)[of], stage]
    cell = groups.code[of[on_route]] * len(stages) + stage[on_route]
    passed = (told.visits["outcome"] == "pass").to_numpy()[rows[on_route]]
    n, k = (np.bincount(each, minlength=len(groups.first) * len(stages)) for each in (cell, cell[passed]))
    some = np.flatnonzero(n)
    return instruments.select(key)[groups.first[some // len(stages)]].with_columns(
        stage=stages.gather(some % len(stages)), k=pl.Series(k[some]), n=pl.Series(n[some])
    )


def _ranks(column: pl.Series) -> Ints:
    return tables.rank(column) if column.dtype == pl.String() else np.asarray(column.to_physical().to_numpy(), np.int64)


def _of_told(table: pl.DataFrame, instruments: pl.DataFrame, by: tuple[str, ...], snapshot: Snapshot) -> pl.DataFrame:
    """Shares null in groups of which no instrument's log tells how a visit ended."""
    here = place_in(snapshot.once(story), instruments)
    told = instruments[np.sort(here[snapshot.once(told_instruments) & (here >= 0)])]
    shares = [
        f"{name}{end}"
        for name, ends in (("rolled", ("_yield", "_low", "_high")), ("never_sent_back", ("", "_low", "_high")))
        for end in ends
    ]
    if not by:
        return (
            table if told.height else table.with_columns(pl.lit(None, dtype=pl.Float64).alias(name) for name in shares)
        )
    known = told.select(by).unique().with_columns(_told=pl.lit(True))
    joined = table.join(known, on=list(by), how="left", maintain_order="left", nulls_equal=True)
    return joined.with_columns(pl.when("_told").then(name).alias(name) for name in shares).drop("_told")


def routes(shop: Shop) -> pl.DataFrame:
    """Each family's way along the bench: family, stage, step (from 0). A repair stage is no part of a route."""
    rows = []
    for family in dict.fromkeys([*shop.families.values(), ""]):
        passed = [stage.key for stage in shop.stages if stage.role != "repair" and stage.holds_for(family)]
        rows += [(family, stage, step) for step, stage in enumerate(passed)]
    return pl.DataFrame(rows, schema={"family": pl.String, "stage": pl.String, "step": pl.Int64}, orient="row")


def _products(cells: pl.DataFrame, key: list[str]) -> pl.DataFrame:
    """Product of k / n within each key, with bounds."""
    k, n = (np.asarray(cells[name].to_numpy(), dtype=np.float64) for name in ("k", "n"))
    low, high = wilson(k, n)
    share = k / n
    told = cells.with_columns(
        pl.Series("share", share),
        pl.Series("down", _log(share) - _log(low)),
        pl.Series("up", _log(high) - _log(share)),
        pl.Series("most", high),
    )
    rolled = told.group_by(key, maintain_order=True).agg(
        pl.col("share").product().alias("rolled_yield"),
        pl.col("down").pow(2).sum().sqrt(),
        pl.col("up").pow(2).sum().sqrt(),
        pl.col("most").product(),
    )
    nothing = pl.col("rolled_yield") == 0
    return rolled.select(
        *key,
        "rolled_yield",
        (pl.col("rolled_yield") * (-pl.col("down")).exp()).alias("rolled_low"),
        pl.when(nothing)
        .then("most")
        .otherwise((pl.col("rolled_yield") * pl.col("up").exp()).clip(upper_bound=1.0))
        .alias("rolled_high"),
    )


def _log(share: Floats) -> Floats:
    return np.log(np.maximum(share, 1e-12))

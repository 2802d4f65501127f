"""The same instruments as usual at the stage before: what moved came after that, or lies in how they are read."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.matters.matters import open_matters
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.drifting import START, shop, snapshot

DAYS, A_DAY = 80, 20


def bench(seed: int, *, at_neck: float) -> Snapshot:
    """Relief read at the neck where it is set, and at final inspection, where it lies 1.3 sigma higher from day 65 on;
    at the neck by `at_neck`.
    """
    rng = np.random.default_rng([20281206, seed])
    n = DAYS * A_DAY
    day = np.repeat(np.arange(DAYS), A_DAY)
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(A_DAY) / 3, DAYS)
    later = day >= 65
    made = snapshot(
        shop(),
        {("relief", ""): 0.3 + 0.05 * (rng.normal(size=n) + 1.3 * later)},
        hours=hours,
        setter=rng.choice(["T1", "T2", "T3"], n),
    )
    readings, visits = made.table("readings"), made.table("visits")
    neck = visits.filter(pl.col("stage") == "neck").sort("serial")
    values = 0.3 + 0.05 * (rng.normal(size=n) + at_neck * later)
    first = readings.sort("serial").with_columns(
        stage=pl.lit("neck"), line=neck["line"], log_id=neck["log_id"], value=pl.Series(values),
        taken_at=neck["finished_at"],
    )  # fmt: skip
    both = pl.concat([readings, first.select(readings.columns)])
    return Snapshot.of(made.shop, as_of=START + timedelta(days=200), visits=visits, readings=both)


def at_final(made: Snapshot) -> list[str]:
    return [one.usual_at for one in made.once(open_matters) if "final" in one.stages and one.shown and one.size > 0]


@pytest.mark.parametrize("seed", range(2))
def test_where_the_stage_before_saw_nothing_it_is_named(seed):
    assert "neck" in at_final(bench(seed, at_neck=0.0))


@pytest.mark.parametrize("seed", range(2))
def test_where_it_moved_there_too_nothing_is_said(seed):
    told = at_final(bench(seed, at_neck=1.3))
    assert told
    assert not any(told)


def test_what_else_moved_some_of_them_before_hides_nothing():
    rng = np.random.default_rng(20281212)
    n = DAYS * A_DAY
    day = np.repeat(np.arange(DAYS), A_DAY)
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(A_DAY) / 3, DAYS)
    model = rng.choice(["LARK", "WREN"], n)
    target, later = (model == "WREN") & (day >= 50), day >= 62
    off = rng.normal(size=n) - 4.0 * target  # a target of one model, followed at the neck
    changes = pl.DataFrame(
        [{"from_date": (START + timedelta(days=70)).date(), "model": "WREN", "characteristic": "relief", "what": "aim"}]
    ).with_columns(planned=pl.lit(True))
    made = snapshot(
        shop(("LARK", "WREN")),
        {("relief", ""): 0.3 + 0.05 * (off + 1.3 * later)},
        hours=hours,
        model=model,
        setter=rng.choice(["T1", "T2", "T3"], n),
    )
    readings, visits = made.table("readings"), made.table("visits")
    neck = visits.filter(pl.col("stage") == "neck").sort("serial")
    first = readings.sort("serial").with_columns(
        stage=pl.lit("neck"), line=neck["line"], log_id=neck["log_id"], value=pl.Series(0.3 + 0.05 * off),
        taken_at=neck["finished_at"],
    )  # fmt: skip
    made = Snapshot.of(
        made.shop,
        as_of=START + timedelta(days=200),
        visits=visits,
        readings=pl.concat([readings, first.select(readings.columns)]),
        changes=tables.shaped(changes, tables.CHANGES),
    )
    told = [one for one in made.once(open_matters) if one.shown and one.size > 0]
    assert [one.usual_at for one in told] == ["neck"]

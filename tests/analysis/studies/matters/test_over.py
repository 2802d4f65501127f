"""What is over is told as that: damp air when it is dry again, a gauge when it reads right again; and what moves on
and on is one thing, as large as it is now.
"""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.limits import moved_baselines
from analysis.studies.drift.signals import signals
from analysis.studies.matters.matters import ended_matters, matters, open_matters
from analysis.studies.matters.records import HUMIDITY
from analysis.studies.matters.register import register
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.drifting import shop, snapshot
from tests.trials.caused_shops import Cause, planted


def bench(rng, moved, *, rh=None, days=100, models=5):
    """Thirty instruments a day of five models, set by three people; `moved` (days,) of each day, in sigma."""
    n = days * 30
    day = np.repeat(np.arange(days), 30)
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(30) / 4, days)
    values = 0.3 + 0.05 * (rng.normal(size=n) + np.asarray(moved)[day])
    names = tuple(f"M{k}" for k in range(models))
    given = {} if rh is None else {"rh": np.asarray(rh)[day] + rng.normal(0, 1, n)}
    return snapshot(
        shop(names),
        {("relief", ""): values},
        model=rng.choice(names, n),
        hours=hours,
        setter=rng.choice(["T1", "T2", "T3"], n),
        **given,
    )


def up(made):
    return [one for one in made.once(open_matters) if one.shown and one.size is not None and one.size > 0.02]


def test_damp_air_is_over_when_it_is_dry_again():
    rng = np.random.default_rng(20281202)
    days = np.arange(100)
    damp = (days >= 70) & (days < 80)
    made = bench(rng, 1.0 * damp, rh=48 + 18 * damp + rng.normal(0, 1, 100))
    assert up(made) == []


@pytest.mark.parametrize("since", [4, 8])
def test_what_closed_of_late_is_told_to_be_back(since):
    one = planted(np.random.default_rng(20281203), [Cause("gauge", 10, 1.5, 70, 80)])
    seen = one.until(80 + since)
    told = [m for m in seen.once(ended_matters) if any(c.factor == "gauge" for c in m.moves_with.named)]
    assert len(told) == 1
    assert told[0].back_since is not None
    assert abs((told[0].back_since - one.causes[0].began).days - 14) <= 3
    assert not any(m.key == told[0].key for m in seen.once(open_matters))


def test_what_nothing_explains_is_told_to_be_back_though_all_its_charts_have_closed():
    days = np.arange(100)
    made = bench(np.random.default_rng(20281209), 1.3 * ((days >= 75) & (days < 90)))
    told = [one for one in made.once(ended_matters) if one.size is not None and one.size > 0.04]
    assert len(told) == 1
    assert told[0].back_since is not None
    assert up(made) == []


def test_what_moves_further_and_further_is_one_matter_as_large_as_it_is_now():
    days = np.arange(100)
    made = bench(np.random.default_rng(20281204), np.clip((days - 55) / 30, 0, None) * 1.2)
    [told] = up(made)
    now = 0.05 * 1.2 * (99 - 55) / 30
    assert told.size == pytest.approx(now, rel=0.25)
    assert told.size_low < now * 1.1
    assert not any(one.factor == HUMIDITY for one in told.moves_with.named)


def test_one_baseline_that_moved_among_several_sets_no_matter_behind_others():
    days = np.arange(100)
    made = bench(np.random.default_rng(20281208), 1.2 * (days >= 80))
    [told] = up(made)
    assert not told.base_moved
    moved = made.once(moved_baselines)
    moved[:] = False
    moved[int(told.main["stream"])] = True  # by chance, as one in a hundred does
    made._kept.pop(open_matters)
    [told] = up(made)
    assert not told.base_moved
    assert not told.stands_back


def test_an_action_under_way_stays_in_sight_when_its_readings_came_back():
    rng = np.random.default_rng(20281210)
    days = np.arange(100)
    made = bench(rng, 1.3 * ((days >= 62) & (days < 95)))
    [told] = [one for one in made.once(matters) if one.size is not None and one.size > 0.04]
    when = (told.closed_at or made.as_of) - timedelta(days=2)
    line = {
        "sequence": 1,
        "at": when,
        "who": "Mo",
        "kind": "action",
        "text": "another gauge",
        "owner": "Mo",
        "due": None,
    }
    held = made.readers | {"bench_book": lambda columns: book_of(told, made, line, columns)}
    seen = Snapshot(made.shop, made.specs, held, made.as_of)
    [row] = [one for one in seen.once(register) if one.action]
    assert row.state == "action"  # who has it says whether it is done


def book_of(told, made, line, columns):
    """A line of the book that hangs on the matter's first signal."""
    judged = made.once(signals)
    member = next(one for one in told.signals if one.table == "found")
    row = judged.found.row(member.row, named=True)
    names = ("characteristic", "position", "model", "stage", "tech", "chart", "opened_at", "serial")
    table = tables.shaped(pl.DataFrame([line | {name: row[name] for name in names}]), tables.BENCH_BOOK)
    return table.select(columns) if columns else table

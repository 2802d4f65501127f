"""An end is told once, on the Monday after it; what is open is as old as what is told of it."""

from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from analysis import review
from analysis.methods.candidates import Factor
from analysis.studies.drift.opened import PERSON
from analysis.studies.matters import telling
from analysis.studies.matters.groups import Group, alike
from analysis.studies.matters.known_over import known_over
from analysis.studies.matters.register import register
from analysis.studies.matters.rows import matter_rows
from tests.analysis.studies.drifting import START, shop, snapshot
from tests.trials.caused_shops import Cause, planted

DAYS = 100


def bench(seed, moved):
    """Thirty instruments a day of two models, set by three people; `moved` (days,) in sigma."""
    rng = np.random.default_rng([20310401, seed])
    day = np.repeat(np.arange(DAYS), 30)
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(30) / 4, DAYS)
    values = 0.3 + 0.05 * (rng.normal(size=len(day)) + moved[day])
    model, setter = rng.choice(["M0", "M1"], len(day)), rng.choice(["T1", "T2", "T3"], len(day))
    return snapshot(shop(("M0", "M1")), {("relief", ""): values}, model=model, hours=hours, setter=setter)


def monday(week):
    return (START + timedelta(weeks=week)).date()


@pytest.mark.parametrize("seed", [20310402, 20310403])
def test_a_gauge_that_reads_right_again_is_told_to_be_back_on_one_monday(seed):
    one = planted(np.random.default_rng(seed), [Cause("gauge", 10, 1.5, 60, 80)])
    told = [sum(m.size > 0 for m in review._back(one.until(5 * week + 5), monday(week))) for week in (16, 17)]
    assert told == [1, 0]


@pytest.mark.parametrize("seed", range(3))
def test_what_began_anew_is_no_older_than_its_last_time(seed):
    days = np.arange(DAYS)
    made = bench(seed, 1.3 * (((days >= 45) & (days < 50)) | (days >= 90)))
    [row] = [one for one in made.once(register) if one.matter and one.matter.open and (one.matter.size or 0) > 0.03]
    began = (START + timedelta(days=90 // 5 * 7)).date()
    assert row.opened_on is not None
    assert abs((row.opened_on - began).days) <= 5


def evidence(effect, *, end, since, per_day=6, lot=False):
    """Readings that a person, or a lot, moved from day 30 to before `end`; `since` days are read after."""
    day = np.repeat(np.arange(end + since), per_day)
    code = np.where(day < 30, 0, np.where(day < end, 1, 0)) if lot else np.ones(len(day), dtype=int)
    values = effect * ((day >= 30) & (day < end))
    taken = [datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=int(one)) for one in day]
    factor = Factor("lot" if lot else "set by", code, own_start=lot)
    found = SimpleNamespace(
        stream=np.zeros(len(day), dtype=int), day=day, values=values.astype(float), factors=[factor], airs={},
        rows={"taken_at": taken},
    )  # fmt: skip
    best = SimpleNamespace(factor=factor.name, level=1, streams=np.array([0]), start=30, end=end, effect=effect)
    return SimpleNamespace(evidence=found, best=best)


@pytest.mark.parametrize("way", [1, -1])
def test_an_end_is_sure_once_readings_say_so_and_a_lot_once_others_were_read_for_a_week(way):
    day = datetime(2026, 1, 1, tzinfo=UTC)
    large, small = (known_over(evidence(way * size, end=50, since=8)) for size in (2.0, 0.6))
    assert large is not None
    assert (large - day).days in (50, 51)
    assert small is None or small > large
    assert known_over(evidence(way * 2.0, end=50, since=8, lot=True)) == day + timedelta(days=54)
    assert known_over(evidence(way * 2.0, end=50, since=3, lot=True)) is None
    assert known_over(evidence(way * 2.0, end=50, since=0)) is None


def part(*, ended, size=0.06):
    measured = SimpleNamespace(size=size, size_low=size - 0.01, size_high=size + 0.01, creeping=None, began_at=START)
    return SimpleNamespace(
        positions=[],
        characteristic="relief", stage="final", named=False, causes=[], started=date(2026, 10, 12), effect=1.6,
        models=["C"], measured=measured, ended_at=START if ended else None,
    )  # fmt: skip


def test_two_ends_that_nothing_explains_are_one_whichever_of_their_charts_are_open():
    every = [SimpleNamespace(row={"closed_at": when}) for when in (None, START)]
    one, other = (Group({k}, [part(ended=True)], ended=True) for k in (0, 1))
    assert alike(one, other, every)
    still = Group({0}, [part(ended=False)])
    assert not alike(still, other, every)


def test_what_ended_is_no_step_further_of_itself():
    told = telling._in_steps([part(ended=True), part(ended=True)])
    assert told.size == 0.06


def test_a_matter_whose_charts_had_all_opened_long_before_goes_by_the_last_of_them():
    began = START + timedelta(days=200)
    times = [{"opened_at": START}, {"opened_at": began - timedelta(days=30)}]
    signal = SimpleNamespace(number=3, row=times[0] | {"each": times})
    measured = SimpleNamespace(earlier=(), creeping=None, began_low=began)
    opened, first = telling.first_of([signal], [SimpleNamespace(measured=measured)])
    assert (opened, first) == (times[1]["opened_at"], signal)


@pytest.mark.parametrize("seed", range(3))
def test_how_long_what_is_over_lasted_stands_in_the_figures(seed):
    days = np.arange(DAYS)
    made = bench(seed, 1.3 * ((days >= 45) & (days < 60)))
    rows = matter_rows(made).filter(pl.col("size") > 0.03)
    over = START + timedelta(days=60 // 5 * 7)
    assert [abs((when - over).days) <= 3 for when in rows["ended_at"]] == [True]
    lasts = matter_rows(bench(seed, 1.3 * (days >= 80))).filter(pl.col("size") > 0.03)
    assert lasts.select("closed_at", "ended_at").rows() == [(None, None)]


def closed(*, by="back at its baseline", after=0):
    """A signal whose chart was back a day after START, and closed so many days later."""
    back = START + timedelta(days=1)
    return SimpleNamespace(row={"closed_at": back + timedelta(days=after), "closed_by": by, "back_at": back})


def test_a_chart_that_opens_again_by_chance_long_after_does_not_move_the_closing():
    def closed_at(signals, *parts, opened=START):
        return telling._closed_at(signals, list(parts), [one.row["closed_at"] for one in signals], opened)

    sure = START + timedelta(days=3)
    over = SimpleNamespace(ended_at=START, known_over=sure, named=True)
    late, day = [closed(after=2), closed(after=200)], START + timedelta(days=1)
    assert closed_at(late, over) == sure
    assert closed_at([closed(after=1)], over) == day + timedelta(days=1)  # all charts were back sooner
    assert closed_at(late, over, opened=sure + timedelta(days=1)) == sure + timedelta(days=1)
    unsaid = SimpleNamespace(ended_at=None, known_over=None, named=True)
    assert closed_at(late, over, unsaid) == closed_at(late) == day + timedelta(days=200)
    assert closed_at([closed(by=PERSON, after=200)], over) == day + timedelta(days=200)


def test_what_no_reading_says_the_end_of_ended_when_half_of_its_charts_were_back():
    each = [closed(), closed(after=90), closed(after=1)]
    each[1].row["back_at"] += timedelta(days=90)
    assert telling._ends(each, []) == [START + timedelta(days=1)]
    each[0].row["closed_at"] = None
    assert telling._ends(each, []) == []

"""Weekly shares of single models: a rise on one of them is told as its own, since when, and told once."""

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import polars as pl
import pytest

from analysis.methods.since_when import sums
from analysis.studies.drift import model_shares
from analysis.studies.drift.model_shares import model_windows
from analysis.studies.drift.share_parts import ahead_of
from analysis.studies.drift.share_signals import share_signals, signal_rows
from analysis.studies.drift.shares import Shares, limits, shares, since
from analysis.studies.drift.shares_standing import standing
from analysis.studies.drift.shares_told import told
from analysis.studies.drift.signals import signals
from analysis.studies.matters.chance import kinds
from analysis.studies.matters.matters import ended_matters, open_matters
from analysis.studies.rework.since_weeks import FEWEST, KNOWN, bases
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.drift.test_share_signals import opened
from tests.analysis.studies.drift.test_shares_standing import with_a_reading
from tests.analysis.studies.rework.test_stage_weeks import weeks_of
from tests.trials.lasting_shares import RATE, Shops
from tests.trials.model_shares import PARTS, level, openings, several, starts

Week = tuple[tuple[int, int], tuple[int, int]]


def two(counts: list[Week]) -> Snapshot:
    """(instruments, of which came back to the nut) of LARK and of WREN for each week, and one reading."""
    lark, wren = (with_a_reading([week[of] for week in counts]) for of in (0, 1))
    last = lark.table("visits").height
    theirs = wren.table("visits").with_columns(
        line=pl.col("line") + last, serial="V" + pl.col("serial").cast(pl.String), model=pl.lit("WREN")
    )
    visits = pl.concat([tables.plain(lark.table("visits")), tables.plain(theirs)])
    return Snapshot.of(lark.shop, visits=visits, readings=lark.table("readings"))


STEADY, ROSE = ((30, 1), (30, 1)), ((30, 6), (30, 1))
ONE = [STEADY] * 20 + [ROSE] * 6
BOTH = [STEADY] * 20 + [((30, 6), (30, 5))] * 6
RISE = date(2026, 5, 25)  # the twenty-first week


def matter_of(snap: Snapshot):
    (matter,) = [one for one in open_matters(snap) if not one.characteristics]
    return matter


def test_a_rise_on_one_of_two_models_is_told_on_it_since_when_and_of_how_many():
    matter = matter_of(two(ONE))
    assert (matter.models, matter.stages, matter.shown) == (["LARK"], ["nut"], True)
    assert (matter.began_at or matter.opened_at).date() == RISE
    assert (matter.main["came_back"], matter.main["instruments"]) == (36, 180)
    assert matter.main["expected"] == pytest.approx(180 / 30, rel=0.15)
    assert (matter.main["others_back"], matter.main["others_instruments"]) == (6, 180)
    assert matter.main["other"] == "WREN"


def test_a_rise_too_small_for_all_models_is_seen_on_its_own():
    counts = [((30, 1), (300, 15))] * 20 + [((30, 6), (300, 15))] * 6
    found = opened(two(counts))
    assert found["model"].unique().to_list() == ["LARK"]


def test_the_stage_and_its_model_are_one_matter_that_names_the_model_and_the_first_to_open_keeps_its_name():
    snap = two([STEADY] * 20 + [ROSE] * 12)
    found = opened(snap)
    assert sorted(found["model"]) == ["", "LARK"]
    matter = matter_of(snap)
    assert (matter.models, len(matter.signals)) == (["LARK"], 2)
    assert matter.key == matter_of(two(ONE)).key
    assert matter.opened_at == found["opened_at"].min()


def test_what_rose_on_all_models_is_one_matter_and_names_none():
    snap = two(BOTH)
    assert set(opened(snap)["model"]) == {"", "LARK", "WREN"}
    matter = matter_of(snap)
    assert (matter.models, matter.main["others_back"]) == ([], None)
    assert (matter.main["came_back"], matter.main["instruments"]) == (66, 360)


def test_rework_says_it_as_week_does_and_of_the_model_that_is_asked_for():
    snap = two(ONE)
    (one,) = standing(snap, week=date(2026, 6, 29))
    assert (one.models, one.week, one.since.came_back, one.since.instruments) == (("LARK",), RISE, 36, 180)
    assert standing(two(BOTH), week=date(2026, 6, 29))[0].models == ()


def test_a_rise_that_ends_closes_and_is_no_more_than_that_model():
    found = opened(two([STEADY] * 20 + [ROSE] * 6 + [STEADY] * 20)).filter(pl.col("model") == "LARK")
    assert found["closed_by"].to_list() == ["back at its baseline"]
    assert (found["came_back"][0], found["back_at"][0].date()) == (36, date(2026, 7, 6))


def test_what_rose_on_all_has_ended_where_its_stage_is_back_whichever_model_shows_it_late():
    rose = [((100, 3), (14, 1))] * 20 + [((100, 12), (14, 5))] * 6
    for weeks in (1, 2):
        snap = two([*rose, *[((100, 3), (14, 1))] * weeks])
        assert None in opened(snap)["closed_at"].to_list()  # WREN is open still
        assert [one for one in open_matters(snap) if not one.characteristics] == []
        (over,) = [one for one in ended_matters(snap) if not one.characteristics]
        assert (over.models, over.back_since.date(), over.main["came_back"]) == ([], date(2026, 7, 6), 102)
        assert over.closed_at == over.back_since
    # one that alone rose lasts whatever the stage says
    (alone,) = [one for one in open_matters(two([*rose, *[((100, 0), (14, 5))] * 3])) if not one.characteristics]
    assert alone.models == ["WREN"]


def test_a_model_is_not_named_where_the_others_rose_for_certain_though_the_stage_has_not_signalled():
    snap = two(ONE)
    found = shares(snap)
    rows = [row for row in opened(snap).iter_rows(named=True) if row["model"] == "LARK"]
    assert told(found, rows).models == ("LARK",)
    both = two(BOTH)
    rows = [row for row in opened(both).iter_rows(named=True) if row["model"] == "LARK"]
    assert told(shares(both), rows).models == ()
    assert told(shares(both), rows).since.came_back == 66


def test_the_others_must_not_have_risen_since_more_came_back_of_all():
    snap = two([((100, 3), (100, 3))] * 20 + [((100, 8), (100, 10))] * 3 + [((100, 15), (100, 5))])
    found = shares(snap)
    nut = np.flatnonzero((found.rows["stage"] == "nut").to_numpy())
    week = {place: found.taken[int(nut[place])] for place in (20, 23)}
    rows = [
        {"stage": "nut", "side": 1, "model": model, "began_at": week[began], "opened_at": week[23],
         "last_at": week[23], "closed_at": None}
        for model, began in (("", 20), ("LARK", 23))
    ]  # fmt: skip
    assert told(found, rows[1:]).models == ("LARK",)
    assert (told(found, rows).models, told(found, rows).since.came_back) == ((), 74)


def test_a_person_who_closes_a_models_signal_settles_its_stage():
    snap = two([STEADY] * 20 + [ROSE] * 20)
    first = opened(snap).filter(pl.col("model") == "LARK")["opened_at"][0]
    line = {
        "id": "e1", "kind": "close", "at": datetime(2026, 7, 1, 9, tzinfo=UTC), "who": "AR", "sequence": 1,
        "chart": "share", "stage": "nut", "model": "LARK", "opened_at": first,
    }  # fmt: skip
    again = line | {
        "id": "e2",
        "kind": "reopen",
        "sequence": 2,
        "model": "",
    }  # of another signal: it says nothing of it
    for lines in ([line], [line, again]):
        book = tables.shaped(pl.DataFrame(lines), tables.BENCH_BOOK)
        closed = Snapshot.of(snap.shop, visits=snap.table("visits"), readings=snap.table("readings"), bench_book=book)
        found = opened(closed)
        assert set(found["closed_by"]) == {"a person"}
        assert set(found["model"]) <= {"", "LARK"}


def test_the_start_moves_to_the_likeliest_week_once_more_weeks_are_there():
    # the sum that opens it is that week alone: an early start is held against a base of few weeks
    rose = [(200, 7)] * 6 + [(200, 12)] * 4 + [(200, 24)]
    first = opened(weeks_of(rose)).row(0, named=True)
    later = opened(weeks_of([*rose, *[(200, 13)] * 8])).row(0, named=True)
    assert first["opened_at"].date() == later["opened_at"].date() == date(2026, 3, 16)
    assert later["began_at"].date() == date(2026, 2, 16)  # the seventh week
    assert (later["came_back"], later["instruments"]) == (176, 2600)


def test_models_of_few_instruments_or_alone_at_a_stage_are_not_looked_at():
    assert not len(shares(weeks_of([(25, 2)] * 40)).looked()[0])
    few = KNOWN // 12
    found = shares(two([((few, 0), (60, 2))] * 8))
    assert {found.models[model] for model in found.looked()[1]} == set()
    rows, models = shares(two([((few, 0), (60, 2))] * 30)).looked()
    after = 30 - 16  # weeks after the first base that holds so many of LARK
    assert len(rows) == 3 * 2 * after  # of three stages and both models
    assert (models == 0).sum() == (models == 1).sum()


def test_fewer_than_some_are_no_rise():
    quiet = [((40, 0), (200, 4))] * 30
    calm = opened(two([*quiet, ((40, FEWEST - 1), (200, 4))]))
    rose = opened(two([*quiet, ((40, FEWEST + 2), (200, 4))]))
    assert "LARK" not in set(calm["model"])
    assert "LARK" in set(rose["model"])
    later = opened(two([*quiet, ((40, FEWEST - 1), (200, 4)), ((40, 1), (200, 4))])).filter(pl.col("model") == "LARK")
    assert [when.date() for when in later["opened_at"]] == [date(2026, 8, 10)]  # with the fifth, a week later


def test_what_is_passed_over_by_the_bound_would_not_have_signalled(monkeypatch):
    made = several(np.random.default_rng(20261203), 30, 80, PARTS["unequal"], level(4, 0.08, times=2.0, start=60))
    found = made.charts()
    high = limits(found, np.full(len(found.weeks), 0.01))
    near = model_windows(found, high)
    monkeypatch.setattr(model_shares, "NEAR", 0.0)
    every = model_windows(found, high)
    assert len(near[0].score) > 50
    for one, other in zip((*vars(near[0]).values(), near[1]), (*vars(every[0]).values(), every[1]), strict=True):
        assert np.array_equal(one, other)


def test_a_models_sum_scores_as_the_chart_of_its_own_work_would():
    made = several(np.random.default_rng(20261208), 10, 80, PARTS["unequal"], level(4, 0.08, times=2.0, start=60))
    found = made.charts()
    seen, models = model_windows(found, limits(found, np.full(len(found.weeks), 0.01)))
    assert len(seen.score) > 20
    for first, last, score, model in zip(seen.first, seen.last, seen.score, models, strict=True):
        base = found.bases[found.own[first]]
        place = np.flatnonzero(base.models.model == model)
        own = sums(
            base.models.back[:, place[0]],
            np.maximum(base.models.size[:, place[0]], 1e-9),
            ahead_of(base, place),
            base.until - base.end,
        )
        wide = base.models.widening[place[0]]  # one inspector: nothing is bounded here
        assert own.score[first - base.end, last - base.end] == pytest.approx(score, rel=1e-6)
        assert ahead_of(base, place).widening == wide


def test_the_models_and_the_others_make_up_all():
    made = several(np.random.default_rng(20261204), 3, 80, PARTS["unequal"], level(4, 0.1))
    found = made.charts()
    number = len(found.bases) - 1
    held = found.bases[number]
    first, last = held.end, held.until - 1
    whole, one, rest = (
        since(found, first, last),
        since(found, first, last, (1,)),
        since(found, first, last, (1,), others=True),
    )
    assert one.came_back + rest.came_back == whole.came_back
    assert one.instruments + rest.instruments == whole.instruments
    assert one.expected + rest.expected == pytest.approx(whole.expected)
    every = since(found, first, last, tuple(held.models.model.tolist()))
    assert every.expected == pytest.approx(whole.expected)
    assert (every.low, every.high) == (pytest.approx(whole.low, rel=0.02), pytest.approx(whole.high, rel=0.02))


def test_the_budget_counts_every_week_of_every_model():
    snap = two(ONE)
    judged = signals(snap)
    rows, _ = judged.weekly.looked()
    weeks = judged.weekly.weeks[np.append(np.flatnonzero(judged.weekly.judged), rows)]
    rate = judged.budget.rates[judged.budget.at(weeks)]
    assert len(rows) > 0
    # three stages and both models of each, a point a week: within the quarter by which the volume moves
    assert judged.budget.volumes[-1] == pytest.approx(9, rel=0.25)
    assert kinds(snap)["share"].expected == pytest.approx(rate.sum())


def test_nothing_opens_where_nothing_rises():
    assert opened(two([STEADY] * 60)).is_empty()
    assert opened(two([((30, 2), (60, 3)), ((30, 1), (60, 4))] * 30)).is_empty()
    assert share_signals(two([STEADY] * 2), shares(two([STEADY] * 2)), None).is_empty()


def by_testers(rng: np.random.Generator, shops: int, *, known: bool) -> Shares:
    """Shops of two models, 120 a week, judged by one who sends 2 % back and one who sends 10 % back; since week 60 the
    second judges most of the first model, before it a fifth. known : the weeks say who judged.
    """
    weeks = 80
    late = np.where(np.arange(weeks) >= 60, 0.8, 0.2)
    parts = np.column_stack((0.5 * (1 - late), 0.5 * late, np.full((weeks, 2), 0.25)))
    size = rng.multinomial(120, np.broadcast_to(parts, (shops, weeks, 4)))
    made = Shops(size, rng.binomial(size, [0.02, 0.10, 0.02, 0.10]))
    both = Shops(*(part.reshape(shops, weeks, 2, 2).sum(axis=3) for part in (made.size, made.back)))
    if not known:
        return both.charts()
    n = shops * weeks
    some = made.size.ravel() > 0
    cells = {"row": np.repeat(np.arange(n), 4), "model": np.tile([0, 0, 1, 1], n), "inspector": np.tile([0, 1] * 2, n)}
    counts = {"instruments": made.size.ravel(), "came_back": made.back.ravel()}
    mix = pl.DataFrame({name: part[some] for name, part in (cells | counts).items()})
    found = both.charts()
    return replace(found, bases=bases(mix, found.pieces, n))


def test_a_model_that_another_tester_judges_by_now_did_not_rise():
    told = {}
    for known in (True, False):
        found = by_testers(np.random.default_rng(20261209), 40, known=known)
        rows = signal_rows(found, np.full(len(found.weeks), 0.0005))
        told[known] = sum(row["model"] == "M0" for row in rows)
    assert told[False] > 20
    assert told[True] <= 3


@pytest.mark.promise
def test_a_tenth_of_the_trial_keeps_its_plan_and_dates_a_rise():
    # tests/trials/model_shares.py with 40 shops a row and a seed of its own, fixed before the first run
    rng = np.random.default_rng(20261205)
    opened_all = planned_all = 0.0
    for week in (60, 300):
        for share in (0.03, 0.2):
            for parts in PARTS.values():
                count, planned = openings(several(rng, 40, week, parts, level(len(parts), share)), RATE)
                opened_all, planned_all = opened_all + count, planned_all + planned
    assert opened_all / planned_all <= 1.15 + 3 * np.sqrt(1 / planned_all)
    rise = level(2, 0.04, times=3.0, start=60)
    told = starts(several(rng, 100, 200, PARTS["two"], rise), RATE, 60, 8)
    assert len(told) > 90
    assert np.mean(np.abs(told) <= 2) > 0.8

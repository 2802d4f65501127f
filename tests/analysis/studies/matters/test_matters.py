"""Matters: one cause is one line; the planted thing is named, what cannot be told apart is named with it, and nothing
is named for nothing.
"""

from datetime import date, timedelta
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.streams import KEY
from analysis.studies.matters.asked import to_target
from analysis.studies.matters.matters import closed_matters, ended_matters, matters, open_matters
from analysis.studies.matters.not_yet import not_yet
from analysis.studies.matters.parts import _among
from analysis.studies.matters.records import CHANGE, GAUGE, HUMIDITY, LOT, SET_BY, SUPPLIER, TECH_AT, Matter
from analysis.studies.matters.rows import MATTERS, matter_rows, signal_rows
from analysis.studies.matters.telling import _main
from analysis.studies.matters.units import Signal
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import at, shop, snapshot

RELIEF = ("relief", "")

N, STEP = 360, 200
RNG = np.random.default_rng(20261229)
NOISE = RNG.normal(size=N)
SINCE = np.arange(N) >= STEP
FEW = {"false_signals_per_week": 0.01}
FROM = at(STEP).date()


def only(made: Snapshot) -> Matter:
    """The one open matter."""
    found = made.once(open_matters)
    assert len(found) == 1, [one.moves_with.named for one in found]
    return found[0]


def names(found: Matter) -> list[tuple[str, str]]:
    return sorted((one.name, one.value) for one in found.moves_with.named)


def test_the_gauge_whose_readings_moved_is_named_with_its_size_and_start():
    gauge = RNG.choice(["g1", "g2"], N)
    found = only(snapshot(shop(**FEW), {RELIEF: NOISE + 2.5 * (SINCE & (gauge == "g1"))}, gauge=gauge))
    assert names(found) == [(GAUGE, "g1")]
    assert found.size_low < 2.5 < found.size_high
    assert abs(found.began_at.date() - FROM) <= timedelta(days=2)
    assert found.moves_with.named[0].effect == pytest.approx(found.size)


def test_a_lot_and_its_only_supplier_are_named_together_with_what_would_tell_them_apart():
    lot = np.where(SINCE & (RNG.random(N) < 0.5), "new", "old")
    supplier = np.where(lot == "new", "B", "A")
    found = only(snapshot(shop(**FEW), {RELIEF: NOISE + 3.0 * (lot == "new")}, lot=lot, supplier=supplier))
    assert names(found) == [(LOT, "new"), (SUPPLIER, "B")]
    assert [(one.only_this, one.only_other) for one in found.tell_apart] == [(0, 0)]


@pytest.mark.parametrize("through", [True, False])
def test_a_matter_of_a_lot_ends_with_its_last_neck_though_the_chart_of_a_rare_model_is_open(through):
    last, rare = np.arange(N) < (260 if through else N), np.arange(N) % 2 == 0
    model = np.where(last & rare, "WREN", "LARK")
    lot = np.where(SINCE & last & (rare | (np.arange(N) % 3 == 0)), "new", "old")
    made = snapshot(shop(("LARK", "WREN"), **FEW), {RELIEF: NOISE + 3.0 * (lot == "new")}, model=model, lot=lot)
    assert bool(made.once(open_matters)) != through
    (found,) = [one for one in made.once(matters) if (LOT, "new") in names(one)]
    assert (found.closed_at is not None) == through
    assert not through or found.closed_at.date() - at(260).date() < timedelta(days=3)
    over = [one.back_since for one in made.once(ended_matters)]
    assert over == ([found.back_since] if through else [])
    assert not through or abs(over[0] - at(260)) < timedelta(days=3)


def test_the_tech_at_an_earlier_stage_is_named_with_the_stage():
    early = RNG.choice(["T4", "T5"], N)
    setter = RNG.choice(["T1", "T2"], N)
    found = only(snapshot(shop(**FEW), {RELIEF: NOISE + 2.5 * (SINCE & (early == "T5"))}, early=early, setter=setter))
    assert names(found) == [(f"{TECH_AT} frets", "T5")]


def test_who_worked_at_a_bench_that_comes_later_is_named_for_nothing_whatever_a_clock_says():
    late = RNG.choice(["T4", "T5"], N)
    given = {RELIEF: NOISE + 2.5 * (SINCE & (late == "T5"))}
    made = shop(**FEW)
    stages = {one.key: one for one in made.stages}
    turned = made.model_copy(
        update={"stages": tuple(stages[key] for key in ("neck", "bridge", "final", "frets", "packing"))}
    )
    (told,) = snapshot(turned, given, early=late, setter=RNG.choice(["T1", "T2"], N)).once(open_matters)
    assert all(name != f"{TECH_AT} frets" for name, _ in names(told))
    assert all(one.stage != "frets" for one in told.moves_with.candidates)


def test_who_set_it_is_named_and_their_bench_stage_is_not_named_twice():
    setter = RNG.choice(["T1", "T2"], N)
    found = only(snapshot(shop(**FEW), {RELIEF: NOISE + 2.5 * (SINCE & (setter == "T2"))}, setter=setter))
    assert (SET_BY, "T2") in names(found)
    assert all(name != f"{TECH_AT} neck" for name, _ in names(found))


@pytest.mark.parametrize(("key", "told"), [("bow", [(f"{TECH_AT} final", "T8")]), ("relief", [])])
def test_who_read_it_is_looked_at_where_nobody_says_at_which_stage_it_is_set(key, told):
    reader = RNG.choice(["T7", "T8"], N)
    found = only(snapshot(shop(**FEW), {(key, ""): NOISE + 2.5 * (SINCE & (reader == "T8"))}, reader=reader))
    assert names(found) == told


def test_humidity_is_named_where_readings_follow_it_and_it_changed():
    rng = np.random.default_rng(20261230)
    rh = np.where(SINCE, 62.0, 47.0) + np.repeat(rng.normal(0, 4, N // 4), 4)
    found = only(snapshot(shop(**FEW), {RELIEF: NOISE + 0.15 * (rh - 47)}, rh=rh))
    assert [name for name, _ in names(found)] == [HUMIDITY]
    assert found.moves_with.named[0].change == pytest.approx(15, abs=4)


def test_a_step_while_the_air_changes_too_is_not_laid_to_humidity_alone():
    rng = np.random.default_rng(20261231)
    rh = np.where(SINCE, 62.0, 47.0) + rng.normal(0, 8, N)
    assert names(only(snapshot(shop(**FEW), {RELIEF: NOISE + 2.5 * SINCE}, rh=rh))) == []


def changed(day: date, **more: object) -> pl.DataFrame:
    row = {"from_date": day, "to_date": None, "model": "LARK", "stage": "neck", "what": "jig", "note": ""}
    return pl.DataFrame([row | more], schema_overrides={"to_date": pl.Date})


def test_a_dated_change_on_the_day_is_named():
    found = only(snapshot(shop(**FEW), {RELIEF: NOISE + 3.0 * SINCE}, changes=changed(FROM)))
    assert names(found) == [(CHANGE, f"jig, {FROM}")]


@pytest.mark.parametrize(
    "more",
    [{"stage": "packing"}, {"model": "WREN"}, {"from_date": FROM - timedelta(days=12)}, {"characteristic": "action"}],
)
def test_a_dated_change_elsewhere_or_at_another_time_is_not(more):
    assert names(only(snapshot(shop(**FEW), {RELIEF: NOISE + 3.0 * SINCE}, changes=changed(FROM, **more)))) == []


def test_a_planned_change_that_was_followed_says_so_and_by_whom_it_was_not():
    setter = RNG.choice(["T1", "T2"], N)
    plan = changed(FROM, characteristic="relief", planned=True, target=3.0)
    followed = only(snapshot(shop(**FEW), {RELIEF: NOISE + 3.0 * SINCE}, setter=setter, changes=plan)).planned
    assert followed.followed
    assert followed.low < 3.0 < followed.high
    assert followed.not_followed_by == []
    missed = only(snapshot(shop(**FEW), {RELIEF: NOISE + 0.6 * SINCE}, setter=setter, changes=plan)).planned
    assert missed is None or not missed.followed


def test_who_does_not_follow_a_planned_change_finds_it_at_their_stage():
    setter = np.random.default_rng(20270101).choice(["T1", "T2", "T3", "T4"], N)
    plan = changed(FROM, characteristic="relief", planned=True, target=3.0)
    made = snapshot(shop(**FEW), {RELIEF: NOISE + 3.0 * (SINCE & (setter != "T4"))}, setter=setter, changes=plan)
    assert [one.planned.what for one in not_yet(made, tech="T4", stage="neck")] == ["jig"]
    assert not_yet(made, tech="T1", stage="neck") == not_yet(made, tech="T4", stage="bridge") == []


def test_a_stream_that_comes_half_way_to_its_target_is_said_to_move_to_it():
    key = dict.fromkeys((*KEY, "position"), "LARK")
    asked = {tuple(key[name] for name in KEY): 1.0}
    said = [to_target({**key, "before": before, "after": 1.2}, asked) for before in (1.5, 0.5, 1.3, None)]
    assert said == [True, True, False, False]
    assert not to_target({**key, "before": 1.5, "after": 1.2}, {})


def test_what_only_some_readings_did_is_nearer_by_theirs_and_only_where_no_other_series_lies_further_off():
    key = dict.fromkeys((*KEY, "position"), "LARK")
    other = {**key, "model": "WREN"}
    asked = {tuple(one[name] for name in KEY): 1.0 for one in (key, other)}
    main = {**key, "before": 0.9, "after": 0.96}  # the mean of all is nearer
    assert to_target(main, asked, of_some=0.1)
    assert not to_target(main, asked, of_some=0.2)  # those that moved lie as far off as before, on the other side
    assert to_target(main, asked, [{**other, "before": 0.9, "after": 0.95}])
    assert not to_target(main, asked, [{**other, "before": 1.0, "after": 1.06}])


def test_the_size_of_one_is_told_beside_what_it_comes_to_over_all():
    setter = np.random.default_rng(20270103).choice(["T1", "T2", "T3", "T4"], N)
    setter[np.flatnonzero(SINCE)[5]] = "T5"  # a slip in a name
    found = only(snapshot(shop(**FEW), {RELIEF: NOISE + 3.0 * (SINCE & (setter == "T2"))}, setter=setter))
    assert names(found) == [(SET_BY, "T2")]
    since = SINCE if found.began_at >= at(STEP) else np.arange(N) >= STEP - 5
    assert found.over_all == pytest.approx(found.size * np.mean(setter[since] == "T2"), rel=0.1)
    assert found.levels == 4


@pytest.mark.parametrize("start", [0, 30, 60])
def test_of_who_came_new_the_size_over_all_is_that_since_they_came(start):
    """Nothing tells that they had not begun long before: of three at a bench one came on day 60 of 90."""
    day = np.repeat(np.arange(90), 3)
    code = np.where((np.arange(270) % 3 == 2) & (day >= 60), 2, np.arange(270) % 2)
    found = SimpleNamespace(
        stream=np.zeros(270, dtype=np.int64), day=day, factors=[SimpleNamespace(name=SET_BY, code=code)]
    )
    best = SimpleNamespace(factor=SET_BY, level=2, start=start, end=-1)
    part = SimpleNamespace(sized=SimpleNamespace(evidence=found, best=best))
    assert _among(part, 0.12, code == 2) == (pytest.approx(0.04), 3)


def test_what_touches_every_reading_of_its_series_is_one_size():
    found = only(snapshot(shop(**FEW), {RELIEF: NOISE + 3.0 * SINCE}, changes=changed(FROM)))
    assert (found.over_all, found.levels) == (None, 0)


def signal(number, size, *, tech="", closed=None):
    row = {**dict.fromkeys((*KEY, "position"), ""), "model": f"M{number}", "tech": tech, "size": size,
           "closed_at": closed, "opened_at": at(number)}  # fmt: skip
    return Signal(number, "found", number, row, None)


def test_a_series_that_is_open_and_moved_the_way_of_all_stands_for_a_matter():
    part = SimpleNamespace(measured=SimpleNamespace(size=0.14))
    far, against = signal(1, 0.2, closed=at(9)), signal(2, -0.1)
    low, high, own = signal(3, 0.04), signal(4, 0.05), signal(5, 0.15, tech="T1")
    rooms = {tuple(one.row[name] for name in KEY): 1.0 for one in (far, against, low, high, own)}
    assert _main(None, [far, against, low, high, own], [part], rooms)["model"] == "M4"
    assert _main(None, [far, against, own], [part], rooms)["model"] == "M2"
    assert _main(None, [far, own], [part], rooms)["model"] == "M1"


def test_a_gauge_changed_for_all_the_same_day_is_named_with_the_change():
    gauge = np.where(SINCE, "new", "old")
    found = only(snapshot(shop(**FEW), {RELIEF: NOISE + 3.0 * SINCE}, gauge=gauge, changes=changed(FROM)))
    assert [name for name, _ in names(found)] == [CHANGE, GAUGE]


def test_where_everything_moved_nothing_stands_out():
    k = np.arange(N)
    setter, gauge, lot = (np.array([f"{name}{level}" for level in which]) for name, which in
                          zip("tgl", (k % 3, k // 3 % 3, k // 9 % 3), strict=True))  # fmt: skip
    found = only(snapshot(shop(**FEW), {RELIEF: NOISE + 2.5 * SINCE}, setter=setter, gauge=gauge, lot=lot))
    assert found.moves_with.named == []
    assert found.moves_with.unexplained > 0.9
    assert found.size_low < 2.5 < found.size_high


def many(rng: np.random.Generator, models: int = 6, days: int = 60, per_day: int = 4):
    """Instruments of several models with two gauges and three people, day after day; and what is since the change."""
    n = models * per_day * days
    day = np.repeat(np.arange(days), models * per_day)
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(models * per_day) * 8 / (models * per_day), days)
    model = np.array([f"M{k}" for k in rng.integers(0, models, n)], dtype=object)
    return n, hours, model, rng.choice(["g1", "g2"], n), rng.choice(["T1", "T2", "T3"], n), day >= 45


def test_one_gauge_off_on_six_models_is_one_matter():
    rng = np.random.default_rng(20270201)
    n, hours, model, gauge, setter, since = many(rng)
    values = rng.normal(size=n) + 2.0 * (since & (gauge == "g1"))
    keys = tuple(f"M{k}" for k in range(6))
    found = only(snapshot(shop(keys, **FEW), {RELIEF: values}, model=model, hours=hours, gauge=gauge, setter=setter))
    assert names(found) == [(GAUGE, "g1")]
    assert sorted(found.models) == list(keys)
    assert len(found.signals) >= 5


def test_two_causes_at_once_are_two_matters():
    rng = np.random.default_rng(20270202)
    n, hours, model, gauge, setter, since = many(rng)
    values = rng.normal(size=n) + 2.0 * (since & (gauge == "g1") & (model != "M5"))
    values -= 3.0 * (since & (model == "M5") & (setter == "T2"))
    keys = tuple(f"M{k}" for k in range(6))
    made = snapshot(shop(keys, **FEW), {RELIEF: values}, model=model, hours=hours, gauge=gauge, setter=setter)
    found = {name for one in made.once(open_matters) for name in names(one)}
    assert {(GAUGE, "g1"), (SET_BY, "T2")} <= found


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_gauge_behind_a_change_that_moved_everything_it_reads_is_told_too(seed):
    rng = np.random.default_rng([20281208, seed])
    n, hours, model, _, setter, since = many(rng, per_day=8)
    gauge = rng.choice(["g1", "g2", "g3"], n)
    values = rng.normal(size=n) + since + (since & (gauge == "g1"))
    keys = tuple(f"M{k}" for k in range(6))
    first = (at(0) + timedelta(hours=float(hours[since][0]))).date()
    made = snapshot(
        shop(keys, **FEW),
        {RELIEF: values},
        model=model,
        hours=hours,
        gauge=gauge,
        setter=setter,
        changes=changed(first, model=None),
    )
    found = {name for one in made.once(open_matters) for name in names(one)}
    assert found == {(GAUGE, "g1"), (CHANGE, f"jig, {first}")}


def test_what_came_back_is_told_once_and_closed():
    values = NOISE.copy()
    values[STEP : STEP + 60] += 3.0
    made = snapshot(shop(**FEW), {RELIEF: values})
    assert made.once(open_matters) == []
    (found,) = made.once(closed_matters)
    assert found.state == "closed"
    assert found.closed_at >= at(STEP + 60)


def test_a_chart_that_was_back_and_opens_again_is_told_with_what_moved_it_now():
    rng = np.random.default_rng(20281206)
    gauge, at_all = rng.choice(["g1", "g2"], 460), np.arange(460)
    first, now = (at_all >= 140) & (at_all < 190), (at_all >= 340) & (gauge == "g1")
    found = only(snapshot(shop(**FEW), {RELIEF: rng.normal(size=460) + 2.5 * first + 3.0 * now}, gauge=gauge))
    assert names(found) == [(GAUGE, "g1")]
    assert found.opened_at < at(190)
    assert abs(found.began_at.date() - at(340).date()) <= timedelta(days=2)


def test_what_moves_all_takes_up_charts_that_something_else_had_moved_the_other_way_just_before():
    rng, models, n = np.random.default_rng(20301130), ["LARK", "WREN", "FINCH", "ROOK", "DOVE", "HERON"], 900
    model, place = np.array(models)[np.arange(n) % 6], np.arange(n)
    lifted = 2.5 * ((place >= 500) & (place < 620)) - 3.0 * (place >= 620)
    found = only(snapshot(shop(tuple(models), **FEW), {RELIEF: rng.normal(size=n) + lifted}, model=model))
    assert found.size_low < 0
    assert len(found.models) == 6
    assert abs(found.began_at.date() - at(620).date()) <= timedelta(days=2)


@pytest.mark.parametrize("through", [True, False])
def test_what_comes_again_is_told_since_it_came_again_and_is_not_over_with_its_first_time(through):
    model, place = np.array(["LARK", "WREN", "FINCH"])[np.arange(900) % 3], np.arange(900)
    damp = (place >= 420) & (place < 540) | (place >= 750) & (place < (840 if through else 900))
    values = np.random.default_rng(20301129).normal(size=900) + 2.5 * (damp & (model != "FINCH"))
    made = snapshot(shop(("LARK", "WREN", "FINCH"), **FEW), {RELIEF: values}, model=model)
    found = [one for one in made.once(open_matters) if one.shown]
    assert len(found) == (not through)
    for one in found:
        assert abs(one.began_at.date() - at(750).date()) <= timedelta(days=2)
        assert one.models == ["LARK", "WREN"]
        assert one.size_low < 2.5 < one.size_high  # though before it lies what came the first time


def test_a_cause_stays_open_where_its_chart_closed_on_the_readings_of_others():
    gauge = np.random.default_rng([5020, 0]).choice(["g1", "g2"], N)
    made = snapshot(shop(**FEW), {RELIEF: NOISE + 2.5 * (SINCE & (gauge == "g1"))}, gauge=gauge)
    assert names(only(made)) == [(GAUGE, "g1")]


def test_what_nothing_explains_says_how_many_things_were_looked_at():
    gauge = np.random.default_rng(20281207).choice(["g1", "g2"], N)
    found = only(snapshot(shop(**FEW), {RELIEF: NOISE + 1.5 * SINCE}, gauge=gauge))
    assert names(found) == []
    assert found.moves_with.looked_at > 1


def test_the_figures_hold_a_row_a_matter_and_name_nobody_where_nobody_is_shown():
    setter = RNG.choice(["T1", "T2"], N)
    values = {RELIEF: NOISE + 2.5 * (SINCE & (setter == "T2"))}
    shown = snapshot(shop(**FEW), values, setter=setter).once(matter_rows)
    assert dict(shown.schema) == MATTERS
    assert "T2" in shown["cause_value"][-1]
    assert shown["probability"][-1] > 0.9
    bench = shop(**FEW)
    hidden = bench.model_copy(update={"people": bench.people.model_copy(update={"show": "none"})})
    made = snapshot(hidden, values, setter=setter)
    assert not made.once(matter_rows)["cause_value"].str.contains("T2").any()
    assert not made.once(signal_rows)["moves_with_value"].str.contains("T2").any()


def test_every_signal_stands_in_one_matter():
    rng = np.random.default_rng(20270203)
    n, hours, model, gauge, setter, since = many(rng)
    values = rng.normal(size=n) + 1.5 * (since & (gauge == "g1"))
    made = snapshot(shop(tuple(f"M{k}" for k in range(6)), false_signals_per_week=3.0), {RELIEF: values}, model=model,
                    hours=hours, gauge=gauge, setter=setter)  # fmt: skip
    held = [(one.table, one.row) for each in made.once(matters) for one in each.signals]
    assert len(held) == len(set(held)) == len(made.once(signal_rows))


def test_the_unit_of_the_readings_changes_sizes_and_nothing_else():
    gauge = RNG.choice(["g1", "g2"], N)
    values = NOISE + 2.5 * (SINCE & (gauge == "g1"))
    one, other = (only(snapshot(shop(**FEW), {RELIEF: by * values}, gauge=gauge)) for by in (1.0, 25.4))
    assert names(one) == names(other)
    assert one.began_at == other.began_at
    assert other.size == pytest.approx(25.4 * one.size)


def test_the_order_of_rows_never_matters():
    gauge = RNG.choice(["g1", "g2"], N)
    values = {RELIEF: NOISE + 2.5 * (SINCE & (gauge == "g1"))}
    plain, shuffled = (snapshot(shop(**FEW), values, gauge=gauge, shuffled=how).once(matter_rows)
                       for how in (None, np.random.default_rng(3)))  # fmt: skip
    assert plain.drop("probability", "size", "size_low", "size_high").equals(
        shuffled.drop("probability", "size", "size_low", "size_high")
    )

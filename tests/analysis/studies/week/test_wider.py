"""What spreads wider than before is told with its week, for all or for one, and a move of the mean is none."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.streams import streams
from analysis.studies.story.calendar import first_day
from analysis.studies.week.wider import BEFORE, _differences, _weekly, wider
from tests.analysis.studies.drifting import at, shop, snapshot

N, STEP = 640, 400  # forty a week: ten weeks, then six
SINCE = np.arange(N) >= STEP
RNG = np.random.default_rng(20261204)
NOISE = RNG.standard_normal(N)
SETTER = RNG.choice(["T1", "T2", "T3"], N)
MADE = shop(("LARK", "WREN"))
BEGAN = at(STEP).date()


def told(values, *, at_reading=N - 1, **more):
    made = snapshot(MADE, {("relief", ""): values}, **({"setter": SETTER} | more))
    return wider(made, week=first_day(at(at_reading).date(), MADE)).rows(named=True)


def test_a_spread_that_doubles_for_everybody_is_told_with_its_week():
    [row] = told(NOISE * np.where(SINCE, 2.0, 1.0))
    assert (row["characteristic"], row["stage"], row["models"], row["of_one"]) == ("relief", "final", [], False)
    assert row["since"] == first_day(BEGAN, MADE)
    assert row["low"] < 2.0 < row["high"]
    [early] = told(NOISE * np.where(SINCE, 2.0, 1.0), at_reading=STEP + 119)
    assert early["since"] == row["since"]
    assert told(NOISE * np.where(SINCE, 2.0, 1.0), at_reading=STEP - 1) == []


def test_one_of_those_who_set_it_and_one_of_the_models_are_told_as_such():
    [row] = told(NOISE * np.where(SINCE & (SETTER == "T2"), 2.6, 1.0))
    assert row["of_one"]
    model = np.where(np.arange(N) % 2, "LARK", "WREN")
    [row] = told(NOISE * np.where(SINCE & (model == "WREN"), 2.6, 1.0), model=model)
    assert (row["models"], row["of_one"]) == (["WREN"], False)


@pytest.mark.parametrize("of", ["all", "setter", "lot", "gauge"])
def test_a_move_of_the_mean_of_all_or_of_some_is_no_wider_spread(of):
    some = RNG.random(N) < 0.4
    more = {"lot": {"lot": np.where(some, "A", "B")}, "gauge": {"gauge": np.where(some, "g1", "g2")}}.get(of, {})
    moved = {"all": SINCE, "setter": SINCE & (SETTER == "T2")}.get(of, SINCE & some)
    assert told(NOISE + 4.0 * moved, **more) == []


def test_one_slip_of_the_pen_is_no_spread_and_what_is_over_is_not_told():
    slip = NOISE.copy()
    slip[STEP + 5] = 250.0
    assert told(slip) == []
    over = NOISE * np.where(SINCE & (np.arange(N) < STEP + 60), 2.0, 1.0)
    assert told(over) == []
    assert BEGAN - first_day(BEGAN, MADE) < timedelta(days=7)


def test_differences_and_their_weeks_are_those_of_one_reading_after_another():
    some = {name: RNG.choice(["", "a", "b"], N) for name in ("lot", "gauge", "supplier")}
    model = RNG.choice(["LARK", "WREN"], N)
    made = snapshot(MADE, {("relief", ""): NOISE}, setter=SETTER, model=model, **some)
    week, held = first_day(at(N - 60).date(), MADE), streams(made)
    assert held is not None
    names = ("set_by", "gauge", "supplier", "lot")
    rows = held.readings.of_all("stream", "tech_set", "day", *names, "setup")
    last, plain = {}, []
    for row, value in zip(rows.iter_rows(named=True), held.values, strict=True):
        if row["tech_set"] == "" and week - BEFORE <= row["day"] < week + timedelta(days=7):
            series = (row["stream"], *(row[name] for name in names))
            if series in last:
                plain.append((row["stream"], abs(value - last[series]), first_day(row["day"], MADE), row["setup"]))
            last[series] = value
    found = _differences(held, week, MADE)
    assert found.select("stream", "apart", "week", "model").rows() == plain
    assert len(plain) > N / 2
    [(_, weeks, square, size)] = _weekly(found)
    for one, mean, n in zip(weeks, square, size, strict=True):
        own = found.filter(pl.col("week") == one)["square"].to_list()
        assert (mean, n) == (pytest.approx(sum(own) / len(own), rel=1e-12), len(own))
    assert weeks == sorted({one for _, _, one, _ in plain})

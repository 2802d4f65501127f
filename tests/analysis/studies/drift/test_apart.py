"""Streams that break the pass over all of them are set apart, and every other is judged as if they were not there."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from analysis.methods.problems import NotWorkedOut, UnusableData
from analysis.studies.drift import apart, judged, signals, states
from analysis.studies.drift.streams import streams
from analysis.studies.week import weeks
from tests.analysis.studies.drifting import shop, snapshot

MODELS = ("LARK", "WREN", "HERON", "DRAY")
POISON = 7.25
RNG = np.random.default_rng(20261128)


def shop_of(poisoned, n=160):
    """A shop of four models, whose readings of some models hold the poison."""
    model = np.tile(MODELS, n)
    values = np.round(RNG.normal(0.3, 0.02, len(model)), 3)
    for one in poisoned:
        values[np.flatnonzero(model == one)[5]] = POISON
    return snapshot(shop(MODELS), {("relief", ""): values}, model=model, setter="T1")


@pytest.fixture
def breaks(monkeypatch):
    """A pass over streams that ends in an error where one of them holds the poison."""
    whole = judged.stream_charts

    def broken(held, *rest, **more):
        if (held.values == POISON).any():
            raise IndexError("no place for that")
        return whole(held, *rest, **more)

    monkeypatch.setattr(judged, "stream_charts", broken)


def told(shop_):
    return replace(shop_, on_fault=lambda fault: NotWorkedOut("it broke"))


def test_all_streams_but_the_poisoned_are_judged_as_without_them(breaks):
    made = told(shop_of(["WREN", "DRAY"]))
    found = made.once(signals.signals)
    rows = made.once(states.stream_rows)
    bad = rows.filter(pl.col("state") == states.NOT_JUDGED)
    assert sorted(bad["model"].unique()) == ["DRAY", "WREN"]
    assert len(bad) == len(found.unjudged) == 4  # of all techs and of the one who set them
    assert bad["centre"].null_count() == 4
    assert found.unjudged["why"].unique().to_list() == ["it broke"]
    fine = made.once(streams)
    keep = np.flatnonzero(fine.rows["model"].is_in(["LARK", "HERON"]))
    alone = signals._judged(made, apart.only(fine, keep), all_of=False)
    assert found.found.equals(alone.found)
    assert rows.filter(pl.col("state") != states.NOT_JUDGED)["model"].to_list() == alone.streams.rows["model"].to_list()
    assert made.once(weeks.week_rows)["signals_opened"].null_count() == 0


def test_without_words_for_an_error_it_is_raised(breaks):
    with pytest.raises(IndexError):
        shop_of(["WREN"]).once(signals.signals)


def test_where_all_streams_break_the_pass_the_study_says_so_and_the_weeks_stand(breaks):
    made = told(shop_of(MODELS))
    for _ in range(2):
        with pytest.raises(NotWorkedOut, match="it broke"):
            made.once(signals.signals)
    found = made.once(weeks.week_rows)
    assert found["signals_opened"].null_count() == len(found)
    assert found["finished"].null_count() == 0


def test_a_study_that_failed_is_not_worked_out_twice():
    calls = []

    def failing(_snapshot):
        calls.append(1)
        raise ZeroDivisionError

    made = told(shop_of([], n=5))
    for _ in range(3):
        with pytest.raises(UnusableData):
            made.once(failing)
    assert len(calls) == 1


@pytest.mark.parametrize("ids", [[0], [1, 2], [0, 3, 5], list(range(8))])
def test_some_of_the_streams_are_the_streams_of_these_alone(ids):
    whole = shop_of([]).once(streams)
    some = apart.only(whole, np.array(ids))
    ends = np.append(whole.starts[1:], len(whole.values))
    wanted = np.concatenate([whole.values[whole.starts[one] : ends[one]] for one in ids])
    assert np.array_equal(some.values, wanted)
    assert np.array_equal(some.readings["value"].to_numpy(), wanted)
    assert some.readings["stream"].unique().to_list() == list(range(len(ids)))
    assert np.array_equal(some.values[some.starts], whole.values[whole.starts[ids]])
    assert np.array_equal(some.eras.starts, some.starts)
    assert np.array_equal(some.eras.window, some.starts)
    assert np.array_equal(some.own.centre, whole.own.centre[ids])


def test_of_some_streams_a_reading_finds_itself_in_the_stream_of_all_techs():
    held = shop_of([]).once(streams)
    everyone = np.flatnonzero((held.rows["tech"] == "").to_numpy())
    some = apart.only(held, np.setdiff1d(np.arange(len(held.starts)), everyone[:1]))
    twin, all_techs = some.readings.twin, (some.rows["tech"] == "").to_numpy()[some.readings.stream]
    assert (some.readings.row[twin] == some.readings.row).all()
    has = np.isin(some.readings.row, some.readings.row[all_techs])
    assert all_techs[twin[has]].all()
    assert (twin[~has] == np.flatnonzero(~has)).all()
    assert 0 < has.sum() < len(has)

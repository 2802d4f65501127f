"""Streams: which readings, which limits, from which reading on."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from analysis.methods.constants import d2
from analysis.studies.drift.readings import Readings
from analysis.studies.drift.states import stream_rows
from analysis.studies.drift.streams import received_readings, stream_readings, streams
from ingest.terms import tables
from tests.analysis.studies.drifting import START, at, shop, snapshot
from tests.analysis.studies.measured import made, visit

RNG = np.random.default_rng(20261217)
X = RNG.normal(0.25, 0.05, size=260)
RELIEF = ("relief", "")


def filed(
    place: int,
    *,
    centre: float = 0.0,
    sigma: float = 1.0,
    n: int = 100,
    sequence: int = 1,
    tech: str = "",
    **more: object,
) -> pl.DataFrame:
    """A line of limits on file for relief of LARK that holds from the reading with this place."""
    row = {
        "sequence": sequence,
        "at": at(place),
        "who": "M",
        "why": "new strings",
        "characteristic": "relief",
        "position": "",
        "model": "LARK",
        "stage": "final",
        "tech": tech,
        "holds_from": at(place),
        "centre": centre,
        "sigma": sigma,
        "n": n,
        "left_out": "[]",
    } | more
    return tables.shaped(pl.DataFrame([row]), tables.LIMITS_ON_FILE)


def test_limits_are_mean_and_mean_moving_range_of_the_first_hundred():
    row = snapshot(shop(), {RELIEF: X}).once(stream_rows).row(0, named=True)
    sigma = np.abs(np.diff(X[:100])).mean() / d2(2)
    wanted = (X[:100].mean(), sigma, X[:100].mean() - 3 * sigma, X[:100].mean() + 3 * sigma)
    assert (row["centre"], row["sigma"], row["lower_limit"], row["upper_limit"]) == pytest.approx(wanted, rel=1e-12)
    assert (row["n"], row["first_at"], row["last_at"]) == (260, at(0), at(259))


def test_a_width_moves_the_limits():
    row = snapshot(shop(width=2.5), {RELIEF: X}).once(stream_rows).row(0, named=True)
    assert row["upper_limit"] - row["centre"] == pytest.approx(2.5 * row["sigma"])


@pytest.mark.parametrize(("n", "state", "limits"), [(1, "thin", False), (24, "thin", False), (25, "steady", True)])
def test_few_readings_have_a_centre_but_no_limits(n, state, limits):
    row = snapshot(shop(), {RELIEF: X[:n]}).once(stream_rows).row(0, named=True)
    assert (row["state"], row["lower_limit"] is not None) == (state, limits)
    assert (row["centre"] is None) == (n < 2)


def test_a_stream_that_never_moved_is_thin():
    row = snapshot(shop(), {RELIEF: np.full(50, 0.3)}).once(stream_rows).row(0, named=True)
    assert (row["state"], row["centre"], row["sigma"], row["lower_limit"]) == ("thin", pytest.approx(0.3), 0.0, None)


def test_who_set_it_has_a_stream_of_their_own_and_nobody_else():
    setter = np.where(np.arange(260) % 3 == 0, "T1", "T2")
    held = snapshot(shop(), {RELIEF: X}, setter=setter).once(streams)
    assert held.rows.select("tech", "n").rows() == [("", 260), ("T1", 87), ("T2", 173)]
    assert held.values[260:347] == pytest.approx(X[setter == "T1"])


def test_models_that_share_a_setup_share_a_stream():
    made = shop(("LARK", "WREN"))
    sharing = made.model_copy(update={"models": tuple(m.model_copy(update={"setup": "small"}) for m in made.models)})
    rows = snapshot(sharing, {RELIEF: X}, model=np.where(np.arange(260) % 2 == 0, "LARK", "WREN")).once(streams).rows
    assert rows.select("model", "n").rows() == [("small", 260)]


def test_the_order_of_rows_never_matters():
    columns = {RELIEF: X, ("action", "bass"): 2 + X[::-1]}
    setter = np.where(np.arange(260) % 2 == 0, "T1", "T2")
    in_order = snapshot(shop(), columns, setter=setter).once(stream_rows)
    shuffled = snapshot(shop(), columns, setter=setter, shuffled=np.random.default_rng(3)).once(stream_rows)
    assert in_order.equals(shuffled)


def test_limits_on_file_hold_from_their_date_and_the_stream_begins_a_new_era():
    held = snapshot(shop(), {RELIEF: X}, limits_on_file=filed(120, centre=0.3, sigma=0.04)).once(streams)
    assert held.eras.starts.tolist() == [0, 120]
    assert (held.eras.centre[1], held.eras.sigma[1], held.eras.judged_from[1], held.eras.on_file.tolist()) == (
        0.3,
        0.04,
        0,
        [False, True],
    )


def test_the_later_word_counts_and_taken_off_file_the_first_readings_count_again():
    lines = pl.concat([filed(120, centre=0.3), filed(120, centre=0.4, sequence=2), filed(180, n=0, sequence=3)])
    held = snapshot(shop(), {RELIEF: X}, limits_on_file=lines).once(streams)
    assert held.eras.starts.tolist() == [0, 120, 180]
    assert held.eras.centre.tolist() == pytest.approx([X[:100].mean(), 0.4, X[:100].mean()])
    assert held.eras.on_file.tolist() == [False, True, False]


def test_limits_that_hold_from_before_the_first_reading_leave_no_baseline():
    line = filed(0, centre=0.3, baseline_from=date(2025, 11, 1)).with_columns(
        holds_from=pl.lit(START - timedelta(days=3))
    )
    held = snapshot(shop(), {RELIEF: X}, limits_on_file=line).once(streams)
    assert (held.eras.starts.tolist(), held.eras.on_file.tolist()) == ([0], [True])


def test_limits_that_hold_from_after_the_last_reading_wait():
    line = filed(10).with_columns(holds_from=pl.lit(at(259) + timedelta(days=1)))
    assert snapshot(shop(), {RELIEF: X}, limits_on_file=line).once(streams).eras.starts.tolist() == [0]


@pytest.mark.parametrize(("share", "step"), [(0.0, 0.02), (0.05, 0.02), (0.1, 0.1), (1.0, 0.1)])
def test_the_gauge_is_the_coarsest_that_took_a_tenth(share, step):
    made = shop(gauges={"fine": 0.02, "rule": 0.1})
    gauge = np.where(np.arange(260) < share * 260, "rule", "fine")
    assert snapshot(made, {RELIEF: X}, gauge=gauge).once(streams).rows["step"].to_list() == [pytest.approx(step)]


def test_where_no_gauge_is_named_it_is_the_coarsest_declared():
    assert snapshot(shop(gauges={"fine": 0.02, "rule": 0.1}), {RELIEF: X}).once(streams).rows["step"].to_list() == [
        pytest.approx(0.1)
    ]


def test_no_reading_no_stream():
    assert snapshot(shop(), {RELIEF: np.full(3, np.nan)}).once(streams) is None
    assert len(snapshot(shop(), {RELIEF: np.full(3, np.nan)}).once(stream_rows)) == 0


def test_where_it_is_set_the_last_value_of_the_visit_counts_and_what_came_in_stands_apart():
    rows = [
        visit("A", 0, "neck", tech="T1", readings={"relief": 0.5}, left={"relief": 0.2}),
        visit("B", 1, "neck", tech="T1", readings={"relief": 0.3}),
        visit("A", 2, "final", readings={"relief": 0.4}, left={"relief": 0.25}),
    ]
    seen = made(rows)
    found = stream_readings(seen).select("serial", "stage", "value").sort("stage", "serial").rows()
    assert found == [("A", "final", 0.4), ("A", "neck", 0.2), ("B", "neck", 0.3)]
    assert received_readings(seen).select("serial", "value").rows() == [("A", 0.5)]


@pytest.mark.parametrize("words", [["b", "", "a", ""], ["b", None, "a", ""], [None, "a", None], ["", ""], [None], []])
@pytest.mark.parametrize("dtype", [pl.String, pl.Categorical])
def test_which_readings_say_something_is_seen_by_the_order_of_words(words, dtype):
    rows = pl.DataFrame({"gauge": pl.Series(words, dtype=pl.String).cast(dtype)})
    said = Readings.of(rows, np.zeros(len(words), dtype=np.int64), pl.Series([""])).told("gauge")
    assert said.tolist() == [bool(word) for word in words]

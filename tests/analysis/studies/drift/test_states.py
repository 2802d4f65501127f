"""The state of every stream and its gauge in a word."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.signals import signals
from analysis.studies.drift.states import STREAMS, odd, stream_rows
from analysis.studies.drift.watching import SHORT_RUN
from ingest.terms import tables
from tests.analysis.studies.drift.test_signals import QUIET, WIDTH, entry, spikes, stepped
from tests.analysis.studies.drift.test_streams import RELIEF, filed
from tests.analysis.studies.drifting import at, shop, snapshot


def test_the_columns_are_those_of_the_figures():
    rows = snapshot(shop(), {RELIEF: QUIET}).once(stream_rows)
    assert dict(rows.schema) == STREAMS


def test_moved_while_a_signal_is_open_and_steady_once_it_is_closed():
    assert snapshot(shop(**WIDTH), {RELIEF: stepped(190, 200)}).once(stream_rows)["state"].to_list() == ["moved"]
    assert snapshot(shop(**WIDTH), {RELIEF: spikes(120)}).once(stream_rows)["state"].to_list() == ["steady"]


def test_a_person_who_closes_makes_it_steady():
    made = snapshot(
        shop(**WIDTH), {RELIEF: stepped(190, 200)}, bench_book=entry("close", 199, 190, chart="individuals")
    )
    assert made.once(stream_rows)["state"].to_list() == ["steady"]


def test_a_young_stream_is_moved_by_the_short_run_chart():
    x = QUIET[:60].copy()
    x[50:] += 5.0
    made = snapshot(shop(false_signals_per_week=0.01), {RELIEF: x})
    assert made.once(signals).open["chart"].to_list() == [SHORT_RUN]
    assert made.once(stream_rows)["state"].to_list() == ["moved"]


def test_the_review_looks_as_of_a_day():
    assert snapshot(shop(**WIDTH), {RELIEF: spikes(190)}, as_of=at(180)).once(stream_rows).select(
        "state", "n"
    ).rows() == [("steady", 181)]


def test_limits_on_file_are_the_ones_in_force():
    row = (
        snapshot(shop(), {RELIEF: QUIET}, limits_on_file=filed(200, centre=0.5, sigma=2.0))
        .once(stream_rows)
        .row(0, named=True)
    )
    assert (row["centre"], row["sigma"], row["lower_limit"], row["upper_limit"]) == (0.5, 2.0, -5.5, 6.5)


def gauge_study(spread: float) -> pl.DataFrame:
    """Ten parts of sd 1, three techs, three trials with a gauge whose repeatability is `spread`."""
    rng = np.random.default_rng(20270106)
    part, tech, trial = np.meshgrid(np.arange(10), np.arange(3), np.arange(3), indexing="ij")
    value = np.linspace(-1.5, 1.5, 10)[part] + rng.normal(0, spread, part.shape)
    return tables.shaped(
        pl.DataFrame(
            {
                "log_id": "log",
                "line": np.arange(90),
                "study": "s1",
                "characteristic": "relief",
                "part": part.ravel().astype(str),
                "tech": tech.ravel().astype(str),
                "trial": trial.ravel().astype(str),
                "value": value.ravel(),
            }
        ),
        tables.GAUGE_TRIALS,
    )


@pytest.mark.parametrize(("spread", "word"), [(0.02, "fit"), (2.0, "unfit")])
def test_the_gauge_is_what_its_study_says(spread, word):
    assert snapshot(shop(), {RELIEF: QUIET}, gauge_trials=gauge_study(spread)).once(stream_rows)["gauge"].to_list() == [
        word
    ]


def test_unfit_goes_before_coarse_and_coarse_before_fit_and_without_a_study_it_is_untested():
    rule = shop(gauges={"rule": 3.0})
    assert snapshot(rule, {RELIEF: QUIET}, gauge_trials=gauge_study(2.0)).once(stream_rows)["gauge"].to_list() == [
        "unfit"
    ]
    assert snapshot(rule, {RELIEF: QUIET}, gauge_trials=gauge_study(0.02)).once(stream_rows)["gauge"].to_list() == [
        "coarse"
    ]
    assert snapshot(shop(), {RELIEF: QUIET}).once(stream_rows)["gauge"].to_list() == ["untested"]


def test_odd_instruments_lie_beyond_four_sigma_of_the_limits_they_were_under():
    x = QUIET.copy()
    x[[50, 250]] = [4.5, -4.5]
    made = snapshot(shop(), {RELIEF: x}, limits_on_file=filed(200, centre=0.0, sigma=2.0))
    assert made.once(odd)["serial"].to_list() == ["S000050"]
    assert made.once(odd)["sigmas"][0] == pytest.approx(
        (4.5 - x[:100].mean()) / made.once(signals).streams.own.sigma[0]
    )


def test_a_reading_on_the_line_of_four_sigma_is_not_beyond_it():
    x = QUIET.copy()
    x[[250, 260, 270]] = [8.0, -8.0, 8.001]  # limits on file: centre 0, sigma 2
    made = snapshot(shop(), {RELIEF: x}, limits_on_file=filed(200, centre=0.0, sigma=2.0))
    assert made.once(odd)["serial"].to_list() == ["S000270"]


def test_an_odd_instrument_is_listed_once_however_many_techs_have_streams():
    x = QUIET.copy()
    x[250] = 9.0
    assert len(snapshot(shop(), {RELIEF: x}, setter="T1").once(odd)) == 1

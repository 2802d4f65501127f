"""What each kind of chart costs and buys, and what a quiet stream would have shown."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.chart_kinds import chart_kinds
from analysis.studies.drift.could_have_seen import could_have_seen
from analysis.studies.drift.signals import signals
from tests.analysis.studies.drift.test_pooled import made, moved, readings
from tests.analysis.studies.drift.test_signals import QUIET
from tests.analysis.studies.drift.test_streams import RELIEF
from tests.analysis.studies.drifting import at, shop, snapshot


def test_all_kinds_together_cost_the_budget():
    made_shop = made(readings(20270340), false_signals_per_week=0.2)
    rows = chart_kinds(made_shop)
    assert rows["kind"].to_list() == ["stream", "own", "setter", "characteristic", "share"]
    # the volume the budget was last set for may be a quarter off today's
    assert rows["allowed"].sum() == pytest.approx(0.2, rel=0.3)
    assert (rows["opened"].sum()) == len(
        made_shop.once(signals).openings.filter(pl.col("opened_at") > made_shop.as_of - pl.duration(weeks=13))
    )


def test_a_chart_over_ten_models_sees_a_shift_in_a_tenth_of_the_time():
    rows = chart_kinds(made(readings(20270341), false_signals_per_week=0.2))
    weeks = dict(rows.select("kind", "seen_weeks").rows())
    assert weeks["characteristic"] < weeks["stream"] / 7
    assert weeks["setter"] < weeks["own"] / 7


def test_classical_charts_have_no_budget_to_share():
    assert chart_kinds(snapshot(shop(width=3.0), {RELIEF: QUIET})).is_empty()
    assert could_have_seen(snapshot(shop(width=3.0), {RELIEF: QUIET})).is_empty()


def test_a_quiet_stream_says_what_it_would_have_shown_and_a_moved_one_does_not():
    calm = {"false_signals_per_week": 0.005}
    quiet = snapshot(shop(**calm), {RELIEF: QUIET})
    row = could_have_seen(quiet).row(0, named=True)
    sigma = quiet.once(signals).streams.own.sigma[0]
    assert (row["readings"], row["since"]) == (300, at(100))
    assert row["shift"] == pytest.approx(row["sigmas"] * sigma)
    assert 0.2 < row["sigmas"] < 0.6
    x = QUIET.copy()
    x[200:] += 3.0
    assert could_have_seen(snapshot(shop(**calm), {RELIEF: x})).is_empty()


def test_after_a_closing_it_counts_from_there():
    x = QUIET.copy()
    x[200:240] += 4.0
    back = snapshot(shop(false_signals_per_week=0.005), {RELIEF: x})
    closed = back.once(signals).found["closed_at"][-1]
    row = could_have_seen(back).row(0, named=True)
    assert row["since"] > closed
    assert row["readings"] == (back.once(signals).streams.readings["taken_at"] > closed).sum()


def test_a_unit_changes_the_shift_and_not_the_sigmas():
    x = moved(np.zeros(2000, dtype=bool), 0.0, seed=20270342)
    mm, inch = could_have_seen(made(x)), could_have_seen(made(x / 25.4))
    assert mm["sigmas"].to_numpy() == pytest.approx(inch["sigmas"].to_numpy())
    assert mm["shift"].to_numpy() / 25.4 == pytest.approx(inch["shift"].to_numpy())

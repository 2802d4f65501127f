"""phi of each week, by hand; and that the budget holds over whole shops."""

import numpy as np
import pytest

from analysis.methods.autocorrelation import ewma_widening
from analysis.studies.drift.budget import LARGEST_RATE, budget, so_far
from analysis.studies.drift.budget_buys import what_it_buys
from analysis.studies.drift.independence import correlations, stretches
from analysis.studies.drift.signals import signals
from analysis.studies.drift.watching import AVERAGE, SHORT_RUN
from tests.analysis.studies.drift.test_streams import RELIEF, filed
from tests.analysis.studies.drifting import shop, snapshot
from tests.trials.budget import followed, laid, openings_a_week

NEVER = np.zeros(0, dtype=np.int64)


def rates(per_week: list[int], allowed: float = 0.1, ready: int = 0, relimited: tuple[int, ...] = ()) -> np.ndarray:
    week = np.repeat(np.arange(len(per_week)), per_week)
    return budget(
        allowed,
        np.zeros(len(week), dtype=np.int64),
        week,
        np.array([ready]),
        relimited=np.array(relimited, dtype=np.int64),
    ).volumes


def test_steady_volume_steady_rate():
    assert rates([40] * 10).tolist() == [40.0] * 10


def test_volume_is_the_mean_of_the_full_weeks_before_and_moves_the_rate_only_by_a_quarter():
    # full weeks before weeks 0 .. 5: none (the week itself), 40, 40, (40+40+56)/3 = 45.3, (40+40+56+70)/4 = 51.5 ->
    # from 50 on a new rate
    assert rates([40, 40, 56, 70, 70, 70]) == pytest.approx([40, 40, 40, 40, 51.5, 51.5])


def test_after_thirteen_full_weeks_the_oldest_leaves():
    volumes = rates([400] + [40] * 20)
    # last set in week 9 at (400 + 8 x 40) / 9 = 80; weeks 10 to 13 stay within a quarter of it; in week 14 the busy
    # first week no longer counts
    assert volumes[9:15] == pytest.approx([80, 80, 80, 80, 80, 40])


def test_new_limits_set_the_rate_anew_the_week_after():
    assert rates([40, 40, 46, 46, 46], relimited=(2,)) == pytest.approx([40, 40, 40, 42, 42])


def test_a_chart_counts_from_the_week_in_which_it_could_open():
    week = np.repeat(np.arange(6), 20)
    chart = np.tile(np.repeat([0, 1], 10), 6)
    volumes = budget(0.1, chart, week, np.array([0, 3]), relimited=NEVER).volumes
    assert volumes.tolist() == [20.0, 10.0, 10.0, 20.0, 20.0, 20.0]


def test_a_very_small_shop_is_not_asked_to_signal_all_the_time():
    week = np.repeat(np.arange(3), 5)
    assert (budget(3.0, np.zeros(15, dtype=np.int64), week, np.array([0]), relimited=NEVER).rates == LARGEST_RATE).all()


def test_every_kind_of_chart_counts_in_the_budget():
    rng = np.random.default_rng(20261222)
    columns = {
        RELIEF: rng.normal(size=240),
        ("action", "bass"): rng.normal(size=240),
        ("action", "treble"): rng.normal(size=240),
    }
    alone = snapshot(shop(), columns).once(signals)
    with_techs = snapshot(shop(), columns, setter=np.where(np.arange(240) % 2 == 0, "T1", "T2")).once(signals)
    assert [one.model for one in alone.patterns] == ["LARK"]  # marks: they cost nothing
    assert alone.budget.rates[-1] == pytest.approx(1 / alone.budget.volumes[-1])
    # forty instruments a week: three streams, a share of send-backs for each of four stages
    assert alone.budget.volumes[-1] == pytest.approx(3 * 40 + 4, rel=0.25)
    assert with_techs.budget.volumes[-1] > 1.5 * alone.budget.volumes[-1]


def test_neighbours_that_resemble_each_other_widen_the_limits_and_it_is_said():
    rng = np.random.default_rng(20261223)
    x = followed(rng, 20, 130)
    assert correlations(laid(x, None)) == pytest.approx(np.full(20, 0.3), abs=0.1)
    made = snapshot(
        shop(tuple(f"M{k}" for k in range(20))),
        {RELIEF: x.ravel(order="F")},
        model=np.tile([f"M{k}" for k in range(20)], 130),
        hours=np.repeat(np.arange(130) * 2.0, 20) + np.tile(np.arange(20) / 60, 130),
    )
    judged = made.once(signals)
    own = np.flatnonzero((judged.charts.rows["chart"] == AVERAGE).to_numpy())
    assert set(judged.charts.adjusted.gather(own)) == {"not independent"}
    stretch = judged.charts.sigma[own] / judged.streams.own.sigma[judged.charts.rows["stream"].to_numpy()[own]]
    assert stretch == pytest.approx(np.full(20, stretch[0]))
    assert stretch[0] == pytest.approx(ewma_widening(correlations(judged.streams)[0], arl=20 * 60.0), rel=0.03)


@pytest.mark.parametrize(
    ("per_week", "wanted"),
    [
        ([40], 40.0),
        ([40, 7], 40.0),  # the week under way is not told yet
        ([40, 40, 56, 70, 70, 3], 51.5),  # means 40, 40, 45.3, 51.5, 55.2: the fourth is a quarter off, the last is not
        ([8, 40, 40, 3], 24.0),  # a first week cut short is made good: 8, 24, 29.3
        ([40, 0, 0, 3], 40 / 3),
    ],
)
def test_readings_a_week_so_far_move_at_a_weeks_start_and_by_a_quarter(per_week, wanted):
    assert so_far(2900 + np.repeat(np.arange(len(per_week)), per_week)) == pytest.approx(wanted)


def test_one_more_day_leaves_the_limits_of_readings_that_resemble_each_other_alone():
    rng = np.random.default_rng(20261223)
    x = followed(rng, 20, 130)

    def sigmas(days: int) -> np.ndarray:
        made = snapshot(
            shop(tuple(f"M{k}" for k in range(20))),
            {RELIEF: x[:, :days].ravel(order="F")},
            model=np.tile([f"M{k}" for k in range(20)], days),
            hours=np.repeat(np.arange(days) * 2.0, 20) + np.tile(np.arange(20) / 60, days),
        )
        charts = made.once(signals).charts
        return charts.sigma[(charts.rows["chart"] == AVERAGE).to_numpy()]

    assert sigmas(130).tolist() == sigmas(118).tolist()


def test_independent_readings_are_left_alone():
    held = laid(np.random.default_rng(20261224).normal(size=(50, 120)), None)
    assert (stretches(held) == 1).all()


def test_alternating_readings_narrow_nothing():
    x = np.tile([1.0, -1.0], (10, 60)) + np.random.default_rng(20261225).normal(0, 0.1, (10, 120))
    assert (stretches(laid(x, None)) == 1).all()


def test_what_the_budget_buys_falls_with_the_shift_and_with_the_budget():
    rng = np.random.default_rng(20261226)
    rows = what_it_buys(snapshot(shop(false_signals_per_week=0.02), {RELIEF: rng.normal(size=300)}))
    assert rows["now"].to_list() == [False, True, False]
    assert rows["budget"].to_list() == pytest.approx([0.01, 0.02, 0.06])
    for row in rows.iter_rows(named=True):
        assert row["half_sigma"] > row["one_sigma"] > row["two_sigma"] > 1
    assert rows["one_sigma"].is_sorted(descending=True)
    assert what_it_buys(snapshot(shop(width=3.0), {RELIEF: rng.normal(size=300)})).is_empty()


def test_limits_on_file_close_the_short_run_chart_of_a_young_stream():
    x = np.random.default_rng(20261227).normal(size=60)
    charts = snapshot(shop(), {RELIEF: x}, limits_on_file=filed(0)).once(signals).charts
    assert charts.rows["chart"].to_list() == [AVERAGE]
    assert snapshot(shop(), {RELIEF: x}).once(signals).charts.rows["chart"].to_list() == [SHORT_RUN]


@pytest.mark.promise
@pytest.mark.parametrize(
    ("law", "within"),
    [
        ("normal", 0.15),
        ("rounded to half a sigma", 0.15),
        ("unequal setters", 0.15),
        ("lag-1 correlation 0.3", 0.40),
        ("t5", 1.0),
        ("gamma(4)", 1.0),
    ],
)
def test_the_budget_holds_over_simulated_shops(law, within):
    found = openings_a_week(np.random.default_rng(20261228), law, (0.5, 1.0, 3.0), shops=10)
    for allowed, means in found.items():
        slack = 2 * np.std(means) / np.sqrt(len(means)) / allowed  # a twentieth of the full size
        assert -min(within, 0.5) - slack < np.mean(means) / allowed - 1 < within + slack

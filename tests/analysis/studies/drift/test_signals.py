"""Signals: when they open and close, who closes them, what belongs together."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.signals import signals
from analysis.studies.drift.states import odd
from analysis.studies.drift.states import stream_rows as states
from analysis.studies.drift.watching import AVERAGE, INDIVIDUALS, SHORT_RUN
from analysis.studies.matters.matters import matters
from analysis.studies.matters.rows import signal_rows
from ingest.terms import tables
from tests.analysis.studies.drift.test_streams import RELIEF, filed
from tests.analysis.studies.drifting import at, shop, snapshot
from tests.trials.delay import trial as delay_trial

RNG = np.random.default_rng(20261218)
QUIET = RNG.normal(size=400)
QUIET[:100] = (QUIET[:100] - QUIET[:100].mean()) / QUIET[:100].std()


def entry(
    kind: str, when: int, opened: int, *, chart: str = AVERAGE, sequence: int = 1, **more: object
) -> pl.DataFrame:
    row = {
        "sequence": sequence,
        "at": at(when),
        "who": "M",
        "kind": kind,
        "characteristic": "relief",
        "model": "LARK",
        "stage": "final",
        "chart": chart,
        "opened_at": at(opened),
    } | more
    return tables.shaped(pl.DataFrame([row]), tables.BENCH_BOOK)


def spikes(*places: int, n: int = 200) -> np.ndarray:
    """A stream that alternates about 0 with sigma near 1, and single readings far out."""
    x = np.where(np.arange(n) % 2 == 0, 0.56, -0.56)
    x[list(places)] = 9.0
    return x


WIDTH = {"width": 3.0, "rules": ["beyond"]}


def stepped(first: int, last: int, *, n: int = 200) -> np.ndarray:
    """The same stream, five sigma up from `first` to before `last`."""
    x = spikes(n=n)
    x[first:last] += 5.0
    return x


def test_with_a_width_a_reading_beyond_opens_and_the_readings_close_it():
    found = snapshot(shop(**WIDTH), {RELIEF: spikes(120)}).once(signals).found
    columns = ("chart", "rule", "opened_at", "back_at", "closed_at", "closed_by", "value", "openings", "side")
    assert found.select(columns).rows() == [
        (INDIVIDUALS, "beyond", at(120), at(121), at(121), "back at its baseline", 9.0, 1, 1)
    ]


def test_nothing_opens_within_the_baseline():
    found = snapshot(shop(**WIDTH), {RELIEF: spikes(50, 99)}).once(signals).found
    assert found["chart"].unique().to_list() == [
        SHORT_RUN
    ]  # its limits are provisional there: the short-run chart judges


def test_at_the_first_reading_after_the_baseline_it_can():
    assert snapshot(shop(**WIDTH), {RELIEF: spikes(100)}).once(signals).found["opened_at"].to_list() == [at(100)]


def test_a_signal_stays_open_while_the_shift_lasts():
    for last, closed in ((200, None), (180, at(180))):
        row = snapshot(shop(**WIDTH), {RELIEF: stepped(120, last)}).once(signals).found.row(0, named=True)
        assert (row["opened_at"], row["closed_at"], row["openings"]) == (at(120), closed, 1)
        assert row["last_at"] == at(last - 1)


@pytest.mark.parametrize(("weeks", "rows"), [(12, [(at(120), 2)]), (14, [(at(120), 1), (at(121 + 14 * 40), 1)])])
def test_opening_again_within_thirteen_weeks_in_the_same_direction_it_goes_on(weeks, rows):
    second = 121 + weeks * 40  # forty readings a week
    judged = snapshot(shop(**WIDTH), {RELIEF: spikes(120, second, n=800)}).once(signals)
    assert judged.found.select("opened_at", "openings").rows() == rows
    assert judged.found["closed_at"][-1] == at(second + 1)
    assert judged.openings["opened_at"].to_list() == [at(120), at(second)]  # the budget counts each


def test_opening_again_it_is_open_again():
    row = (
        snapshot(shop(**WIDTH), {RELIEF: stepped(150, 200) + spikes(120) - spikes()})
        .once(signals)
        .found.row(0, named=True)
    )
    assert (row["opened_at"], row["closed_at"], row["closed_by"], row["opened_last"]) == (at(120), None, "", at(150))


def test_in_the_other_direction_it_is_another_signal():
    x = spikes(120)
    x[130] = -9.0
    found = snapshot(shop(**WIDTH), {RELIEF: x}).once(signals).found
    assert found.select("opened_at", "side").rows() == [(at(120), 1), (at(130), -1)]


def test_the_first_rule_in_the_shops_order_names_the_firing():
    x = spikes()
    x[120:130] = 0.7
    found = snapshot(shop(width=3.0, rules=["one side", "beyond"]), {RELIEF: x}).once(signals).found
    assert found.select("rule", "opened_at").rows() == [("one side", at(128))]


def test_limits_on_file_close_what_was_open_and_judge_from_their_first_reading():
    made = snapshot(shop(**WIDTH), {RELIEF: stepped(120, 200)}, limits_on_file=filed(130, centre=0.0, sigma=1.0))
    rows = made.once(signals).found.select("opened_at", "closed_at", "closed_by").rows()
    assert rows == [(at(120), at(130), "new limits"), (at(130), None, "")]


def test_a_person_closes_and_the_next_firing_opens_anew():
    made = snapshot(shop(**WIDTH), {RELIEF: stepped(120, 200)}, bench_book=entry("close", 125, 120, chart=INDIVIDUALS))
    rows = made.once(signals).found.select("opened_at", "closed_at", "closed_by").rows()
    assert rows == [(at(120), at(125), "a person"), (at(126), None, "")]


def test_after_a_persons_word_it_never_goes_on_under_its_first_start():
    book = entry("close", 125, 120, chart=INDIVIDUALS)
    rows = snapshot(shop(**WIDTH), {RELIEF: spikes(120, 130)}, bench_book=book).once(signals).found
    assert rows["opened_at"].to_list() == [at(120), at(130)]


def test_a_clock_behind_the_readings_closes_all_the_same():
    book = entry("close", 0, 120, chart=INDIVIDUALS)
    made = snapshot(shop(**WIDTH), {RELIEF: stepped(120, 140, n=140)}, bench_book=book)
    assert made.once(signals).found.select("opened_at", "closed_at", "closed_by").rows() == [
        (at(120), at(139), "a person")
    ]


def test_reopened_it_is_one_signal_again():
    book = pl.concat(
        [entry("close", 125, 120, chart=INDIVIDUALS), entry("reopen", 127, 120, chart=INDIVIDUALS, sequence=2)]
    )
    found = snapshot(shop(**WIDTH), {RELIEF: stepped(120, 200)}, bench_book=book).once(signals).found
    assert found.select("opened_at", "closed_at").rows() == [(at(120), None)]


def test_under_a_budget_a_lasting_step_opens_the_average_and_says_since_when_and_how_much():
    x = QUIET.copy()
    x[200:] += 3.0
    calm = shop(false_signals_per_week=0.005)  # the rate of a shop of 150 streams
    judged = snapshot(calm, {RELIEF: x}).once(signals)
    row = judged.open.filter(pl.col("chart") == AVERAGE).row(0, named=True)
    assert row["began_low"] <= at(200) <= row["began_high"]
    assert abs((row["began_at"] - at(200)).total_seconds()) < 3 * 86400
    assert row["size"] == pytest.approx(x[200:].mean() - x[:200].mean(), abs=0.3)
    assert row["rule"] == "average"
    assert snapshot(shop(), {RELIEF: x}).once(states)["state"].to_list() == ["moved"]


def test_the_eight_rules_and_odd_readings_open_nothing_under_a_budget():
    x = spikes(150)
    x[150] = 5.0  # beyond four sigma, too little for the average
    made = snapshot(shop(false_signals_per_week=0.001), {RELIEF: x})
    assert made.once(signals).found.filter(pl.col("chart") == AVERAGE).is_empty()
    assert made.once(odd).select("serial", "value").rows() == [("S000150", 5.0)]


def test_the_average_starts_at_the_centre_after_the_baseline():
    judged = snapshot(shop(), {RELIEF: QUIET}).once(signals)
    row = judged.charts.rows["chart"].index_of(AVERAGE)
    first = int(judged.charts.starts[row]) + 100
    centre, sigma, width = judged.charts.centre[row], judged.charts.sigma[row], judged.fired.half[first]
    assert judged.fired.average[first] == pytest.approx(centre + 0.1 * (QUIET[100] - centre))
    assert judged.fired.half[first + 1] / width == pytest.approx(
        np.sqrt(1 + 0.81), rel=1e-9
    )  # exact limits widen; the rate is that of the week
    assert sigma == pytest.approx(judged.streams.own.sigma[0])


def test_a_unit_leaves_signals_and_states_alone():
    x = QUIET.copy()
    x[250:] -= 2.0
    columns = {RELIEF: x, ("action", "bass"): QUIET[::-1].copy()}
    mm = snapshot(shop(), columns)
    inch = snapshot(shop(), {key: value / 25.4 for key, value in columns.items()})
    names = ["chart", "characteristic", "opened_at", "closed_at", "began_at", "began_low", "began_high"]
    assert mm.once(signals).found.select(names).equals(inch.once(signals).found.select(names))
    assert mm.once(states)["state"].equals(inch.once(states)["state"])
    sizes = [made.once(signals).found["size"].to_numpy() for made in (mm, inch)]
    assert sizes[0] / 25.4 == pytest.approx(sizes[1])
    assert [made.once(signals).others["value"].to_list() for made in (mm,)] == [
        pytest.approx(inch.once(signals).others["value"].to_list())
    ]


def test_the_order_of_rows_never_matters():
    x = QUIET.copy()
    x[250:] += 2.0
    setter = np.where(np.arange(400) % 3 == 0, "T1", "T2")
    rows = [
        snapshot(shop(), {RELIEF: x}, setter=setter, shuffled=mixed).once(signal_rows)
        for mixed in (None, np.random.default_rng(1))
    ]
    assert rows[0].equals(rows[1])
    assert len(rows[0]) > 0


def test_what_comes_later_leaves_what_was_judged_alone():
    x = QUIET.copy()
    x[150:] += 2.0
    early = snapshot(shop(), {RELIEF: x[:200]}).once(signals).found
    late = snapshot(shop(), {RELIEF: x}).once(signals).found
    assert late["opened_at"].to_list()[: len(early)] == early["opened_at"].to_list()


def test_a_young_stream_is_judged_on_the_short_run_chart():
    x = QUIET[:60].copy()
    x[40:] += 4.0
    judged = snapshot(shop(false_signals_per_week=0.01), {RELIEF: x}).once(signals)
    assert judged.found["chart"].unique().to_list() == [SHORT_RUN]
    assert judged.found["model"].to_list() == ["LARK"]
    assert at(40) <= judged.found["opened_at"][0] <= at(50)


@pytest.mark.parametrize("phi", [0.0, 0.6])
def test_a_short_run_chart_widens_where_neighbours_resemble_each_other(phi):
    noise = np.random.default_rng(20281203).normal(size=(16, 80))
    x = noise.copy()
    for k in range(1, 80):
        x[:, k] = phi * x[:, k - 1] + np.sqrt(1 - phi**2) * noise[:, k]
    names = tuple(f"M{k}" for k in range(16))  # one after another, each young to the end
    made = snapshot(shop(names, false_signals_per_week=0.1), {RELIEF: x.ravel()}, model=np.repeat(names, 80))
    charts = made.once(signals).charts
    assert charts.rows["chart"].to_list() == [SHORT_RUN]
    assert charts.adjusted.to_list() == ["not independent" if phi else ""]
    assert charts.sigma[0] == 1.0 if not phi else charts.sigma[0] > 1.3


def test_young_streams_of_several_models_stand_on_one_chart():
    models = np.array(["LARK", "WREN"])[np.arange(120) % 2]
    x = QUIET[:120] + np.where(models == "LARK", 10.0, 50.0)
    charts = snapshot(shop(("LARK", "WREN")), {RELIEF: x}, model=models).once(signals).charts
    assert charts.rows.select("chart", "model").rows() == [(SHORT_RUN, "")]
    assert len(charts.reading) == 2 * (60 - 25)


def test_a_coarse_stream_is_judged_with_the_step_in_its_sigma_and_names_no_odd_instrument():
    x = np.round(QUIET / 3) * 3
    x[300] = 60.0
    made = snapshot(shop(gauges={"rule": 3.0}), {RELIEF: x})
    judged = made.once(signals)
    row = judged.charts.rows["chart"].index_of(AVERAGE)
    assert judged.coarse.tolist() == [True]
    assert judged.charts.sigma[row] == pytest.approx(np.sqrt(judged.streams.own.sigma[0] ** 2 + 9 / 12))
    assert judged.charts.adjusted[row] == "coarse"
    assert made.once(odd).is_empty()
    assert made.once(states)["gauge"].to_list() == ["coarse"]


def test_a_tech_who_moves_alone_is_seen_in_their_own_chart_before_the_mixed_one():
    rng = np.random.default_rng(20261219)
    setter = np.array([f"T{k % 6}" for k in range(1500)])
    x = rng.normal(size=1500)
    x[(np.arange(1500) >= 900) & (setter == "T0")] += 2.5
    judged = snapshot(shop(false_signals_per_week=0.005), {RELIEF: x}, setter=setter).once(
        signals
    )  # the rate of a shop of 150 streams
    since = judged.found.filter((pl.col("opened_at") >= at(900)) & (pl.col("chart") == AVERAGE)).sort("opened_at")
    assert since["tech"][0] == "T0"


def test_one_who_comes_high_and_comes_down_is_told_against_the_others_and_not_against_their_own_first_readings():
    setter = np.where(np.arange(400) % 4 == 0, "T2", "T1")
    setter[:200] = "T1"
    new = (np.arange(400) >= 200) & (setter == "T2")
    values = QUIET.copy()
    values[new] = 0.8 + 0.1 * QUIET[new]
    values[np.flatnonzero(new)[:2]] = 1.5  # nearer to the others after two, and still above them
    made = snapshot(shop(false_signals_per_week=1.0), {RELIEF: values}, setter=setter)
    found = made.once(signals).found.filter((pl.col("tech") == "T2") & (pl.col("adjusted") == "held against all techs"))
    first = found.row(0, named=True)
    assert first["side"] == 1
    assert first["size"] == pytest.approx(0.85, abs=0.1)
    assert first["before"] == pytest.approx(0.0, abs=0.1)
    assert first["began_reading"] == first["first_reading"]  # with their first one
    assert not any(one.to_target for one in made.once(matters))


def test_the_figures_hold_every_signal_once_with_what_it_moves_with():
    x = QUIET.copy()
    x[200:] += 3.0
    made = snapshot(shop(), {RELIEF: x})
    rows, judged = made.once(signal_rows), made.once(signals)
    assert len(rows) == len(judged.found) + len(judged.others)
    assert rows.columns[-2:] == ["moves_with", "moves_with_value"]


def test_an_empty_shop_has_no_signal():
    assert snapshot(shop(), {RELIEF: np.full(3, np.nan)}).once(signal_rows).is_empty()


@pytest.mark.promise
def test_a_step_is_seen_as_soon_as_computed_and_its_beginning_is_covered():
    seen = delay_trial(np.random.default_rng(20270107), 1.5, 150)
    assert seen.delay == pytest.approx(
        seen.computed, rel=0.10 + 0.10
    )  # a third of the full size: two standard errors more
    assert seen.covered >= 0.88
    assert seen.missed <= 3

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods import weighted as subject
from analysis.methods.problems import UnusableData
from analysis.methods.segments import blocks
from analysis.methods.weighted import cusum, ewma
from tests.published.cases import case, tolerance

values = st.lists(st.floats(-50, 50), min_size=1, max_size=40)
streams = st.lists(st.one_of(values, st.lists(st.floats(-1e12, 1e12), min_size=1, max_size=5)), min_size=1, max_size=6)


def joined(parts):
    return np.concatenate([np.array(part, dtype=float) for part in parts]), np.cumsum(
        [0] + [len(part) for part in parts[:-1]]
    )


def by_hand(x, centre, weight, begin=0):
    average, last = [], centre
    for place, value in enumerate(x):
        last = centre if place < begin else weight * value + (1 - weight) * last
        average.append(last)
    return average


def test_the_average_matches_the_handbook():
    # NIST/SEMATECH e-Handbook, 6.3.2.4. It prints the limits of a long run, with sqrt(lambda / (2 - lambda)) rounded to
    # 0.4201.
    printed = case("nist-ewma")
    data = printed.data
    chart = ewma(data["x"], centre=data["z0"], sigma=data["sigma"], weight=data["lambda"], width=data["L"])
    assert chart.average == pytest.approx(printed.published["ewma"][1:], abs=tolerance(printed, "ewma"))
    assert (chart.upper[-1], chart.lower[-1]) == pytest.approx(
        (printed.published["ucl"], printed.published["lcl"]), abs=tolerance(printed, "ucl")
    )
    assert np.flatnonzero(chart.beyond).tolist() == printed.published["signals_asymptotic"]


def test_limits_widen_from_the_first_judged_reading_as_the_average_does():
    # Lucas & Saccucci 1990: variance of the average after i readings = lambda / (2 - lambda) (1 - (1 - lambda)^(2 i))
    # sigma^2
    chart = ewma(np.zeros(6), centre=0.0, sigma=2.0, weight=0.2, width=2.5, begin=2)
    wanted = [2.5 * 2 * np.sqrt(0.2 / 1.8 * (1 - 0.8 ** (2 * i))) for i in range(1, 5)]
    assert chart.upper.tolist() == pytest.approx([0, 0, *wanted])
    assert chart.lower.tolist() == pytest.approx([0, 0, *(-np.array(wanted))])


@given(values, st.sampled_from([0.05, 0.1, 0.4, 1.0]), st.integers(0, 5))
def test_the_average_is_the_recursion_of_its_definition(x, weight, begin):
    chart = ewma(x, centre=3.0, sigma=1.5, weight=weight, begin=begin)
    assert chart.average.tolist() == pytest.approx(by_hand(x, 3.0, weight, begin), rel=1e-12, abs=1e-12)
    judged = np.arange(len(x)) >= begin
    outside = (chart.average > chart.upper + 3e-8) | (chart.average < chart.lower - 3e-8)
    inside = (chart.average < chart.upper - 3e-8) & (chart.average > chart.lower + 3e-8)
    assert chart.beyond[outside & judged].all()
    assert not chart.beyond[inside | ~judged].any()


@given(streams)
def test_a_segment_never_feels_the_one_before_it(parts):
    x, starts = joined(parts)
    together = ewma(x, starts, centre=0.0, sigma=1.0)
    alone = [ewma(part, centre=0.0, sigma=1.0) for part in parts]
    assert together.average.tolist() == np.concatenate([chart.average for chart in alone]).tolist()
    assert (together.beyond == np.concatenate([chart.beyond for chart in alone])).all()
    assert together.upper == pytest.approx(np.concatenate([chart.upper for chart in alone]))


@given(values, st.sampled_from([25.4, 0.001]), st.floats(-100, 100))
def test_a_change_of_unit_or_origin_moves_the_average_with_it(x, scale, shift):
    here = ewma(x, centre=0.0, sigma=10.0)
    there = ewma(np.array(x) * scale + shift, centre=shift, sigma=10.0 * scale)
    assert (there.average - shift) / scale == pytest.approx(here.average, abs=1e-8)


@given(st.floats(-1e6, 1e6), st.integers(1, 300))
def test_a_constant_run_stays_at_its_centre_and_flags_nothing(value, n):
    chart = ewma(np.full(n, value), centre=value, sigma=0.0)
    assert (chart.average == value).all()
    assert not chart.beyond.any()


def test_a_signal_waits_for_the_first_judged_reading():
    chart = ewma([9.0] * 10, centre=0.0, sigma=1.0, begin=4)
    assert np.flatnonzero(chart.beyond).tolist() == list(range(4, 10))


def test_an_average_on_its_limit_is_not_beyond():
    # weight 1: the chart of single readings at 3 sigma; all four sums are the limit 0.3
    for on_limit in (0.1 + 0.2, 0.3, 0.1 * 3, 1 - 0.7):
        assert not ewma([on_limit], centre=0.0, sigma=0.1, weight=1.0).beyond.any()


@pytest.mark.parametrize(
    ("name", "sums"), [("nist-cusum", ("upper", "lower")), ("montgomery-cusum-9-1", ("upper", "lower"))]
)
def test_sums_match_the_printed_tables(name, sums):
    # NIST/SEMATECH e-Handbook, 6.3.2.3 (its columns are rounded from rounded differences); Montgomery, Introduction to
    # SQC, Example 9.1
    printed = case(name)
    chart = cusum(printed.data["x"], centre=printed.data["target"], sigma=1.0, k=printed.data["k"], h=printed.data["h"])
    for what in sums:
        assert getattr(chart, what) == pytest.approx(printed.published[what], abs=tolerance(printed, what) + 1e-9)
    assert np.flatnonzero(chart.signal)[0] + 1 == printed.published["first_signal"]


def test_a_signal_says_when_the_shift_began_and_how_large_it_is():
    # Montgomery, Example 9.1: at period 29 the sum is 5.28 and has been above 0 for 7 periods, so the shift came after
    # period 22 and the new mean is 10 + 0.5 + 5.28 / 7 = 11.25
    printed = case("montgomery-cusum-9-1")
    chart = cusum(printed.data["x"], centre=10.0, sigma=1.0)
    assert chart.began[28] + 1 == 23
    assert 10 + chart.shift[28] == pytest.approx(11.25, abs=0.005)
    assert chart.began[27] == -1
    assert chart.shift[27] == 0


@given(streams, st.sampled_from([0.0, 2.5]))
def test_sums_are_the_recursion_of_their_definition_in_each_segment(parts, head_start):
    parts = [list(np.clip(part, -50, 50)) for part in parts]
    x, starts = joined(parts)
    chart = cusum(x, starts, centre=1.0, sigma=2.0, head_start=head_start)
    upper, lower = [], []
    for part in parts:
        high = low = head_start
        for value in part:
            high, low = max(0.0, high + (value - 1) / 2 - 0.5), max(0.0, low - (value - 1) / 2 - 0.5)
            upper.append(high)
            lower.append(low)
    assert chart.upper == pytest.approx(upper, abs=1e-10)
    assert chart.lower == pytest.approx(lower, abs=1e-10)


def test_a_head_start_is_sooner_on_a_shift_from_the_first_reading_and_no_evidence_of_its_size():
    # Lucas & Crosier 1982: half of h; a shift of one sigma from the outset
    x = np.full(12, 1.0)
    plain, quick = cusum(x, centre=0.0, sigma=1.0), cusum(x, centre=0.0, sigma=1.0, head_start=2.5)
    assert (np.flatnonzero(plain.signal)[0], np.flatnonzero(quick.signal)[0]) == (10, 5)
    assert quick.shift[5] == pytest.approx(1.0)
    assert quick.began[5] == 0


def test_a_step_down_is_found_and_measured_downwards():
    x = np.r_[np.tile([0.4, -0.4], 10), np.full(10, -1.5)]
    chart = cusum(x, centre=0.0, sigma=1.0)
    assert chart.shift[-1] == pytest.approx(-1.5, abs=0.05)
    assert chart.began[-1] == 20


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: ewma([], centre=0.0, sigma=1.0), "no reading"),
        (lambda: ewma([np.nan], centre=0.0, sigma=1.0), "1 of 1 readings are missing"),
        (lambda: ewma([1.0], centre=0.0, sigma=1.0, weight=0.0), "weight above 0"),
        (lambda: ewma([1.0], centre=0.0, sigma=-1.0), "sigma and begin of at least 0"),
        (lambda: ewma([1.0], centre=0.0, sigma=np.nan), "every sigma must be a number"),
        (lambda: cusum([1.0], centre=0.0, sigma=0.0), "sigma above 0"),
        (lambda: cusum([1.0], centre=0.0, sigma=1.0, head_start=6.0), "head start"),
    ],
)
def test_what_cannot_be_charted_is_refused_in_words(call, message):
    with pytest.raises(UnusableData, match=message):
        call()


def test_a_hundred_thousand_readings_in_many_segments_give_what_small_pieces_give(monkeypatch):
    rng = np.random.default_rng(92)
    z = rng.normal(size=100_000)
    starts = np.r_[0, np.sort(rng.choice(np.arange(1, 30_000), 2_000, replace=False))]
    sizes = np.diff(starts, append=len(z))
    lines = {
        "centre": rng.normal(size=len(starts)) * 0.1,
        "sigma": rng.uniform(0.5, 1.5, len(starts)),
        "begin": np.minimum(sizes // 2, 20),
    }
    wholesale = ewma(z, starts, **lines)
    monkeypatch.setattr(subject, "blocks", lambda starts, n: blocks(starts, n, 50))
    piecemeal = ewma(z, starts, **lines)
    assert (wholesale.average == piecemeal.average).all()
    assert (wholesale.beyond == piecemeal.beyond).all()
    last = slice(starts[-1], None)
    assert wholesale.average[last] == pytest.approx(
        by_hand(z[last], lines["centre"][-1], 0.1, lines["begin"][-1]), abs=1e-12
    )


def test_a_stream_that_runs_away_leaves_the_next_one_exact():
    x = np.r_[np.full(5, 1e18), 0.1, 0.2, 0.3, np.full(3, -1e15), 0.4]
    chart = ewma(x, [0, 5, 8, 11], centre=0.0, sigma=1.0)
    assert chart.average[5:8].tolist() == ewma([0.1, 0.2, 0.3], centre=0.0, sigma=1.0).average.tolist()
    assert chart.average[11] == pytest.approx(0.04, rel=1e-12)


def test_what_is_faded_hangs_to_the_last_digit_on_its_own_inputs_alone():
    rng = np.random.default_rng(20270301)
    size = rng.choice([1, 2, 40, subject.ALONE - 1, subject.ALONE, 900], 60)
    starts, x = np.cumsum(size) - size, rng.normal(size=size.sum())
    together = subject.faded(x, starts, 0.9)
    alone = [subject.faded(part, np.zeros(1, dtype=np.int64), 0.9) for part in np.split(x, starts[1:])]
    assert together.tolist() == np.concatenate(alone).tolist()
    first = [subject.faded(part[:25], np.zeros(1, dtype=np.int64), 0.9) for part in np.split(x, starts[1:])]
    assert all(
        part[:25].tolist() == head.tolist() for part, head in zip(alone, first, strict=True)
    )  # nor on later ones

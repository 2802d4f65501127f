"""Openings, returns and openings again: worked by hand, against a plain walk along one chart, and the promised
rates."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods.problems import UnusableData
from analysis.methods.signal_life import BACK, LEAST_AWAY, lives
from tests.trials.signal_life import in_control, trial

ONE = np.zeros(1, dtype=np.int64)
FROM_THE_FIRST = np.zeros(1, dtype=np.int64)


def walk(
    z: np.ndarray, width: float, weight: float, begin: int, cuts: set[int]
) -> list[tuple[int, int, int, int, int]]:
    """(opened, began, side, back, closed) of one chart, reading after reading, as the definition reads."""
    found, average, judged, since, opened, began, side = [], 0.0, 0, begin, -1, -1, 0
    for t in range(begin, len(z)):
        if t in cuts:
            if opened >= 0:
                found.append((opened, began, side, -1, -1))
            average, judged, since, opened = 0.0, 0, t, -1
        if opened < 0:
            average, judged = (1 - weight) * average + weight * z[t], judged + 1
            limit = width * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * judged)))
            if abs(average) > limit * (1 + 1e-9) + 1e-9:
                opened, side = t, 1 if average > 0 else -1
                fits = [max(side * z[b : t + 1].sum(), 0.0) ** 2 / (2 * (t + 1 - b)) for b in range(since, t + 1)]
                began = since + len(fits) - 1 - int(np.argmax(fits[::-1]))
            continue
        total, n = side * z[began : t + 1].sum(), t + 1 - began
        mean = max(total / n, LEAST_AWAY)
        stays = mean * total - n * mean**2 / 2
        leaves = [max(side * z[began:r].sum(), 0.0) ** 2 / (2 * (r - began)) for r in range(began + 1, t + 1)]
        if leaves and max(leaves) - stays >= BACK:
            found.append((opened, began, side, began + 1 + int(np.argmax(leaves)), t))
            average, judged, since, opened = 0.0, 0, t + 1, -1
    return found + ([(opened, began, side, -1, -1)] if opened >= 0 else [])


@given(st.integers(0, 10_000), st.integers(1, 4), st.lists(st.integers(0, 400), max_size=3))
def test_lives_are_those_of_a_plain_walk(seed, charts, cuts):
    rng = np.random.default_rng(seed)
    size = rng.integers(1, 130, charts)
    starts = np.cumsum(size) - size
    z = rng.normal(size=size.sum()) + np.repeat(rng.normal(size=charts), size) * (rng.random(size.sum()) < 0.7)
    begin = rng.integers(0, 20, charts)
    found = lives(z, starts, begin=begin, width=np.full(len(z), 2.2), weight=0.2, cuts=np.array(cuts, dtype=np.int64))
    told = []
    for chart, (start, n) in enumerate(zip(starts, size, strict=True)):
        mine = {cut - start for cut in cuts}
        for opened, began, side, back, closed in walk(z[start : start + n], 2.2, 0.2, int(begin[chart]), mine):
            later = [start + place if place >= 0 else -1 for place in (back, closed)]
            told.append((chart, start + opened, start + began, side, *later))
    columns = (found.segment, found.opened, found.began, found.side, found.back, found.closed)
    assert list(zip(*(column.tolist() for column in columns), strict=True)) == sorted(told, key=lambda one: one[1])


def test_a_reading_far_out_opens_and_the_next_one_closes():
    found = lives(np.array([0.0, 9.0, 0.0, 0.0]), ONE, begin=FROM_THE_FIRST, width=np.full(4, 3.0))
    assert (found.opened.tolist(), found.began.tolist(), found.back.tolist(), found.closed.tolist()) == (
        [1],
        [1],
        [2],
        [2],
    )


def test_the_average_starts_anew_at_the_centre_after_a_closing():
    z = np.array([0.0, 9.0, 0.0, 1.0, 1.0])
    found = lives(z, ONE, begin=FROM_THE_FIRST, width=np.full(5, 3.0))
    assert found.average[3:] == pytest.approx([0.1, 0.19])
    assert found.half[4] / found.half[3] == pytest.approx(np.sqrt(1 + 0.81))


def test_a_shift_that_lasts_stays_open_and_its_mirror_is_its_mirror():
    z = np.concatenate((np.zeros(30), np.full(500, 1.0)))
    up, down = (lives(side * z, ONE, begin=FROM_THE_FIRST, width=np.full(530, 3.0)) for side in (1, -1))
    assert up.closed.tolist() == down.closed.tolist() == [-1]
    assert (up.began.tolist(), up.side.tolist(), down.side.tolist()) == ([30], [1], [-1])


def test_a_return_is_shown_where_it_is_a_thousand_times_likelier():
    # a shift of 2 sigma over 100 readings, then exactly back: log-likelihood of a return k readings ago
    # 100 x 2 - (200)^2 / (2 (100 + k)) = 200 k / (100 + k): 6.9 is passed with the fourth reading
    z = np.concatenate((np.zeros(10), np.full(100, 2.0), np.zeros(10)))
    found = lives(z, ONE, begin=FROM_THE_FIRST, width=np.full(120, 3.0))
    assert (found.back.tolist(), found.closed.tolist()) == ([110], [113])
    assert 200 * 4 / 104 >= BACK > 200 * 3 / 103


def test_a_rule_in_place_of_the_average_opens_where_it_fires_and_closes_alike():
    z = np.array([0.0, 4.0, 4.0, 0.0, 0.0, 0.0])
    found = lives(z, ONE, begin=FROM_THE_FIRST, fired=np.abs(z) > 3)
    assert (found.opened.tolist(), found.closed.tolist()) == ([1], [4])


def test_charts_do_not_touch_each_other_and_nothing_opens_before_judging():
    z = np.array([0.0, 9.0, 9.0, 0.0, 9.0])
    found = lives(z, np.array([0, 3]), begin=np.array([2, 5]), width=np.full(5, 3.0))
    assert (found.segment.tolist(), found.opened.tolist()) == ([0], [2])


def test_a_chart_among_others_is_the_chart_alone_to_the_last_digit():
    rng = np.random.default_rng(20270302)
    size = rng.integers(1, 900, 40)
    starts, begin = np.cumsum(size) - size, rng.integers(0, 30, 40)
    z = rng.normal(size=size.sum()) + np.repeat(rng.normal(size=40), size) * (rng.random(size.sum()) < 0.5)
    together = lives(z, starts, begin=begin, width=np.full(len(z), 2.5))
    for chart, (first, count) in enumerate(zip(starts, size, strict=True)):
        mine = z[first : first + count]
        alone = lives(mine, ONE, begin=begin[chart : chart + 1], width=np.full(count, 2.5))
        assert together.average[first : first + count].tolist() == alone.average.tolist()
        assert together.opened[together.segment == chart].tolist() == (alone.opened + first).tolist()


def test_a_constant_run_at_the_centre_opens_nothing():
    assert len(lives(np.zeros(50), ONE, begin=FROM_THE_FIRST, width=np.full(50, 3.0)).opened) == 0


def test_either_a_width_or_a_rule_is_wanted():
    with pytest.raises(UnusableData, match="not both"):
        lives(np.zeros(3), ONE, begin=FROM_THE_FIRST)


@pytest.mark.promise
@pytest.mark.parametrize(("shift", "least"), [(0.75, 0.98), (1.0, 0.99), (1.5, 0.995)])
def test_a_signal_is_open_while_its_shift_lasts_and_is_one_signal(shift, least):
    found = trial(np.random.default_rng(20270302), shift, 200, charts=400)
    assert found.share >= least - 0.01  # a tenth of the full size
    assert found.rows <= 1.1


@pytest.mark.promise
def test_a_true_return_is_seen_after_some_twenty_readings():
    found = trial(np.random.default_rng(20270303), 0.75, 200, charts=400)
    assert 15 <= found.back <= 30


@pytest.mark.promise
def test_openings_in_control_are_those_wished_though_signals_last():
    ratio, lasts = in_control(np.random.default_rng(20270304), 1500.0, 120, charts=10_000)
    assert ratio == pytest.approx(1.0, abs=0.15)
    assert lasts < 60

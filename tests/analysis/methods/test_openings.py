"""Openings and closings, worked by hand and against a plain walk along the chart."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods.openings import QUIET, openings

ONE = np.zeros(1, dtype=np.int64)


def fired(n: int, *at: int) -> np.ndarray:
    flags = np.zeros(n, dtype=bool)
    flags[list(at)] = True
    return flags


def test_the_twentieth_quiet_reading_closes():
    found = openings(fired(40, 5), ONE)
    assert (found.opened.tolist(), found.last.tolist(), found.closed.tolist()) == ([5], [5], [25])


def test_with_nineteen_quiet_readings_it_is_still_open():
    assert openings(fired(25, 5), ONE).closed.tolist() == [-1]
    assert openings(fired(26, 5), ONE).closed.tolist() == [25]


def test_a_firing_at_the_twentieth_reading_after_the_last_belongs_to_it():
    assert openings(fired(60, 5, 25), ONE).opened.tolist() == [5]


def test_a_firing_after_twenty_quiet_readings_opens_anew():
    found = openings(fired(60, 5, 26), ONE)
    assert (found.opened.tolist(), found.closed.tolist()) == ([5, 26], [25, 46])


def test_charts_do_not_touch_each_other():
    found = openings(fired(40, 19, 20), np.array([0, 20]))
    assert (found.opened.tolist(), found.segment.tolist(), found.closed.tolist()) == ([19, 20], [0, 1], [-1, -1])


def test_after_a_person_closed_the_next_firing_opens_anew():
    assert openings(fired(40, 5, 8, 12), ONE, breaks=np.array([9])).opened.tolist() == [5, 12]


def test_no_firing_no_signal():
    assert len(openings(fired(40), ONE).opened) == 0


@given(st.lists(st.lists(st.booleans(), min_size=1, max_size=80), min_size=1, max_size=4), st.data())
def test_openings_are_those_of_a_plain_walk(charts, data):
    flags = np.array([flag for chart in charts for flag in chart])
    starts = np.cumsum([0, *(len(chart) for chart in charts[:-1])])
    breaks = sorted(data.draw(st.lists(st.integers(0, len(flags) - 1), max_size=3)))
    walked = []
    for start, chart in zip(starts, charts, strict=True):
        quiet, is_open = 0, False
        for i, flag in enumerate(chart):
            if start + i in breaks:
                is_open = False
            if flag:
                if not is_open:
                    walked.append(start + i)
                is_open, quiet = True, 0
            elif is_open:
                quiet += 1
                is_open = quiet < QUIET
    assert openings(flags, starts, breaks=np.array(breaks, dtype=np.int64)).opened.tolist() == walked

"""Bars hold every reading once, stand on whole steps of the gauge, and their curve expects as many readings as there
are.
"""

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.studies.room.histogram import NONE, NORMAL, bars, histogram
from analysis.studies.room.room import room
from analysis.studies.story.conformity import SET

STEPS = st.sampled_from([0.0, 0.01, 0.05, 0.025])


@given(st.lists(st.integers(-400, 400), min_size=1, max_size=200), STEPS)
def test_every_reading_lies_inside_one_bar_and_bars_are_whole_steps(ticks, step):
    values = np.array(ticks) * (step or 0.013)
    edges = bars(values, step)
    counts = np.histogram(values, edges)[0]
    assert counts.sum() == len(values)
    assert len(counts) <= 62
    width = np.diff(edges)
    assert np.allclose(width, width[0])
    if step:
        assert width[0] / step == pytest.approx(round(width[0] / step))
        assert np.abs(values[:, None] - edges[None, :]).min() > 0.4 * step  # no reading on an edge


def test_the_bars_follow_freedman_and_diaconis_where_the_gauge_is_fine():
    # Freedman & Diaconis (1981): h = 2 IQR n^(-1/3). Of 0..999 the middle half spans 499.5, so h = 99.9.
    width = np.diff(bars(np.arange(1000.0), 0.0))
    assert width[0] == pytest.approx(2 * 499.5 / 10)


def test_bars_and_curve_tell_the_readings_of_the_row_beside_them(demo_desk):
    snapshot = demo_desk.snapshot()
    rows = room(snapshot, when=SET).filter(pl.col("lower").is_not_null())
    seen = set()
    for row in rows.sort("n", descending=True).head(12).iter_rows(named=True):
        normal = "not normal" not in row["flags"]
        key = {name: row[name] for name in ("characteristic", "position", "model")}
        found = histogram(snapshot, when=SET, normal=normal, **key)
        assert found is not None
        assert (found.n, found.outside.sum(), found.on_limit) == (row["n"], row["outside"], row["on_limit"])
        assert (found.lower, found.upper, found.target) == (row["lower"], row["upper"], row["target"])
        assert (found.outside <= found.counts).all()
        seen.add(found.curve)
        if found.curve != NONE:  # the area under the curve, in readings, is all of them but its tails
            area = np.trapezoid(found.y, found.x) / (found.edges[1] - found.edges[0])
            assert area == pytest.approx(found.n, rel=0.1)
        assert (found.curve == NORMAL) == normal
    assert NORMAL in seen


def test_a_row_that_is_not_there_has_no_bars(demo_desk):
    told = histogram(demo_desk.snapshot(), when=SET, normal=True, characteristic="relief", position="", model="none")
    assert told is None

"""Small lines of all streams: each is the running average of its own readings at evenly spread moments."""

import numpy as np
import pytest

from analysis.studies.drift.rack import TICKS, _ticks, rack
from analysis.studies.drift.signals import signals


def line_of(values: list[float], taken: list[int], centre: float, scale: float, ticks: list[int], weight: float):
    """The average at each tick as a share of the scale, a reading after the other; None before the first."""
    told = []
    for tick in ticks:
        off, some = 0.0, False
        for value, at in zip(values, taken, strict=True):
            if at <= tick:
                off, some = weight * (value - centre) + (1 - weight) * off, True
        told.append((centre + off - centre) / scale if some and scale > 0 else None)
    return told


@pytest.mark.parametrize("weeks", [5, 13])
def test_a_line_is_the_running_average_of_its_stream(demo, weeks):
    held, weight = demo.once(signals).streams, demo.shop.judging.ewma_weight
    ticks = _ticks(demo, weeks).tolist()
    techs = sorted(set(held.rows["tech"]))
    for tech in (techs[0], techs[1], techs[-1]):
        rows = rack(demo, weeks=weeks, tech=tech).streams
        assert sorted(rows["stream"]) == np.flatnonzero((held.rows["tech"] == tech).to_numpy()).tolist()
        for row in rows.sort("stream")[::17].iter_rows(named=True):
            mine = slice(int(held.starts[row["stream"]]), int(held.ends[row["stream"]]) + 1)
            taken = held.readings["taken_at"][mine].to_physical().to_list()
            centre = float(held.own.centre[row["stream"]])
            expected = line_of(held.values[mine].tolist(), taken, centre, row["scale"], ticks, weight)
            assert len(row["line"]) == TICKS
            assert [point is None for point in row["line"]] == [point is None for point in expected]
            told, wanted = ([point for point in line if point is not None] for line in (row["line"], expected))
            assert told == pytest.approx(wanted, rel=1e-9, abs=1e-12)


def test_of_a_tech_who_set_nothing_there_is_no_line(demo):
    assert rack(demo, tech="nobody of the list").streams.is_empty()

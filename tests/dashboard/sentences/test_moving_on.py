"""How what creeps moves on, in words."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import Creeping
from dashboard.sentences import matters, moving_on

NOW = date(2026, 11, 9)
GOES_ON = Creeping(0.0117, 0.010, 0.013, None)
FALLS = Creeping(-0.25, -0.3, -0.2, None)
MAY_REST = Creeping(0.004, -0.003, 0.011, None)
RESTS = Creeping(0.0, 0.0, 0.0, date(2026, 11, 6))


@pytest.mark.parametrize(
    ("creeping", "said"),
    [
        (None, "since about 6 Jul"),
        (GOES_ON, "0.012 mm a week more since about 6 Jul"),
        (FALLS, "0.25 mm a week less since about 6 Jul"),
        (MAY_REST, "since about 6 Jul"),
        (RESTS, "since about 6 Jul and no further since 6 Nov"),
    ],
)
def test_a_matter_that_creeps_says_how_wherever_it_is_told(moving_desk, creeping, said):
    shop, (one, *_) = moving_desk.snapshot().shop, moving_desk.ask(open_matters)
    given = {"size": 0.22, "size_low": 0.19, "size_high": 0.25, "sizes": None, "earlier": ()}
    found = replace(one, began_at=datetime(2026, 7, 6, 9, tzinfo=UTC), creeping=creeping, **given)
    assert moving_on.since(found, shop, NOW).replace("\u00a0", " ") == said
    line, by = (text.replace("\u00a0", " ") for text in (matters.line(found, shop, NOW)[0], matters.by(found, shop)))
    assert line.endswith(said)
    assert ("by now 0.22 mm (0.19 to 0.25)" in line) == (creeping is not None)
    assert by.endswith(said.partition(" since about")[0]) or creeping in (None, MAY_REST, RESTS)
    assert not by.endswith((",", ", "))
    assert creeping is not RESTS or by.endswith(", no further since 6 Nov")


def test_a_creep_too_small_for_two_digits_is_written_with_four_decimals(moving_desk):
    shop, (one, *_) = moving_desk.snapshot().shop, moving_desk.ask(open_matters)
    found = replace(one, size=0.22, creeping=replace(GOES_ON, a_week=0.00024))
    assert moving_on.pace(found, shop).replace("\u00a0", " ") == "0.0002 mm a week more"


@pytest.mark.parametrize(
    ("size", "low", "high", "said"),
    [
        (-0.0065, -0.011, -0.002, "down 0.006 mm (0.002 to 0.011)"),
        (0.0065, -0.002, 0.015, "up 0.01 mm (0.00 to 0.01)"),  # it may not have moved: nothing is hidden
        (0.22, 0.19, 0.25, "up 0.22 mm (0.19 to 0.25)"),
    ],
)
def test_an_end_that_is_not_nothing_is_not_written_as_nothing(moving_desk, size, low, high, said):
    shop, (one, *_) = moving_desk.snapshot().shop, moving_desk.ask(open_matters)
    found = replace(one, size=size, size_low=low, size_high=high, sizes=None, creeping=None)
    assert matters.by(found, shop).replace("\u00a0", " ").startswith(said)

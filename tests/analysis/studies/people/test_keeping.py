"""keep_months: counted from a person's last visit to the snapshot's as_of, on the shop's clock."""

from datetime import UTC, date, datetime

import pytest

from analysis.studies.people.keeping import past_keeping
from tests.analysis.studies.benches import bench

LINES = """
A 2 8 nut pass tech=T1
A 2 9 play pass tech=T2
B 9 8 nut pass tech=T2
B 9 9 play pass tech=T3
"""
PEOPLE = {"tech": [{"key": "T2"}, {"key": "T1"}], "people": {"keep_months": 6}}


@pytest.mark.parametrize(
    ("as_of", "gone"),
    [
        (datetime(2026, 9, 2, 8, tzinfo=UTC), {}),  # six months to the minute after T1's last visit
        (datetime(2026, 9, 2, 8, 1, tzinfo=UTC), {"T1": date(2026, 3, 2)}),
        (datetime(2026, 12, 1, tzinfo=UTC), {"T2": date(2026, 3, 9), "T1": date(2026, 3, 2)}),  # T3 is not in shop.toml
    ],
)
def test_a_person_is_past_keeping_when_their_last_visit_is_too_old(as_of, gone):
    assert past_keeping(bench(LINES, as_of=as_of, **PEOPLE)) == gone


def test_a_longer_keeping_keeps_them():
    longer = PEOPLE | {"people": {"keep_months": 24}}
    assert past_keeping(bench(LINES, as_of=datetime(2026, 12, 1, tzinfo=UTC), **longer)) == {}

"""What a matter is called by: the signal that opened first for it, not one that had opened for another."""

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

from analysis.studies.matters.telling import first_of

BEGAN = datetime(2026, 9, 7, tzinfo=UTC)


def signal(number, *days):
    """Opened so many days after it began, and again."""
    each = [{"opened_at": BEGAN + timedelta(days=day)} for day in days]
    return SimpleNamespace(number=number, row=each[0] | {"each": each})


def part(*, earlier=(), creeping=None):
    return SimpleNamespace(measured=SimpleNamespace(began_low=BEGAN, earlier=earlier, creeping=creeping))


def test_a_chart_that_had_opened_long_before_gives_no_name_to_what_it_joins():
    old, first, later = signal(0, -34), signal(1, 2), signal(2, 30)
    assert first_of([first, later], [part()]) == (BEGAN + timedelta(days=2), first)
    assert first_of([old, first, later], [part()]) == (BEGAN + timedelta(days=2), first)
    assert first_of([old], [part()]) == (BEGAN - timedelta(days=34), old)


def test_a_chart_that_opens_again_for_it_counts_from_then():
    again, first = signal(0, -60, 9), signal(1, 2)
    assert first_of([again, first], [part()])[1] is first
    assert first_of([again], [part()]) == (BEGAN + timedelta(days=9), again)


def test_what_comes_again_or_creeps_keeps_the_name_it_had_the_first_time():
    old, first = signal(0, -60), signal(1, 2)
    assert first_of([old, first], [part(earlier=("a time before",))])[1] is old
    assert first_of([old, first], [part(creeping="it moves on")])[1] is old
    assert first_of([old, first], [])[1] is old

"""A line of the book stays with the matter that it was written about, though its signal has become another's."""

from datetime import UTC, date, datetime
from types import SimpleNamespace

import polars as pl
import pytest

from analysis.studies.drift.entries import ENTRIES
from analysis.studies.matters.units import Signal
from analysis.studies.matters.whose_lines import Held, lines_of_signals, moved


def on(month, day):
    return datetime(2026, month, day, 9, tzinfo=UTC)


def signal(number, *, opened, closed=None):
    row = {"opened_at": opened, "closed_at": closed}
    return Signal(number, "found", number, row, ("action", "final"))


def part(began, *, named=True, models=("Volt",)):
    measured = SimpleNamespace(began_low=began, began_at=began)
    return SimpleNamespace(characteristic="action", stage="final", models=list(models), named=named, measured=measured)


def book(*lines):
    rows = [
        {"sequence": k, "kind": "action", "model": "Volt", "signal": on_signal, "now_opened_at": opened, "at": at,
         "due": due}
        for k, (on_signal, opened, at, due) in enumerate(lines)
    ]  # fmt: skip
    schema = {name: ENTRIES[name] for name in ("sequence", "kind", "model", "signal", "now_opened_at", "at", "due")}
    tied = pl.DataFrame(rows, schema=schema)
    return SimpleNamespace(once=lambda _study: tied)


FIRST = Held([signal(1, opened=on(8, 12), closed=on(9, 27))], [part(on(8, 10))])  # one person, until 18 September
SECOND = Held([signal(0, opened=on(8, 17))], [part(on(9, 21))])  # another, on the chart that the first had opened


def test_what_was_written_before_the_second_began_is_about_the_first():
    told = book((0, on(8, 17), on(9, 14), None))
    assert moved(told, [FIRST, SECOND]) == {0: 0}
    assert moved(told, [SECOND, FIRST]) == {0: 1}
    assert lines_of_signals(told, SECOND.signals)["sequence"].to_list() == [0]


@pytest.mark.parametrize(
    ("at", "due", "home"),
    [
        (on(9, 23), None, {}),  # about the second
        (on(9, 23), date(2026, 9, 18), {0: 0}),  # written late, of what was to be done before the second began
        (on(9, 14), date(2026, 10, 2), {0: 0}),
        (on(8, 9), None, {}),  # nothing had begun
    ],
)
def test_the_moment_that_a_line_is_about_decides(at, due, home):
    assert moved(book((0, on(8, 17), at, due)), [FIRST, SECOND]) == home


def test_a_line_stays_where_no_other_was_there_or_nothing_is_named_or_its_signal_is_the_seconds_own():
    line = (0, on(8, 17), on(9, 14), None)
    elsewhere = Held(FIRST.signals, [part(on(8, 10), models=("Brae",))])
    over = Held([signal(1, opened=on(8, 12), closed=on(9, 1))], [part(on(8, 10))])
    for other in (elsewhere, over):
        assert moved(book(line), [other, SECOND]) == {}
    unnamed = Held(SECOND.signals, [part(on(9, 21), named=False)])
    assert moved(book(line), [FIRST, unnamed]) == {}
    assert moved(book((0, on(9, 22), on(9, 14), None)), [FIRST, SECOND]) == {}
    assert moved(book(), [FIRST, SECOND]) == {}

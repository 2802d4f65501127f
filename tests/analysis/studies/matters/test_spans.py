"""What a time that has passed is explained by does not move with the readings of series that are young."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.studies.matters.spans import Bench, Span, day_of, number, span_of
from analysis.studies.matters.units import Signal

DAYS = np.arange(number(date(2026, 3, 2)), number(date(2026, 10, 1)))
SHOP = SimpleNamespace(shop=SimpleNamespace(zone=UTC))


def bench(*, young=0.1):
    new = np.arange(len(DAYS)) >= (1 - young) * len(DAYS)
    return Bench("action", "final", np.arange(len(DAYS)), DAYS, DAYS, new, frozenset(["WREN"]))


def signal(model, *, closed=True):
    opened = datetime(2026, 7, 1, 9, tzinfo=UTC)
    row = {"opened_at": opened, "began_at": opened, "began_low": opened, "began_high": opened, "model": model,
           "opened_last": None, "back_at": None, "closed_by": "", "each": [],
           "closed_at": opened + timedelta(days=9) if closed else None}  # fmt: skip
    return Signal(0, "found", 0, row, ("action", "final"))


@pytest.mark.parametrize(
    ("model", "closed", "young", "has_part"),
    [("LARK", True, 0.1, False), ("WREN", True, 0.1, True), ("LARK", False, 0.1, True), ("LARK", True, 0.4, True)],
)
def test_young_series_have_a_part_where_a_chart_of_theirs_has_or_they_are_many_or_it_is_open(
    model, closed, young, has_part
):
    here = bench(young=young)
    span = span_of(SHOP, here, [signal(model, closed=closed)], closed=closed)
    assert span.young == has_part
    whole = replace(span, young=True)
    assert here.within(span).sum() == here.within(whole).sum() - (
        0 if has_part else (here.young & here.within(whole)).sum()
    )


def test_what_has_closed_is_looked_at_up_to_its_closing():
    span = span_of(SHOP, bench(), [signal("LARK")], closed=True)
    assert span.last == date(2026, 7, 10)
    assert span_of(SHOP, bench(), [signal("LARK", closed=False)], closed=False).last is None


def test_a_span_holds_another_whose_readings_are_among_its_own():
    whole, first, second = Span(None, None), day_of(int(DAYS[10])), day_of(int(DAYS[50]))
    part = Span(first, second)
    assert whole.holds(part)
    assert not part.holds(whole)
    assert part.holds(replace(part, young=False))
    assert not replace(part, young=False).holds(part)
    assert not part.holds(Span(first, None))
    assert not part.holds(Span(None, second))

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import numbers

N = "\u00a0"  # holds a number and its unit together


def test_a_minus_is_a_minus_and_nothing_is_minus_nothing():
    assert numbers.plain(-1.5, 1) == "\u22121.5"
    assert numbers.plain(-0.004) == "0.00"
    assert numbers.signed(0.05) == "+0.05"
    assert numbers.signed(-0.05) == "\u22120.05"
    assert numbers.signed(0.001) == "0.00"


@given(st.floats(-1e6, 1e6), st.integers(0, 4))
def test_no_number_is_ever_minus_zero_or_has_a_hyphen(value, decimals):
    for text in (numbers.plain(value, decimals), numbers.signed(value, decimals)):
        assert "-" not in text
        assert not (text[0] in "+\u2212" and not text[1:].strip("0.,"))


def test_lengths_have_two_decimals_in_mm_and_three_in_inches():
    assert numbers.mm(2.394) == f"2.39{N}mm"
    assert numbers.mm(25.4, shown="in") == f"1.000{N}in"
    assert numbers.mm(0.1, sign=True) == f"+0.10{N}mm"


@pytest.mark.parametrize(
    ("mm", "shown", "reading", "mean"),
    [
        (0.3048, "thou", f"12{N}thou", f"12.0{N}thou"),
        (0.3150, "thou", f"12.4{N}thou", f"12.4{N}thou"),
        (5.5 / 64 * 25.4, "64ths", f"5.5/64{N}in", f"5.50/64{N}in"),
        (10 / 64 * 25.4, "64ths", f"10/64{N}in", f"10.00/64{N}in"),
        (-0.01, "64ths", f"0/64{N}in", f"\u22120.03/64{N}in"),
    ],
)
def test_marks_are_counted_whole_where_they_are_and_means_are_finer(mm, shown, reading, mean):
    assert numbers.amount(mm, shown=shown) == reading
    assert numbers.amount(mm, shown=shown, mean=True) == mean


def test_what_is_written_as_nothing_in_64ths_is_nothing():
    assert not numbers.is_some(numbers.amount(0.01, shown="64ths"))
    assert numbers.is_some(numbers.amount(0.05, shown="64ths"))
    assert numbers.least("length", shown="64ths") == f"0.1/64{N}in"
    assert numbers.least("length", shown="thou") == f"0.1{N}thou"


def test_a_range_of_64ths_says_so_at_both_ends():
    assert numbers.span(5.5, 6.5, 1, "64ths") == f"5.5/64 to 6.5/64{N}in"
    assert numbers.span(5.5, 6.5, 1, "thou") == f"5.5 to 6.5{N}thou"


def test_a_value_in_marks_and_its_limit_are_told_apart():
    assert numbers.apart(2.43, 2.38125, shown="64ths") == (f"6.1/64{N}in", f"6/64{N}in")
    assert numbers.apart(2.382, 2.38125, shown="64ths") == (f"6.002/64{N}in", f"6.000/64{N}in")


@pytest.mark.parametrize(
    ("text", "shown", "digits"), [(f"1/64{N}in", "64ths", 1), (f"12.4{N}thou", "thou", 1), (f"0.10{N}mm", "mm", 2)]
)
def test_the_decimals_of_an_amount_are_those_of_its_number(text, shown, digits):
    assert numbers.decimals_in(text, "length", shown=shown) == digits


def test_cents_are_whole_and_their_means_have_one_decimal():
    assert numbers.cents(-7.4) == f"\u22127{N}cents"
    assert numbers.cents(-7.44, mean=True) == f"\u22127.4{N}cents"


@pytest.mark.parametrize(
    ("mm", "unit", "said"),
    [
        (0.3556, "thou", f"14{N}thou"),
        (5.5 / 64 * 25.4, "64ths", f"5.5/64{N}in"),
        (4 / 64 * 25.4, "64ths", f"4/64{N}in"),
        (2.39, "mm", f"2.39{N}mm"),
        (25.4 * 0.012, "in", f"0.012{N}in"),
    ],
)
def test_a_gauge_speaks_in_its_own_unit(mm, unit, said):
    assert numbers.gauge(mm, unit) == said


def test_a_gauge_unit_carries_mm_behind_on_first_use():
    assert numbers.gauge(0.3556, "thou", with_mm=True) == f"14{N}thou (0.36{N}mm)"


def test_time_and_money():
    assert numbers.minutes(12.7) == f"13{N}min"
    assert numbers.hours(5.32) == f"5.3{N}h"
    assert numbers.hours_of(318) == f"5.3{N}h"
    assert numbers.money(866.4, "EUR") == f"866{N}EUR"
    assert numbers.money(12866.4, "EUR") == f"12,866{N}EUR"


def test_a_share_is_whole_until_n_is_a_thousand():
    assert numbers.share(251 / 301, 301) == f"83{N}%"
    assert numbers.share(1000 / 1190, 1190) == f"84.0{N}%"
    assert numbers.share(0.0, 50) == f"0{N}%"
    assert numbers.share(1.0, 50) == f"100{N}%"


def test_something_never_becomes_nothing_and_nearly_all_never_all():
    assert numbers.share(1 / 400, 400) == f"under 1{N}%"
    assert numbers.share(399 / 400, 400) == f"over 99{N}%"
    assert numbers.share(1 / 5000, 5000) == f"under 0.1{N}%"


def test_a_value_beyond_its_limit_has_as_many_digits_as_tell_it_from_the_limit():
    assert numbers.apart(5.2, 5.0, "pitch") == (f"5.2{N}cents", f"5.0{N}cents")
    assert numbers.apart(-5.4, -5.0, "pitch") == (f"\u22125.4{N}cents", f"\u22125.0{N}cents")
    assert numbers.apart(7.0, 5.0, "pitch") == (f"7{N}cents", f"5{N}cents")
    assert numbers.apart(2.704, 2.7) == (f"2.704{N}mm", f"2.700{N}mm")
    assert numbers.apart(25.4 * 0.1254, 25.4 * 0.125, shown="in") == (f"0.1254{N}in", f"0.1250{N}in")
    assert numbers.apart(2.7, 2.7) == (f"2.70{N}mm", f"2.70{N}mm")


def test_ranges_read_to_in_prose_and_a_dash_in_tables_unless_signed():
    assert numbers.span(0.08, 0.15) == "0.08 to 0.15"
    assert numbers.span(0.08, 0.15, unit="mm") == f"0.08 to 0.15{N}mm"
    assert numbers.span_in_table(0.08, 0.15) == "0.08\u20130.15"
    assert numbers.span_in_table(-0.01, 0.03) == "\u22120.01 to 0.03"
    assert numbers.share_range(0.045, 0.243, 50) == f"4 to 24{N}%"
    assert numbers.share_range(0.997, 0.9999, 500) == f"over 99{N}%"
    assert numbers.share_range(1.0, 1.0, 50) == f"100 to 100{N}%"


def test_dates_name_the_year_only_where_it_differs():
    now = date(2026, 11, 13)
    assert numbers.day(date(2026, 11, 3), now) == f"3{N}Nov"
    assert numbers.day(date(2025, 11, 3), now) == f"3{N}Nov 2025"
    assert numbers.days(date(2026, 10, 30), date(2026, 11, 5)) == f"30{N}Oct to 5{N}Nov"
    assert numbers.long_day(date(2026, 11, 9)) == f"Monday 9{N}November 2026"
    assert numbers.clock(datetime(2026, 11, 13, 16, 40)) == f"Fri 13{N}Nov 2026, 16:40"
    assert numbers.clock(datetime(2026, 11, 13)) == f"Fri 13{N}Nov 2026"  # nobody wrote the time of day


def test_small_numbers_in_sentences_are_words():
    assert numbers.in_words(3, capital=True) == "Three"
    assert numbers.in_words(0) == "none"
    assert numbers.in_words(13) == "13"
    assert numbers.of_in_words(4, 6) == "Four of six"
    assert numbers.of_in_words(4, 13) == "4\u00a0of\u00a013"


def test_what_could_not_be_computed_is_said():
    for text in (
        numbers.plain(None),
        numbers.mm(None),
        numbers.share(None, 0),
        numbers.plain(float("nan")),
        numbers.hours_of(None),
    ):
        assert text == numbers.NONE

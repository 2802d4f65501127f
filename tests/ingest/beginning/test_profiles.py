"""A column at a glance: small columns whose look can be counted by hand, and what stands at each line."""

import pytest

from ingest.beginning.profiles import profile


@pytest.mark.parametrize(
    ("cells", "running"),
    [
        (["1", "2", "3"], True),
        (["1", "2"], False),  # two numbers are no row of numbers
        (["7", "8", "9"], True),
        (["1", "2", "4", "8"], False),
        (["3", "2", "1"], False),
        ([*map(str, range(1, 6)), *map(str, range(7, 13))], True),  # ten steps, nine of them by one
        ([*map(str, range(1, 6)), *map(str, range(7, 11)), "12", "13"], False),
        (["1", "2", "3", "x"], False),
        ([*map(str, range(400)), "x"], True),  # the first four hundred tell
        (["#", *map(str, range(399))], True),  # a line of hints below the heading
        ([*map(str, range(388)), *"xxxxxxxxxxxx"], True),
        ([*map(str, range(387)), *"xxxxxxxxxxxxx"], False),
        ([str(10**7 + k) for k in range(5)], True),
        ([str(10**8 + k) for k in range(5)], False),  # so long a number is a serial, not a count
        (["", "1", "", "2", "3"], True),
    ],
)
def test_rows_are_numbered_where_each_is_one_more_than_the_last(cells, running):
    assert profile(tuple(cells)).running is running


@pytest.mark.parametrize(
    ("cells", "share"),
    [
        (["46023"], "dates"),  # a spreadsheet's day
        (["54788"], "dates"),  # the last of 2049
        (["54789"], ""),
        (["5.4.2026"], "dates"),
        (["2026-04-05 09:30"], "dates"),
        (["Apr 5, 2026"], "dates"),
        (["9:30"], "clocks"),
        (["9:30 pm"], "clocks"),
        (["9.30"], "figures"),  # a number first
        (["930"], "figures"),
        (["9.3"], ""),
        (["3/64"], ""),  # a fraction is no day of March
        (["1 3/64"], ""),
        (["4/5/26"], "dates"),
        (["word"], ""),
        (["081455", "091455", "101455", "111455"], "clocks"),  # four hours of a day
        (["081455", "091455", "101455"], ""),
        (["081455", "091455", "101455", "111455", "999999"], ""),
        (["081455", "091455", "101455", "111455", "A"], ""),
        (["081455", "082455", "083455", "084455"], ""),  # all within one hour
        (["260405"], ""),
    ],
)
def test_a_cell_is_a_day_a_time_or_a_figure_that_may_be_one(cells, share):
    look = profile(tuple(cells))
    shares = {"dates": look.dates, "clocks": look.clocks, "figures": look.figures}
    assert shares == {name: float(name == share) for name in shares}


def test_a_column_of_numbers_is_counted():
    look = profile(("1", "2.5", "-3", ",25", "", "-", "n/a"))
    assert (look.rows, look.filled, look.distinct, look.unique) == (7, 4, 4, 1.0)
    assert (look.numbers, look.measured, look.whole, look.halves, look.middle) == (1.0, 1.0, 0.5, 0.75, 1.75)
    assert look.length == pytest.approx((1 + 3 + 2 + 3) / 4)


def test_an_empty_column_has_no_look_at_all():
    look = profile(("", " ", "-"))
    assert (look.rows, look.filled, look.distinct, look.unique, look.few) == (3, 0, 0, 0.0, False)
    assert (look.numbers, look.whole, look.halves, look.middle, look.dates, look.length) == (0, 0, 0, 0, 0, 0)
    assert (look.several, look.running, look.words) == (1, False, ())


def test_a_single_number_is_whole_or_not():
    assert (profile(("1",)).whole, profile(("1.5",)).whole, profile(("1.5",)).halves) == (1.0, 0.0, 1.0)


def test_shares_are_of_the_filled_cells():
    look = profile(("1", "x", "", "9:30", "2026-04-05", "A12", "2.4/1.8", "5 in"))
    sevenths = {name: round(7 * getattr(look, name)) for name in ("numbers", "measured", "clocks", "dates", "pairs")}
    # a day in figures looks like three numbers too
    assert sevenths == {"numbers": 1, "measured": 4, "clocks": 1, "dates": 1, "pairs": 1}
    assert round(7 * look.idents) == 4  # all but x, 9:30 and 5 in: letters, if any, then figures


@pytest.mark.parametrize(
    ("share", "cells", "others"),
    [
        ("idents", ["A12", "26-0412", "L 25", "ABCDEF1", "7"], ["Lark", "ABCDEFG1", "-", "A"]),
        ("pairs", ["2.4/1.8", "2,4 / 1,8 mm", ".09/.07", "2.4/2"], ["3/64", "2.4", "2/1.8"]),
        ("measured", [".006 in", "3/64", "+5 cents", "2,4mm", "5-7", "<0.1", "12+", '0.25"'], ["in", "x5", "5 apples"]),
        ("numbers", ["5", "5.", ".5", "-5,5", "+5"], ["5 mm", "5/6", ".", "1e3"]),
    ],
)
def test_a_notation_is_told_from_what_only_looks_like_it(share, cells, others):
    assert [cell for cell in [*cells, *others] if getattr(profile((cell,)), share) == 1.0] == cells


@pytest.mark.parametrize(
    ("cells", "several"),
    [
        (["1 2 3"] * 9 + ["x"], 3),
        (["1 2 3"] * 8 + ["x"] * 2, 1),  # not in most
        (["1"] * 9, 1),
        (["1 2"] * 5 + ["1 2 3"] * 5, 1),
        (["Al B"] * 9, 1),
    ],
)
def test_several_numbers_a_cell_stand_in_most_cells(cells, several):
    assert profile(tuple(cells)).several == several


def test_a_long_column_is_looked_at_in_cells_from_all_over_it():
    look = profile(tuple(["1"] * 4000 + ["x"] * 4000))
    assert look.numbers == 0.5
    assert (look.filled, look.distinct, look.words) == (8000, 2, (("1", 4000), ("x", 4000)))
    assert profile(tuple(["1"] * 1999 + ["x"])).numbers == 1999 / 2000  # a shorter one cell by cell


def test_few_words_are_twelve_or_a_fiftieth_of_a_long_column():
    def few(distinct, rows):
        return profile(tuple(f"w{n % distinct}x" for n in range(rows))).few

    assert [few(12, 100), few(13, 100), few(20, 1000), few(21, 1000)] == [True, False, True, False]


def test_the_forty_commonest_texts_are_kept():
    look = profile((*tuple(f"w{n}" for n in range(50)), "w49"))
    assert len(look.words) == 40
    assert look.words[0] == ("w49", 2)

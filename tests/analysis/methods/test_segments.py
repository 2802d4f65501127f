import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods import segments
from analysis.methods.problems import UnusableData
from tests.published.cases import case

UNIVARIATE = ["strd-lew", "strd-lottery", "strd-mavro", "strd-michelso", "strd-numacc1", "strd-numacc2", "strd-numacc3"]
streams = st.lists(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=12), min_size=1, max_size=8)


def joined(parts):
    return np.array([value for part in parts for value in part]), np.cumsum([0] + [len(part) for part in parts[:-1]])


@pytest.mark.parametrize("name", UNIVARIATE)
def test_mean_deviation_and_correlation_keep_the_certified_digits(name):
    # NIST Statistical Reference Datasets, univariate summary statistics; certified to 15 digits.
    # NumAcc3 sits at 1,000,000.2 with a spread of 0.1: the readings themselves are rounded at 1e-10, which leaves the
    # deviation some 10 digits.
    printed = case(name)
    y = np.array([float(text) for text in printed.data["y"]])
    mean, sd = segments.means(y, segments.ONE_STREAM)[0], segments.standard_deviations(y, segments.ONE_STREAM)[0]
    off = y - mean
    lag = (off[1:] * off[:-1]).sum() / (off * off).sum()
    close = 1e-9 if name == "strd-numacc3" else float(printed.tolerance["default"].removeprefix("rel:"))
    assert mean == pytest.approx(printed.published["mean"], rel=1e-14)
    assert sd == pytest.approx(printed.published["sd"], rel=close)
    assert lag == pytest.approx(printed.published["lag1_autocorrelation"], rel=max(close, 1e-11))


@given(streams)
def test_segments_together_give_what_each_gives_alone(parts):
    values, starts = joined(parts)
    assert segments.means(values, starts) == pytest.approx(
        [segments.means(np.array(part), segments.ONE_STREAM)[0] for part in parts], rel=1e-12
    )
    alone = [segments.standard_deviations(np.array(part), segments.ONE_STREAM)[0] for part in parts]
    assert segments.standard_deviations(values, starts) == pytest.approx(alone, rel=1e-12)
    assert segments.lengths(starts, len(values)).tolist() == [len(part) for part in parts]
    assert segments.places(starts, len(values)).tolist() == [place for part in parts for place in range(len(part))]
    assert segments.segment_ids(starts, len(values)).tolist() == [i for i, part in enumerate(parts) for _ in part]


@given(st.floats(-1e9, 1e9), st.integers(1, 1000))
def test_a_constant_run_has_its_own_value_as_mean_and_no_deviation(value, n):
    run = np.full(n, value)
    assert segments.means(run, segments.ONE_STREAM)[0] == value
    assert segments.standard_deviations(run, segments.ONE_STREAM)[0] == 0


@given(streams, st.integers(1, 20))
def test_blocks_hold_every_segment_whole_and_once(parts, size):
    values, starts = joined(parts)
    which, where = zip(*segments.blocks(starts, len(values), size), strict=True)
    assert [i for block in which for i in range(block.start, block.stop)] == list(range(len(starts)))
    assert [i for block in where for i in range(block.start, block.stop)] == list(range(len(values)))
    assert [block.start for block in where] == [starts[block.start] for block in which]


@given(streams, st.integers(1, 15))
def test_firsts_are_the_first_readings_of_each_segment(parts, count):
    values, starts = joined(parts)
    at, begins = segments.firsts(starts, len(values), np.full(len(starts), count))
    assert values[at].tolist() == [value for part in parts for value in part[:count]]
    assert begins.tolist() == joined([part[:count] for part in parts])[1].tolist()


@pytest.mark.parametrize(
    ("values", "starts", "message"),
    [
        ([], [0], "no reading"),
        ([[1.0]], [0], "one row"),
        ([1.0, 2.0], [], "starts must begin at 0"),
        ([1.0, 2.0], [1], "starts must begin at 0"),
        ([1.0, 2.0], [0, 2], "stay below the 2 readings"),
        ([1.0, 2.0], [0, 0], "rise strictly"),
        ([1.0, np.inf], [0], "1 of 2 readings are missing, first at 1"),
        ([np.nan, np.nan], [0], "2 of 2 readings are missing, first at 0"),
    ],
)
def test_what_is_no_complete_row_of_segments_is_refused(values, starts, message):
    with pytest.raises(UnusableData, match=message):
        segments.checked(values, starts)


def test_keys_are_told_without_gaps_in_their_order_however_far_apart_they_lie():
    rng = np.random.default_rng(20270301)
    for most in (7, 10**12):
        keys = rng.integers(0, most, 5000) // 3 * 3
        some, first, code = np.unique(keys, return_index=True, return_inverse=True)
        found = segments.dense(keys)
        assert found.code.tolist() == code.tolist()
        assert found.first.tolist() == first.tolist()
        assert keys[found.first].tolist() == some.tolist()
    assert len(segments.dense(keys[:0]).code) == 0


def test_numbers_are_found_among_rising_ones_however_far_apart_they_lie():
    rng = np.random.default_rng(20270303)
    for most in (7, 10**12):
        keys, wanted = np.unique(rng.integers(0, most, 40)), rng.integers(0, most, 5000)
        wanted[:40] = rng.choice(keys, 40)
        place = {int(key): at for at, key in enumerate(keys)}
        assert segments.places_in(keys, wanted).tolist() == [place.get(int(each), -1) for each in wanted]
        assert (segments.places_in(keys[:0], wanted) == -1).all()
        assert len(segments.places_in(keys, wanted[:0])) == 0


def test_rectangles_hold_each_piece_once_and_none_longer_than_they_are_wide(monkeypatch):
    monkeypatch.setattr(segments, "CELLS", 300)
    size = np.random.default_rng(20270302).integers(0, 90, 200)
    parts = list(segments.rectangles(size))
    assert sorted(np.concatenate([which for which, _ in parts])) == list(range(200))
    assert all(longest == size[which].max() for which, longest in parts)
    assert max(len(which) * longest for which, longest in parts) <= 600


def test_pieces_of_one_reading_and_of_two_are_of_unlike_length():
    assert [(which.tolist(), longest) for which, longest in segments.rectangles(np.array([2, 1, 1]))] == [
        ([1, 2], 1),
        ([0], 2),
    ]


@pytest.mark.parametrize("most", [3, 300, 70_000, 2**62])  # the last: too wide to stand in one number
def test_rows_are_put_in_order_by_several_keys_and_stay_as_they_stood_where_alike(most):
    rng = np.random.default_rng(20270305)
    first, second = rng.integers(0, most, 500), rng.integers(0, 4, 500)
    wanted = sorted(range(500), key=lambda at: (first[at], second[at]))
    assert segments.in_order(first, second).tolist() == wanted
    assert segments.in_order(first[:0]).tolist() == []


def test_a_key_is_fresh_where_it_differs_from_the_one_before():
    assert segments.fresh(np.array([-1, -1, 2, 2, -1])).tolist() == [True, False, True, False, True]
    assert segments.fresh(np.array([0])).tolist() == [True]
    assert len(segments.fresh(np.zeros(0))) == 0


def test_a_place_among_some_rising_values_is_that_of_a_search_in_these_alone():
    rng = np.random.default_rng(8)
    values = np.concatenate([np.sort(rng.integers(0, 9, n)) for n in (1, 40, 7, 300)]).astype(np.int32)
    low = np.array([0, 1, 41, 48, 48, 60, 1])
    high = np.array([1, 41, 48, 348, 60, 60, 41])  # the last but one holds nothing
    for wanted in range(-1, 10):
        for side in ("left", "right"):
            found = segments.placed(values, low, high, np.full(len(low), wanted), behind=side == "right")
            each = [a + np.searchsorted(values[a:b], wanted, side) for a, b in zip(low, high, strict=True)]
            assert found.tolist() == each

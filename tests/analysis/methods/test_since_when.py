"""Sums from every start: scores of two counts against exact chances, limits against the run lengths of simulated walks,
laws.
"""

import numpy as np
import pytest
from scipy import stats

from analysis.methods.change_point import overshoot
from analysis.methods.problems import UnusableData
from analysis.methods.since_when import LEAST_LIMIT, Ahead, apart, limit, rate, splits, sums, widening

COUNT = np.array([2.0, 1.0, 3.0, 0.0, 6.0, 5.0, 4.0, 0.0])
SIZE = np.array([30.0, 20.0, 25.0, 10.0, 30.0, 30.0, 25.0, 20.0])


def base(share: float = 0.08, counted: float = 40.0) -> Ahead:
    """A base that estimates one share, the same for all work."""
    expected = share * SIZE
    return Ahead(expected, (expected / np.sqrt(counted))[:, None], 0.0)


@pytest.mark.parametrize(
    ("k", "n", "base_k", "base_n"),
    [(7, 25, 18, 300), (9, 25, 18, 300), (20, 100, 18, 300), (40, 100, 60, 300), (20, 25, 240, 600), (6, 15, 6, 200),
     (0, 100, 180, 3000), (0, 60, 120, 600), (168, 1500, 36, 600)],
)  # fmt: skip
def test_a_score_is_that_of_the_exact_chance_half_of_the_tie_counted(k, n, base_k, base_n):
    law = stats.hypergeom(n + base_n, k + base_k, n)
    exact = stats.norm.ppf(law.cdf(k - 1) + law.pmf(k) / 2)
    assert float(apart(k, n, base_k, base_n)) == pytest.approx(exact, abs=0.13)


@pytest.mark.parametrize(
    ("k", "n", "base_k", "base_n", "as_many", "more"),
    [(3, 4, 1, 4, 17 / 70, 1 / 70), (10, 13, 2, 17, 3095 / 6653325, 103 / 6653325)],
)  # fmt: skip
def test_a_score_lies_between_the_printed_chances_of_as_many_and_of_more(k, n, base_k, base_n, as_many, more):
    # Fisher's cups of tea (The Design of Experiments, 1935, chapter II) and Lange's twins (Fisher 1935, J. Royal
    # Statistical Society 98): from memory, and the law of both is the hypergeometric one
    assert more < stats.norm.sf(float(apart(k, n, base_k, base_n))) < as_many
    law = stats.hypergeom(n + base_n, k + base_k, n)
    assert (law.sf(k - 1), law.sf(k)) == pytest.approx((as_many, more))


def test_relabelling_what_is_counted_turns_the_sign():
    there = apart(COUNT, SIZE, 40.0, 500.0)
    assert apart(SIZE - COUNT, SIZE, 460.0, 500.0) == pytest.approx(-there)


def test_equal_shares_score_nothing():
    assert float(apart(5.0, 50.0, 60.0, 600.0)) == pytest.approx(0.0, abs=1e-12)
    assert abs(float(apart(5.001, 50.0, 60.0, 600.0))) < 0.01


def test_sums_of_a_few_rows_at_most_are_those_among_all():
    few, every = sums(COUNT, SIZE, base(), 2, longest=3), sums(COUNT, SIZE, base(), 2)
    inside = np.array([[1, 1, 1, 0, 0, 0, 0, 0], [0, 1, 1, 1, 0, 0, 0, 0]], dtype=bool)
    for name in ("score", "count", "size", "expected", "variance"):
        assert np.array_equal(np.isfinite(getattr(few, name)), inside)
        assert np.array_equal(getattr(few, name)[inside], getattr(every, name)[inside])


def test_a_sum_is_that_of_its_rows():
    found = sums(COUNT, SIZE, base(), 3)
    assert found.score.shape == (3, 8)
    assert np.isnan(found.score[2, :2]).all()
    assert (found.count[1, 5], found.size[1, 5]) == (COUNT[1:6].sum(), SIZE[1:6].sum())
    assert found.expected[1, 5] == pytest.approx(0.08 * SIZE[1:6].sum())
    assert found.variance[1, 5] == pytest.approx(found.expected[1, 5] ** 2 / 40)
    n = SIZE[1:6].sum()
    assert found.score[1, 5] == pytest.approx(float(apart(COUNT[1:6].sum(), n, 40.0, 40.0 / 0.08)))


def test_of_models_the_base_hardly_knows_a_sum_says_less():
    expected = 0.08 * SIZE
    known = Ahead(expected, np.column_stack([expected / np.sqrt(40), expected / 5]), -1 / 40)
    alone = sums(COUNT, SIZE, known, 3)
    wide = sums(COUNT, SIZE, Ahead(expected, np.column_stack([expected / np.sqrt(40), expected]), -1 / 40), 3)
    assert alone.variance[0, 7] == pytest.approx(alone.expected[0, 7] ** 2 / 25)
    assert abs(wide.score[0, 6]) < abs(alone.score[0, 6]) < abs(sums(COUNT, SIZE, base(), 3).score[0, 6])


def test_levels_that_change_places_add_less_than_one_that_stays():
    expected = np.full(8, 2.0)
    one = np.column_stack([expected, np.zeros(8)])
    by_turns = np.where(np.arange(8)[:, None] % 2 == [0, 1], 2.0, 0.0)
    fixed, mixed = (sums(COUNT, SIZE, Ahead(expected, each, 0.0), 1).variance[0] for each in (one, by_turns))
    assert fixed[0] == mixed[0]
    assert mixed[-1] == pytest.approx(fixed[-1] / 2)


def test_rows_that_vary_as_chance_has_them_widen_nothing_and_others_as_much_as_they_are_shown_to():
    fitted = np.full(52, 4.0)
    size = np.full(52, 40.0)
    steady = fitted + np.resize([1.0, -1.0], 52)
    assert widening(steady, size, fitted) == 1.0
    wild = fitted + np.resize([4.0, -4.0], 52)
    assert widening(wild, size, fitted) == pytest.approx((52 * 16 / 3.6 + 13) / (51 + 13))
    assert widening(np.zeros(8), np.full(8, 20.0), np.zeros(8)) == 1.0
    assert 1 < widening(wild[:4], size[:4], fitted[:4]) < widening(wild, size, fitted)  # four weeks say little


def test_a_widened_sum_is_one_of_so_many_fewer_pieces():
    ahead = base()
    wide = sums(COUNT, SIZE, Ahead(ahead.expected, ahead.unsure, ahead.common, 1.5), 3)
    n, k = SIZE[1:6].sum(), COUNT[1:6].sum()
    assert wide.score[1, 5] == pytest.approx(float(apart(k / 1.5, n / 1.5, 40 / 1.5, 40 / 0.08 / 1.5)))
    assert abs(wide.score[1, 5]) < abs(sums(COUNT, SIZE, ahead, 3).score[1, 5])


def test_sums_are_no_longer_than_asked():
    found = sums(COUNT, SIZE, base(), 4, longest=2)
    assert np.isfinite(found.score).sum() == 8
    assert np.isnan(found.score[0, 2:]).all()


def test_no_fault_at_all_and_a_base_without_any_stay_within():
    none = sums(np.zeros(8), SIZE, base(0.002, 0.5), 4)
    assert np.nanmax(np.abs(none.score)) < 1


def test_rows_without_work_or_with_more_counted_than_there_are_are_refused():
    for count, size in ((COUNT, np.append(SIZE[:-1], 0.0)), (SIZE + 1, SIZE), (-COUNT, SIZE)):
        with pytest.raises(UnusableData):
            sums(count, size, base(), 3)
    with pytest.raises(UnusableData):
        sums(COUNT[1:], SIZE[1:], base(), 3)
    with pytest.raises(UnusableData):
        sums(COUNT, SIZE, base(), 9)


def test_the_rate_nears_that_of_siegmund_and_venkatraman_where_the_base_is_known():
    # their approximation: a run length of 1 / (c phi(c) times the integral of x nu(x)^2 over all x), from memory, for
    # sums of any length; ours adds over whole rows of w, x = c / sqrt(w), so that they agree as c grows
    x = np.linspace(1e-4, 40, 400_001)
    integral = float((x * overshoot(x) ** 2).sum() * (x[1] - x[0]))
    apart_by = [rate(at, 1e12, longest=200_000) / (at * stats.norm.pdf(at) * integral) - 1 for at in (4.0, 5.0, 6.0)]
    assert -0.1 < apart_by[0] < apart_by[1] < apart_by[2] < 0


def test_a_limit_gives_its_rate_back_and_falls_with_a_smaller_base():
    assert rate(limit(0.002, 52.0), 52.0) == pytest.approx(0.002, rel=1e-4)
    assert limit(0.002, 8.0) < limit(0.002, 52.0) < limit(0.002, 1e9)
    assert limit(0.19, 52.0, longest=1) == LEAST_LIMIT
    for bad in (0.0, 0.2):
        with pytest.raises(UnusableData):
            limit(bad, 52.0)
    with pytest.raises(UnusableData):
        limit(0.002, 0.0)


@pytest.mark.promise
def test_normal_rows_signal_as_seldom_as_the_limit_says():
    # 4,000 runs of 60 rows after a base of 20 rows, a plan of 1 in 250; seed 20261130 fixed before the first run.
    rng = np.random.default_rng(20261130)
    runs, rows, known = 4000, 60, 20
    off = rng.normal(0, np.sqrt(1 / known), runs)
    walk = np.concatenate([np.zeros((runs, 1)), np.cumsum(rng.standard_normal((runs, rows)), axis=1)], axis=1)
    at = limit(0.004, float(known), longest=52)
    first = np.full(runs, rows)
    for end in range(rows, 0, -1):
        w = np.arange(1, min(end, 52) + 1)
        score = (walk[:, [end]] - walk[:, end - w] - w * off[:, None]) / np.sqrt(w * (1 + w / known))
        first[(np.abs(score) > at).any(axis=1)] = end - 1
    seen = first < rows
    assert seen.sum() / (first + seen).sum() == pytest.approx(0.004, rel=0.15)


def test_the_likeliest_row_parts_two_levels_at_their_own_sizes():
    size = np.array([10.0, 20, 10, 40, 10, 20, 30, 10])
    rate = np.repeat([0.1, 0.5], [5, 3])
    assert splits(size * rate, size, 1).argmax() + 1 == 5
    assert np.isneginf(splits(size * rate, size, -1)).all()
    assert splits((size * rate)[::-1], size[::-1], -1).argmax() + 1 == 3


def test_the_likeliest_row_is_that_of_the_binomial_table_of_rare_counts():
    rng = np.random.default_rng(20261206)
    for _ in range(20):
        size = rng.integers(50, 200, 12).astype(float)
        count = rng.binomial(size.astype(int), np.repeat([0.02, 0.08], [7, 5])).astype(float)
        odds = [
            apart(count[at:].sum(), size[at:].sum(), count[:at].sum(), size[:at].sum()) for at in range(1, len(size))
        ]
        assert odds[splits(count, size, 1).argmax()] > max(odds) - 0.3


def test_nothing_counted_and_one_row_part_nowhere():
    assert np.isneginf(splits(np.zeros(6), np.ones(6), 1)).all()
    assert splits(np.array([3.0]), np.array([2.0]), 1).shape == (0,)


def test_widening_of_many_is_that_of_each():
    rng = np.random.default_rng(20261207)
    size = rng.integers(1, 40, (20, 3)).astype(float)
    count, fitted = rng.binomial(size.astype(int), 0.2).astype(float), 0.2 * size
    each = [float(widening(*part)) for part in zip(count.T, size.T, fitted.T, strict=True)]
    assert widening(count, size, fitted) == pytest.approx(each)
    none = [np.vstack((part, np.zeros((1, 3)))) for part in (count, size, fitted)]
    assert widening(*none) == pytest.approx(each)

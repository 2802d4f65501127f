"""Partial pooling: against print and quadrature, by laws, and by its promised rates."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, special, stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.oneway import anova_oneway

from analysis.methods import partial_pooling
from analysis.methods.partial_pooling import among_many, equal, pooled, pooled_rows, standing_out
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

SCHOOLS = case("eight-schools")
Y, ERROR = (np.array(SCHOOLS.data[name], dtype=float) for name in ("effect", "error"))
SEED = 20270107


def test_the_eight_schools_come_out_as_printed():
    found = pooled(Y, ERROR)
    assert found.value == pytest.approx(SCHOOLS.published["median"], abs=tolerance(SCHOOLS, "median"))
    assert found.low == pytest.approx(SCHOOLS.published["low"], abs=tolerance(SCHOOLS, "low"))
    weight = ERROR**-2
    assert (weight @ Y / weight.sum(), weight.sum() ** -0.5) == pytest.approx(
        (SCHOOLS.published["pooled"], SCHOOLS.published["pooled_error"]), abs=tolerance(SCHOOLS, "pooled")
    )
    assert found.chance[0] == pytest.approx(stats.chi2.sf(weight @ (Y - weight @ Y / weight.sum()) ** 2, 7), abs=1e-12)


def below(end, at):
    """How likely group `at` lies below `end`, by quadrature over `between` (no code of ours)."""

    def law(tau):
        total = ERROR**2 + tau**2
        v = 1 / (1 / total).sum()
        mu = v * (Y / total).sum()
        return total, v, mu, v**0.5 * np.prod(total**-0.5) * np.exp(-0.5 * ((Y - mu) ** 2 / total).sum())

    def part(tau):
        total, v, mu, density = law(tau)
        share = ERROR[at] ** 2 / total[at]
        mean = share * mu + (1 - share) * Y[at]
        return density * stats.norm.cdf(end, mean, np.sqrt(share**2 * v + (1 - share) * ERROR[at] ** 2))

    whole = integrate.quad(lambda tau: law(tau)[3], 0, np.inf, limit=400)[0]
    return integrate.quad(part, 0, np.inf, limit=400)[0] / whole


@pytest.mark.parametrize("at", [0, 2, 6])
def test_ends_are_those_of_quadrature(at):
    found = pooled(Y, ERROR)
    for end, level in ((found.low, 0.025), (found.value, 0.5), (found.high, 0.975)):
        assert below(end[at], at) == pytest.approx(level, abs=6e-4)


@given(st.floats(-50, 50), st.floats(0.01, 100), st.permutations(range(8)))
def test_unit_zero_and_order_of_the_groups_change_nothing_else(shift, factor, order):
    plain, moved = pooled(Y, ERROR), pooled(Y[order] * factor + shift, ERROR[order] * factor)
    for name in ("value", "low", "high"):
        assert getattr(moved, name) == pytest.approx(
            getattr(plain, name)[order] * factor + shift, rel=1e-6, abs=1e-6 * factor + 1e-6
        )
    assert moved.off_low == pytest.approx(plain.off_low[order] * factor, rel=1e-6, abs=1e-6 * factor + 1e-6)
    assert moved.between == pytest.approx(plain.between * factor, rel=1e-6)
    assert moved.chance == pytest.approx(plain.chance, abs=1e-9)


def test_families_side_by_side_are_as_each_alone():
    both = pooled(np.append(Y, Y[:4]), np.append(ERROR, ERROR[:4]), [0, 8])
    for part, alone in ((slice(0, 8), pooled(Y, ERROR)), (slice(8, 12), pooled(Y[:4], ERROR[:4]))):
        assert both.high[part] == pytest.approx(alone.high, abs=1e-9)


def test_a_group_known_badly_takes_the_mean_and_one_known_well_keeps_its_own():
    found = pooled([0.0, 1.0, 2.0, 50.0, 3.0], [0.01, 0.01, 0.01, 1e4, 0.01])
    assert found.value[3] == pytest.approx(found.mean[0], abs=0.05)
    assert found.value[0] == pytest.approx(0.0, abs=0.005)


def test_every_value_lies_between_its_own_estimate_and_the_mean():
    found = pooled(Y, ERROR)
    ends = np.sort(np.stack([Y, np.repeat(found.mean, 8)]), axis=0)
    assert ((ends[0] - 0.5 <= found.value) & (found.value <= ends[1] + 0.5)).all()


def test_what_cannot_be_pooled_is_said():
    with pytest.raises(UnusableData, match="2 groups cannot be pooled; wanted at least 3"):
        pooled([1.0, 2.0], [1.0, 1.0])
    with pytest.raises(UnusableData, match="without a standard error"):
        pooled([1.0, 2.0, 3.0], [1.0, 0.0, 1.0])


def test_with_many_readings_differences_are_those_of_welch_in_statsmodels_and_with_few_no_surer():
    rng = np.random.default_rng(SEED)
    for many, near in ((400, 0.05), (6, 10.0)):
        groups = [rng.normal(0.1 * k, 1 + k, many * (1 + k)) for k in range(4)]
        means, errors, free = ([of(each) for each in groups] for of in (np.mean, stats.sem, lambda each: len(each) - 1))
        told = anova_oneway(groups, use_var="unequal", welch_correction=True)
        mine = equal(means, errors, freedom=free)[0]
        assert told.pvalue * (1 - 1e-3) <= mine <= told.pvalue * (1 + near)


def test_errors_that_are_known_give_the_chance_of_squares_and_two_groups_that_of_errors_widened_by_students_t():
    y, error = np.array([0.0, 0.4, 1.9]), np.array([0.3, 0.5, 0.4])
    mean = np.average(y, weights=error**-2.0)
    assert equal(y, error)[0] == pytest.approx(stats.chi2.sf((((y - mean) / error) ** 2).sum(), 2), rel=1e-9)
    for apart in (0.3, 3.0, 30.0):
        free = np.array([5.0, 40.0])
        (chance,) = equal([0.0, apart], error[:2], freedom=free)
        assert np.sqrt((error[:2] ** 2 * stats.t.isf(chance / 2, free) ** 2).sum()) == pytest.approx(apart, rel=1e-9)


def test_a_family_has_the_same_chance_alone_and_among_others_and_none_is_below_what_can_be_computed():
    y, error, free = np.array([0.0, 1.0, 9.0, 0.0, 1e4, 2e4]), np.ones(6), np.array([5.0, 7.0, np.inf] * 2)
    together = equal(y, error, [0, 3], freedom=free)
    np.testing.assert_array_equal(together[:1], equal(y[:3], error[:3], freedom=free[:3]))
    np.testing.assert_array_equal(together[1:], equal(y[3:], error[3:], freedom=free[3:]))
    assert together[1] == pytest.approx(equal(y[3:] * 1e3, error[3:], freedom=free[3:])[0]) or together[1] > 1e-100


def test_an_error_known_from_few_readings_and_small_by_luck_makes_no_difference_oftener_than_promised():
    # Ten groups in each of 60,000 families, a third of their errors known from 4 or 6 degrees of freedom. Chances as
    # small as those on which many comparisons hang: Welch's test was under .001 nine times too often.
    rng, families, groups = np.random.default_rng(SEED), 60_000, 10
    free = rng.choice([4.0, 6.0, 60.0, 60.0, 60.0, 60.0], (families, groups))
    error = np.sqrt(rng.chisquare(free) / free)
    seen, starts = rng.normal(size=free.shape), np.arange(families) * groups
    chance = equal(seen.ravel(), error.ravel(), starts, freedom=free.ravel())
    for level in (0.01, 0.001, 0.0001):
        assert (chance < level).mean() <= level + 2.6 * np.sqrt(level / families)


def test_many_comparisons_are_those_of_statsmodels():
    rng = np.random.default_rng(SEED)
    chances = rng.uniform(size=20) ** 3
    assert among_many(chances) == pytest.approx(multipletests(chances, method="holm")[1], abs=1e-12)


def test_those_stand_out_that_must_be_set_aside_for_the_rest_to_be_alike():
    y, error = np.array([0.0, 0.1, 9.0, -0.1, 5.0]), np.full(5, 0.1)
    assert standing_out(y, error).tolist() == [False, False, True, False, True]
    assert standing_out(y[:2], error[:2]).tolist() == [False, False]
    assert standing_out(y[1:3], error[1:3]).tolist() == [True, True]  # of two that differ nobody knows which
    assert standing_out([0.0, 5.0, 10.0], [0.1] * 3).all()
    assert standing_out(y[:3], error[:3]).tolist() == [False, False, True]  # three are enough
    both = standing_out(np.append(y, y[:2]), np.append(error, error[:2]), [0, 5])
    assert both.tolist() == [False, False, True, False, True, False, False]
    assert not standing_out(y, error, level=0.0).any()


@pytest.mark.promise
@pytest.mark.parametrize("groups", [3, 8, 24])
def test_beside_one_that_is_off_another_is_set_aside_as_seldom_as_promised(groups):
    families = 3000
    rng = np.random.default_rng(SEED + 1000 + groups)
    free = rng.integers(20, 80, (families, groups))
    error = rng.uniform(0.6, 1.6, free.shape)
    seen = rng.normal(0.0, error)
    seen[:, 1] += 15.0
    told = error * np.sqrt(rng.chisquare(free) / free)
    found = standing_out(seen.ravel(), told.ravel(), np.arange(families) * groups, freedom=free.ravel())
    found = found.reshape(free.shape)
    assert found[:, 1].mean() > 0.99
    wrong = np.delete(found, 1, axis=1).any(axis=1).mean()
    assert wrong <= 0.05 + 2.6 * np.sqrt(0.05 * 0.95 / families)


@pytest.mark.promise
@pytest.mark.parametrize("groups", [3, 6, 20])
def test_intervals_hold_their_rate_and_equal_groups_are_told_apart_as_often_as_promised(groups):
    # 95 %: 93 to 97 from one standard error between groups on; groups that are more alike are covered more often. The
    # rate counts groups of many families, whose errors hang together: families are what there are many of.
    families = 2400 // groups
    rng = np.random.default_rng(SEED + groups)
    starts = np.arange(families) * groups
    for between in (0.0, 0.5, 1.0, 3.0):
        true = rng.normal(0.0, 1.0, (families, groups)) * between
        free = rng.integers(12, 60, true.shape)
        error = rng.uniform(0.6, 1.6, true.shape)
        seen = true + rng.normal(0.0, error)
        told = error * np.sqrt(rng.chisquare(free) / free)
        found = pooled(seen.ravel(), told.ravel(), starts, freedom=free.ravel())
        covered = np.mean((found.low <= true.ravel()) & (true.ravel() <= found.high))
        assert covered >= 0.93
        if between >= 1.0:
            assert covered <= 0.97
        if between == 0.0:
            out = standing_out(seen.ravel(), told.ravel(), starts, freedom=free.ravel())
            told_apart = out.reshape(true.shape).any(axis=1)
            assert told_apart.mean() <= 0.05 + 2.6 * np.sqrt(0.05 * 0.95 / families)


def test_a_number_a_group_is_that_of_its_family_and_none_where_two_cannot_be_pooled():
    rng = np.random.default_rng(20281212)
    y, error = rng.normal(size=9), rng.uniform(0.5, 2.0, 9)
    rows = pooled_rows(y, error, [0, 4, 6])
    for low, high in ((0, 4), (6, 9)):
        alone = pooled(y[low:high], error[low:high])
        assert rows["value"][low:high] == pytest.approx(alone.value)
        assert rows["off_high"][low:high] == pytest.approx(alone.off_high)
        assert rows["mean_low"][low:high] == pytest.approx(np.repeat(alone.mean_low, high - low))
        assert rows["between"][low:high] == pytest.approx(np.repeat(alone.between, high - low))
    assert all(np.isnan(column[4:6]).all() for column in rows.values())


def test_many_families_are_pooled_in_blocks_and_each_as_it_would_be_alone(monkeypatch):
    rng = np.random.default_rng(20261135)
    sizes = rng.integers(2, 9, 40)
    starts = np.cumsum(sizes) - sizes
    y, error = rng.normal(size=sizes.sum()), rng.uniform(0.2, 2.0, sizes.sum())
    whole = pooled_rows(y, error, starts)
    monkeypatch.setattr(partial_pooling, "BLOCK", 10)
    for name, column in pooled_rows(y, error, starts).items():
        np.testing.assert_array_equal(column, whole[name], err_msg=name)


def test_ends_of_intervals_are_where_the_mixture_has_its_shares():
    rng = np.random.default_rng(20261136)
    means, sds = rng.normal(0, 3, (60, 9)), rng.uniform(1e-3, 2, (60, 9))
    weight = rng.dirichlet(np.full(9, 0.4), 60)
    for level, ends in zip((0.5, 0.025, 0.975), partial_pooling._ends(means, sds, weight), strict=True):
        below = (weight * special.ndtr((ends[:, None] - means) / sds)).sum(axis=1)
        np.testing.assert_allclose(below, level, atol=1e-6)

"""How many faulty pieces the coming weeks may have: bounds of the beta-binomial and the negative binomial, by scipy."""

import numpy as np
import pytest
from scipy import stats

from analysis.methods.counts_ahead import binomial_ahead, poisson_ahead
from analysis.methods.problems import UnusableData


@pytest.mark.parametrize(("faulty", "base", "size"), [(3, 60, 12), (0, 30, 5), (9, 40, 40), (40, 40, 7), (1, 8, 1)])
@pytest.mark.parametrize("rate", [0.1, 0.003])
def test_shares_ahead_are_bounded_by_the_beta_binomial(faulty, base, size, rate):
    low, high = (int(np.ravel(each)[0]) for each in binomial_ahead([faulty], [base], [size], false_rate=rate))
    above = stats.betabinom(size, faulty + 1, base - faulty) if faulty < base else None
    assert high == (min(k for k in range(size + 1) if above.sf(k) <= rate) if above else size)
    below = stats.betabinom(size, faulty, base - faulty + 1) if faulty else None
    assert low == (max(k for k in range(size + 1) if below.cdf(k - 1) <= rate) if below else 0)


def test_many_rows_at_once_are_as_each_alone_and_a_size_of_none_has_none():
    faulty, base, size = [3, 0, 9, 5], [60, 30, 40, 50], [12, 5, 0, 300]
    low, high = binomial_ahead(faulty, base, size)
    alone = [binomial_ahead([f], [b], [n]) for f, b, n in zip(faulty, base, size, strict=True)]
    assert low.tolist() == [float(each[0][0]) for each in alone]
    assert high.tolist() == [float(each[1][0]) for each in alone]
    assert (low[2], high[2]) == (0, 0)


@pytest.mark.parametrize(("count", "base", "size"), [(12, 60.0, 10.0), (0, 30.0, 5.0), (40, 20.0, 40.0), (1, 8.0, 0.5)])
@pytest.mark.parametrize("rate", [0.1, 0.003])
def test_counts_ahead_are_bounded_by_the_negative_binomial(count, base, size, rate):
    low, high = (int(np.ravel(each)[0]) for each in poisson_ahead([count], [base], [size], false_rate=rate))
    above = stats.nbinom(count + 1, base / (base + size))
    assert high == next(k for k in range(9999) if above.sf(k) <= rate)
    below = stats.nbinom(count, base / (base + size)) if count else None
    assert low == (max(k for k in range(999) if below.cdf(k - 1) <= rate) if below else 0)


@pytest.mark.parametrize("wrong", [([-1], [5], [5]), ([6], [5], [5]), ([0], [0], [5]), ([0], [5], [-1])])
def test_what_is_no_count_of_pieces_is_refused(wrong):
    with pytest.raises(UnusableData):
        binomial_ahead(*wrong)
    for rate in (0.0, 0.5):
        with pytest.raises(UnusableData):
            binomial_ahead([1], [5], [5], false_rate=rate)
        with pytest.raises(UnusableData):
            poisson_ahead([1], [5], [5], false_rate=rate)

"""Widths by the shop's own readings: heavy tails widen them twice, by their law and by what a sigma errs by."""

import numpy as np
import pytest

from analysis.methods.allowance import ewma_widths
from analysis.methods.own_law import own_law
from analysis.studies.drift.budget import Budget
from analysis.studies.drift.widths import Residuals, laws_of

ARL = 2000.0


def factor(values, kind):
    n = len(values)
    own = Residuals(
        np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64), values, np.zeros(n), [f"relief of {kind}"]
    )
    allowance = Budget(0, np.full(2, 1 / ARL), np.full(2, 1000.0))
    return float(laws_of(own, allowance, 0.1, baseline=100).factors[0, -1])


def heavy():
    values = np.random.default_rng(20310112).standard_t(3, size=4000) / np.sqrt(3)
    return values / values.std()


@pytest.mark.parametrize("kind", ["all", "own"])
def test_a_sigma_of_heavy_tailed_readings_counts_as_that_of_fewer(kind):
    law = own_law(heavy())
    fewer, whole = ewma_widths(ARL, np.array([round(100 / law.unsure), 100]))
    assert factor(heavy(), kind) == pytest.approx(law.factor(ARL) * fewer / whole)
    assert fewer > 1.05 * whole


def test_of_normal_readings_and_of_charts_without_a_sigma_of_their_own_it_counts_as_it_is():
    values = np.random.default_rng(20310113).normal(size=4000)
    assert factor(values, "all") == own_law(values).factor(ARL)
    assert factor(heavy(), "over") == own_law(heavy()).factor(ARL)

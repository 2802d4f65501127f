"""Products of columns since each of their starts, beside a plain loop over the starts."""

import numpy as np
import pytest

from analysis.methods.hypotheses import Candidate
from analysis.methods.random_effects import Block, RandomEffects
from analysis.methods.starts import products_since


def test_products_since_each_start_are_those_of_a_loop_over_the_starts():
    rng = np.random.default_rng(61)
    n = 80
    day, stream, tech = np.arange(n) // 5, rng.integers(0, 2, n), rng.integers(-1, 3, n)
    known = rng.normal(size=(2, n))
    blocks = [Block(stream, 0.5), Block(day, days=True), Block(tech)]
    effects = RandomEffects.of(blocks, known[0], day < 12, day < 8)
    z = (effects.place[:, :, None] == np.arange(len(effects.precision))).sum(axis=0)
    bases = [(tech == 1).astype(float), rng.normal(size=n) * (stream == 0), (day >= 13).astype(float)]
    starts = [np.array([9, 10, 13]), np.array([0, 8, 9, 15]), np.array([9])]  # the last before its column's first
    found = [
        Candidate("tech", 1, "tech:1", np.arange(2), base, days, np.zeros(len(days)), 0.0)
        for base, days in zip(bases, starts, strict=True)
    ]
    w, square, with_known = products_since(found, effects, day, known)
    since = [base * (day >= one) for base, days in zip(bases, starts, strict=True) for one in days]
    assert w == pytest.approx(np.array([column @ z for column in since]))
    assert square == pytest.approx([column @ column for column in since])
    assert with_known == pytest.approx(np.array([[column @ one for column in since] for one in known]))

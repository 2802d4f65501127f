"""The nested split: by hand, against the balanced analysis of variance, unbiased before it is cut at 0."""

import numpy as np
import pytest

from analysis.methods.problems import UnusableData
from analysis.methods.variance_split import split


def test_a_balanced_case_by_hand():
    # two groups of two batches of two: within 2 (1, 3), batch means 2, 6 | 10, 14; MS within 2, MS batch 16, group
    # means 4 and 12
    x = [1, 3, 5, 7, 9, 11, 13, 15]
    found = split(x, list("AAAABBBB"), list("11223344"))
    assert (found.within, found.batch) == (2.0, (16 - 2) / 2)
    # variance of the two group means 32, less a quarter of within 2 / 4 and half of batch 7 / 2
    assert found.group == pytest.approx(32 - 2 / 4 - 7 / 2)
    assert (found.groups, found.batches, found.n, found.fixed) == (2, 4, 8, True)
    assert sum(found.shares) == pytest.approx(1.0)


def test_fixed_and_random_groups_agree_where_all_is_balanced():
    rng = np.random.default_rng(21)
    group, batch = np.repeat(np.arange(8), 30), np.repeat(np.arange(40), 6)
    x = rng.normal(size=240) + rng.normal(size=40)[batch] + rng.normal(size=8)[group]
    assert split(x, group, batch, few=5).group == pytest.approx(split(x, group, batch, few=8).group)


def uneven(rng, *, groups, sds, few):
    """Mean of the estimates over trials with very uneven lots, against the truth; batch names repeat between groups."""
    per_group = rng.integers(2, 7, groups)
    owner = np.repeat(np.arange(groups), per_group)
    size = rng.integers(1, 25, len(owner))
    batch, group = np.repeat(np.arange(len(owner)), size), np.repeat(owner, size)
    name = np.repeat(np.concatenate([np.arange(k) for k in per_group]), size)
    found = []
    for _ in range(400):
        level = rng.normal(scale=sds[0], size=groups)
        x = level[group] + rng.normal(scale=sds[1], size=len(owner))[batch] + rng.normal(scale=sds[2], size=len(batch))
        s = split(x, group, name, few=few)
        found.append(
            (
                s.group - (level.var(ddof=1) if groups <= few else sds[0] ** 2),
                s.batch - sds[1] ** 2,
                s.within - sds[2] ** 2,
            )
        )
    errors = np.array(found)
    return errors.mean(axis=0) / (errors.std(axis=0, ddof=1) / 20)


@pytest.mark.parametrize(("groups", "few"), [(3, 5), (9, 5)])
@pytest.mark.parametrize("sds", [(0.5, 0.3, 1.0), (0.0, 0.0, 1.0)])
def test_estimates_are_unbiased_before_they_are_cut_at_nothing(groups, few, sds):
    z = uneven(np.random.default_rng(22), groups=groups, sds=sds, few=few)
    assert (np.abs(z) < 3.5).all()


def test_a_negative_estimate_stands_and_its_share_is_nothing():
    x = [1, 9, 2, 8, 3, 7]
    found = split(x, list("AAAAAA"), list("112233"))
    assert found.batch < 0
    assert np.isnan(found.group)
    assert found.shares == (0.0, 0.0, 1.0)


def test_units_and_order_do_not_matter():
    rng = np.random.default_rng(23)
    group, batch = rng.integers(0, 3, 200), rng.integers(0, 5, 200)
    x, turn = rng.normal(size=200) + batch, rng.permutation(200)
    one, other = split(x, group, batch), split(x[turn] * 25.4 + 7, group[turn], batch[turn])
    assert (other.group, other.batch, other.within) == pytest.approx(
        [25.4**2 * v for v in (one.group, one.batch, one.within)]
    )


def test_without_two_values_in_a_batch_nothing_is_split():
    with pytest.raises(UnusableData, match="two values"):
        split([1.0, 2.0], ["A", "A"], ["1", "2"])
    with pytest.raises(UnusableData, match="none missing"):
        split([1.0, np.nan, 2.0], ["A", "A", "A"], ["1", "1", "1"])

"""How many independent readings carry as much: each figure beside the one that the whole covariance, the analysis of
variance or a plain loop over the readings gives.
"""

import numpy as np
import pytest
from scipy import optimize, stats

from analysis.methods.independent_number import Carried, carried

NORMAL = np.random.default_rng(10).permutation(stats.norm.ppf((np.arange(60) + 0.5) / 60))


def one(x, *, lot=None, day=None, **more):
    """What one stream carries; lots not known and a day a reading where nothing is said."""
    x = np.asarray(x, dtype=np.float64)
    lots = np.full(len(x), -1) if lot is None else np.asarray(lot)
    days = np.arange(len(x)) if day is None else np.asarray(day)
    return carried(x, [0], pool=[0], lot=lots, day=days, **more)


def as_uncertain_as(independent, n, **more):
    """Readings of which the mean and s are as uncertain as those of so many independent ones."""
    ones = np.ones(1)
    table = {"n": n * ones, "mean_variance": ones / independent, "sd_variance": ones / (2 * (independent - 1))}
    table |= {"short": ones, "skew": 0 * ones, "lots": 0.3 * ones, "days": 0 * ones, "phi": 0 * ones, "wider": ones}
    table |= {"uneven": np.array([False]), "heavy": np.array([False])} | more
    return Carried(**table)


@pytest.mark.parametrize("index", [0.3, 1.0, 1.33, -0.5])
@pytest.mark.parametrize("independent", [4.0, 22.0, 150.0])
def test_readings_as_uncertain_as_some_independent_ones_count_for_so_many(index, independent):
    held = as_uncertain_as(independent, 200.0)
    assert held.number([index]) == pytest.approx([independent])
    # twice the variance of Ppk, 1 / (9 n) + Ppk^2 / (2 (n - 1)): the number that has it
    twice = 2 * (1 / (9 * independent) + index**2 / (2 * (independent - 1)))
    same = optimize.brentq(lambda n: 1 / (9 * n) + index**2 / (2 * (n - 1)) - twice, 1 + 1e-9, 1e4)
    assert as_uncertain_as(independent, 200.0, wider=np.array([2.0])).number([index]) == pytest.approx([same])


def test_no_more_count_than_were_read_and_an_index_of_one_stands_in_for_none():
    assert as_uncertain_as(300.0, 200.0).number([1.0]).tolist() == [200.0]
    held = as_uncertain_as(22.0, 200.0, sd_variance=np.array([0.2]))
    assert held.number([np.nan]) == held.number([1.0]) != held.number([1.4])
    assert np.isnan(as_uncertain_as(22.0, 1.0).number([1.0])).all()
    assert as_uncertain_as(2.0, 2.0).number([1.0]) == pytest.approx([2.0])


def test_what_comes_out_short_and_what_leans_to_the_limit_are_counted():
    # s that comes out at half of sigma^2 doubles what the mean's variance weighs
    half = as_uncertain_as(22.0, 200.0, short=np.array([0.5]), sd_variance=np.zeros(1))
    assert half.number([0.0]) == pytest.approx([11.0])
    leaning = as_uncertain_as(22.0, 90.0, skew=np.array([0.9]))
    v = 1 / (9 * 22) + 0.8**2 / 42 + 0.9 * 0.8 / (3 * 90)
    wanted = optimize.brentq(lambda n: 1 / (9 * n) + 0.8**2 / (2 * (n - 1)) - v, 1.01, 90)
    assert leaning.number([0.8], 1) == pytest.approx([wanted])
    assert leaning.number([0.8], -1) == leaning.number([0.8], 0) == pytest.approx([22.0])


def whole_covariance(found, lot, day):
    """(variance of the mean, E[s^2], degrees of freedom of s^2) from the covariance of all readings, sigma being 1."""
    n = len(lot)
    a, d, phi = found.lots[0], found.days[0], found.phi[0]
    same_lot = (lot[:, None] == lot) & (lot >= 0) | np.eye(n, dtype=bool)
    apart = np.abs(np.arange(n)[:, None] - np.arange(n))
    v = a * same_lot + d * (day[:, None] == day) + (1 - a - d) * phi**apart
    centred = np.eye(n) - 1 / n
    mean_square = np.trace(centred @ v) / (n - 1)
    return v.mean(), mean_square, np.trace(centred @ v) ** 2 / np.trace(centred @ v @ centred @ v)


def lots_and_days(seed, *, between_lots, between_days, phi=0.0, n=240):
    rng = np.random.default_rng(seed)
    lot, day = np.arange(n) // 24, np.arange(n) // 5
    rest = rng.normal(size=n)
    for i in range(1, n):
        rest[i] = phi * rest[i - 1] + np.sqrt(1 - phi**2) * rest[i]
    x = between_lots * rng.normal(size=n)[lot] + between_days * rng.normal(size=n)[day] + rest
    return x, lot, day


@pytest.mark.parametrize(("lots", "days"), [(1.5, 0.0), (0.0, 1.5), (1.5, 1.5)])
def test_lots_and_days_widen_as_the_covariance_of_all_readings_says(lots, days):
    x, lot, day = lots_and_days(11, between_lots=lots, between_days=days)
    found = one(x, lot=lot, day=day)
    assert ((found.lots[0] > 0), (found.days[0] > 0), found.phi[0]) == (lots > 0, days > 0, 0)
    mean, short, freedom = whole_covariance(found, lot, day)
    assert found.mean_variance[0] == pytest.approx(mean)
    assert found.short[0] == pytest.approx(short)
    heavy = found.sd_variance[0] - 1 / (2 * freedom) - (1 - np.sqrt(short)) ** 2
    assert heavy == pytest.approx(tails(x) / (4 * len(x)), abs=1e-12)


def tails(x):
    """Excess kurtosis as far as it is minded: of few readings from one standard error on, else where it is sure."""
    kurtosis, skew = stats.kurtosis(x, bias=False), stats.skew(x, bias=False)
    minded = 1.0 if len(x) < 300 else 2.576
    lean = skew if abs(skew) > minded * np.sqrt(6 / len(x)) else 0.0
    heavy = kurtosis if kurtosis > minded * np.sqrt(24 / len(x)) else 0.0
    return max(heavy, 1.5 * lean**2) if len(x) < 300 else heavy


def test_neighbours_that_resemble_each_other_widen_as_the_covariance_says():
    x, _lot, _day = lots_and_days(12, between_lots=0.0, between_days=0.0, phi=0.5, n=400)
    found = one(x)
    assert 0.3 < found.phi[0] < 0.7
    mean, short, freedom = whole_covariance(found, np.full(400, -1), np.arange(400))
    assert found.mean_variance[0] == pytest.approx(mean, rel=1e-6)
    assert found.short[0] == pytest.approx(short, rel=1e-6)
    told = 1 / (2 * (found.sd_variance[0] - (1 - np.sqrt(short)) ** 2 - tails(x) / (4 * 400)))
    assert told == pytest.approx(freedom, rel=0.01)  # the two ends of a stream are taken as its middle


@pytest.mark.parametrize("kind", ["t", "gamma", "gamma few"])
def test_tails_and_lean_are_those_of_the_readings_put_together(kind):
    rng = np.random.default_rng(13)
    sizes = (40, 60) if kind == "gamma few" else (150, 250)
    parts = [rng.standard_t(5, size=n) if kind == "t" else rng.gamma(2.0, size=n) for n in sizes]
    many = sum(sizes)
    found = carried(np.concatenate(parts), [0, sizes[0]], pool=[0, 0], lot=np.full(many, -1), day=np.arange(many))
    assert found.dependent.tolist() == [False, False]
    skew, heavy = (
        sum(n * of(part, bias=False) for n, part in zip(sizes, parts, strict=True)) / many
        for of in (stats.skew, stats.kurtosis)
    )
    minded = 1.0 if many < 300 else 2.576
    lean = skew if abs(skew) > minded * np.sqrt(6 / many) else 0.0
    heavy = heavy if heavy > minded * np.sqrt(24 / many) else 0.0
    heavy = max(heavy, 1.5 * lean**2) if many < 300 else heavy
    assert heavy > 0
    assert found.skew == pytest.approx([lean, lean])
    n = np.array(sizes)
    assert found.sd_variance == pytest.approx(1 / (2 * (n - 1)) + heavy / (4 * n))
    assert found.heavy.all()


@pytest.mark.parametrize("few", [1, 2, 3, 7])
def test_a_stream_of_few_readings_takes_its_pools_answer_and_tells_it_nothing(few):
    odd = np.r_[np.zeros(few - 1), 90.0]
    x = np.r_[NORMAL, odd]
    found = carried(x, [0, 60], pool=[0, 0], lot=np.full(len(x), -1), day=np.arange(len(x)))
    assert found.number([1.0, 1.0])[0] == 60
    assert not found.heavy.any()


def test_eight_readings_tell_of_their_shape_and_seven_do_not():
    eight = [0.0, 0.1, 0.2, 0.3, 0.1, 0.0, 0.2, 9.0]
    assert one(eight).number([1.0], 1)[0] < 8
    assert one(eight).heavy[0]
    assert one(eight[1:]).number([1.0], 1)[0] == 7
    assert one(eight, asked=[False]).number([1.0], 1)[0] == 8


def apart_by(means, each=12):
    """Lots of normal quantiles, each shuffled, whose means are these; one after the other."""
    rng = np.random.default_rng(14)
    inner = stats.norm.ppf((np.arange(each) + 0.5) / each)
    return np.concatenate([mean + rng.permutation(inner) for mean in means]), np.arange(len(means) * each) // each


SPREAD = np.array([-1.0, 0.2, 0.5, -0.4, 1.1, -0.4])


def test_lots_differ_where_the_analysis_of_variance_gives_less_than_three_in_a_hundred():
    def p_of(wide):
        x, lot = apart_by(wide * SPREAD)
        return stats.f_oneway(*(x[lot == each] for each in range(6))).pvalue

    for wanted, differ in ((0.029, True), (0.031, False)):
        x, lot = apart_by(optimize.brentq(lambda wide, at=wanted: p_of(wide) - at, 0.01, 3) * SPREAD)
        found = one(x, lot=lot)
        assert found.phi[0] == 0
        assert (found.lots[0] > 0) == differ
        assert (found.wider[0] > 1) == differ


def test_the_share_between_lots_is_that_of_the_analysis_of_variance_weighed_with_what_is_usual():
    x, lot = apart_by(1.2 * SPREAD)
    f = stats.f_oneway(*(x[lot == each] for each in range(6))).statistic
    own = 5 * (f - 1) / (72 - 6 * 12**2 / 72)  # variance between over that within
    pool = (5 * own + 16 / 3) / (5 + 16)  # a third of it is usual, believed as sixteen lots would say it
    mixed = 5 / 45 * own + 40 / 45 * pool
    found = one(x, lot=lot)
    assert found.lots[0] == pytest.approx(mixed / (1 + mixed))
    assert found.wider[0] == pytest.approx((stats.t.ppf(0.975, 13) / stats.norm.ppf(0.975)) ** 2)


def test_lots_of_two_streams_are_put_together_and_a_stream_alone_takes_the_pools_share():
    parts = [apart_by(1.2 * SPREAD), apart_by(0.5 * SPREAD, each=20), apart_by([0.0], each=30)]
    x = np.concatenate([100 * number + part for number, (part, _) in enumerate(parts)])
    lot = np.concatenate([100 * number + each for number, (_, each) in enumerate(parts)])
    found = carried(x, [0, 72, 192], pool=[0, 0, 0], lot=lot, day=np.arange(len(x)))
    over = [5 * (stats.f_oneway(*(x[lot == 100 * s + k] for k in range(6))).statistic - 1) for s in (0, 1)]
    room = [72 - 72 / 6, 120 - 120 / 6]
    pool = (10 * sum(over) / sum(room) + 16 / 3) / (10 + 16)
    each = [5 / 45 * over[s] / room[s] + 40 / 45 * pool for s in (0, 1)]
    assert found.lots == pytest.approx([*(one / (1 + one) for one in each), pool / (1 + pool)])


def by_loop(x, lot, day):
    """(pairs' mean correlation, within days, across days) of one stream's neighbours within lots, by a loop."""
    n, known = len(x), lot.min() >= 0
    groups = [np.flatnonzero(lot == each) for each in np.unique(lot)] if known else [np.arange(n)]
    rest, size, square = np.empty(n), np.empty(n), 0.0
    for group in groups:
        rest[group] = x[group] - x[group].mean()
        size[group] = len(group)
        square += (rest[group] ** 2).sum()
    variance = square / (n - len(groups))
    sums = {"all": [0.0, 0.0, 0], "in": [0.0, 0.0, 0], "over": [0.0, 0.0, 0]}
    for i in range(n - 1):
        shared = not known or lot[i] == lot[i + 1]
        product = rest[i] * rest[i + 1] / variance + (1 / size[i + 1] if shared else 0.0)
        for name in ("all", "in" if day[i] == day[i + 1] else "over"):
            sums[name][0] += product
            sums[name][1] += 1 - 3 / max(size[i + 1], 4) if shared else 1.0
            sums[name][2] += 1
    return {
        name: (total / base if many else 0.0, total / np.sqrt(max(many, 1)), many)
        for name, (total, base, many) in sums.items()
    }


@pytest.mark.parametrize("known", [True, False])
def test_a_correlation_of_neighbours_is_that_of_a_loop_over_them(known):
    x, lot, _day = lots_and_days(15, between_lots=0.0, between_days=0.0, phi=0.4)
    lot = lot if known else np.full(len(x), -1)
    r, z, _ = by_loop(x, lot, np.arange(len(x)))["all"]
    assert z > 2.576
    found = one(x, lot=lot)
    assert found.phi[0] == pytest.approx(r)  # the pool is the stream itself
    assert found.days[0] == 0


@pytest.mark.parametrize("known", [True, False])
def test_a_share_of_days_is_what_neighbours_of_one_day_resemble_each_other_by_beyond_those_of_two(known):
    x, lot, day = lots_and_days(16, between_lots=0.0, between_days=1.5)
    lot = lot if known else np.full(len(x), -1)
    pairs = by_loop(x, lot, day)
    (inside, _, n_in), (over, z_over, n_over) = pairs["in"], pairs["over"]
    assert z_over < 2.576 < (inside - over) / np.sqrt(1 / n_in + 1 / n_over)
    found = one(x, lot=lot, day=day)
    assert found.phi[0] == 0
    assert found.days[0] == pytest.approx(inside)


def test_twenty_pairs_of_neighbours_across_days_tell_a_day_from_its_neighbours_and_fewer_do_not():
    for days, told in ((21, True), (20, False)):
        day = np.arange(5 * days) // 5
        x = np.where(day % 2, 3.0, -3.0) + np.random.default_rng(19).normal(size=len(day))
        found = one(x, day=day)
        assert ((found.days[0] > 0), (found.phi[0] > 0)) == (told, not told)


def test_a_correlation_of_one_stream_is_weighed_with_its_pools():
    rng = np.random.default_rng(17)
    parts = []
    for phi in (0.3, 0.7):
        rest = rng.normal(size=150)
        for i in range(1, 150):
            rest[i] = phi * rest[i - 1] + np.sqrt(1 - phi**2) * rest[i]
        parts.append(rest)
    found = carried(np.concatenate(parts), [0, 150], pool=[0, 0], lot=np.full(300, -1), day=np.arange(300))
    alone = [by_loop(part, np.full(150, -1), np.arange(150))["all"][0] for part in parts]
    pool = np.mean(alone)  # of equal numbers
    assert found.phi == pytest.approx([0.6 * r + 0.4 * pool for r in alone])


def test_lots_of_one_reading_each_are_as_lots_that_nobody_knows():
    x, _, _ = lots_and_days(18, between_lots=0.0, between_days=0.0, phi=0.4)
    each = one(x, lot=np.arange(len(x)))
    none = one(x)
    assert each.number([1.0]) == none.number([1.0])
    assert each.phi == none.phi
    pairs = one(x, lot=np.arange(len(x)) // 2)  # two a lot: half of the readings tell of the spread within
    assert pairs.phi != none.phi

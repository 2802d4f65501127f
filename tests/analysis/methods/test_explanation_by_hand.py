"""A look at what moved, beside the whole covariance of all readings; and each sum of the screening by a plain loop."""

from dataclasses import dataclass
from itertools import combinations, pairwise
from math import comb

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_normal, norm

from analysis.methods import hypotheses
from analysis.methods.candidates import Candidate, Column, Factor, Readings
from analysis.methods.explanation import SHARE_NOTHING, UNEXPLAINED, Explainer, Hypothesis
from analysis.methods.hypotheses import Sieve
from analysis.methods.random_effects import FLOOR, Block, RandomEffects, moment
from analysis.methods.scopes import gain, scopes_of
from analysis.methods.segments import Floats

DAYS, EACH, SINCE = 30, 4, 25
DAY = np.repeat(np.arange(DAYS), EACH)
ONE = np.zeros(len(DAY), dtype=np.int64)


def explainer(values, factors=(), columns=(), stream=ONE, **more):
    return Explainer(np.asarray(values, dtype=np.float64), DAY, stream, factors, columns, SINCE, **more)


def covariance(one: Explainer, unrest: float = 0.0) -> Floats:
    """Of all readings, where nothing but their random effects and what was taken before moves them."""
    variance = 1 / one.effects.precision + unrest * (one.effects.day >= one.since)
    z = np.zeros((len(one.values), len(variance)))
    for row, places in enumerate(one.effects.place.T):
        for place in places:
            if place < len(variance):
                z[row, place] = 1
    taken = [column / max(np.abs(column).max(), 1e-9) for column in one.taken]
    return np.eye(len(z)) + z @ np.diag(variance) @ z.T + sum((np.outer(t, t) for t in taken), np.zeros((len(z),) * 2))


def unrest_of(one: Explainer) -> list[tuple[float, float]]:
    """Ways in which days since then may differ, each with its prior weight, from neighbouring days one by one."""
    rest = one.rest
    by_day = [rest[one.day == day] for day in range(one.since, one.days) if (one.day == day).any()]
    apart, chance = [], []
    for a, b in pairwise(by_day):
        apart.append((b.mean() - a.mean()) ** 2)
        chance.append(1 / len(a) + 1 / len(b) + 2 * one.effects.between_days)
    ratio = np.mean(np.array(apart) / np.array(chance))
    if ratio < 1 + 2 * np.sqrt(3 / len(apart)):
        return [(0.0, 1.0)]
    return [(0.0, 0.9), (np.mean(np.array(apart) - np.array(chance)) / 2, 0.1)]


def weighed(one: Explainer, starts: list[tuple[Floats, float]]) -> tuple[float, Floats, float, float]:
    """(probability of nothing, of each start, effect and error over them) from dense algebra.

    starts : the column from each start on, and its prior weight.
    """
    nothing, posterior, mean, variance = [], [], [], []
    for unrest, weight in unrest_of(one):
        v = covariance(one, unrest)
        inverse, none = np.linalg.inv(v), np.zeros(len(v))
        nothing.append(multivariate_normal(none, v).logpdf(one.values) + np.log(weight * SHARE_NOTHING))
        for column, prior in starts:
            moved = multivariate_normal(none, v + np.outer(column, column)).logpdf(one.values)
            posterior.append(moved + np.log(weight * prior))
            info = column @ inverse @ column + 1
            mean.append(column @ inverse @ one.values / info)
            variance.append(1 / info)
    total = logsumexp([*nothing, *posterior])
    share = np.exp(np.array(posterior) - logsumexp(posterior))
    effect = share @ mean
    error = np.sqrt(share @ (np.array(variance) + (np.array(mean) - effect) ** 2))
    each = np.exp(np.array(posterior) - total).reshape(-1, len(starts)).sum(axis=0)
    return float(np.exp(logsumexp(nothing) - total)), each, effect, error


def shift(start, effect, factor=UNEXPLAINED, level=-1, **more):
    return Hypothesis(factor, level, "", np.array([0]), 1.0, effect, 0.1, start, start, start, 1, **more)


@pytest.mark.parametrize("days_apart", [0.0, 2.5])
@pytest.mark.parametrize("taken", [0, 2])
def test_a_measured_shift_is_that_of_dense_algebra_over_all_its_starts(days_apart, taken):
    rng = np.random.default_rng(31)
    tech = rng.integers(0, 2, len(DAY))
    values = rng.normal(size=len(DAY)) + 1.2 * (DAY >= 27) + days_apart * ((DAY % 2) * (DAY >= SINCE))
    one = explainer(values, [Factor("tech", tech), Factor("gauge", np.where(DAY % 3 == 0, -1, DAY % 2))])
    for k in range(taken):
        one.take(shift(SINCE + k, 0.4 + k, "tech", k))
    assert (len(unrest_of(one)) == 2) == (days_apart > 0)
    base = np.where(DAY % 4 == 1, 0.0, 1.0 + 0.1 * (DAY % 3))
    found, look = one.measured(base, 25, 28)
    starts = [(base * (day <= DAY), (1 - SHARE_NOTHING) / 4) for day in (25, 26, 27, 28)]  # any alike
    nothing, each, effect, error = weighed(one, starts)
    assert look.nothing == pytest.approx(nothing)
    assert found.probability == pytest.approx(each.sum())
    assert (found.effect, found.error) == (pytest.approx(effect), pytest.approx(error))
    assert found.start == 25 + int(each.argmax())
    assert found.touched == int(((base != 0) & (found.start <= DAY)).sum())
    order = np.argsort(-each)
    inside = 25 + order[: int(np.argmax(np.cumsum(each[order]) >= 0.95 * each.sum())) + 1]
    assert (found.start_low, found.start_high) == (inside.min(), inside.max())
    assert (found.factor, found.level, found.streams.tolist()) == (UNEXPLAINED, -1, [0])


def test_days_asked_for_are_those_that_there_are_and_a_longer_span_costs():
    one = explainer(np.random.default_rng(32).normal(size=len(DAY)) + 1.0 * (DAY >= 27))
    base = np.ones(len(DAY))
    for asked, days in (((-3, 1), [0, 1]), ((28, 99), [28, 29]), ((27, 20), [27]), ((40, 42), [29])):
        found, look = one.measured(base, *asked)
        nothing, each, _, _ = weighed(one, [(base * (d <= DAY), (1 - SHARE_NOTHING) / max(len(days), 0)) for d in days])
        assert (look.nothing, found.probability) == (pytest.approx(nothing), pytest.approx(each.sum()))
    one.span = 40
    found, look = one.measured(base, 27, 27)
    nothing, each, _, _ = weighed(one, [(base * (DAY >= 27), (1 - SHARE_NOTHING) / 40)])
    assert (look.nothing, found.probability) == (pytest.approx(nothing), pytest.approx(each.sum()))


def test_a_look_shares_its_prior_weight_as_it_says_and_weighs_every_hypothesis():
    rng = np.random.default_rng(33)
    tech = rng.integers(0, 2, len(DAY))
    lot = np.where(DAY < 27, 0, 1)  # the second lot came on day 27
    rod = np.where(DAY < 26, 0, rng.integers(0, 2, len(DAY)))  # so did a new rod, on day 26
    air = np.cos(DAY) * (DAY > 2)
    step = (DAY >= 28).astype(np.float64)
    factors = [Factor("tech", tech), Factor("lot", lot, own_start=True, weight=0.5), Factor("rod", rod)]
    columns = [Column("air", air, kin="air:0", weight=0.7), Column("wet", air * 2, scanned=True), Column("step", step)]
    one = explainer(rng.normal(size=len(DAY)) + 0.5 * (lot == 1), factors, columns)
    look = one.look()
    told = {(each.factor, each.level): each for each in look.hypotheses}
    one_of = (1 - SHARE_NOTHING) * 0.75 / (1 + 0.5 + 1 + 0.7 + 1 + 1)
    days = range(SINCE, DAYS)
    starts: dict[tuple[str, int], list[tuple[Floats, float]]] = {
        (UNEXPLAINED, 0): [(1.0 * (d <= DAY), (1 - SHARE_NOTHING) * 0.25 / 5) for d in days]
    }
    for level in (0, 1):
        starts["tech", level] = [((tech == level) * (d <= DAY) * 1.0, one_of / 2 / 5) for d in days]
    starts["lot", 0] = [((lot == 0) * 1.0, 0.5 * one_of / 2)]
    starts["lot", 1] = [((lot == 1) * 1.0, 0.5 * one_of / 2)]
    starts["rod", 0] = [((rod == 0) * (d <= DAY) * 1.0, one_of / 2 / 5) for d in days]
    first = int(DAY[rod == 1].min())
    starts["rod", 1] = [
        ((rod == 1) * (d <= DAY) * 1.0, one_of / 2 * (0.1 + 0.5 * (d == first))) for d in days
    ]  # half of it on the day it came new
    starts["air", 0] = [(air, 0.7 * one_of)]
    starts["wet", 1] = [(2 * air * (d <= DAY), one_of / 5) for d in days]
    starts["step", 2] = [(step, one_of)]
    assert {key for key in told if told[key].probability > 1e-6} <= starts.keys()
    every = [
        (key, each) for key, those in starts.items() for each in those if (each[0] ** 2).sum() >= 5
    ]  # a start before fewer readings is none
    nothing, each, _, _ = weighed(one, [each for _, each in every])
    for key in starts:
        chance = sum(p for (held, _), p in zip(every, each, strict=True) if held == key)
        # starts far less likely than the best of theirs are left out, which these hardly are
        assert told[key].probability == pytest.approx(chance, rel=0.02), key
    assert look.nothing == pytest.approx(nothing, rel=0.02)
    assert (told["tech", 1].kin, told["air", 0].kin, told["wet", 1].kin) == ("tech:1", "air:0", "wet")


def test_what_is_expected_comes_from_the_readings_before_and_not_from_their_days():
    rng = np.random.default_rng(34)
    tech, values = rng.integers(0, 3, len(DAY)), rng.normal(size=len(DAY))
    one = explainer(values + 0.8 * (tech == 1), [Factor("tech", tech)])
    before = DAY < SINCE
    v = covariance(one)
    z = np.zeros((len(DAY), len(one.effects.precision)))
    for row, places in enumerate(one.effects.place.T):
        z[row, places[places < z.shape[1]]] = 1
    standing = z @ np.diag((one.effects.day < 0) / one.effects.precision) @ z.T
    wanted = standing[:, before] @ np.linalg.solve(v[np.ix_(before, before)], one.values[before])
    assert one.expected == pytest.approx(wanted)
    assert one.rest == pytest.approx(one.values - wanted)
    one.take(shift(27, 0.5))
    assert one.rest == pytest.approx(one.values - wanted - 0.5 * (DAY >= 27))


def test_how_far_readings_stand_out_is_in_standard_errors_of_a_baseline_of_a_hundred():
    one = explainer(np.random.default_rng(35).normal(size=len(DAY)))
    some = DAY % 2 == 0
    held = one.rest[some & (DAY >= 26)]
    assert len(held) == 8
    assert one.standing_out(some, 26) == pytest.approx(held.sum() / np.sqrt(8 + 0.64))
    assert one.standing_out(some, 30) == 0.0


def test_a_reading_far_from_its_neighbours_counts_as_five_sigma_off():
    values = np.random.default_rng(36).normal(scale=0.1, size=len(DAY))
    values[60], values[61] = 80.0, -80.0
    near = explainer(values).values
    around = np.median(values[53:68])  # fifteen neighbours
    assert near[60] == pytest.approx(around + 5, abs=0.1)
    assert near[61] == pytest.approx(np.median(values[54:69]) - 5)
    assert np.delete(near, [60, 61]) == pytest.approx(np.delete(values, [60, 61]))
    low = np.r_[np.zeros(60), np.full(7, 90.0), np.zeros(53)]  # seven of fifteen are no median, eight are
    assert explainer(low).values.max() == 5.0
    assert explainer(np.r_[np.zeros(60), np.full(8, 90.0), np.zeros(52)]).values.max() == 90.0


def tech_off(until, effect=2.0):
    tech = np.tile([0, 1, 1, 0], DAYS)
    off = (tech == 1) & (DAY >= 10) & (until > DAY)
    values = np.random.default_rng(37).normal(scale=0.5, size=len(DAY)) + effect * off
    lot = Factor("lot", DAY // 10, own_start=True)
    return Explainer(values, DAY, ONE, [Factor("tech", tech), lot], [Column("air", 1.0 * (DAY % 3))], 8)


def test_a_shift_that_went_back_is_told_until_the_day_it_did():
    one = tech_off(20)
    until = one.ended(shift(10, 1.5, "tech", 1))
    assert until.end == 20
    assert until.touched == 20  # two readings a day
    assert until.effect == pytest.approx(2.0, abs=0.4)
    assert one.column(until).tolist() == [1.0 if c % 4 in (1, 2) and 40 <= c < 80 else 0.0 for c in range(120)]


def test_a_shift_that_nothing_explains_has_an_end_too():
    values = np.random.default_rng(38).normal(scale=0.5, size=len(DAY)) + 2.0 * ((DAY >= 10) & (DAY < 20))
    made = Explainer(values, DAY, ONE, [], [], 8)
    assert made.ended(shift(10, 1.0)).end == 20
    assert Explainer(values + 2.0 * (DAY >= 20), DAY, ONE, [], [], 8).ended(shift(10, 2.0)).end == -1


def test_a_shift_that_lasts_a_lot_and_the_air_have_no_end():
    lasting = shift(10, 2.0, "tech", 1)
    assert tech_off(30).ended(lasting) is lasting
    assert tech_off(30, effect=0.3).ended(lasting) is lasting  # nobody could say
    for other in (shift(10, 2.0, "lot", 1), shift(10, 2.0, "air", 0)):
        assert tech_off(20).ended(other) is other
    last = shift(29, 2.0, "tech", 1)
    assert tech_off(20).ended(last) is last  # a day is left: none to end on


def test_an_explanation_ends_only_where_that_is_a_hundred_times_as_likely():
    def odds(one, given):
        """Of an end on any day alike, against none."""
        column = one.column(given)
        ends = np.unique(DAY[column != 0])[1:]
        starts = [(column, 1.0), *((column * (end > DAY), 1 / len(ends)) for end in ends)]
        _, each, _, _ = weighed(one, starts)
        return each[1:].sum() / each.sum()

    seen = set()
    for until in (20, 27):
        for effect in (0.7, 1.5):
            one, given = tech_off(until, effect), shift(10, effect, "tech", 1)
            assert (one.ended(given).end >= 0) == (odds(one, given) >= 0.99)
            seen.add(odds(one, given) >= 0.99)
    assert seen == {True, False}


# -- screening


@dataclass(frozen=True)
class Seen(Readings):
    """With the readings less what was expected of them."""

    rest: Floats


def rows(seed=41, n=240, streams=3, days=24, since=12, span=12):
    rng = np.random.default_rng(seed)
    rest = rng.normal(size=n)
    return Seen(np.sort(rng.integers(0, days, n)), rng.integers(0, streams, n), streams, days, since, span, rest)


def of_factor(seen: Seen, factor: Factor, log_prior: float) -> list[Candidate]:
    """Every candidate, whatever its score."""
    return Sieve(seen, [(factor, log_prior)], []).sift(seen.rest, most=1000)


def of_columns(seen: Seen, columns: list[Column], log_prior: float) -> list[Candidate]:
    given = [(one, log_prior + float(np.log(one.weight))) for one in columns]
    return Sieve(seen, [], given).sift(seen.rest, most=1000)


def odds_of(total, size, linear=0.0):
    """Log Bayes factor of a normal shift, each stream's baseline being known from a hundred readings: of k streams of n
    readings each `linear` is n times the root of k.
    """
    error = size + 0.01 * linear**2
    return norm.logpdf(total, 0, np.sqrt(error + size**2)) - norm.logpdf(total, 0, np.sqrt(error))


def test_a_gain_is_the_bayes_factor_of_a_normal_shift():
    cases = [(3.0, 9.0, 9.0), (-7.0, 5.0, 2.0), (0.0, 40.0, 0.0), (30.0, 12.5, -3.0)]
    total, size, linear = np.array(cases).T
    assert gain(total, size, linear) == pytest.approx([odds_of(*case) for case in cases])
    few = gain(np.array([9.0, 9.0]), np.array([4.9, 0.0]), np.array([4.9, 0.0]))
    assert few.tolist() == [-50.0, -50.0]  # under five readings are no hypothesis


def scopes(sums, squares, totals):
    """Of one level beside another of fewer streams, which must not touch it."""
    less = [np.where(np.arange(len(part))[:, None] == 1, 0.0, part * 0.7) for part in (sums, squares, totals)]
    parts = [np.stack([part, other]) for part, other in zip((sums, squares, totals), less, strict=True)]
    (told, _), (alone,) = choices(*parts), choices(*(part[:1] for part in parts))
    assert [(s.tolist(), w.tolist(), p) for s, w, p in told] == [(s.tolist(), w.tolist(), p) for s, w, p in alone]
    return told


def choices(*parts):
    """Of each level the streams, gains and price of every choice that there is."""
    found = scopes_of(*parts)
    return [
        [(np.flatnonzero(found.streams[k, s]), found.gain[k, s], price[s]) for s in np.flatnonzero(price > -np.inf)]
        for k, price in enumerate(found.price)
    ]


def test_the_prior_weight_of_all_choices_of_streams_is_one():
    for m in (3, 4, 7):
        size = np.full((m, 1), 9.0)
        told = scopes(np.arange(m)[:, None] * 3.0, size, size)
        prices = {len(streams): price for streams, _, price in told}
        assert prices[m] == pytest.approx(np.log(0.4))
        assert prices[1] == pytest.approx(np.log(0.3 / m))
        some, *_ = [len(streams) for streams, _, _ in told if 1 < len(streams) < m]
        assert prices[some] == pytest.approx(np.log(0.3 / (m - 2) / comb(m, some)))  # any number, any of that number
        assert [len(streams) for streams, _, _ in told].count(1) == 2


@pytest.mark.parametrize("seed", range(6))
def test_the_streams_that_go_best_together_are_those_of_all_choices(seed):
    rng = np.random.default_rng([42, seed])
    m = 6
    sums = rng.normal(scale=6, size=(m, 3)) + rng.integers(-1, 2, size=(m, 1)) * 9
    size = np.full((m, 3), 8.0)
    told = scopes(sums, size, size)
    alone = np.array([[odds_of(sums[i, at], 8.0, 8.0) for at in range(3)] for i in range(m)])
    at = int(np.maximum(alone, 0).sum(axis=0).argmax())
    for place, linear in ((3, lambda k: 8.0 * k**0.5), (4, lambda k: 8.0 * k)):  # a baseline each; all err alike
        best = max(
            (odds_of(sums[list(some), at].sum(), 8.0 * k, linear(k)) + np.log(0.3 / (m - 2) / comb(m, k)), some)
            for k in range(2, m)
            for some in combinations(range(m), k)
        )
        streams, worth, price = told[min(place, len(told) - 1)]  # where both are the same they are one choice
        assert tuple(streams) == best[1]
        assert price == pytest.approx(np.log(0.3 / (m - 2) / comb(m, len(streams))))
        many = len(streams)
        assert worth[at] == pytest.approx(odds_of(sums[streams, at].sum(), 8.0 * many, 8.0 * many**0.5))
    every, first, second = told[:3]
    assert every[0].tolist() == list(range(m))
    assert every[1] == pytest.approx([odds_of(sums[:, at].sum(), 48.0, 8.0 * 6**0.5) for at in range(3)])
    order = np.argsort(-alone.max(axis=1))
    assert [first[0].tolist(), second[0].tolist()] == [[order[0]], [order[1]]]
    assert first[1] == pytest.approx(alone[order[0]])


def test_streams_without_readings_are_no_choice():
    size = np.array([[0.0], [9.0], [0.5]])
    assert scopes(size, np.zeros((3, 1)), size) == []
    ((streams, _, price),) = scopes(size[:2], size[:2], size[:2])
    assert (streams.tolist(), price) == ([1], 0.0)  # the only one there is
    assert [streams.tolist() for streams, _, _ in scopes(size, size, size)] == [[1, 2], [1], [2]]


@pytest.mark.parametrize("seed", range(3))
def test_a_levels_candidates_are_those_of_a_loop_over_its_readings(seed):
    seen = rows([43, seed], n=600, streams=1, since=20, span=9)
    code = np.random.default_rng([44, seed]).integers(-1, 4, len(seen.rest))
    code[(seen.day >= seen.since) & (code == 3)] = 0
    code[np.flatnonzero(seen.day >= seen.since)[-4:]] = 3  # too few of it
    found = {one.level: one for one in of_factor(seen, Factor("tech", code), -1.0)}
    late = [level for level in range(4) if ((code == level) & (seen.day >= seen.since)).sum() >= 5]
    assert sorted(found) == late == [0, 1, 2]
    for level, one in found.items():
        worth = []
        for day in range(seen.since, seen.days):
            mine = seen.rest[(code == level) & (seen.day >= day)]
            worth.append(odds_of(mine.sum(), len(mine), len(mine)) if len(mine) >= 5 else -50.0)
        worth = np.array(worth)
        kept = worth >= worth.max() - 8  # starts e^8 less likely are not looked at
        assert one.days.tolist() == (np.flatnonzero(kept) + seen.since).tolist()
        assert one.log_prior == pytest.approx(np.full(kept.sum(), -1.0 - np.log(3) - np.log(9)))
        assert one.score == pytest.approx(worth.max() - 1.0 - np.log(9) - np.log(3))
        assert one.base.tolist() == (code == level).tolist()
        assert (one.kin, one.group, one.streams.tolist(), one.late) == (f"tech:{level}", "tech", [0], False)


def test_five_readings_of_a_level_make_a_hypothesis_and_four_do_not():
    seen = rows(45, streams=1)
    late = np.flatnonzero(seen.day >= seen.since)
    for many, told in ((5, [1]), (4, [])):
        code = np.full(len(seen.rest), -1)
        code[late[-many:]] = 1
        code[:9] = 0  # before that day
        assert [one.level for one in of_factor(seen, Factor("tech", code), 0.0)] == told
    value = np.zeros(len(seen.rest))
    value[late[-5:]] = 0.7
    assert len(of_columns(seen, [Column("air", value)], 0.0)) == 1
    value[late[-5]] = 0.0
    value[:9] = 1.0
    assert of_columns(seen, [Column("air", value)], 0.0) == []


def test_a_lot_begins_with_its_first_reading_and_a_level_that_came_new_as_likely_as_not():
    seen = rows(46, n=400, streams=1)
    code = np.where(seen.day < 15, 0, 1)
    lots = {one.level: one for one in of_factor(seen, Factor("lot", code, own_start=True), 0.0)}
    assert (lots[1].days.tolist(), lots[0].days.tolist()) == ([15], [0])
    assert lots[1].log_prior == pytest.approx([np.log(0.5)])  # of two lots
    mine = seen.rest[code == 1]
    assert lots[1].score == pytest.approx(odds_of(mine.sum(), len(mine), len(mine)) + np.log(0.5))
    (new,) = [one for one in of_factor(seen, Factor("gauge", code), 0.0) if one.level == 1]
    told = dict(zip(new.days.tolist(), np.exp(new.log_prior) * 2, strict=True))
    assert told[15] == pytest.approx(0.5 + 0.5 / 12)
    assert {day: share for day, share in told.items() if day != 15} == {
        day: pytest.approx(0.5 / 12) for day in new.days.tolist() if day != 15
    }
    (old,) = [one for one in of_factor(seen, Factor("gauge", code), 0.0) if one.level == 0]
    assert np.exp(old.log_prior) * 2 == pytest.approx(np.full(len(old.days), 1 / 12))
    late = rows(46, n=400, streams=1)
    same = np.where(late.day < late.since, 0, 1)  # new on the first day of all
    (first,) = [one for one in of_factor(late, Factor("gauge", same), 0.0) if one.level == 1]
    assert np.exp(first.log_prior[0]) == pytest.approx(0.5 + 0.5 / 12)


def test_of_many_levels_those_that_lie_out_most_are_looked_at():
    seen = rows(47, n=2000, streams=2)
    code = np.arange(2000) % 20
    seen.rest[(code == 7) & (seen.day >= 14)] += 2
    seen.rest[(code == 19) & (seen.stream == 1) & (seen.day >= 20)] -= 3
    levels = [one.level for one in of_factor(seen, Factor("tech", code), 0.0)]
    assert len(set(levels)) == hypotheses.LEVELS == 8
    assert {7, 19} <= set(levels)


@pytest.mark.parametrize("scanned", [True, False])
def test_a_columns_candidates_are_those_of_a_loop_over_its_readings(scanned):
    seen = rows(48, streams=1, since=20, span=9)
    value = np.where(seen.day < 3, 0.0, np.cos(np.arange(len(seen.rest))))
    (one,) = of_columns(seen, [Column("air", value, scanned=scanned, weight=0.3)], -2.0)
    days = range(20, 24) if scanned else [3]
    worth = []
    for day in days:
        mine = value * (seen.day >= day)
        worth.append(odds_of(mine @ seen.rest, mine @ mine, mine.sum()) if mine @ mine >= 5 else -50.0)
    worth = np.array(worth)
    kept = worth >= worth.max() - 8
    price = -2.0 + np.log(0.3) - (np.log(9) if scanned else 0)
    assert one.days.tolist() == np.array(days)[kept].tolist()
    assert one.log_prior == pytest.approx(np.full(kept.sum(), price))
    assert one.score == pytest.approx(worth.max() + price)
    assert (one.late, one.kin, one.level) == (scanned, "air", 0)
    assert one.base == pytest.approx(value)


# -- random effects


def test_variances_products_sums_and_the_root_are_those_of_dense_algebra():
    rng = np.random.default_rng(51)
    n = 60
    stream, day, tech = rng.integers(0, 2, n), np.arange(n) // 6, rng.integers(-1, 3, n)
    alone = np.zeros(n, dtype=np.int64)  # one level: nothing to learn from
    values = rng.normal(size=n) + 1.5 * (stream == 1) + (tech == 2)
    settled = day < 7
    blocks = [Block(stream, 0.5), Block(day, days=True), Block(tech), Block(alone)]
    before = day < 4
    held = RandomEffects.of(blocks, values, settled, before)
    assert held.place.shape == (3, n)
    z = np.zeros((n, 2 + 10 + 3))
    for row in range(n):
        z[row, [stream[row], 2 + day[row]]] = 1
        if tech[row] >= 0:
            z[row, 12 + tech[row]] = 1
    off = values - np.array([values[settled & (stream == s)].mean() for s in (0, 1)])[stream]
    by = [moment(code[settled], off[settled]) for code in (day, tech)]
    assert held.precision == pytest.approx(1 / np.array([0.5] * 2 + [by[0]] * 10 + [by[1]] * 3))
    assert held.between_days == by[0]
    assert held.day.tolist() == [-1, -1, *range(10), -1, -1, -1]
    assert held.gram == pytest.approx(z.T @ z)
    assert held.before == pytest.approx(z[before].T @ z[before])
    assert held.sums(values) == pytest.approx(z.T @ values)
    effects = rng.normal(size=15)
    assert held.fitted(effects) == pytest.approx(z @ effects)
    for unrest in (0.0, 0.8):
        root, part = held.root(unrest, 7)
        variance = 1 / held.precision + unrest * (held.day >= 7)
        assert root @ root.T == pytest.approx(z.T @ z + np.diag(1 / variance))
        assert part == pytest.approx(-0.5 * np.linalg.slogdet(np.eye(n) + z @ np.diag(variance) @ z.T)[1])


def test_a_variance_between_levels_is_by_moments_and_never_none():
    code = np.array([0, 0, 0, 2, 2, -1, 4])
    off = np.array([2.0, 3.0, 1.0, -4.0, -2.0, 90.0, 3.0])
    # sums 6, -6, 3 of 3, 2 and 1 readings: 36/3 + 36/2 + 9 less one a level, over six readings
    assert moment(code, off) == pytest.approx((12 + 18 + 9 - 3) / 6 + FLOOR)
    assert moment(code, off / 100) == FLOOR == 1e-4
    assert moment(np.zeros(5, dtype=np.int64), np.arange(5.0)) == 0.05  # one level tells nothing
    assert moment(np.array([0, 1]), np.array([2.0, 0.0])) == pytest.approx((4 - 2) / 2 + FLOOR)

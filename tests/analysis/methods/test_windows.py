"""What lay out for a while: its first and last day, and nothing where it stays."""

import numpy as np
import pytest
from scipy.special import logsumexp

from analysis.methods import windows
from analysis.methods.candidates import Factor
from analysis.methods.explanation import UNEXPLAINED, Explainer, together
from analysis.methods.hypotheses import NEAR, STARTS, near_starts
from analysis.methods.scopes import gain
from analysis.methods.windows import LIKELIER, at_most, ends_of, window_of

DAYS, STREAMS, A_DAY = 40, 3, 4


def to_the_end(each):
    return np.cumsum(each[:, ::-1], axis=1)[:, ::-1]


def sums(rng, *, start=None, end=None, size=1.0):
    each = rng.normal(size=(STREAMS, DAYS)) * np.sqrt(A_DAY)
    if start is not None:
        each[:, start:end] += size * A_DAY
    return to_the_end(each), to_the_end(np.full((STREAMS, DAYS), float(A_DAY)))


def best_that_stays(total, many):
    return float(gain(total.sum(axis=0), many.sum(axis=0), np.sqrt((many**2).sum(axis=0))).max())


def test_a_while_is_found_with_both_its_days():
    for seed in range(10):
        total, many = sums(np.random.default_rng([71, seed]), start=10, end=18, size=1.5)
        found = window_of(total, many, best_that_stays(total, many))
        assert found is not None
        assert abs(found.end - 18) <= 1
        assert abs(int(found.gain.argmax()) - 10) <= 1
        assert (found.gain[found.end :] < -40).all()  # it cannot begin behind its end


def test_what_stays_and_what_never_moved_has_no_end():
    told = 0
    for seed in range(40):
        for start in (None, 25):
            total, many = sums(np.random.default_rng([72, seed]), start=start, end=DAYS)
            told += window_of(total, many, best_that_stays(total, many)) is not None
    assert told <= 2


def test_turning_the_sign_changes_no_window_and_too_few_readings_make_none():
    total, many = sums(np.random.default_rng(73), start=10, end=18, size=1.5)
    one, other = (window_of(turn * total, many, 0.0) for turn in (1, -1))
    assert (one.end, one.gain.tolist()) == (other.end, other.gain.tolist())
    assert window_of(total[:, :2], many[:, :2], 0.0) is None
    assert window_of(total[:1, -3:], np.array([[9.0, 6.0, 3.0]]), -99.0) is None


def test_in_years_of_days_a_while_is_found_as_by_looking_at_all_pairs_of_days(monkeypatch):
    days = 700
    for seed in range(5):
        rng = np.random.default_rng([76, seed])
        each = rng.normal(size=(STREAMS, days)) * np.sqrt(A_DAY)
        first = int(rng.integers(50, 500))
        each[:, first : first + 40] += 1.5 * A_DAY
        total, many = to_the_end(each), to_the_end(np.full((STREAMS, days), float(A_DAY)))
        found = window_of(total, many, best_that_stays(total, many))
        with monkeypatch.context() as every:
            every.setattr(windows, "FINE", days)
            wanted = window_of(total, many, best_that_stays(total, many))
        assert found.end == wanted.end
        assert found.gain == pytest.approx(wanted.gain)
        bound = at_most(total.sum(axis=0)[None], many.sum(axis=0)[None])[0]
        assert bound > best_that_stays(total, many) + LIKELIER


def test_of_very_many_starts_few_stand_for_all_and_are_as_likely_together():
    rng = np.random.default_rng(77)
    score = -((np.arange(600) - 411.0) ** 2) / 9000 + rng.normal(0, 0.1, 600)
    price = np.full(600, -np.log(600))
    price[411:] -= 0.5
    near, log_prior = near_starts(score, price)
    assert len(near) == STARTS
    assert (np.diff(near) > 0).all()
    assert score.argmax() in near
    every = score >= score.max() - NEAR
    assert every.sum() > 2 * STARTS
    assert logsumexp(score[near] + log_prior - price[near]) == pytest.approx(logsumexp(score[every]))
    few, as_they_are = near_starts(score[:STARTS], price[:STARTS])
    assert few.tolist() == np.flatnonzero(score[:STARTS] >= score[:STARTS].max() - NEAR).tolist()
    assert as_they_are.tolist() == price[few].tolist()


def test_no_window_is_lost_by_the_bound_that_spares_most_of_the_work():
    found = spared = 0
    for seed in range(30):
        rng = np.random.default_rng([75, seed])
        total, many = sums(rng, start=int(rng.integers(5, 15)), end=int(rng.integers(16, 30)), size=seed / 20)
        streams = rng.random((4, STREAMS)) < 0.7
        lasting = rng.normal(3, 5, size=4)
        lasting[3] = -np.inf
        told = ends_of(total[None], many[None], streams[None], lasting[None])
        each = [window_of(total[some], many[some], one) for some, one in zip(streams, lasting, strict=True)]
        wanted = [k for k in range(3) if streams[k].any() and each[k] is not None]
        assert [choice for _, choice, _ in told] == wanted
        bound = at_most(streams @ total, streams @ many)
        for _, choice, one in told:
            assert one.gain.max() <= bound[choice]
        found, spared = found + len(told), spared + int((bound < lasting + LIKELIER)[:3].sum())
    assert found >= 10
    assert spared >= 10


def shop(seed, *, first, second):
    """Thirty instruments a day on five models, all up from day 30 to 43 and four of them again from day 70 on."""
    rng = np.random.default_rng([74, seed])
    day = np.repeat(np.arange(80), 30)
    stream, tech = rng.integers(0, 5, len(day)), rng.integers(0, 3, len(day))
    lot = day // 7 * 2 + rng.integers(0, 2, len(day))
    values = rng.normal(size=len(day)) + first * ((day >= 30) & (day < 44)) + second * ((day >= 70) & (stream < 4))
    factors = [Factor("tech", tech, nested=True), Factor("lot", lot, own_start=True)]
    return Explainer(values, day, stream, factors, [], 15, calm=40)


@pytest.mark.parametrize("seed", range(4))
def test_what_moved_and_came_back_neither_hides_what_moves_now_nor_is_laid_to_a_lot(seed):
    one = shop(seed, first=1.0, second=0.9)
    told = []
    for _ in range(2):
        look = one.look()
        assert together(look, sure=0.9) == []  # nobody and no lot is named
        best = look.hypotheses[0]
        assert best.factor == UNEXPLAINED
        told.append(best)
        one.take(best)
    told.sort(key=lambda best: best.start)
    for best, start, end, size, streams in zip(told, (30, 70), (44, -1), (1.0, 0.9), (5, 4), strict=True):
        assert abs(best.start - start) <= 1
        assert abs(best.end - end) <= 1
        assert best.effect == pytest.approx(size, abs=0.25)
        assert len(best.streams) == streams
    assert together(one.look(), sure=0.9) == []

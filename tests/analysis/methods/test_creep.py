"""What creeps is told from what stepped: against dense algebra, laws, and how often either is taken for the other."""

import numpy as np
import pytest

from analysis.methods.candidates import Factor
from analysis.methods.creep import LEAST_DAYS, creep
from analysis.methods.explanation import Explainer

DAYS, SINCE, EACH = 90, 30, 15
WEEKS = np.arange(DAYS) / 5
SEED = 20261130


def made(rng, path, *, each=EACH, lots=0.0, people=0.0, days=0.0):
    """Two streams, four people, lots of eight days; path : (days,) how far each day lies off, in sigma."""
    day = np.repeat(np.arange(DAYS), each)
    n = len(day)
    stream, tech, lot = rng.integers(0, 2, n), rng.integers(0, 4, n), 2 * (day // 8) + rng.integers(0, 2, n)
    values = rng.normal(size=n) + path[day] + days * rng.normal(size=DAYS)[day]
    values += lots * rng.normal(size=lot.max() + 1)[lot] + people * rng.normal(size=4)[tech]
    return Explainer(values, day, stream, [Factor("tech", tech), Factor("lot", lot, own_start=True)], [], SINCE)


def asked(one, touched=None):
    """What is said of a shift of all readings."""
    return creep(one.moved(WEEKS, []), np.ones(len(one.values), dtype=bool) if touched is None else touched)


def stepped(size, day=45):
    return np.where(np.arange(DAYS) >= day, size, 0.0)


def crept(a_week, day=40, rests=DAYS):
    return a_week * np.maximum(np.minimum(np.arange(DAYS), rests) - day, 0) / 5


def dense(one, columns):
    """Sizes and variances by the inverse of the whole variance of the readings."""
    n = len(one.values)
    z = (one.effects.place[:, :, None] == np.arange(len(one.effects.precision))).sum(axis=0)
    inverse = np.linalg.inv(np.eye(n) + z @ np.diag(1 / one.effects.precision) @ z.T)
    x = np.array(columns)
    variance = np.linalg.inv(x @ inverse @ x.T)
    return variance @ x @ inverse @ one.values, variance


def test_products_by_day_are_those_of_dense_algebra():
    rng = np.random.default_rng(1)
    one = made(rng, crept(0.15), lots=0.2, people=0.3, days=0.1)
    touched, days = one.stream == 1, np.array([40, 44, 47, 80])
    other = rng.normal(size=len(one.values))
    z = (one.effects.place[:, :, None] == np.arange(len(one.effects.precision))).sum(axis=0)
    inverse = np.linalg.inv(np.eye(len(z)) + z @ np.diag(1 / one.effects.precision) @ z.T)
    x = np.array([touched & (one.day == day) for day in days]).astype(float)
    less = inverse - np.outer(inverse @ other, inverse @ other) / (other @ inverse @ other)
    inner, push = one.moved(WEEKS, [other]).by_day(touched, days)
    assert inner == pytest.approx(x @ less @ x.T, abs=1e-6)
    assert push == pytest.approx(x @ less @ one.values, abs=1e-6)


def test_where_it_stands_and_how_it_moves_on_lie_near_the_line_of_dense_algebra():
    one = made(np.random.default_rng(1), crept(0.3), lots=0.2, people=0.3, days=0.1)
    found = asked(one)
    line = np.maximum(one.day - 40, 0) / 5
    size, variance = dense(one, [line])
    assert found.rests == -1
    assert abs(found.start - 40) <= 6
    assert found.start_low <= 40 <= found.start_high
    assert found.a_week == pytest.approx(size[0], abs=2 * found.a_week_error)
    assert found.now == pytest.approx(size[0] * line[-1], abs=2 * found.now_error)
    assert found.a_week_error > variance[0, 0] ** 0.5  # the day of its start is not known
    assert found.path[-1] == pytest.approx(found.now)


def test_what_else_moved_is_sized_beside_it():
    one = made(np.random.default_rng(2), crept(0.15))
    other = (one.stream == 1) & (one.day >= 60)
    one.values[other] -= 2.0
    one.__post_init__()
    found = creep(one.moved(WEEKS, [-1.2 * other]), np.ones(len(one.values), dtype=bool))
    assert found.now == pytest.approx(1.47, abs=3 * found.now_error)
    assert found.a_week == pytest.approx(0.15, abs=3 * found.a_week_error)


def test_other_units_of_time_and_the_other_side_change_what_they_should_and_no_more():
    one = made(np.random.default_rng(3), crept(0.15))
    every = np.ones(len(one.values), dtype=bool)
    before, daily = (creep(one.moved(weeks, []), every) for weeks in (WEEKS, 7 * WEEKS))
    assert (daily.now, 7 * daily.a_week) == pytest.approx((before.now, before.a_week))
    one.values = -one.values
    one.__post_init__()
    other = asked(one)
    assert (other.now, other.a_week, other.rests) == pytest.approx((-before.now, -before.a_week, before.rests))


def test_a_constant_run_and_too_few_days_say_nothing():
    one = made(np.random.default_rng(4), stepped(1.0))
    one.values = np.where(one.day >= 45, 1.0, 0.0)
    assert asked(one) is None
    one = made(np.random.default_rng(4), crept(2.0))
    assert asked(one, (one.day >= 40) & (one.day < 40 + LEAST_DAYS - 1)) is None


def test_what_came_to_rest_creeps_no_more_and_stands_where_it_rests():
    found = asked(made(np.random.default_rng(5), crept(0.4, rests=65)))
    assert found.a_week == 0.0
    assert abs(found.rests - 65) <= 3
    assert found.now == pytest.approx(2.0, abs=3 * found.now_error)


def test_what_falls_off_again_is_told_by_where_it_stands():
    path = np.where(np.arange(DAYS) >= 40, 2.0 - 0.2 * (np.arange(DAYS) - 40) / 5, 0.0)
    found = asked(made(np.random.default_rng(6), path))
    assert found.a_week == pytest.approx(-0.2, abs=3 * found.a_week_error)
    assert found.now == pytest.approx(0.04, abs=3 * found.now_error)


def dried(rng, *, begins=40, rests=DAYS, each=EACH, noise=1.5, alike=0.0):
    """Readings that follow drier and drier air, and that air (n,)."""
    way = np.clip((np.minimum(np.arange(DAYS), rests) - begins) / 30, 0, None)
    off = noise * rng.normal(size=DAYS)
    for day in range(1, DAYS):
        off[day] = alike * off[day - 1] + np.sqrt(1 - alike**2) * off[day]
    one = made(rng, -2.0 * way, each=each, days=0.1)
    return one, (50 - 16 * way + off)[one.day]


@pytest.mark.parametrize("seed", range(8))
def test_what_it_follows_says_when_it_began_and_that_it_goes_on(seed):
    one, air = dried(np.random.default_rng([SEED, 7, seed]))
    every = np.ones(len(one.values), dtype=bool)
    alone, found = (creep(one.moved(WEEKS, []), every, driver) for driver in (None, air))
    assert alone.start_low <= 40 <= alone.start_high
    assert found.start_low <= 40 <= found.start_high
    assert abs(found.start - 40) <= 5
    assert found.start_high - found.start_low <= alone.start_high - alone.start_low
    assert found.rests == -1


def test_other_units_of_what_it_follows_change_nothing_nor_does_one_that_is_not_known_or_stays():
    one, air = dried(np.random.default_rng([SEED, 8]))
    every = np.ones(len(one.values), dtype=bool)
    alone = creep(one.moved(WEEKS, []), every)
    for driver in (np.full(len(air), np.nan), np.full(len(air), 45.0)):
        found = creep(one.moved(WEEKS, []), every, driver)
        assert (found.start, found.rests, found.now) == (alone.start, alone.rests, pytest.approx(alone.now))
    found, other = (creep(one.moved(WEEKS, []), every, driver) for driver in (air, 7 - 0.01 * air))
    assert (found.start, found.start_low, found.start_high) == (other.start, other.start_low, other.start_high)
    assert found.now == pytest.approx(other.now)


@pytest.mark.parametrize("alike", [0.0, 0.8])
def test_intervals_of_the_start_hold_it_and_rest_is_told_of_what_rests(alike):
    held, rested = 0, 0
    for k in range(25):
        one, air = dried(np.random.default_rng([SEED, 9, k]), alike=alike, noise=2.0)
        every = np.ones(len(one.values), dtype=bool)
        for driver in (None, air):
            found = creep(one.moved(WEEKS, []), every, driver)
            held += found.start_low <= 40 <= found.start_high
            rested += found.rests >= 0
    assert held >= 0.88 * 50
    assert rested <= 0.06 * 50


@pytest.mark.promise
def test_a_step_is_called_creeping_in_one_of_twenty_at_most():
    wrong, many = 0, 0
    for kind, more in enumerate(({}, {"lots": 0.3, "people": 0.3, "days": 0.2})):
        for k in range(60):
            rng = np.random.default_rng([SEED, kind, k])
            size, day = rng.choice([-1, 1]) * rng.uniform(0.5, 2.0), int(rng.integers(35, 70))
            wrong += asked(made(rng, stepped(size, day), **more)) is not None
            many += 1
    assert wrong <= 0.05 * many


@pytest.mark.promise
def test_two_steps_the_same_way_are_no_creep():
    wrong = 0
    for k in range(40):
        rng = np.random.default_rng([SEED, 2, k])
        path = stepped(1.0, 40) + stepped(rng.uniform(0.8, 1.5), int(rng.integers(55, 75)))
        wrong += asked(made(rng, path)) is not None
    assert wrong <= 2


@pytest.mark.promise
def test_a_creep_of_an_eighth_of_sigma_a_week_is_found_and_its_interval_holds_where_it_stands():
    found = []
    for k in range(60):
        rng = np.random.default_rng([SEED, 4, k])
        way = int(rng.choice([-1, 1]))
        told = asked(made(rng, way * crept(0.125), each=40, people=0.3, days=0.1))
        found.append((told is not None and told.rests < 0, way, told))
    assert sum(one for one, _, _ in found) >= 0.9 * len(found)
    held = [abs(told.now - way * 1.225) < 1.96 * told.now_error for one, way, told in found if one]
    assert sum(held) >= 0.85 * len(held)
    assert sum(abs(told.a_week - way * 0.125) < 1.96 * told.a_week_error for one, way, told in found if one) >= 0.85 * (
        len(held)
    )

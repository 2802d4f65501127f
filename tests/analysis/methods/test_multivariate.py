import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods.multivariate import drivers, grouped_model, individual_model, phase_one, phase_two
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

seeds = st.integers(0, 10_000)


def correlated(seed, n=30, p=3):
    rng = np.random.default_rng(seed)
    return rng.normal(size=(n, p)) @ (rng.normal(size=(p, p)) + 2 * np.eye(p)) + rng.normal(size=p) * 10


def test_t2_of_single_points_matches_the_paper():
    # Tracy, Young & Mason 1992: impurity, temperature, concentration of 14 batches, usual covariance
    printed = case("tracy-young-mason-T2")
    model = individual_model(printed.data["x"])
    assert model.mean[0] == pytest.approx(printed.published["mean"], abs=tolerance(printed, "mean"))
    chart = phase_one(printed.data["x"], model=model, false_rate=0.01)
    assert chart.t2 == pytest.approx(printed.published["T2_S1"], abs=tolerance(printed, "T2_S1"))
    # the beta limit lies below the largest value there can be, (n - 1)^2 / n, and the first batch beyond it
    assert chart.limit[0] < 13**2 / 14
    assert np.flatnonzero(chart.beyond).tolist() == [0]


def test_t2_of_subgroups_matches_the_textbook():
    # Montgomery, Introduction to SQC, Example 11.1. T2 is taken with the averages as printed (115.59, 1.06, 1.23, .83,
    # .79), F(.001; 2, 179) as 7.18.
    printed = case("textile-fiber-T2")
    data = printed.data
    means = np.array(data["means"])
    model = grouped_model(means, [[[a, c], [c, b]] for a, b, c in data["sample_cov"]], size=data["n"])
    assert model.mean[0] == pytest.approx(data["grand_mean"], abs=0.005)
    assert model.covariance[0].ravel() == pytest.approx(
        [data["s11"], data["s12"], data["s12"], data["s22"]], abs=0.0055
    )
    rounded = grouped_model(
        [data["grand_mean"]] * 20, [[[data["s11"], data["s12"]], [data["s12"], data["s22"]]]] * 20, size=data["n"]
    )
    chart = phase_one(means, model=rounded, false_rate=data["alpha"])
    assert chart.t2 == pytest.approx(printed.published["T2"], abs=tolerance(printed, "T2"))
    assert chart.limit[0] == pytest.approx(printed.published["ucl_phase1"], abs=tolerance(printed, "ucl_phase1"))
    assert not chart.beyond.any()


@given(seeds)
def test_the_t2_of_a_baseline_sum_to_characteristics_times_points_less_one(seed):
    x = correlated(seed)
    assert phase_one(x, model=individual_model(x)).t2.sum() == pytest.approx(3 * 29)


@given(seeds, st.sampled_from([25.4, 0.001]), st.permutations([0, 1, 2]))
def test_units_origins_and_the_order_of_characteristics_do_not_matter(seed, scale, order):
    x, later = correlated(seed), correlated(seed + 1, n=5)
    moved, moved_later = (np.array(part)[:, order] * [scale, 1, 3] + [5, -2, 0] for part in (x, later))
    here, there = phase_two(later, model=individual_model(x)), phase_two(moved_later, model=individual_model(moved))
    assert there.t2 == pytest.approx(here.t2, rel=1e-6)


@given(seeds)
def test_reversing_time_turns_the_baseline_round_and_changes_nothing(seed):
    x = correlated(seed)
    forward, backward = phase_one(x, model=individual_model(x)), phase_one(x[::-1], model=individual_model(x[::-1]))
    assert backward.t2[::-1] == pytest.approx(forward.t2)


@given(seeds)
def test_streams_together_give_what_each_gives_alone(seed):
    parts = [correlated(seed, n=8), correlated(seed + 1, n=20), correlated(seed + 2, n=6)]
    x, starts = np.vstack(parts), np.array([0, 8, 28])
    together = phase_one(x, starts, model=individual_model(x, starts))
    alone = [phase_one(part, model=individual_model(part)) for part in parts]
    assert together.t2 == pytest.approx(np.concatenate([chart.t2 for chart in alone]), rel=1e-8)
    assert together.limit == pytest.approx(np.concatenate([chart.limit for chart in alone]))


@given(seeds)
def test_t2_is_what_a_variable_adds_to_the_others_plus_the_t2_of_the_others(seed):
    # Mason, Tracy & Young 1995, the identity their decomposition rests on
    x, later = correlated(seed), correlated(seed + 1, n=6)
    model = individual_model(x)
    found, whole = drivers(later, model=model), phase_two(later, model=model).t2
    for variable in range(3):
        others = np.delete(np.arange(3), variable)
        rest = phase_two(later[:, others], model=individual_model(x[:, others])).t2
        assert found.given_others[:, variable] + rest == pytest.approx(whole)
        single = phase_two(later[:, [variable]], model=individual_model(x[:, [variable]])).t2
        assert found.alone[:, variable] == pytest.approx(single)


def test_a_pair_that_breaks_its_relation_is_found_though_each_reading_is_usual():
    rng = np.random.default_rng(71)
    both = rng.normal(2.0, 0.1, 200)
    x = np.column_stack([both, both + rng.normal(0, 0.01, 200), rng.normal(0, 1, 200)])
    point = np.array([[2.1, 1.95, 0.2]])
    model = individual_model(x)
    found = drivers(point, model=model)
    assert phase_two(point, model=model).beyond.tolist() == [True]
    assert not found.odd_alone.any()
    assert found.odd_given_others.tolist() == [[True, True, False]]


@pytest.mark.parametrize("p", [2, 4])
def test_limits_keep_the_false_rate_though_the_model_is_estimated(p):
    rng = np.random.default_rng(72)
    streams, m, rate = 4000, 20, 0.05
    x = rng.normal(size=(streams, m, p))
    starts = np.arange(streams) * m
    model = individual_model(x.reshape(-1, p), starts)
    later = phase_two(rng.normal(size=(streams, p)), np.arange(streams), model=model, false_rate=rate)
    inside = phase_one(x.reshape(-1, p), starts, model=model, false_rate=rate)
    close = 3 * np.sqrt(rate * (1 - rate) / streams)
    assert later.beyond.mean() == pytest.approx(rate, abs=close)
    assert inside.beyond.mean() == pytest.approx(rate, abs=close)


def test_limits_for_subgroups_keep_the_false_rate_too():
    rng = np.random.default_rng(73)
    streams, m, k, p, rate = 4000, 10, 4, 2, 0.05
    x = rng.normal(size=(streams * m, k, p))
    off = x - x.mean(axis=1, keepdims=True)
    starts = np.arange(streams) * m
    model = grouped_model(x.mean(axis=1), np.einsum("gki,gkj->gij", off, off) / (k - 1), size=k, starts=starts)
    later = phase_two(rng.normal(size=(streams, k, p)).mean(axis=1), np.arange(streams), model=model, false_rate=rate)
    inside = phase_one(x.mean(axis=1), starts, model=model, false_rate=rate)
    close = 3 * np.sqrt(rate * (1 - rate) / streams)
    assert later.beyond.mean() == pytest.approx(rate, abs=close)
    assert inside.beyond.mean() == pytest.approx(rate, abs=close)


ROWS = correlated(1, n=10, p=2)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: individual_model(np.empty((0, 2))), "no point"),
        (lambda: individual_model([1.0, 2.0]), "one row per point"),
        (lambda: individual_model([[1.0, np.nan]] * 5), "5 of 5 points lack a reading"),
        (lambda: individual_model(ROWS[:3]), "3 points; wanted at least 4"),
        (
            lambda: individual_model(np.column_stack([ROWS[:, 0], np.ones(10)])),
            "characteristic 1 of stream 0 never moves",
        ),
        (lambda: individual_model(np.column_stack([ROWS[:, 0], 2 * ROWS[:, 0]])), "follows from the others"),
        (lambda: phase_two(ROWS[:, :1], model=individual_model(ROWS)), "2 characteristics; got 1 of 1"),
        (lambda: phase_one(ROWS, model=individual_model(ROWS), false_rate=0), "between 0 and 1"),
        (lambda: grouped_model(ROWS, np.ones((10, 2)), size=3), "p x p covariance"),
        (lambda: drivers(ROWS, model=grouped_model(ROWS, [np.eye(2)] * 10, size=3)), "single points"),
    ],
)
def test_what_cannot_be_charted_is_refused_in_words(call, message):
    with pytest.raises(UnusableData, match=message):
        call()

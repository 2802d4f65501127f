import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import levene

from analysis.methods.problems import UnusableData
from analysis.methods.short_run import alike, deviations, standardized
from analysis.methods.variables import individuals

mixed = st.lists(st.tuples(st.integers(0, 3), st.integers(-50, 50)), min_size=2, max_size=40)
TARGET = np.array([10.0, 200.0, 0.25, -3.0])


def columns(rows):
    model = np.array([row[0] for row in rows])
    return model, TARGET[model] + np.array([row[1] for row in rows]) / 10


@given(mixed)
def test_models_on_their_targets_make_one_chart_of_individuals(rows):
    model, x = columns(rows)
    off, chart = deviations(x, model=model, target=TARGET)
    plain = individuals([row[1] / 10 for row in rows])
    assert off == pytest.approx([row[1] / 10 for row in rows], abs=1e-12)
    assert chart.upper == pytest.approx(plain.upper, abs=1e-9)


@given(mixed, st.permutations([0, 1, 2, 3]))
def test_how_models_are_numbered_does_not_matter(rows, names):
    model, x = columns(rows)
    renamed, target, sigma = np.argsort(names)[model], TARGET[names], np.array([1.0, 2.0, 3.0, 4.0])
    one = standardized(x, model=model, target=TARGET, sigma=sigma)
    other = standardized(x, model=renamed, target=target, sigma=sigma[names])
    assert (one.z == other.z).all()
    assert (one.beyond == other.beyond).all()


@given(mixed, st.sampled_from([25.4, 0.001]))
def test_standard_scores_have_no_unit(rows, scale):
    model, x = columns(rows)
    here = standardized(x, model=model, target=TARGET, sigma=1.0)
    there = standardized(x * scale, model=model, target=TARGET * scale, sigma=scale)
    assert there.z == pytest.approx(here.z, abs=1e-9)
    assert there.moving_range == pytest.approx(here.moving_range, abs=1e-9)
    assert (there.beyond == here.beyond).all()


def test_a_model_appears_from_its_first_instrument_and_is_judged():
    chart = standardized([10.1, 9.9, 200.3, 204.0], model=[0, 0, 1, 1], target=TARGET, sigma=[0.2, 1.0, 1.0, 1.0])
    assert chart.z == pytest.approx([0.5, -0.5, 0.3, 4.0])
    assert chart.beyond.tolist() == [False, False, False, True]


def test_a_reading_on_the_limit_is_not_beyond_it():
    assert not standardized([0.25 + 0.3, 0.1 + 0.2 + 0.25], model=[2, 2], target=TARGET, sigma=0.1).beyond.any()


def test_streams_do_not_touch():
    chart = standardized([10.0, 11.0, 10.0, 12.0], [0, 2], model=[0] * 4, target=TARGET, sigma=1.0)
    assert chart.moving_range.tolist() == [0.0, 1.0, 0.0, 2.0]


@given(st.lists(st.lists(st.integers(-20, 20), min_size=3, max_size=9), min_size=2, max_size=4))
def test_the_question_whether_models_scatter_alike_gives_the_textbook_statistic(groups):
    # Brown & Forsythe 1974: Levene's test round the median, as scipy has it
    x, model = (
        np.array([v for group in groups for v in group], dtype=float),
        np.repeat(np.arange(len(groups)), [len(group) for group in groups]),
    )
    found = alike(x, model=model)
    with np.errstate(all="ignore"):
        wanted = levene(*groups, center="median")
    if np.isfinite(wanted.statistic) and found.f > 0:
        assert (found.f, found.p_value) == pytest.approx((wanted.statistic, wanted.pvalue), rel=1e-9)
        assert found.fair == (wanted.pvalue >= 0.05)


def test_pooling_is_called_unfair_when_one_model_scatters_three_times_as_much():
    rng = np.random.default_rng(81)
    model = np.repeat([0, 1, 2], 40)
    same, wild = rng.normal(0, 1, 120), rng.normal(0, np.array([1, 1, 3])[model])
    assert alike(same, model=model).fair
    assert not alike(wild, model=model).fair


@pytest.mark.parametrize("size", [15, 60])
def test_pooling_that_is_fair_is_called_unfair_no_oftener_than_alpha_says(size):
    rng = np.random.default_rng(82)
    model = np.repeat([0, 1, 2], size)
    unfair = np.mean([not alike(x, model=model).fair for x in rng.normal(size=(1000, 3 * size))])
    assert 0.001 < unfair < 0.05 + 3 * np.sqrt(0.05 * 0.95 / 1000)


def test_order_does_not_matter_and_models_with_two_readings_say_nothing():
    x, model = np.array([1.0, 4.0, 2.0, 8.0, 3.0, 9.0, 5.0, 7.0]), np.array([0, 1, 0, 1, 0, 1, 2, 2])
    one, other = alike(x, model=model), alike(x[::-1], model=model[::-1])
    assert one == other
    assert one.models == 2
    assert one == alike(x[:-2], model=model[:-2])


def test_models_that_never_move_scatter_alike_and_one_that_does_not_scatter_unlike():
    still = [0] * 4 + [1] * 4
    assert alike([1.0] * 4 + [2.0] * 4, model=still).fair
    assert not alike([0.0, 0.0, 2.0, 2.0] + [4.0] * 4, model=still).fair


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: deviations([], model=[], target=TARGET), "no reading"),
        (lambda: deviations([1.0], model=[0], target=TARGET), "1 reading"),
        (lambda: deviations([1.0, 2.0], model=[0], target=TARGET), "model of each of 2 readings; got 1"),
        (lambda: deviations([1.0, 2.0], model=[0, 4], target=TARGET), "numbered from 0 to 3"),
        (lambda: deviations([1.0, 2.0], model=[0, 1], target=[1.0, np.nan]), "model 1 has no target"),
        (lambda: deviations([1.0, np.nan], model=[0, 0], target=TARGET), "missing"),
        (lambda: standardized([1.0], model=[0], target=TARGET, sigma=0.0), "sigma above 0"),
        (lambda: alike([1.0, 2.0, 3.0, 4.0, 5.0], model=[0, 0, 0, 1, 1]), "at least two models"),
    ],
)
def test_what_cannot_be_charted_is_refused_in_words(call, message):
    with pytest.raises(UnusableData, match=message):
        call()

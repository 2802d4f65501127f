import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.methods.problems import UnusableData
from analysis.methods.sequential import expected, plan, verdict, wald_lines

MADE = plan(0.05, 0.15)
TARGETS = [(0.05, 0.15, 0.05, 0.10), (0.02, 0.10, 0.05, 0.10), (0.10, 0.30, 0.10, 0.05)]


def test_the_lines_are_those_of_the_handbook_example():
    # NIST/SEMATECH e-Handbook, section 6.2.6: p1 = .01, p2 = .10, risks .05 and .10; -0.939, 1.205 and slope 0.0397
    # (from memory).
    h1, h2, slope = wald_lines(0.01, 0.10, 0.05, 0.10)
    assert (h1, h2, slope) == (
        pytest.approx(0.939, abs=6e-4),
        pytest.approx(1.205, abs=6e-4),
        pytest.approx(0.0397, abs=6e-5),
    )
    made = plan(0.01, 0.10)
    assert made.shown_at[22:24].tolist() == [-1, 0]  # 24 good ones are the first that show it
    assert made.not_shown_at[0:2].tolist() == [2, 2]  # the first two bad ones deny it


@pytest.mark.parametrize("target", TARGETS)
def test_both_risks_hold_exactly(target):
    good, poor, risk_good, risk_poor = target
    made = plan(good, poor, risk_good=risk_good, risk_poor=risk_poor)
    found = expected(made, [good, poor])
    assert 1 - found.shown[0] <= risk_good
    assert found.shown[1] <= risk_poor
    assert (found.instruments <= made.longest).all()
    assert (found.half_done_by <= made.longest).all()


def test_expectations_by_walking_agree_with_counting_every_path():
    made = plan(0.2, 0.7, risk_good=0.2, risk_poor=0.2, longest=None)
    p, length = 0.4, made.longest
    assert length <= 16
    shown = steps = 0.0
    for path in range(2**length):
        bits = [(path >> i) & 1 for i in range(length)]
        word, at = verdict(made, bits)
        chance = p ** sum(bits) * (1 - p) ** (length - sum(bits))
        assert word != "too few"
        shown, steps = shown + chance * (word == "shown"), steps + chance * at
    found = expected(made, p)
    assert (found.shown[0], found.instruments[0]) == (pytest.approx(shown, abs=1e-9), pytest.approx(steps, abs=1e-9))


@pytest.mark.parametrize("target", [*TARGETS, (0.05, 0.60, 0.40, 0.40)])
def test_the_longest_run_is_the_first_of_its_steps_that_keeps_both_risks(target):
    # From one poor one expected on, a tenth longer each time: every shorter one is refused.
    good, poor, risk_good, risk_poor = target
    steps = [int(np.ceil(1 / poor))]
    made = plan(good, poor, risk_good=risk_good, risk_poor=risk_poor)
    while steps[-1] < made.longest:
        with pytest.raises(UnusableData, match="too few to keep risks"):
            plan(good, poor, risk_good=risk_good, risk_poor=risk_poor, longest=steps[-1])
        steps.append(max(steps[-1] + 1, int(np.ceil(steps[-1] * 1.1))))
    assert made.longest == steps[-1]


@settings(max_examples=40)
@given(st.lists(st.integers(0, 1), max_size=150), st.integers(0, 150))
def test_what_comes_after_a_verdict_changes_nothing(results, cut):
    made = MADE
    word, at = verdict(made, results)
    if word == "too few":
        assert at == len(results) < made.longest
    else:
        assert verdict(made, results[:at]) == (word, at)
        assert verdict(made, results[:at] + [1] * cut) == (word, at)
        assert verdict(made, results[: at - 1])[0] == "too few"


def test_better_hands_are_shown_more_often():
    found = expected(plan(0.05, 0.15), np.linspace(0, 0.5, 11))
    assert (np.diff(found.shown) < 0).all()


def test_a_test_cut_too_short_for_its_risks_is_refused():
    with pytest.raises(UnusableData, match="too few to keep risks"):
        plan(0.05, 0.15, longest=20)
    with pytest.raises(UnusableData, match="further apart"):
        plan(0.10, 0.11)
    with pytest.raises(UnusableData, match="good < poor"):
        plan(0.15, 0.05)
    with pytest.raises(UnusableData, match="in time order"):
        verdict(plan(0.05, 0.15), [0, 2])
    assert verdict(plan(0.05, 0.15), []) == ("too few", 0)


@pytest.mark.promise
@pytest.mark.parametrize("target", TARGETS)
def test_both_risks_hold_in_simulation(target):
    # Full size: tests.trials.sequential_risks.
    good, poor, risk_good, risk_poor = target
    made = plan(good, poor, risk_good=risk_good, risk_poor=risk_poor)
    rng = np.random.default_rng(20260907)
    for p, wrong, risk in ((good, "not shown", risk_good), (poor, "shown", risk_poor)):
        ends = [verdict(made, row) for row in rng.random((2000, made.longest)) < p]
        assert np.mean([word == wrong for word, _ in ends]) <= risk + 2.5 * np.sqrt(risk * (1 - risk) / 2000)
        assert np.mean([at for _, at in ends]) == pytest.approx(expected(made, p).instruments[0], rel=0.06)

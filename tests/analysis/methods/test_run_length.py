"""How long zone rules, order rules and charts of means run until they signal."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods import run_length as subject
from analysis.methods.problems import UnusableData
from analysis.methods.run_length import ORDER_NODES, ZONE_RULES, run_length, xbar_arl, xbar_width
from analysis.methods.run_rules import ALL, BEYOND, CLIMB, FOUR_OF_FIVE, ONE_SIDE, SAWTOOTH, TWO_OF_THREE, run_rules

PUBLISHED = Path(__file__).parents[2] / "published"
SETS = {"1": (BEYOND,), "12": (BEYOND, TWO_OF_THREE), "13": (BEYOND, FOUR_OF_FIVE), "14": (BEYOND, ONE_SIDE)}


@pytest.mark.parametrize("rules", SETS)
def test_supplementary_run_rules_as_printed(rules: str) -> None:
    # Champ & Woodall (1987), Technometrics 29, Table 1; their one-side rule wants 8 in a row
    case = json.loads((PUBLISHED / "champ-woodall-1-12-13-14.json").read_text())
    got = [run_length(SETS[rules], shift=shift, one_side=8).mean for shift in case["data"]["shifts"]]
    assert got == pytest.approx(case["published"][rules], abs=case["tolerance"]["default"])


@pytest.mark.parametrize("n", [1, 4])
def test_charts_of_means_as_printed(n: int) -> None:
    # Montgomery & Runger (2003), chapter 16, ARL of an X-bar chart with 3-sigma limits, printed to one decimal
    case = json.loads((PUBLISHED / "xbar-arl-n1-n4.json").read_text())
    assert xbar_arl(case["data"]["shifts"], n=n).tolist() == pytest.approx(
        case["published"][f"n{n}"], abs=case["tolerance"]["default"]
    )


def test_one_rule_alone_is_geometric() -> None:
    chart = run_length((BEYOND,), width=3.0)
    p = 1 / xbar_arl()
    assert chart.running(3000).tolist() == pytest.approx(((1 - p) ** np.arange(3001)).tolist())
    assert (chart.mean, chart.sd) == pytest.approx((1 / p, np.sqrt(1 - p) / p))
    assert chart.quantiles((0.1, 0.5, 0.9)).tolist() == [
        np.ceil(np.log(1 - share) / np.log(1 - p)) for share in (0.1, 0.5, 0.9)
    ]


def test_nine_on_one_side_is_a_run_of_a_fair_coin() -> None:
    # Feller, An Introduction to Probability Theory, volume 1, XIII.7: a run of r heads or tails waits (1 - p^r) / (q
    # p^r), with p = 1/2, r = 8
    assert run_length((ONE_SIDE,)).mean == pytest.approx(1 + (1 - 0.5**8) / 0.5**9)
    assert run_length((ONE_SIDE,), one_side=2).mean == pytest.approx(3.0)


def test_order_rules_do_not_depend_on_the_nodes() -> None:
    for rule in (CLIMB, SAWTOOTH):
        coarse, fine = (subject._order_run_length(rule, count) for count in (ORDER_NODES, 2 * ORDER_NODES))
        assert coarse.mean == pytest.approx(fine.mean, rel=1e-8)
        assert coarse.sd == pytest.approx(fine.sd, rel=1e-8)
        assert coarse.quantiles().tolist() == fine.quantiles().tolist()


def test_order_rules_begin_as_permutations_do() -> None:
    # Within the first k readings nothing can fire before the pattern is full: 2 of the 6! orders climb or fall;
    # alternating permutations of 14 number 2 x 199360981 (Euler's zigzag number).
    assert run_length((CLIMB,)).running(6)[5:].tolist() == pytest.approx([1.0, 1 - 2 / 720])
    assert run_length((SAWTOOTH,)).running(14)[13:].tolist() == pytest.approx([1.0, 1 - 2 * 199360981 / 87178291200])


@given(st.sets(st.sampled_from(ZONE_RULES), min_size=1, max_size=4), st.floats(0.05, 1.5))
def test_side_does_not_matter_and_one_rule_more_is_never_later(rules: set[str], shift: float) -> None:
    up, down = run_length(rules, shift=shift), run_length(rules, shift=-shift)
    assert up.mean == pytest.approx(down.mean, rel=1e-6)
    for other in ZONE_RULES:
        assert run_length(rules | {other}, shift=shift).mean <= up.mean * (1 + 1e-9)


def test_a_wished_run_length_is_given_back() -> None:
    assert float(xbar_arl(width=xbar_width(370.3983))) == pytest.approx(370.3983)


def test_what_cannot_be_computed_says_so() -> None:
    for rules in ((), ("nine",), (CLIMB, BEYOND)):
        with pytest.raises(UnusableData):
            run_length(rules)
    with pytest.raises(UnusableData, match="signal oftener"):
        run_length(("hugging",), shift=4.0)
    with pytest.raises(UnusableData, match="spread"):
        run_length(spread=0.0)
    with pytest.raises(UnusableData, match="between 0 and 1"):
        run_length().quantiles((1.0,))


@pytest.mark.promise
@pytest.mark.parametrize("rules", [*[(rule,) for rule in ALL], ZONE_RULES])
def test_run_rules_run_as_long_as_computed(rules: tuple[str, ...]) -> None:
    runs, n = 4000, 600
    readings = np.random.default_rng(20261126).normal(size=runs * n)
    fired = np.logical_or.reduce(
        list(run_rules(readings, np.arange(runs) * n, centre=0.0, sigma=1.0, rules=rules).fired.values())
    ).reshape(runs, n)
    chart = run_length(rules)
    first = np.where(fired.any(axis=1), fired.argmax(axis=1) + 1, n)
    wanted = float(chart.running(n - 1).sum())  # mean of the shorter of run and n
    assert first.mean() == pytest.approx(wanted, abs=3 * first.std() / np.sqrt(runs))

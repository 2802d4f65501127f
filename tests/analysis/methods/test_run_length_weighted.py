"""Run lengths of EWMA and CUSUM charts."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods import run_length_weighted as subject
from analysis.methods.problems import UnusableData
from analysis.methods.run_length import xbar_arl
from analysis.methods.run_length_weighted import (
    cusum_arl,
    cusum_interval,
    ewma_arls,
    ewma_rate_dependent,
    ewma_run_length,
)
from analysis.methods.weighted import ewma

PUBLISHED = Path(__file__).parents[2] / "published"


def case(name: str) -> Any:
    return json.loads((PUBLISHED / f"{name}.json").read_text())


@pytest.mark.parametrize("scheme", ["l40", "l25", "l10"])
def test_ewma_run_lengths_as_printed(scheme: str) -> None:
    # Lucas & Saccucci (1990), Technometrics 32, Table 3. The table is a Markov-chain approximation: 48.2 is 48.29 by
    # integral
    # equation, 15.9 is 15.85; hence one unit of the last digit instead of half where three digits are printed.
    printed = case("lucas-saccucci-a")
    weight, width = printed["data"]["schemes"][scheme]
    got = ewma_arls(width, printed["data"]["shifts"], weight=weight)
    for value, wanted in zip(got.tolist(), printed["published"][scheme], strict=True):
        assert value == pytest.approx(wanted, abs=0.5 if wanted >= 100 else 0.1 if wanted >= 10 else 0.05)


@pytest.mark.parametrize("scheme", ["h4", "h5"])
def test_cusum_run_lengths_as_printed(scheme: str) -> None:
    # Montgomery & Runger (2003), Table 16-9 (Lucas & Crosier 1982): half a unit of the third figure printed
    printed = case("cusum-arl-h4-h5")
    reference, interval, head = printed["data"]["schemes"][scheme]
    for shift, wanted in zip(printed["data"]["shifts"], printed["published"][scheme], strict=True):
        half_unit = 0.5 * 10.0 ** (math.floor(math.log10(wanted)) - 2)
        assert cusum_arl(interval, reference=reference, head=head, shift=shift) == pytest.approx(
            wanted, abs=half_unit * 1.001
        )


def test_intervals_for_a_run_of_370_as_printed() -> None:
    # Hawkins (1993), Quality Engineering 5; h printed to two decimals, so the run length is 370 within 2 %
    printed = case("cusum-hawkins-kh")
    for reference, interval, head in printed["data"]["schemes"].values():
        assert cusum_arl(interval, reference=reference, head=head) == pytest.approx(
            370, abs=printed["tolerance"]["default"]
        )
        assert cusum_interval(370.0, reference=reference) == pytest.approx(interval, abs=0.011)


def test_twice_the_nodes_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    few = ewma_arls([1.0, 2.814, 4.2, 6.0], 0.5, weight=0.1), cusum_arl(5.0), cusum_arl(8.01, reference=0.25)
    usual = subject._count
    monkeypatch.setattr(subject, "_count", lambda widest: 2 * usual(widest) + 1)
    subject._cusum_one_sided.cache_clear()
    many = ewma_arls([1.0, 2.814, 4.2, 6.0], 0.5, weight=0.1), cusum_arl(5.0), cusum_arl(8.01, reference=0.25)
    assert few[0].tolist() == pytest.approx(many[0].tolist(), rel=1e-8)
    assert few[1:] == pytest.approx(many[1:], rel=1e-8)


@given(st.floats(0.5, 4), st.floats(-3, 3))
def test_weight_one_is_a_chart_of_single_readings(width: float, shift: float) -> None:
    for start in ("centre", "steady"):
        assert float(ewma_arls(width, shift, weight=1.0, start=start)) == pytest.approx(
            float(xbar_arl(shift, width=width)), rel=1e-6
        )


@given(st.floats(1, 4), st.floats(0, 3), st.sampled_from([0.05, 0.1, 0.2, 0.4]))
def test_side_does_not_matter_and_growing_limits_signal_sooner(width: float, shift: float, weight: float) -> None:
    final = float(ewma_arls(width, shift, weight=weight))
    assert float(ewma_arls(width, -shift, weight=weight)) == pytest.approx(final, rel=1e-7)
    assert 1 <= float(ewma_arls(width, shift, weight=weight, limits="growing")) <= final * (1 + 1e-9)


def test_a_head_start_shortens_the_run() -> None:
    # Lucas & Crosier (1982): h = 5, k = 0.5 with head start 2.5 runs 430 in control and 6.35 at one sigma (from memory)
    assert cusum_arl(5.0, head=2.5) == pytest.approx(430, abs=0.5)
    assert cusum_arl(5.0, head=2.5, shift=1.0) == pytest.approx(6.35, abs=0.01)
    assert cusum_arl(5.0, sides=1) == pytest.approx(2 * cusum_arl(5.0))


def test_an_interval_gives_back_its_run_length() -> None:
    for share in (0.0, 0.5):
        interval = cusum_interval(500.0, head_share=share)
        assert cusum_arl(interval, head=share * interval) == pytest.approx(500.0)


def test_the_distribution_agrees_with_the_mean_and_with_the_runs() -> None:
    for shift in (0.0, 1.0):
        whole = ewma_run_length(2.814, weight=0.1, shift=shift)
        assert whole.mean == pytest.approx(float(ewma_arls(2.814, shift, weight=0.1)))
        assert whole.running(20_000).sum() == pytest.approx(whole.mean, rel=1e-9)
        low, middle, high = whole.quantiles((0.1, 0.5, 0.9))
        assert low < middle < high
        assert whole.running(int(middle))[-1] <= 0.5 < whole.running(int(middle) - 1)[-1]
    in_control = ewma_run_length(2.814, weight=0.1)
    assert in_control.sd == pytest.approx(in_control.mean, rel=0.05)  # nearly geometric


def test_independent_readings_are_the_correlated_case_at_zero() -> None:
    # two different computations: the chain of successive averages, and the integral equation of one
    for width in (3.0, 3.688, 4.5):
        arl = float(ewma_arls(width, weight=0.1))
        assert ewma_rate_dependent(width, 0.0, weight=0.1) * arl == pytest.approx(1.0, abs=0.012)


def test_impossible_charts_say_what_was_wanted() -> None:
    with pytest.raises(UnusableData, match="width"):
        ewma_arls([3.0, 0.0], weight=0.1)
    with pytest.raises(UnusableData, match="head start"):
        cusum_arl(4.0, head=5.0)
    with pytest.raises(UnusableData, match="wished"):
        cusum_interval(1.0)


@pytest.mark.promise
@pytest.mark.parametrize(("width", "shift"), [(2.0, 0.0), (2.3, 0.0), (2.814, 1.0), (2.814, -0.5)])
def test_the_ewma_chart_runs_as_long_as_computed(width: float, shift: float) -> None:
    runs, n = 4000, 3000 if shift == 0 else 400
    readings = np.random.default_rng(20261127).normal(shift, size=runs * n)
    beyond = ewma(readings, np.arange(runs) * n, centre=0.0, sigma=1.0, width=width).beyond.reshape(runs, n)
    assert beyond.any(axis=1).mean() > 0.999
    first = beyond.argmax(axis=1) + 1
    wanted = float(ewma_arls(width, shift, weight=0.1, limits="growing"))
    assert first[beyond.any(axis=1)].mean() == pytest.approx(wanted, abs=3 * first.std() / np.sqrt(runs))

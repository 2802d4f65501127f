import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.methods.capability import Indices, bissell, indices, normal_ppm, one_sided_exact, spread_bounds
from analysis.methods.constants import d2
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

FIELDS = list(Indices.__dataclass_fields__)


def of_case(printed, **more):
    data = printed.data
    return indices(data["mean"], data["sd"], data["sd"], 30, lower=data["LSL"], upper=data["USL"], **more)


def test_the_handbook_example_has_its_printed_indices():
    # NIST/SEMATECH e-Handbook, section 6.1.6.
    printed = case("nist-capability")
    found, close = of_case(printed), tolerance(printed, "")
    data = printed.data
    above = indices(data["mean"], data["sd"], data["sd"], 30, upper=data["USL"])
    below = indices(data["mean"], data["sd"], data["sd"], 30, lower=data["LSL"])
    for got, name in (
        (found.cp, "Cp"),
        (found.cpk, "Cpk"),
        (above.cpk, "Cpu"),
        (below.cpk, "Cpl"),
        (found.pp, "Cp"),
        (found.ppk, "Cpk"),
    ):
        assert got == pytest.approx(printed.published[name], abs=close), name
    assert 1 - found.cpk / found.cp == pytest.approx(printed.published["k"], abs=close)
    assert np.isnan([above.cp, above.pp, below.cp, below.pp]).all()


def test_the_hard_bake_process_has_its_printed_index():
    # Montgomery, Introduction to Statistical Quality Control, 6th ed., example 6.1.
    printed = case("hard-bake-capability")
    assert of_case(printed).cp == pytest.approx(printed.published["Cp"], abs=tolerance(printed, "Cp"))


def test_a_process_on_target_has_equal_indices():
    # Boyles 1991, process A, as in Montgomery, section 8.3; cpm after Chan, Cheng & Spiring 1988.
    printed = case("boyles-cpm-process-A")
    found = of_case(printed, target=printed.data["target"])
    assert (found.cp, found.cpk, found.cpm) == tuple(
        pytest.approx(printed.published[name], abs=1e-9) for name in ("Cp", "Cpk", "Cpm")
    )


def test_pp_has_the_printed_interval():
    # Montgomery, 6th ed., example 8.4: bounds of the plain index from s.
    printed = case("montgomery-cp-ci")
    data, close = printed.data, tolerance(printed, "")
    found = indices(50.0, data["s"], data["s"], data["n"], lower=data["LSL"], upper=data["USL"])
    got = (found.pp, found.pp_low, found.pp_high)
    assert got == tuple(pytest.approx(printed.published[name], abs=close) for name in ("Cp_hat", "lower", "upper"))


def test_expected_rejects_are_those_of_the_handbook():
    # NIST/SEMATECH e-Handbook, section 6.1.6: printed to one or two figures, so within 5 %.
    printed = case("nist-cp-reject-rates")
    cp = np.array(printed.data["Cp"])
    assert normal_ppm(0.0, 1.0, -3 * cp, 3 * cp) == pytest.approx(printed.published["ppm_two_sided"], rel=0.05)


def test_bounds_of_ppk_have_the_half_widths_another_program_gave():
    # Three decimals; the formula after Bissell 1990.
    for n, widths in case("trade/quality_evidence").cpk_ci["half_width_95"].items():
        for index, half in widths.items():
            low, high = bissell(float(index), int(n), int(n) - 1)
            assert (high - low) / 2 == pytest.approx(half, abs=6e-4)


def test_bounds_follow_the_definition_with_its_three_digits():
    found = indices(1.0, 0.5, 0.6, 40, lower=0.0, upper=4.0)
    ppk = 1 / 1.8
    half = 1.96 * (1 / 360 + ppk**2 / 78) ** 0.5
    assert (found.ppk_low, found.ppk_high) == (
        pytest.approx(ppk - half, abs=1e-15),
        pytest.approx(ppk + half, abs=1e-15),
    )
    assert (found.cp_low, found.cp_high) == spread_bounds(found.cp, 0.605 * 39)


def test_exact_bounds_agree_with_printed_tolerance_factors():
    # ppk that leaves 5 % of normal readings at 95 % confidence is the one-sided factor over 3: k(10, .95, .95) = 2.911
    # (Owen 1963).
    low, _ = one_sided_exact(2.911 / 3, 10, level=0.90)
    assert 3 * low == pytest.approx(1.645, abs=1e-3)


def test_what_does_not_exist_is_nan_and_nothing_else_is():
    none = indices(1.0, 0.5, 0.5, 20)
    assert all(np.isnan(getattr(none, name)) for name in FIELDS)
    flat = indices(1.0, 0.0, 0.0, 20, target=1.0, lower=0.0, upper=2.0)
    assert all(np.isnan(getattr(flat, name)) for name in FIELDS)
    single = indices(1.0, np.nan, np.nan, 1, target=1.0, lower=0.0, upper=2.0)
    assert all(np.isnan(getattr(single, name)) for name in FIELDS)
    one_sided = indices(1.0, 0.5, 0.5, 20, target=1.0, upper=2.0)
    missing = {name for name in FIELDS if np.isnan(getattr(one_sided, name))}
    assert missing == {name for name in FIELDS if name.startswith(("cp", "pp")) and "k" not in name}
    full = indices(1.0, 0.5, 0.5, 20, target=1.0, lower=0.0, upper=2.0)
    assert not any(np.isnan(getattr(full, name)) for name in FIELDS)
    assert np.isnan(normal_ppm(1.0, 0.0, 0.0, 2.0))
    assert normal_ppm(1.0, 1.0) == 0


rows = st.tuples(
    st.floats(-5, 5),
    st.floats(0.01, 3),
    st.floats(0.01, 3),
    st.integers(2, 500),
    st.floats(-9, -1),
    st.floats(1, 9),
    st.floats(-1, 1),
)


@given(st.lists(rows, min_size=1, max_size=8))
def test_unit_mirror_and_many_rows_at_once_change_nothing(many):
    mean, short, long, n, low, high, aim = map(np.array, zip(*many, strict=True))
    together = indices(mean, short, long, n, target=aim, lower=low, upper=high)
    inch = indices(mean * 25.4, short * 25.4, long * 25.4, n, target=aim * 25.4, lower=low * 25.4, upper=high * 25.4)
    mirror = indices(-mean, short, long, n, target=-aim, lower=-high, upper=-low)
    for name in FIELDS:
        got = getattr(together, name)
        assert getattr(inch, name) == pytest.approx(got, rel=1e-9, abs=1e-12)
        assert getattr(mirror, name) == pytest.approx(got, rel=1e-12, abs=1e-12)
        for i in range(len(many)):
            alone = indices(mean[i], short[i], long[i], n[i], target=aim[i], lower=low[i], upper=high[i])
            assert getattr(alone, name) == got[i]
    assert normal_ppm(mean, long, low, high) == pytest.approx(normal_ppm(-mean, long, -high, -low), rel=1e-12)


@given(rows)
def test_indices_keep_their_order(row):
    mean, short, long, n, low, high, _ = row
    found = indices(mean, short, long, n, target=(low + high) / 2, lower=low, upper=high)
    assert found.cpk <= found.cp + 1e-12
    assert found.ppk <= found.pp + 1e-12
    assert found.cpm <= found.pp + 1e-12
    assert found.ppk_low < found.ppk < found.ppk_high
    assert found.cp_low < found.cp < found.cp_high


@pytest.mark.parametrize("limits", [{"lower": 2.0, "upper": 2.0}, {"lower": 3.0, "upper": 2.0}])
def test_limits_the_wrong_way_round_are_refused(limits):
    with pytest.raises(UnusableData, match="mend the spec"):
        indices(1.0, 0.5, 0.5, 20, **limits)


@pytest.mark.promise
@pytest.mark.parametrize("n", [10, 30, 100])
@pytest.mark.parametrize(("true", "off"), [(1.33, 0.0), (1.33, 1.0), (0.67, 0.5)])
def test_bounds_cover_within_two_points(n, true, off):
    # The limits sit 3 x true sigma below the mean and `off` sigma further above it; full size:
    # tests.trials.capability_bounds.
    rng = np.random.default_rng(20260901)
    x = rng.standard_normal((20_000, n))
    low, high = -3 * true, 3 * true + off
    moving = np.abs(np.diff(x, axis=1)).mean(axis=1) / d2(2)
    found = indices(x.mean(axis=1), moving, x.std(axis=1, ddof=1), n, lower=low, upper=high)
    cp = (high - low) / 6
    for lower, upper, truth in (
        (found.cp_low, found.cp_high, cp),
        (found.pp_low, found.pp_high, cp),
        (found.cpk_low, found.cpk_high, true),
        (found.ppk_low, found.ppk_high, true),
        (*one_sided_exact(found.ppk, n), true),
    ):
        assert ((lower <= truth) & (truth <= upper)).mean() == pytest.approx(0.95, abs=0.02)

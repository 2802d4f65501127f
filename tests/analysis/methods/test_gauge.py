import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy import stats
from statsmodels.stats.anova import anova_lm

from analysis.methods.gauge import by_range, crossed, cube, d2_star, k1, k2, k3, nested
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

STUDY = case("aiag-grr-10x3x3")
X = np.array(STUDY.data["x"])
cubes = arrays.arrays(
    np.float64,
    st.tuples(st.integers(2, 5), st.integers(1, 4), st.integers(2, 4)),
    elements=st.integers(-40, 40).map(lambda k: k / 8),
)


def test_the_analysis_of_variance_is_the_printed_one():
    # AIAG MSA, chapter III B: 10 parts, 3 appraisers, 3 trials.
    found, want = crossed(X), STUDY.published
    for name, line in found.table.items():
        assert line.ss == pytest.approx(want["SS"][name], abs=tolerance(STUDY, "SS"))
        assert line.df == want["df"][name]
        if name in want["MS"]:
            assert line.ms == pytest.approx(want["MS"][name], abs=tolerance(STUDY, "MS"))
    assert found.table["interaction"].f == pytest.approx(want["F"]["interaction"], abs=tolerance(STUDY, "F"))
    assert found.pooled


def test_the_shares_of_spread_are_the_printed_ones():
    study, want = crossed(X).study, STUDY.published
    got = {"EV": study.repeatability, "AV": study.reproducibility, "GRR": study.rr, "PV": study.part, "TV": study.total}
    for name, sd in got.items():
        assert sd == pytest.approx(want["sd_reduced"][name], abs=tolerance(STUDY, "sd_reduced"))
    for name, share in want["pct_reduced"].items():
        assert 100 * got[name] / study.total == pytest.approx(share, abs=tolerance(STUDY, "pct_reduced"))
    assert study.share_of_spread == study.rr / study.total
    assert study.share_of_tolerance(4.0) == pytest.approx(6 * study.rr / 4)


def test_the_range_method_is_the_printed_one():
    # The form uses K to four decimals; ours are computed, which moves nothing beyond the printed digits.
    study, want = by_range(X), STUDY.published
    got = {"EV": study.repeatability, "AV": study.reproducibility, "GRR": study.rr, "PV": study.part, "TV": study.total}
    for name, sd in got.items():
        assert sd == pytest.approx(want["range_method"][name], abs=tolerance(STUDY, "range_method"))
        if name != "TV":
            assert 100 * sd / study.total == pytest.approx(want["range_pct"][name], abs=tolerance(STUDY, "range_pct"))
    assert study.ndc == want["range_ndc_int"]


def test_the_factors_of_the_range_method_are_the_printed_ones():
    # AIAG MSA, report form and appendix C (d2* after Duncan).
    printed = case("aiag-k-factors")
    data, want, close = printed.data, printed.published, tolerance(printed, "")
    assert [k1(r) for r in data["K1_trials"]] == pytest.approx(want["K1"], abs=close)
    assert [k2(o) for o in data["K2_appraisers"]] == pytest.approx(want["K2"], abs=close)
    assert [k3(p) for p in data["K3_parts"]] == pytest.approx(want["K3"], abs=close)
    assert [d2_star(m, g) for g, m in data["g_m"]] == pytest.approx(want["d2star"], abs=tolerance(printed, "d2star"))


def test_rows_in_any_order_make_the_same_cube():
    part, operator, _ = (index.ravel() for index in np.indices(X.shape))
    order = np.random.default_rng(1).permutation(X.size)
    got = cube(X.ravel()[order], part[order], np.array(["a", "b", "c"])[operator[order]])
    assert np.array_equal(np.sort(got, axis=2), np.sort(X, axis=2))
    assert crossed(got).study.rr == pytest.approx(crossed(X).study.rr, rel=1e-12)


def test_a_study_with_a_hole_is_refused_with_what_to_do():
    with pytest.raises(UnusableData, match="measure what is missing"):
        cube([1.0, 2.0, 3.0], ["p1", "p1", "p2"], ["a", "b", "a"])
    with pytest.raises(UnusableData, match="at least twice"):
        crossed(np.ones((3, 1, 1)))
    with pytest.raises(UnusableData, match="two parts"):
        crossed(np.ones((1, 2, 2)))
    with pytest.raises(UnusableData, match="missing"):
        crossed(np.full((2, 2, 2), np.nan))


def test_one_reader_has_no_reproducibility_and_one_trial_is_judged_by_the_interaction():
    alone = crossed(X[:, :1])
    assert alone.study.reproducibility == 0
    assert alone.study.repeatability == pytest.approx(np.sqrt(X[:, 0].var(axis=1, ddof=1).mean()))
    single = crossed(X[:, :, :1])
    assert single.pooled
    assert single.study.repeatability == pytest.approx(np.sqrt(single.table["interaction"].ms))


def test_readings_that_never_differ_have_no_gauge_error_and_no_categories():
    study = crossed(np.ones((3, 2, 2))).study
    assert (study.rr, study.part, study.ndc) == (0, 0, None)
    assert np.isnan(study.share_of_spread)


@given(cubes)
def test_sums_of_squares_add_up_whatever_the_order_or_unit(x):
    found = crossed(x)
    parts = sum(found.table[name].ss for name in ("part", "operator", "interaction", "repeatability"))
    assert parts == pytest.approx(found.table["total"].ss, rel=1e-9, abs=1e-9)
    turned = crossed(x[::-1, ::-1, ::-1])
    inch = crossed(x * 25.4)
    for name in ("repeatability", "reproducibility", "rr", "part", "total"):
        sd = getattr(found.study, name)
        assert getattr(turned.study, name) == pytest.approx(sd, rel=1e-6, abs=1e-6)
        assert getattr(inch.study, name) == pytest.approx(25.4 * sd, rel=1e-6, abs=1e-5)
    assert found.study.rr**2 + found.study.part**2 == pytest.approx(found.study.total**2, rel=1e-9, abs=1e-12)


@pytest.mark.promise
@pytest.mark.parametrize("nested_study", [False, True])
def test_variances_come_out_right_on_average(nested_study):
    # Without interaction, so that pooling is right; 20 parts, 6 readers, so that few variances are cut at 0.
    rng = np.random.default_rng(20260903)
    found = []
    for _ in range(1500):
        reader = rng.normal(0, 0.5, 6)
        if nested_study:
            x = reader[:, None, None] + rng.normal(0, 1, (6, 20, 1)) + rng.normal(0, 0.3, (6, 20, 3))
            study = nested(x)
        else:
            study = crossed(reader[None, :, None] + rng.normal(0, 1, (20, 1, 1)) + rng.normal(0, 0.3, (20, 6, 3))).study
        found.append([study.repeatability**2, study.reproducibility**2, study.part**2])
    assert np.mean(found, axis=0) == pytest.approx([0.09, 0.25, 1.0], rel=0.05)


def apart(interaction):
    """A study whose readers differ, and differ from part to part."""
    rng = np.random.default_rng(20281201)
    parts, readers, both = rng.normal(size=(8, 1, 1)), rng.normal(size=(1, 3, 1)), rng.normal(size=(8, 3, 1))
    return 2 * parts + readers + interaction * both + 0.3 * rng.normal(size=(8, 3, 2))


@pytest.mark.parametrize("interaction", [0.0, 1.0])
def test_the_table_is_that_of_least_squares_and_the_shares_follow_from_its_mean_squares(interaction):
    x = apart(interaction)
    part, reader, _ = (index.ravel() for index in np.indices(x.shape))
    frame = pd.DataFrame({"x": x.ravel(), "part": part, "reader": reader})
    both = anova_lm(smf.ols("x ~ C(part) * C(reader)", frame).fit())
    found = crossed(x)
    rows = {"part": "C(part)", "operator": "C(reader)", "interaction": "C(part):C(reader)", "repeatability": "Residual"}
    for name, row in rows.items():
        assert (found.table[name].ss, found.table[name].df) == (pytest.approx(both["sum_sq"][row]), both["df"][row])
        assert found.table[name].ms == pytest.approx(both["mean_sq"][row])
    assert found.table["interaction"].p == pytest.approx(both["PR(>F)"]["C(part):C(reader)"])
    assert found.pooled == (interaction == 0)
    plain = anova_lm(smf.ols("x ~ C(part) + C(reader)", frame).fit())
    inside = plain["mean_sq"]["Residual"] if found.pooled else both["mean_sq"]["Residual"]
    under = inside if found.pooled else both["mean_sq"]["C(part):C(reader)"]
    for name in ("part", "operator"):
        f = both["mean_sq"][rows[name]] / under
        below = plain["df"]["Residual"] if found.pooled else 14
        assert (found.table[name].f, found.table[name].p) == (
            pytest.approx(f), pytest.approx(stats.f.sf(f, found.table[name].df, below))
        )  # fmt: skip
    crossing = 0.0 if found.pooled else (under - inside) / 2
    between = (both["mean_sq"]["C(reader)"] - under) / 16 + crossing
    assert found.study.repeatability**2 == pytest.approx(inside)
    assert found.study.reproducibility**2 == pytest.approx(between)
    assert found.study.part**2 == pytest.approx((both["mean_sq"]["C(part)"] - under) / 6)
    assert found.study.rr**2 == pytest.approx(inside + between)
    total = found.table["total"]
    assert (total.ss, total.df) == (pytest.approx(x.var() * x.size), 47)
    assert np.isnan([total.f, total.p, found.table["repeatability"].f]).all()


def test_a_nested_study_has_the_mean_squares_of_its_own_parts():
    x = apart(1.0).transpose(1, 0, 2)  # readers, parts of each, trials
    found = nested(x)
    error = x.var(axis=2, ddof=1).mean()
    part = 2 * x.mean(axis=2).var(axis=1, ddof=1).mean()
    reader = 16 * x.mean(axis=(1, 2)).var(ddof=1)
    assert found.repeatability**2 == pytest.approx(error)
    assert found.part**2 == pytest.approx((part - error) / 2)
    assert found.reproducibility**2 == pytest.approx(max((reader - part) / 16, 0))
    with pytest.raises(UnusableData, match="two trials a part"):
        nested(x[:, :, :1])
    with pytest.raises(UnusableData, match="two parts a reader"):
        nested(x[:, :1])
    assert nested(x[:2, :2]).repeatability > 0
    with pytest.raises(UnusableData, match="two trials or more"):
        by_range(apart(0.0)[:, :, :1])

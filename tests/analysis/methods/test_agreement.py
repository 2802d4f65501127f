import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from statsmodels.stats import inter_rater

from analysis.methods.agreement import cohen_kappa, cross_table, fleiss_kappa, intraclass
from analysis.methods.problems import UnusableData
from tests.published.cases import case, tolerance

squares = arrays.arrays(np.int64, st.integers(2, 5).map(lambda k: (k, k)), elements=st.integers(0, 20)).filter(
    lambda x: x.sum() > 0
)


@pytest.mark.parametrize("pair", case("aiag-attribute-kappa").published)
def test_pairs_of_appraisers_have_the_printed_kappa(pair):
    # AIAG MSA, chapter III C: 50 parts judged three times.
    printed = case("aiag-attribute-kappa")
    assert cohen_kappa(printed.data["tables"][pair]).kappa == pytest.approx(
        printed.published[pair]["kappa"], abs=tolerance(printed, pair)
    )


def test_thirty_patients_have_the_printed_agreement():
    # Fleiss 1971, tables 1 and 2; z with the variance of Fleiss, Nee & Landis 1979, as the case notes.
    printed = case("fleiss-1971")
    found, want, close = fleiss_kappa(printed.data["counts"]), printed.published, tolerance(printed, "")
    assert found.shares == pytest.approx(want["p_j"], abs=close)
    assert (found.observed, found.by_chance) == (
        pytest.approx(want["P_bar"], abs=close),
        pytest.approx(want["P_e"], abs=close),
    )
    assert found.kappa == pytest.approx(want["kappa"], abs=close)
    assert found.by_class == pytest.approx(want["kappa_j"], abs=close)
    assert found.z == pytest.approx(want["z"], abs=tolerance(printed, "z"))


def test_six_targets_have_the_printed_correlations():
    # Shrout & Fleiss 1979, tables 2 to 4.
    printed = case("shrout-fleiss-icc")
    found = intraclass(printed.data["x"])
    names = {"BMS": "between", "WMS": "within", "JMS": "judges", "EMS": "residual"}
    for name, value in printed.published.items():
        assert getattr(found, names.get(name, name.lower())) == pytest.approx(value, abs=tolerance(printed, name)), name


@settings(max_examples=40)
@given(squares)
def test_kappa_agrees_with_statsmodels_and_minds_no_order(table):
    found = cohen_kappa(table)
    if np.isnan(found.kappa):
        assert found.by_chance == pytest.approx(1)
        return
    assert found.kappa == pytest.approx(inter_rater.cohens_kappa(table, return_results=False), abs=1e-9)
    assert cohen_kappa(table.T).kappa == pytest.approx(found.kappa, abs=1e-12)
    assert cohen_kappa(table[::-1, ::-1]).kappa == pytest.approx(found.kappa, abs=1e-12)
    assert found.kappa <= 1 + 1e-12


@settings(max_examples=40)
@given(st.lists(st.lists(st.integers(0, 3), min_size=4, max_size=4), min_size=2, max_size=12))
def test_fleiss_kappa_agrees_with_statsmodels(judgements):
    counts = np.array([[row.count(k) for k in range(4)] for row in judgements])
    found = fleiss_kappa(counts)
    if np.isnan(found.kappa):
        assert (counts > 0).any(axis=0).sum() == 1
    else:
        assert found.kappa == pytest.approx(inter_rater.fleiss_kappa(counts), abs=1e-9)


def test_full_agreement_is_one_and_one_class_only_cannot_be_told_from_chance():
    assert cohen_kappa([[10, 0], [0, 5]]).kappa == 1
    assert fleiss_kappa([[3, 0], [0, 3]]).kappa == 1
    assert np.isnan(cohen_kappa([[10, 0], [0, 0]]).kappa)
    assert np.isnan(fleiss_kappa([[3, 0], [3, 0]]).kappa)


def test_two_rows_of_words_make_a_table():
    table = cross_table(["buzz", "ok", "ok", "buzz"], ["buzz", "ok", "buzz", "buzz"])
    assert table.tolist() == [[2, 0], [1, 1]]


def test_each_judge_s_offset_counts_in_agreement_but_not_in_consistency():
    x = np.array([[1.0, 3.0], [2.0, 4.0], [5.0, 7.0]])
    found = intraclass(x)
    assert found.icc31 == pytest.approx(1)
    assert found.icc21 < 1


@pytest.mark.parametrize(
    "call",
    [
        lambda: cohen_kappa([[1, 2, 3]]),
        lambda: cohen_kappa([[0, 0], [0, 0]]),
        lambda: fleiss_kappa([[3, 0], [1, 1]]),
        lambda: fleiss_kappa([[1, 0]]),
        lambda: intraclass([[1.0, 2.0]]),
        lambda: cross_table(["a"], ["a", "b"]),
    ],
)
def test_what_cannot_be_compared_is_refused(call):
    with pytest.raises(UnusableData):
        call()

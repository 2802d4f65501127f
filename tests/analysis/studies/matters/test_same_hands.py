"""Hands at an earlier bench are no other cause than those that set it, where they are the same on all that passed."""

import numpy as np

from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import SET_BY, TECH_AT
from tests.analysis.studies.drifting import shop, snapshot

MODELS = ("M0", "M1", "M2")


def test_a_bench_that_only_some_models_pass_names_its_hands_no_second_time():
    rng, n = np.random.default_rng([20310108, 1]), 2400
    day = np.repeat(np.arange(80), 30)
    model, who = np.array(MODELS)[rng.integers(0, 3, n)], np.array(["T0", "T1", "T2"])[rng.integers(0, 3, n)]
    relief = 0.2 + 0.1 * (rng.normal(size=n) + 1.5 * ((who == "T1") & (day >= 65)))
    hours = (day // 5 * 7 + day % 5) * 24.0 + np.tile(np.arange(30) / 4, 80)
    early = np.where(model == "M2", "", who)  # one model has no frets to do
    shown = snapshot(shop(MODELS), {("relief", ""): relief}, model=model, hours=hours, setter=who, early=early)
    (one,) = [each for each in shown.once(open_matters) if each.moves_with.named]
    assert [(cause.factor, cause.value) for cause in one.moves_with.named] == [(SET_BY, "T1")]
    assert TECH_AT not in {cause.factor for cause in one.moves_with.candidates}

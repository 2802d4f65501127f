"""Whoever comes to where everybody's readings lie moved nothing that a shop has to look at; whoever leaves it did."""

import numpy as np
import pytest

from analysis.studies.drift.signals import signals
from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.to_usual import came_to_usual
from tests.analysis.studies.drifting import shop, snapshot

N, EACH = 2400, 0.05


def bench(off: np.ndarray):
    """Three people on one model; `off` (n,) is what the newcomer sets beside the others, who were there before."""
    rng = np.random.default_rng(20281130)
    who = np.where(np.arange(N) < 900, rng.choice(["T1", "T2"], N), rng.choice(["T1", "T2", "New"], N))
    values = 0.3 + EACH * (rng.normal(size=N) + off * (who == "New"))
    return snapshot(shop(), {("relief", ""): values}, setter=who)


def own_moves(made) -> list[tuple[str, int]]:
    """Open signals of the newcomer's own charts: which way, and how many came to what is usual."""
    judged = made.once(signals)
    came = came_to_usual(judged)
    rows = [*judged.found.with_columns(came=came[0]).iter_rows(named=True)]
    rows += [*judged.others.with_columns(came=came[1]).iter_rows(named=True)]
    return [(one["side"], one["came"]) for one in rows if one["tech"] == "New" and one["opened_last"] is not None]


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_newcomer_who_learned_moved_nothing(way):
    learned = way * np.where(np.arange(N) < 1250, 1.2, 0.0)
    made = bench(learned)
    back = [came for side, came in own_moves(made) if side == -way]
    assert back
    assert all(back)
    assert not any("New" in one.techs for one in made.once(open_matters))


def test_whoever_leaves_what_is_usual_is_told():
    made = bench(np.where(np.arange(N) < 1700, 0.0, -1.2))
    assert any(side < 0 and not came for side, came in own_moves(made))
    assert [one for one in made.once(open_matters) if one.size is not None and one.size < 0]


def test_whoever_went_beyond_it_is_told_too():
    made = bench(np.where(np.arange(N) < 1250, 1.0, -1.0))
    assert any(side < 0 and not came for side, came in own_moves(made))

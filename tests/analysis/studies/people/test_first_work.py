"""First work against first work: repairs stand apart, one outlier is nobody's yardstick, and the first weeks pass."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.people.first_work import first_work, of_late, tech_rows
from analysis.studies.people.techs import people
from tests.analysis.studies.measured import made, visit


def instruments(rng, share, *, days=60, repairs=None):
    """Each of `share` ({tech: share or f(day)}) sets two a day; who is in `repairs` puts right all that came back, and
    half of that comes back again.
    """
    rows = []
    for k, (day, tech) in enumerate((day, tech) for day in range(days) for tech in [*share, *share]):
        s, at, bad = f"S{k:04d}", 24.0 * day + k % 8, share[tech]
        rows.append(visit(s, at, "bridge", tech=tech))
        again = rng.random() < (bad(day) if callable(bad) else bad)
        while again:
            at += 1
            rows.append(visit(s, at, "play", "send back", tech="T9", cause="bridge"))
            rows.append(visit(s, at + 0.5, "bridge", tech=(repairs or [tech])[k % len(repairs or [tech])]))
            again = rng.random() < 0.5
        rows.append(visit(s, at + 24, "final", tech="T8"))
    return made(rows)


def told(study, snapshot):
    return {row["tech"]: row for row in study(snapshot).filter(pl.col("stage") == "bridge").iter_rows(named=True)}


def test_whoever_repairs_all_that_came_back_is_held_by_their_own_first_work():
    snapshot = instruments(np.random.default_rng(81), {"A": 0.2, "B": 0.2, "C": 0.2}, repairs=["A", "B"])
    rows, sent = told(first_work, snapshot), told(people, snapshot)
    assert sent["A"]["ratio"] > 1.5 > sent["C"]["ratio"]  # send-backs, as the figures define them
    for tech in "ABC":
        row = rows[tech]
        assert row["ratio"] == pytest.approx(row["came_back"] / row["expected"])
        assert row["ratio_low"] < 1 < row["ratio_high"]
        assert row["charged"] == row["came_back"] + row["repairs_back"]
    assert (rows["C"]["repairs"], rows["C"]["repairs_back"]) == (0, 0)
    assert rows["A"]["repairs_back"] > 10


def test_one_of_whom_more_comes_back_is_no_yardstick_for_the_others():
    rows = told(first_work, instruments(np.random.default_rng(82), {"A": 0.1, "B": 0.1, "C": 0.1, "D": 0.6}))
    assert [rows[tech]["not_held"] for tech in "ABCD"] == [1, 1, 1, 0]
    assert rows["D"]["more"]
    for tech in "ABC":
        others = sum(rows[one]["came_back"] for one in "ABC" if one != tech) / 2
        assert rows[tech]["expected"] == pytest.approx(others, rel=0.3)  # with D among them it is twice that and more
        assert not rows[tech]["more"]


def test_the_file_of_figures_expects_what_the_page_does_and_says_the_same_of_the_funnel():
    snapshot = instruments(np.random.default_rng(84), {"A": 0.1, "B": 0.1, "C": 0.1, "D": 0.6})
    page, file = told(first_work, snapshot), told(tech_rows, snapshot)
    every = told(people, snapshot)
    for tech in "ABCD":
        assert file[tech]["expected"] == page[tech]["expected"]
        assert file[tech]["outside_funnel"] == page[tech]["outside_funnel"] == (tech == "D")
        assert file[tech]["ratio"] == pytest.approx(file[tech]["charged"] / file[tech]["expected"])
        assert file[tech]["ratio_low"] < file[tech]["ratio"] < file[tech]["ratio_high"]
    assert every["A"]["expected"] > 1.5 * file["A"]["expected"]  # with D among the others


def test_the_first_weeks_pass_and_a_lasting_difference_does_not():
    rng = np.random.default_rng(83)
    share = {"A": 0.1, "B": 0.1, "NEW": lambda day: 0.7 if day < 30 else 0.1, "BAD": 0.45}
    snapshot = instruments(rng, share, days=120)
    new, bad = (of_late(snapshot, stage="bridge", tech=tech) for tech in ("NEW", "BAD"))
    assert new.over
    assert not bad.over
    assert new.judged == pytest.approx(120, abs=4)
    assert of_late(snapshot, stage="final", tech="T8") is None

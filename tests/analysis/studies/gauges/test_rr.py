"""Gauge studies as rows of figures: shares, categories, and what is null."""

import polars as pl
import pytest

from analysis.methods.gauge import crossed, cube
from analysis.studies.gauges.rr import GAUGES, rr_share, study_rows
from tests.analysis.studies.measured import made, visit

# three parts, two readers, two trials: worked through by hand below
READ = {
    ("p1", "A"): (1.0, 1.2),
    ("p1", "B"): (1.1, 1.1),
    ("p2", "A"): (2.0, 2.2),
    ("p2", "B"): (2.3, 2.1),
    ("p3", "A"): (3.0, 3.0),
    ("p3", "B"): (3.1, 3.3),
}


def trials(study="s1", characteristic="relief", read=READ):
    same = {"log_id": "g", "study": study, "characteristic": characteristic}
    rows = ((part, tech, trial, value) for (part, tech), pair in read.items() for trial, value in enumerate(pair, 1))
    return pl.DataFrame(
        [
            same | {"line": line, "part": part, "tech": tech, "trial": str(trial), "value": value}
            for line, (part, tech, trial, value) in enumerate(rows)
        ]
    )


def rows(frame, specs=None, **more):
    return study_rows(made([visit("A", 0, "play")], specs, frames={"gauge_trials": frame}, **more))


def test_the_figures_are_those_of_the_analysis_of_variance():
    wide = {"characteristic": "relief", "lower": 0.0, "upper": 4.0}
    found = rows(trials(), [wide, wide | {"model": "LARK", "upper": 3.0}])
    row = found.row(0, named=True)
    # by hand: sums of squares part 8.0067 (2), reader .03 (1), both .02 (2), trials .08 (6); the interaction (p > .05)
    # is pooled: .1 on 8
    inside = 0.1 / 8
    repeat, reader, part = inside, max(0.0, (0.03 - inside) / 6), (8.0066667 / 2 - inside) / 4
    assert row["repeatability"] == pytest.approx(repeat**0.5, rel=1e-6)
    assert row["reproducibility"] == pytest.approx(reader**0.5, rel=1e-6)
    assert row["rr"] == pytest.approx((repeat + reader) ** 0.5, rel=1e-6)
    assert row["part"] == pytest.approx(part**0.5, rel=1e-5)
    assert row["total"] == pytest.approx((repeat + reader + part) ** 0.5, rel=1e-5)
    assert row["ndc"] == int(1.41 * (part / (repeat + reader)) ** 0.5)
    assert row["share_of_spread"] == pytest.approx(row["rr"] / row["total"])
    assert row["share_of_tolerance"] == pytest.approx(6 * row["rr"] / 3.0)  # the narrowest tolerance on file
    assert found.schema == GAUGES


def test_the_order_of_rows_and_the_names_of_readers_do_not_matter():
    shuffled = trials().sample(fraction=1.0, shuffle=True, seed=3)
    assert rows(shuffled).equals(rows(trials()))


def test_a_study_with_a_gap_has_a_row_of_nulls_and_does_not_hide_the_others():
    frame = pl.concat([trials(), trials("s2")[:-1]])
    found = {row["study"]: row for row in rows(frame).iter_rows(named=True)}
    assert found["s1"]["rr"] is not None
    assert all(found["s2"][name] is None for name in GAUGES if name not in ("study", "characteristic"))


def test_without_a_tolerance_its_share_is_null_and_without_studies_there_is_no_row():
    assert rows(trials())["share_of_tolerance"].to_list() == [None]
    assert study_rows(made([visit("A", 0, "play")])).is_empty()


def test_readers_who_always_agree_leave_no_limit_to_the_categories():
    same = {pair: (float(pair[0][1]),) * 2 for pair in READ}
    row = rows(trials(read=same)).row(0, named=True)
    assert (row["rr"], row["share_of_spread"], row["ndc"]) == (0.0, 0.0, None)


def test_of_several_studies_the_worst_speaks_for_the_characteristic():
    loud = {pair: (a, b + 0.5) for pair, (a, b) in READ.items()}
    snapshot = made([visit("A", 0, "play")], frames={"gauge_trials": pl.concat([trials(), trials("s2", read=loud)])})
    frame = trials("s2", read=loud)
    worst = crossed(
        cube(frame["value"].to_numpy(), frame["part"].to_numpy(), frame["tech"].to_numpy())
    ).study.share_of_spread
    assert rr_share(snapshot) == {"relief": pytest.approx(worst)}

"""The story against a second telling of it in plain Python, on small shops full of mischief."""

import polars as pl
import pytest

from analysis.studies.story.story import story
from tests.analysis.studies import recount
from tests.analysis.studies.random_shops import random_shop, snapshot_of

SEEDS = range(40)


def without_circles(made, visits: pl.DataFrame) -> pl.DataFrame:
    """Leaves out instruments whose unclocked rows contradict the clocked ones: their order is ours to choose."""
    rows = visits.to_dicts()
    circular = {
        serial
        for serial in visits["serial"].unique()
        if recount.runs_in_a_circle(made, [row for row in rows if row["serial"] == serial])
    }
    return visits.filter(~pl.col("serial").is_in(list(circular)))


@pytest.mark.parametrize("dateless", [0.1, 0.6, 1.0])
@pytest.mark.parametrize("seed", SEEDS)
def test_visits_and_loops_match_a_plain_recount(seed, dateless):
    made, visits, faults = random_shop(seed, dateless=dateless)
    visits = without_circles(made, visits)
    snapshot = snapshot_of(made, visits, faults)
    told = recount.tell(made, visits.to_dicts(), faults.to_dicts(), snapshot.as_of)
    ours = snapshot.once(story)
    rows = [row for rows in told.values() for row in rows]
    same = [
        "serial",
        "line",
        "log_id",
        "stage",
        "model",
        "outcome",
        "round",
        "pass_no",
        "minutes",
        "minutes_from",
        "day",
    ]
    assert ours.visits.select(same).to_dicts() == [{name: row[name] for name in same} for row in rows]
    backs = [row for row in rows if "loop" in row]
    assert ours.loops.select("serial", "caught_at", "caused_at", "confirmed", "fault", "charged").to_dicts() == [
        {
            "serial": row["serial"],
            "caught_at": row["stage"],
            "caused_at": row["caused_at"],
            "confirmed": row["confirmed"],
            "fault": row["faults"][0] if row["faults"] else "",
            "charged": row["charged"],
        }
        for row in backs
    ]
    assert ours.loops["minutes"].to_list() == [row["loop"]["minutes"] for row in backs]
    assert ours.loops["hours"].to_list() == pytest.approx([row["loop"]["hours"] for row in backs], abs=0, rel=1e-15)
    closed = [row["loop"]["closed"] for row in backs]
    assert ours.visits["line"].gather(ours.loops["closing_visit"]).to_list() == [row and row["line"] for row in closed]
    parents = [row["loop"]["parent"] and row["loop"]["parent"]["caught"]["line"] for row in backs]
    assert ours.visits["line"].gather(ours.loops["visit"]).gather(ours.loops["parent"]).to_list() == parents
    asked = [row for row in rows if row["caused_at"]]
    assert ours.caused.select("serial", "kind", "caused_at", "charged").rows() == [
        (row["serial"], row["outcome"], row["caused_at"], row["charged"]) for row in asked
    ]


def test_the_shops_hold_what_the_recount_should_meet():
    """Mischief that never happens tests nothing."""
    stories = [snapshot_of(*random_shop(seed)).once(story) for seed in SEEDS]
    loops = pl.concat([told.loops for told in stories])
    visits = pl.concat([told.visits.whole() for told in stories])
    assert set(loops["closed_by"].unique()) == {"", "stage", "round", "reject", "second", "pulled"}
    assert loops["parent"].is_not_null().sum() > 50
    assert set(visits["minutes_from"].unique()) == {"typed", "clock", "planned"}
    assert visits["round"].max() > 2
    assert ((visits["outcome_typed"] == "open") & (visits["outcome"] == "pass")).sum() > 50


@pytest.mark.parametrize("seed", range(6))
def test_the_order_of_rows_never_matters(seed):
    made, visits, faults = random_shop(seed, dateless=0.4)
    once = snapshot_of(made, visits, faults).once(story)
    again = snapshot_of(made, visits.sample(fraction=1.0, shuffle=True, seed=seed), faults).once(story)
    assert once.visits.whole().equals(again.visits.whole())
    for name in ("loops", "caused", "instruments"):
        assert getattr(once, name).equals(getattr(again, name))


@pytest.mark.parametrize("seed", range(6))
def test_minutes_of_loops_never_exceed_minutes_of_repeats(seed):
    told = snapshot_of(*random_shop(seed)).once(story)
    repeats = told.visits.filter((pl.col("pass_no") > 1) | (pl.col("role") == "repair"))
    assert told.loops["minutes"].sum() <= repeats["minutes"].sum()
    assert told.loops["minutes"].sum() == pytest.approx(told.visits["loop_minutes"].sum(), rel=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_every_send_back_is_one_loop(seed):
    told = snapshot_of(*random_shop(seed)).once(story)
    assert told.loops["visit"].to_list() == told.visits.filter(pl.col("outcome") == "send back")["visit"].to_list()

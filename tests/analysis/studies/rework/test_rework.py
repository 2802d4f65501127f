"""Tables of rework: by hand on small benches, and against a plain recount on shops full of mischief."""

from datetime import UTC, date, datetime

import polars as pl
import pytest

from analysis.studies.rework.rework import (
    answers,
    flows,
    on_the_bench,
    send_backs,
    stages,
    straight_through,
    travels,
    weeks,
    where_on,
)
from analysis.studies.rework.yields import rolled_yields, stage_yields
from analysis.studies.story.scope import Scope
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies import recount
from tests.analysis.studies.benches import bench, shop
from tests.analysis.studies.random_shops import random_shop, snapshot_of
from tests.analysis.studies.test_story_recount import without_circles

SEEDS = range(25)
# Two judged instruments and one still at the nut. A: play sent it back to the nut (nut 8 + bridge 6 + play 4 = 18
# minutes, 3 hours); frets were
# put right at play, cause confirmed. B: straight. C is not judged, but its send-back (nut 8 minutes so far; to as_of 2
# hours) counts.
BENCH = """
    A 2 8 nut pass tech=T1
    A 2 9 bridge pass
    A 2 10 play send_back sent_back_to=nut fault=buzz;dead_note fault_at=x
    A 2 11 nut pass
    A 2 12 bridge pass
    A 2 13 play fixed cause=frets fault=high_fret
    A 3 9 final pass
    A 3 10 packing pass
    B 2 9 nut pass
    B 2 10 play pass
    B 9 9 final hold
    C 9 8 nut pass
    C 9 10 play send_back cause=supplier
    C 9 11 nut pass
    B 9 12 final pass"""


@pytest.fixture
def snapshot() -> Snapshot:
    return bench(BENCH.replace(" fault_at=x", ""))


def test_stages_by_hand(snapshot):
    table = {row["stage"]: row for row in stages(snapshot).to_dicts()}
    # Nut: A twice and B once, 3 visits of 8 minutes; both first visits passed; A's came back, so half held.
    assert table["nut"] == {
        "stage": "nut",
        "instruments": 2,
        "visits": 3,
        "minutes": 24.0,
        "yield_caught": 1.0,
        "yield_caused": 0.5,
        "caught_here": 0,
        "caused_here": 1,
        "loop_minutes": 18.0,
        "loop_hours": 3.0,
        "loop_cost": 18.0,
    }
    # Play: A's first was a send-back, B's passed. Three visits of judged instruments; C's send-back is caught here all
    # the same.
    assert (
        table["play"]["yield_caught"],
        table["play"]["yield_caused"],
        table["play"]["visits"],
        table["play"]["caught_here"],
    ) == (0.5, 1.0, 3, 2)
    # Final: B's first was a hold. Frets: caused A's fix but no judged instrument came there: no yield.
    assert (table["final"]["instruments"], table["final"]["yield_caught"]) == (2, 0.5)
    assert (table["frets"]["instruments"], table["frets"]["yield_caused"], table["frets"]["minutes"]) == (0, None, 0.0)
    assert table["supplier"] == {
        "stage": "supplier",
        "instruments": 0,
        "visits": 0,
        "minutes": 0.0,
        "yield_caught": None,
        "yield_caused": None,
        "caught_here": 0,
        "caused_here": 1,
        "loop_minutes": 8.0,
        "loop_hours": 2.0,
        "loop_cost": 8.0,
    }
    assert list(table)[-3:] == ["supplier", "handling", "unknown"]


def test_send_backs_by_hand(snapshot):
    # Several faults: once, under its first.
    assert send_backs(snapshot).rows() == [
        ("nut", "play", "buzz", 1, 18.0, 3.0, 18.0),
        ("supplier", "play", "", 1, 8.0, 2.0, 8.0),
    ]


def test_weeks_by_hand(snapshot):
    # A is judged in the week of 2 March, B at its first final on the 9th. Rolled: A nut 1, bridge 1, play 0 -> 0; B:
    # nut 1, play 1, final 0 -> 0.
    signals = pl.DataFrame({"opened_at": [datetime(2026, 3, 10, 9, tzinfo=UTC)] * 2})
    assert weeks(snapshot, signals).rows() == [
        (date(2026, 3, 2), 1, 1, 0.0, 0.0, 18.0, 18.0, 0, 0),
        (date(2026, 3, 9), 0, 1, 0.0, 1.0, 8.0, 8.0, 2, 0),
    ]


def test_set_aside_belongs_to_the_week_of_its_line_or_the_one_before():
    asked = pl.DataFrame(
        {"log_id": ["log"] * 4 + ["other"], "line": [1, 2, 5, 9, 1], "column": ["relief", "", "", "", ""]}
    )
    visits = pl.DataFrame(
        {
            "log_id": "log",
            "line": [1, 4, 7],
            "serial": "A",
            "model": "LARK",
            "stage": "nut",
            "outcome": "pass",
            "time_known": True,
            "finished_at": [datetime(2026, 3, day, tzinfo=UTC) for day in (2, 9, 16)],
        }
    )
    table = weeks(Snapshot.of(shop(), visits=visits, set_aside=asked))
    # Lines 1 and 2 go with line 1, line 5 with line 4, line 9 with line 7; a log of which nothing was accepted has no
    # week.
    assert table["set_aside"].to_list() == [2, 1, 1]


def test_rolled_yield_of_a_route_by_hand():
    # Nut: 3 of 4 straight, play: 2 of 4: rolled 3/8; never sent back: 3 of 4 (one was only fixed).
    made = bench(
        "\n".join(
            [
                f"S{i} 2 8 nut pass\nS{i} 2 9 play {outcome}\nS{i} 3 9 final pass"
                for i, outcome in enumerate(["pass", "pass", "fixed"])
            ]
            + ["S3 2 8 nut hold\nS3 2 9 play send_back\nS3 3 9 final pass"]
        )
    )
    row = rolled_yields(made).row(0, named=True)
    assert (row["model"], row["judged"], row["rolled_yield"], row["never_sent_back"]) == ("LARK", 4, 0.375, 0.75)
    assert row["rolled_low"] < 0.375 < row["rolled_high"] <= 1


def test_rolled_yields_by_family_and_week_weigh_their_models():
    # Week of the 2nd: LARK 1 of 2 straight at the nut, WREN 1 of 1: by family 0.5 and 1; together (2 x 0.5 + 1) / 3.
    made = bench("""
        A 2 8 nut pass
        A 3 9 final pass
        B 2 8 nut hold
        B 3 9 final pass
        C 2 8 nut pass model=WREN
        C 3 9 final pass model=WREN""")
    assert rolled_yields(made, by=("family",)).select("family", "judged", "rolled_yield").rows() == [
        ("banjo", 1, 1.0),
        ("tenor ukulele", 2, 0.5),
    ]
    assert rolled_yields(made, by=("week",)).select("week", "rolled_yield").rows() == [
        (date(2026, 3, 2), pytest.approx(2 / 3))
    ]
    everything = rolled_yields(made, by=()).row(0, named=True)
    assert everything["rolled_yield"] == pytest.approx(2 / 3)
    assert everything["rolled_low"] < 2 / 3 < everything["rolled_high"]


def test_a_shop_without_a_final_inspection_judges_at_packing():
    stages_of = [{"key": "nut", "minutes": 5}, {"key": "packing", "role": "packing", "minutes": 5}]
    made = bench(
        "A 2 8 nut pass\nA 9 9 packing pass\nB 2 8 nut pass", stage=stages_of, characteristic=[{"key": "relief"}]
    )
    assert made.once(story).instruments.select("serial", "judged", "week").rows() == [
        ("A", True, date(2026, 3, 9)),
        ("B", False, None),
    ]
    assert stages(made)["yield_caught"].to_list()[:2] == [1.0, 1.0]


def test_a_repair_stage_is_no_part_of_the_route():
    made = bench("A 2 8 nut pass\nA 2 9 luthier hold\nA 3 9 final pass")
    assert rolled_yields(made)["rolled_yield"].to_list() == [1.0]


def test_flows_split_what_is_confirmed_and_sum_to_the_total(snapshot):
    made = flows(snapshot)
    assert made.rows.select(
        "caused_at", "caught_at", "count", "minutes", "minutes_confirmed", "stages_back"
    ).rows() == [("nut", "play", 1, 18.0, 0.0, 2), ("supplier", "play", 1, 8.0, 8.0, None)]
    assert made.total.row(0) == (2, 1, 26.0, 5.0, 26.0, 1, 1.0, 0, 0.0)


def test_a_rest_gone_through_again_is_counted_with_its_hours():
    made = bench("""
        A 2 8 nut pass
        A 2 9 rest pass
        A 3 9 final send_back sent_back_to=nut
        A 3 10 nut pass
        A 4 10 rest pass
        A 4 12 final pass""")
    assert flows(made).total.select("rests", "rest_hours").row(0) == (1, 24.0)


def test_answers_other_than_send_backs(snapshot):
    assert answers(snapshot).rows() == [("fixed", "frets", "play", "high fret", 1, 1)]


def test_travels_by_hand(snapshot):
    # A: nut (ended 8:00) to play 10:00, two stages along, the bridge's 6 minutes between, 1/12 of a day. The frets were
    # never visited: not known.
    [row] = travels(snapshot).to_dicts()
    assert (row["caused_at"], row["stages"], row["minutes"]) == ("nut", 2, 6.0)
    assert row["days"] == pytest.approx(2 / 24)


def test_where_on_the_instrument():
    faults = pl.DataFrame(
        {"log_id": "l", "line": [1, 2, 3], "stage": "play", "fault": "buzz", "fault_at": ["2 fret 7", "2 fret 7", ""]}
    )
    visits = pl.DataFrame(
        {
            "log_id": "l",
            "line": [1, 2, 3],
            "serial": ["A", "B", "C"],
            "model": "LARK",
            "stage": "play",
            "outcome": "fixed",
            "time_known": True,
            "finished_at": [datetime(2026, 3, 2, tzinfo=UTC)] * 3,
        }
    )
    assert where_on(Snapshot.of(shop(), visits=visits, faults=faults)).rows() == [("LARK", "buzz", "2 fret 7", 2, 2)]


def test_the_bench_shows_its_oldest_first(snapshot):
    assert on_the_bench(snapshot).select("serial", "standing", "last_stage").rows() == [
        ("B", "bench", "final"),
        ("C", "bench", "nut"),
    ]


def test_a_scope_keeps_to_its_weeks_and_models(snapshot):
    second = Scope(first=date(2026, 3, 9))
    assert straight_through(snapshot) == (1, 2)
    assert straight_through(snapshot, second) == (1, 1)
    assert send_backs(snapshot, second)["caused_at"].to_list() == ["supplier"]
    assert weeks(snapshot, scope=Scope(last=date(2026, 3, 2)))["week"].to_list() == [date(2026, 3, 2)]
    assert send_backs(snapshot, Scope(models=("WREN",))).is_empty()
    assert stage_yields(snapshot, Scope(families=("banjo",)))["instruments"].sum() == 0


def test_an_empty_shop_has_tables_without_a_finding():
    made = Snapshot.of(shop(), visits=tables.empty(tables.VISITS))
    assert stages(made)["loop_minutes"].sum() == 0.0
    assert stages(made)["yield_caught"].null_count() == 13
    assert [
        table.height
        for table in (send_backs(made), weeks(made), flows(made).rows, answers(made), travels(made), where_on(made))
    ] == [0] * 6
    assert flows(made).total.row(0) == (0, 0, 0.0, 0.0, 0.0, 0, 0.0, 0, 0.0)


@pytest.mark.parametrize("seed", SEEDS)
def test_figures_match_a_plain_recount(seed):
    made, visits, faults = random_shop(seed, instruments=30)
    visits = without_circles(made, visits)
    snapshot = snapshot_of(made, visits, faults)
    told = recount.tell(made, visits.to_dicts(), faults.to_dicts(), snapshot.as_of)
    same_rows(stages(snapshot), ["stage"], recount.stages(made, told))
    same_rows(weeks(snapshot).drop("signals_opened", "set_aside"), ["week"], recount.weeks(made, told))
    expected = recount.send_backs(made, told)
    assert {row[:3]: list(row[3:]) for row in send_backs(snapshot).rows()} == {
        key: pytest.approx(sums, rel=1e-13) for key, sums in expected.items()
    }


def same_rows(table: pl.DataFrame, key: list[str], expected: dict) -> None:
    assert [row[key[0]] for row in table.to_dicts()] == list(expected)
    for row in table.to_dicts():
        wanted = expected[row[key[0]]]
        assert {name: row[name] for name in wanted} == {
            name: value if value is None else pytest.approx(value, rel=1e-13, abs=0) for name, value in wanted.items()
        }


@pytest.mark.parametrize("seed", range(8))
def test_the_last_weeks_are_those_of_the_whole_table(seed):
    snapshot = snapshot_of(*random_shop(seed, instruments=30))
    every = weeks(snapshot)
    for first in every["week"]:
        assert weeks(snapshot, since=first).equals(every.filter(pl.col("week") >= first))


def test_the_last_digits_of_the_last_weeks_hang_on_no_other_week():
    snapshot = snapshot_of(*random_shop(3, instruments=990))  # some 1,500 loops
    every = weeks(snapshot)
    for first in every["week"][1:]:
        assert weeks(snapshot, since=first).equals(every.filter(pl.col("week") >= first))


def test_of_the_demo_the_last_weeks_are_those_of_the_whole_table(demo):
    every = weeks(demo)  # rows were set aside in it
    assert every["set_aside"].sum() > 0
    for first in every["week"][4:14:3]:
        assert weeks(demo, since=first).equals(every.filter(pl.col("week") >= first))


@pytest.mark.parametrize("seed", range(8))
def test_every_send_back_stands_once_whatever_the_table(seed):
    snapshot = snapshot_of(*random_shop(seed, instruments=30))
    first_round = snapshot.once(story).visits.filter((pl.col("outcome") == "send back") & (pl.col("round") == 1)).height
    by_stage = stages(snapshot)
    assert (
        first_round
        == send_backs(snapshot)["count"].sum()
        == by_stage["caught_here"].sum()
        == by_stage["caused_here"].sum()
    )
    assert first_round == flows(snapshot).rows["count"].sum()
    for name in ("loop_minutes", "loop_hours", "loop_cost"):
        assert by_stage[name].sum() == pytest.approx(send_backs(snapshot)[name].sum(), rel=1e-12)
    assert weeks(snapshot)["loop_minutes"].sum() == pytest.approx(by_stage["loop_minutes"].sum(), rel=1e-12)

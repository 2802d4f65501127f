"""Which readings are as built, as set and as shipped, which spec held for each, and what lies outside."""

from datetime import date

import polars as pl
import pytest

from analysis.studies.drift.streams import received_readings
from analysis.studies.story.conformity import BUILT, SET, SHIPPED, as_built, as_set, judged_readings, with_specs
from analysis.studies.story.lookup import Behind, readings
from analysis.studies.story.story import story
from tests.analysis.studies.measured import made, visit

SPEC = {"characteristic": "relief", "target": 0.2, "lower": 0.1, "upper": 0.3}
BENCH = [
    visit("A", 0, "neck", tech="T1"),
    visit("A", 1, "play", readings={"relief": 0.31}, left={"relief": 0.25}),
    visit("A", 30, "final", "send back", readings={"relief": 0.4}, left={"relief": 0.28}),
    visit("A", 31, "neck", tech="T2"),
    visit("A", 32, "play", readings={"relief": 0.22}),
    visit("A", 33, "final", readings={"relief": 0.21}, left={"relief": 0.19}),
    visit("A", 34, "packing"),
    visit("A", 500, "final", "return", readings={"relief": 0.9}),
    visit("B", 2, "neck", tech="T1"),
    visit("B", 3, "play", readings={"relief": 0.1}),
]


def told(rows):
    return rows.select("serial", "value", "set_by", "outside").rows()


def test_as_built_is_the_first_play_test_as_set_the_first_final_and_as_shipped_the_last_word_of_the_round():
    snapshot = made(BENCH, [SPEC])
    assert told(as_built(snapshot)) == [("A", 0.31, "T1", True), ("B", 0.1, "T1", False)]
    assert told(as_set(snapshot)) == [("A", 0.4, "T1", True)]
    assert told(judged_readings(snapshot, SHIPPED)) == [
        ("A", 0.19, "T2", False)
    ]  # left, at the last final visit; the return is another round


def test_as_shipped_takes_what_was_found_where_nothing_was_left():
    rows = [visit("A", 1, "final", readings={"action bass": 2.0, "action treble": 1.8}, left={"action bass": 2.1})]
    assert dict(judged_readings(made(rows), SHIPPED).select("position", "value").rows()) == {"bass": 2.1, "treble": 1.8}


def test_what_is_judged_of_some_is_what_is_judged_of_them_among_all():
    more = [visit("C", 4, "play", readings={"relief": 0.2}), visit("C", 5, "final", readings={"relief": 0.5})]
    snapshot = made([*BENCH, *more], [SPEC])
    for when in (BUILT, SET, SHIPPED):
        every = judged_readings(snapshot, when)
        for serials in (["A"], ["C", "B"], []):
            some = judged_readings(snapshot, when, pl.Series(serials, dtype=pl.String))
            assert some.equals(every.filter(pl.col("serial").is_in(serials)).select(some.columns))


ONE = {"key": "relief", "quantity": "length"}


def test_where_the_final_bench_sets_what_it_left_is_as_set_and_what_it_found_is_received():
    rows = [
        visit("A", 1, "final", tech="T1", readings={"relief": 0.4}, left={"relief": 0.22}),
        visit("B", 2, "final", tech="T1", readings={"relief": 0.2}),
        visit("C", 3, "final", tech="T1", left={"relief": 0.35}),
    ]
    one_bench = made(rows, [SPEC], characteristic=[ONE | {"set_at": "final"}])
    assert told(as_set(one_bench)) == [("A", 0.22, "T1", False), ("B", 0.2, "T1", False), ("C", 0.35, "T1", True)]
    assert received_readings(one_bench).select("serial", "value").rows() == [("A", 0.4)]
    behind = readings(one_bench, asked=Behind(characteristic="relief"))
    assert sorted(behind.select("serial", "value").rows()) == [("A", 0.22), ("B", 0.2), ("C", 0.35)]
    inspected = made(rows, [SPEC], characteristic=[ONE | {"set_at": "neck"}])
    assert as_set(inspected).select("serial", "value").rows() == [("A", 0.4), ("B", 0.2)]


LEFT = [
    visit("A", 1, "final", left={"relief": 0.22, "action bass": 2.2}),
    visit("B", 2, "final", left={"relief": 0.35}, readings={"action bass": 2.1}),
]


@pytest.mark.parametrize(
    ("names", "action"),
    [
        (("book 1.csv", "book 2.csv"), [("B", 2.1)]),  # one kind of sheet, which says somewhere what was found
        (("anna.csv", "bert.csv"), [("A", 2.2), ("B", 2.1)]),
    ],
)
def test_what_a_kind_of_sheet_only_says_as_left_at_a_stage_is_its_reading_there(names, action):
    rows = [row | {"log_id": str(n)} for n, row in enumerate(LEFT)]
    logs = pl.DataFrame({"log_id": ["0", "1"], "name": names})
    snapshot = made(rows, frames={"logs": logs}, characteristic=[ONE | {"set_at": "neck"}, {"key": "action"}])
    held = as_set(snapshot).sort("serial").select("characteristic", "serial", "value").rows()
    assert [row[1:] for row in held if row[0] == "relief"] == [("A", 0.22), ("B", 0.35)]
    assert [row[1:] for row in held if row[0] == "action"] == action


def test_of_a_sheet_that_says_found_elsewhere_what_was_left_alone_is_no_reading():
    rows = [*LEFT, visit("C", 3, "final", readings={"relief": 0.5})]
    inspected = made(rows, characteristic=[ONE | {"set_at": "neck"}, {"key": "action"}])
    assert as_set(inspected).filter(pl.col("characteristic") == "relief")["serial"].to_list() == ["C"]


def test_without_a_limit_nothing_is_said_to_be_outside():
    snapshot = made(BENCH, [SPEC | {"lower": None, "upper": None}])
    assert as_set(snapshot)["outside"].to_list() == [None]
    assert as_set(made(BENCH))["outside"].to_list() == [None]


def test_one_sided_limits_judge_one_side():
    rows = [visit("A", 1, "final", readings={"relief": 0.0}), visit("B", 2, "final", readings={"relief": 9.0})]
    assert as_set(made(rows, [SPEC | {"upper": None}]))["outside"].to_list() == [True, False]
    assert as_set(made(rows, [SPEC | {"lower": None}]))["outside"].to_list() == [False, True]


def test_the_fuller_row_wins_and_rows_are_not_merged():
    rows = [
        visit("A", 1, "final", readings={"action treble": 2.0}),
        visit("W", 2, "final", readings={"action treble": 2.0}, model="WREN"),
    ]
    specs = [
        {"characteristic": "action", "target": 1.0, "lower": 0.5, "upper": 1.5},
        {"characteristic": "action", "position": "treble", "family": "banjo", "target": 2.0, "lower": 1.5},
        {"characteristic": "action", "model": "LARK", "target": 3.0, "upper": 2.5},
    ]
    found = dict(as_set(made(rows, specs)).select("serial", pl.struct("target", "lower", "upper", "outside")).rows())
    assert found == {
        "A": {"target": 3.0, "lower": None, "upper": 2.5, "outside": False},
        "W": {"target": 2.0, "lower": 1.5, "upper": None, "outside": False},
    }


def test_the_date_that_counts_is_the_day_it_was_set_where_the_setter_is_known():
    new = SPEC | {"target": 0.1, "lower": 0.0, "upper": 0.15, "from_date": date(2026, 3, 3)}
    known = [visit("A", 0, "neck", tech="T1"), visit("A", 30, "final", readings={"relief": 0.2})]
    unknown = [visit("B", 0, "neck"), visit("B", 30, "final", readings={"relief": 0.2})]
    assert as_set(made(known, [SPEC, new]))["target"].to_list() == [0.2]
    assert as_set(made(unknown, [SPEC, new]))["target"].to_list() == [0.1]


def test_specs_may_hold_for_one_supplier_at_one_stage():
    rows = [
        visit("A", 0, "receiving", readings={"neck_bow": 0.2}, supplier="Oxbow", lot="1"),
        visit("B", 1, "receiving", readings={"neck_bow": 0.2}, supplier="Tansy", lot="2"),
    ]
    specs = [
        {"characteristic": "neck_bow", "stage": "receiving", "upper": 0.25},
        {"characteristic": "neck_bow", "stage": "receiving", "supplier": "Tansy", "upper": 0.15},
    ]
    snapshot = made(rows, specs)
    judged = with_specs(snapshot, snapshot.once(story).readings.whole())
    assert dict(judged.select("serial", "outside").rows()) == {"A": False, "B": True}


def test_readings_of_parts_and_of_no_value_are_not_judged():
    rows = [visit("", 0, "final", readings={"relief": 0.9}, lot="1", neck="n1"), visit("B", 1, "final", readings={})]
    assert as_set(made([*rows, visit("C", 2, "final", readings={"relief": 0.2})], [SPEC]))["serial"].to_list() == ["C"]


LEAVES = {"key": "leaves", "measures": ["relief"], "resolution": "0.001 in"}
RULE = {"key": "rule", "measures": ["relief"], "resolution": "0.5 mm"}
BOW = {"characteristic": "relief", "lower": -0.10, "upper": 0.25}


def words(snapshot):
    return [
        "outside" if outside else "on the limit" if on else "inside"
        for outside, on in as_set(snapshot).sort("serial").select("outside", "on_limit").iter_rows()
    ]


def test_a_reading_stands_for_the_step_of_its_own_gauge_else_of_the_coarsest_declared():
    ten_thou = 10 * 0.0254
    rows = [visit("A", 1, "final", readings={"relief": ten_thou})]
    named = [
        visit("A", 1, "final", readings={"relief": 0.6}, gauge="leaves"),
        visit("B", 2, "final", readings={"relief": 0.6}),
        visit("C", 3, "final", readings={"relief": 0.6}, gauge="rule"),
    ]
    assert words(made(rows, [BOW])) == ["outside"]  # no gauge declared: 0.254 is above 0.25
    assert words(made(rows, [BOW], gauge=[LEAVES])) == ["on the limit"]  # the only one declared
    wide = BOW | {"upper": 0.5}
    assert words(made(named, [wide], gauge=[LEAVES, RULE])) == ["outside", "on the limit", "on the limit"]


def test_uneven_leaves_judge_by_their_neighbours():
    uneven = {"key": "leaves", "measures": ["relief"], "leaves": ["0.05 mm", "0.10 mm", "0.15 mm", "0.30 mm"]}
    rows = [
        visit(serial, at, "final", readings={"relief": value})
        for serial, at, value in (("A", 1, 0.15), ("B", 2, 0.30), ("C", 3, 0.10))
    ]
    assert words(made(rows, [BOW | {"upper": 0.2}], gauge=[uneven])) == ["on the limit", "outside", "inside"]


def test_where_it_is_set_hangs_on_the_family():
    by_family = [{"key": "relief", "set_at": {"banjo": "bridge", "other": "neck"}}]
    models = [{"key": "LARK", "family": "ukulele"}, {"key": "BANJ", "family": "banjo"}]
    bench = [
        visit(serial, at + hour, stage, tech=tech, model=model, readings={"relief": 0.2} if stage == "final" else {})
        for at, serial, model in ((0, "A", "LARK"), (20, "B", "BANJ"))
        for hour, stage, tech in ((1, "neck", "T1"), (2, "bridge", "T2"), (4, "final", "T9"))
    ]
    found = as_set(made(bench, [SPEC], characteristic=by_family, model=models)).sort("serial")
    assert found["set_by"].to_list() == ["T1", "T2"]
    assert found["set_stage"].to_list() == ["neck", "bridge"]

"""Days of which the clock does not tell what came first. The stages of `benches`: nut, bridge, play, final."""

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from analysis.studies.story import unclocked
from analysis.studies.story.story import Story, story
from analysis.studies.story.unclocked import WAY, ways_of
from tests.analysis.studies.benches import bench

SENT = "A 3 - final send_back sent_back_to=nut tech=T9"
PUT_RIGHT = "A 3 - nut fixed tech=T2"
SET = "A 2 - nut pass tech=T1"
FITTED = "A 2 - bridge pass tech=T3"


def told(*rows: str) -> Story:
    return bench("\n".join(rows)).once(story)


def order(made: Story) -> list[tuple[int, str, str]]:
    return [
        (day.day, stage, outcome) for day, stage, outcome in made.visits.select("day", "stage", "outcome_typed").rows()
    ]


def test_the_repair_stands_behind_the_send_back_of_its_day_and_its_bench_is_charged_by_who_set_it():
    # Nut again 8 minutes, final again 5: 13. T1 set what came back; T2 put it right.
    made = told(SET, FITTED, SENT, PUT_RIGHT, "A 4 - final pass tech=T9")
    assert order(made)[2:4] == [(3, "final", "send back"), (3, "nut", "fixed")]
    [loop] = made.loops.to_dicts()
    assert (loop["charged"], loop["minutes"], loop["open"]) == ("T1", 13.0, False)


def test_the_outcome_tells_where_nothing_is_known_of_the_day_before():
    # Two logs: no order of rows. The only nut visit there is put something right that final had sent there.
    made = told(SENT + " log=final", PUT_RIGHT + " log=nut")
    assert [stage for _, stage, _ in order(made)] == ["final", "nut"]
    # A later visit to the nut is the repair; the one before put right what its own bench found.
    made = told(SENT + " log=final", PUT_RIGHT + " log=nut", "A 4 - nut pass log=nut")
    assert [stage for _, stage, _ in order(made)] == ["nut", "final", "nut"]


@pytest.mark.parametrize("logs", [("one", "one", "one"), ("nuts", "bridges", "finals")])
def test_rows_sorted_by_stage_are_told_by_the_second_visit(logs):
    nut, bridge, final = (f" log={log}" for log in logs)
    rows = [
        "A 2 - nut pass tech=T1" + nut,
        "A 2 - nut fixed tech=T2" + nut,
        "A 2 - bridge pass" + bridge,
        "A 2 - final send_back sent_back_to=nut" + final,
        "A 2 - final pass" + final,
    ]
    made = told(*rows)
    assert [stage for _, stage, _ in order(made)] == ["nut", "bridge", "final", "nut", "final"]
    assert made.loops["charged"].to_list() == ["T1"]
    assert made.loops["minutes"].to_list() == [13.0]


def test_rows_of_a_log_that_are_put_down_as_work_goes_tell_what_came_first():
    # B shows that rows stand in the order of work. A's two nut visits then stand before its send-back: two coats.
    rows = [
        "B 2 - nut pass",
        "B 3 - final send_back sent_back_to=nut",
        "B 3 - nut pass",
        "A 3 - nut pass tech=T1",
        "A 3 - nut pass tech=T2",
        "A 3 - final send_back sent_back_to=nut",
    ]
    made = told(*rows)
    assert [stage for _, stage, _ in order(made)[:3]] == ["nut", "nut", "final"]
    assert made.loops.filter(serial="A")["charged"].to_list() == ["T2"]


def test_a_first_visit_on_file_behind_its_send_back_is_the_repair_where_rows_tell():
    rows = ["B 2 - nut pass", "B 3 - final send_back sent_back_to=nut", "B 3 - nut pass"]
    made = told(*rows, "A 3 - final send_back sent_back_to=nut", "A 3 - nut pass tech=T2")
    assert [stage for _, stage, _ in order(made)[:2]] == ["final", "nut"]
    assert made.loops.filter(serial="A")["charged"].to_list() == [""]


def test_a_log_with_the_newest_row_first_is_read_from_its_end():
    made = told("A 4 - final pass", PUT_RIGHT, SENT, FITTED, SET)
    assert [stage for _, stage, _ in order(made)] == ["nut", "bridge", "final", "nut", "final"]
    assert made.loops["charged"].to_list() == ["T1"]


def test_rows_sorted_by_name_of_stage_make_no_repair_of_a_first_visit():
    # Sorted by stage: bridge, final, nut. Each was set before it was sent back to the nut, A too.
    rows = [
        f"{serial} 2 - {stage} {outcome}"
        for serial in "ABC"
        for stage, outcome in (
            ("bridge", "pass"),
            ("final", "send_back sent_back_to=nut" if serial == "A" else "pass"),
            ("nut", "pass tech=T1"),
        )
    ]
    made = told(*rows)
    assert [stage for _, stage, _ in order(made)[:3]] == ["nut", "bridge", "final"]
    assert made.loops["charged"].to_list() == ["T1"]


def test_work_that_an_earlier_send_back_waits_for_comes_before_the_next_send_back():
    # Final sent it to the nut on the 3rd; on the 4th the nut was put right and final sent it back once more.
    made = told(SET, SENT + " log=final", "A 4 - nut fixed tech=T2", SENT.replace(" 3 ", " 4 ") + " log=final")
    assert [stage for _, stage, _ in order(made)] == ["nut", "final", "nut", "final"]
    assert made.loops["charged"].to_list() == ["T1", "T2"]


def test_two_send_backs_of_one_day_have_each_its_repair():
    rows = [
        SET,
        FITTED,
        "A 3 - nut fixed log=nut",
        "A 3 - bridge fixed log=bridge",
        "A 3 - final send_back sent_back_to=nut log=final",
        "A 3 - final send_back sent_back_to=bridge log=final",
        "A 3 - final pass log=final",
    ]
    assert [stage for _, stage, _ in order(told(*rows))[2:]] == ["final", "nut", "final", "bridge", "final"]


def test_what_lies_on_the_way_back_is_done_again_behind_the_send_back():
    rows = [SET, FITTED, "A 3 - nut fixed log=nut", "A 3 - bridge pass log=bridge", SENT + " log=final"]
    assert [stage for _, stage, _ in order(told(*rows))[2:]] == ["final", "nut", "bridge"]


def test_a_repair_stage_follows_what_was_sent_there():
    # The luthier stands last among the stages; the last final saw the instrument behind them.
    rows = [
        SET,
        "A 3 - luthier fixed log=luthier",
        "A 3 - final send_back sent_back_to=luthier log=final",
        "A 3 - final pass log=final",
    ]
    made = told(*rows)
    assert [stage for _, stage, _ in order(made)[1:]] == ["final", "luthier", "final"]
    assert made.loops["minutes"].to_list() == [25.0]  # luthier 20, final again 5


def test_a_repair_without_a_clock_finds_its_place_among_clocked_visits():
    rows = [SET, "A 3 9 final send_back sent_back_to=nut", PUT_RIGHT, "A 3 15 final pass"]
    assert [stage for _, stage, _ in order(told(*rows))[1:]] == ["final", "nut", "final"]


def test_instruments_put_in_order_a_few_at_a_time_stand_as_all_at_once(monkeypatch):
    rng = np.random.default_rng(14)
    stages, outcomes = ("nut", "bridge", "play", "final"), ("pass", "pass", "fixed", "send_back sent_back_to=nut")
    rows = [
        f"{serial} {day} - {rng.choice(stages)} {rng.choice(outcomes)} log={rng.choice(['one', 'two'])}"
        for serial in "ABCDEFGH"
        for day in (2, 3, 3, 3, 4)
    ]
    whole = told(*rows)
    ways = ways_of(whole.visits.select(*WAY, who=pl.col("serial").rle_id().cast(pl.Int64)))
    assert whole.visits["outcome"].is_in(["send back"]).any()
    assert len(ways) == 2
    for visits in (1, 7):
        monkeypatch.setattr(unclocked, "AT_ONCE", visits)
        few = told(*rows)
        assert_frame_equal(few.visits.whole(), whole.visits.whole())
        assert_frame_equal(ways_of(few.visits.select(*WAY, who=pl.col("serial").rle_id().cast(pl.Int64))), ways)

"""Hand-made benches; every expected number was worked out by hand and the sum stands beside it.

Planned minutes: receiving 4, neck 5, frets 10, nut 8, bridge 6, play 4, rest 0, final 5, packing 5, luthier (repair)
20. A minute costs 1.
"""

from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.story.story import Story, story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.benches import bench, shop


def told(text: str, **options: object) -> Story:
    return bench(text, **options).once(story)


def loops(text: str, **options: object) -> list[dict]:
    return told(text, **options).loops.to_dicts()


def test_a_straight_run_has_no_loop_and_is_judged_at_final():
    made = told("""
        A 2 8 receiving pass
        A 2 9 neck pass
        A 3 9 final pass
        A 3 10 packing pass""")
    assert made.loops.height == 0
    only = made.instruments.row(0, named=True)
    assert (only["judged"], only["judged_at"], only["week"]) == (
        True,
        datetime(2026, 3, 3, 9, tzinfo=UTC),
        date(2026, 3, 2),
    )
    assert (only["finished_at"], only["standing"], only["rounds"]) == (
        datetime(2026, 3, 3, 10, tzinfo=UTC),
        "finished",
        1,
    )


def test_a_loop_counts_repeats_and_the_closing_visit():
    # After the send-back at 12: nut again 8 minutes, bridge again 6, play again 4 closes it: 18 minutes, 12:00 to 15:30
    # = 3.5 hours.
    [loop] = loops("""
        A 2 9 nut pass tech=T1
        A 2 10 bridge pass
        A 2 12 play send_back sent_back_to=nut fault=buzz
        A 2 13 nut pass tech=T2
        A 2 14 bridge pass
        A 2 15:30 play pass
        A 3 9 final pass""")
    assert (loop["caught_at"], loop["caused_at"], loop["confirmed"], loop["fault"]) == ("play", "nut", False, "buzz")
    assert (loop["minutes"], loop["hours"], loop["cost"], loop["open"], loop["closed_by"]) == (
        18.0,
        3.5,
        18.0,
        False,
        "stage",
    )
    assert loop["charged"] == "T1"  # who was at the nut before it came back, not who put it right


def test_first_visits_inside_a_loop_are_not_its_minutes():
    # The bridge was never visited before the send-back: its 6 minutes would have come anyway. Nut 8 + play 4 = 12.
    [loop] = loops("""
        A 2 9 nut pass
        A 2 12 play send_back sent_back_to=nut
        A 2 13 nut pass
        A 2 14 bridge pass
        A 2 15 play pass""")
    assert loop["minutes"] == 12.0


def test_a_loop_opened_inside_another_takes_its_own_minutes():
    # Outer: caught at final. Nut again 8, bridge again 6 are the outer's. Play sends back (inner); that visit is itself
    # a repeat: 4, outer's.
    # Inner: bridge again 6, play again 4 closes the inner = 10. Then final again 5 closes the outer: 8 + 6 + 4 + 5 =
    # 23.
    outer, inner = loops("""
        A 2 8 nut pass
        A 2 9 bridge pass
        A 2 10 play pass
        A 3 9 final send_back sent_back_to=nut
        A 3 10 nut pass
        A 3 11 bridge pass
        A 3 12 play send_back sent_back_to=bridge
        A 3 13 bridge pass
        A 3 14 play pass
        A 3 15 final pass""")
    assert (outer["minutes"], outer["hours"], outer["parent"]) == (23.0, 6.0, None)
    assert (inner["minutes"], inner["hours"], inner["parent"]) == (10.0, 2.0, outer["loop"])


def test_a_skipped_re_check_closes_at_the_next_stage_and_closes_what_is_inside():
    # Play sends back to nut, nut sends back to neck; then straight to final: one visit closes both. It belongs to the
    # inner loop,
    # but it is a first visit: no minutes. Nut again (8) sends back: outer's. Neck again 5: inner's.
    outer, inner = loops("""
        A 2 8 neck pass
        A 2 9 nut pass
        A 2 10 play send_back sent_back_to=nut
        A 2 11 nut send_back sent_back_to=neck
        A 2 12 neck pass
        A 2 14 final pass""")
    assert (outer["minutes"], outer["hours"]) == (8.0, 4.0)
    assert (inner["minutes"], inner["hours"]) == (5.0, 3.0)
    assert outer["closing_visit"] == inner["closing_visit"] == 5


def test_a_second_send_back_closes_the_first_and_opens_the_next():
    # First: nut 8 + play 4 = 12, 2 h. Second: nut 8 + play 4 = 12, 3 h.
    first, second = loops("""
        A 2 8 nut pass
        A 2 9 play send_back sent_back_to=nut
        A 2 10 nut pass
        A 2 11 play send_back sent_back_to=nut
        A 2 12 nut pass
        A 2 14 play pass""")
    assert (first["minutes"], first["hours"], second["minutes"], second["hours"], second["parent"]) == (
        12.0,
        2.0,
        12.0,
        3.0,
        None,
    )


def test_rework_through_repair_closes_nothing_and_its_first_visit_counts():
    # Luthier 20 (a first visit, but repair) + frets again 10 + play again 4 = 34. The luthier stands last in the file
    # and closes no loop.
    [loop] = loops("""
        A 2 8 frets pass
        A 2 9 play send_back sent_back_to=luthier cause=frets
        A 2 11 luthier pass
        A 2 12 frets pass
        A 2 13 play pass""")
    assert (loop["caused_at"], loop["confirmed"], loop["minutes"], loop["hours"]) == ("frets", True, 34.0, 4.0)


def test_a_rest_inside_a_loop_costs_hours_but_no_minutes():
    # Rest again 0 minutes even where typed as 1440; nut 8 + final 5 = 13; from 3 March 9:00 to 5 March 9:00 = 48 hours.
    [loop] = loops("""
        A 2 8 nut pass
        A 2 9 rest pass
        A 3 9 final send_back sent_back_to=nut
        A 3 10 nut pass
        A 4 10 rest pass minutes=1440
        A 5 9 final pass""")
    assert (loop["minutes"], loop["hours"]) == (13.0, 48.0)


def test_an_open_loop_counts_so_far():
    # Nut again 8; as of 18:00 the loop has run 6 hours.
    [loop] = loops(
        """
        A 2 8 nut pass
        A 2 12 play send_back sent_back_to=nut
        A 2 13 nut pass
        B 2 18 neck pass"""
    )
    assert (loop["open"], loop["closed_at"], loop["closed_by"], loop["minutes"], loop["hours"]) == (
        True,
        None,
        "",
        8.0,
        6.0,
    )


def test_a_loop_of_an_instrument_not_seen_for_thirty_days_ends_at_its_last_visit():
    # Sent back at 9:00 on the 2nd, last seen at the nut at 11:00: two hours, not the month that went by. One that was
    # sent back and never seen again cost no hour. B has been seen 30 days ago to the hour and is still open.
    lines = """
        A 2 8 nut pass
        A 2 9 play send_back sent_back_to=nut
        A 2 11 nut pass
        B 2 9 nut pass
        B 2 10 play send_back sent_back_to=nut
        B 2 12 nut pass
        C 2 9 play send_back sent_back_to=nut"""
    lost, still, gone = loops(lines, as_of=datetime(2026, 4, 1, 12, tzinfo=UTC))
    assert (lost["hours"], lost["minutes"], lost["open"], lost["closed_by"]) == (2.0, 8.0, False, "lost")
    assert lost["closed_at"] == datetime(2026, 3, 2, 11, tzinfo=UTC)
    assert (still["open"], still["closed_by"], still["hours"]) == (True, "", 30 * 24 + 2)
    assert (gone["hours"], gone["minutes"], gone["open"]) == (0.0, 0.0, False)


def test_a_reject_ends_the_story_and_closes_every_loop():
    # Outer (final): nut again 8 that sends back. Inner (nut): neck again 5 with a reject closes both.
    made = told("""
        A 2 8 neck pass
        A 2 9 nut pass
        A 2 10 final send_back sent_back_to=nut
        A 2 11 nut send_back sent_back_to=neck
        A 2 12 neck reject cause=supplier fault=twist""")
    outer, inner = made.loops.to_dicts()
    assert (outer["closed_by"], inner["closed_by"], outer["minutes"], inner["minutes"]) == (
        "reject",
        "reject",
        8.0,
        5.0,
    )
    rejected = made.caused.filter(pl.col("kind") == "reject")
    assert rejected.select("caused_at", "confirmed", "caught_at", "charged").row(0) == ("supplier", True, "neck", "")
    assert made.instruments.select("end", "standing", "judged").row(0) == ("reject", "reject", True)


def test_a_reject_before_final_is_judged_where_it_ended_and_pulled_is_not():
    made = told("""
        A 2 8 neck pass
        A 9 9 frets reject cause=supplier
        B 2 8 neck pass
        B 2 9 frets pulled
        C 2 8 neck pass
        C 2 9 frets pulled
        C 3 9 nut pass
        D 2 9 frets second""")
    assert made.instruments.select("serial", "judged", "week", "end", "standing").rows() == [
        ("A", True, date(2026, 3, 9), "reject", "reject"),
        ("B", False, None, "pulled", "pulled"),
        ("C", False, None, "", "bench"),
        ("D", True, date(2026, 3, 2), "second", "second"),
    ]


def test_fixed_is_caught_here_and_caused_where_it_says():
    # A fix opens no loop. Without cause or sent-to its cause is unknown, never the stage where it was put right.
    made = told("""
        A 2 8 nut pass tech=T1
        A 2 9 play fixed cause=nut fault=buzz
        A 2 10 final fixed""")
    assert made.loops.height == 0
    assert made.caused.select("kind", "caught_at", "caused_at", "confirmed", "charged").rows() == [
        ("fixed", "play", "nut", True, "T1"),
        ("fixed", "final", "unknown", False, ""),
    ]


def test_a_cause_is_confirmed_or_sent_to_or_unknown():
    made = told("""
        A 2 8 nut pass tech=T1
        A 2 9 play send_back sent_back_to=nut cause=frets
        A 2 10 play send_back sent_back_to=nut cause=unknown
        A 2 11 play send_back cause=handling
        A 2 12 play send_back
        A 2 13 play pass""")
    assert made.loops.select("caused_at", "confirmed", "charged").rows() == [
        ("frets", True, ""),
        ("nut", False, "T1"),
        ("handling", True, ""),
        ("unknown", False, ""),
    ]


def test_packed_then_returned_is_a_second_round_with_its_own_passes_and_loops():
    # Round 2 begins with the visit after the passed packing. The nut is passed for the first time in round 2: not a
    # stream's first pass.
    # Its loop: nut again 8 + play again 4 = 12.
    made = told("""
        A 2 8 nut pass
        A 2 9 final pass
        A 2 10 packing pass
        A 9 9 final return
        A 9 10 nut pass
        A 9 11 play send_back sent_back_to=nut
        A 9 12 nut pass
        A 9 13 play pass
        A 9 14 packing pass""")
    assert made.visits["round"].to_list() == [1, 1, 1, 2, 2, 2, 2, 2, 2]
    assert made.visits["pass_no"].to_list() == [1, 1, 1, 1, 1, 1, 2, 2, 1]
    assert made.visits["first_pass"].to_list() == [True, True, True] + [False] * 6
    assert made.loops.select("round", "minutes").rows() == [(2, 12.0)]
    only = made.instruments.row(0, named=True)
    assert (only["rounds"], only["sent_back"], only["finished_at"].day, only["last_final_visit"]) == (2, 0, 2, 1)


def test_a_return_before_packing_ends_the_round_and_its_loops_where_it_stood():
    # The loop opened at 9:00 closes with the last visit of its round, the nut at 10:00 (8 minutes, 1 hour), not when it
    # came back.
    made = told("""
        A 2 8 nut pass
        A 2 9 play send_back sent_back_to=nut
        A 2 10 nut pass
        A 20 9 play return
        A 20 10 packing pass""")
    assert made.visits["round"].to_list() == [1, 1, 1, 2, 2]
    assert made.loops.select("closed_by", "open", "minutes", "hours").rows() == [("round", False, 8.0, 1.0)]


def test_packing_that_did_not_pass_ends_no_round():
    made = told("""
        A 2 8 final pass
        A 2 9 packing hold
        A 2 10 packing pass
        A 2 11 final pass""")
    assert made.visits["round"].to_list() == [1, 1, 1, 2]


def test_logs_that_come_late_are_told_in_time_order():
    # Line 1 was written last. Play at 9:00 is the first pass; the one at 14:00 the second.
    made = told("""
        A 2 14 play pass
        A 2 9 play send_back sent_back_to=nut
        A 2 8 nut pass
        A 2 13 nut pass""")
    assert made.visits.select("line", "pass_no").rows() == [(3, 1), (2, 1), (4, 2), (1, 2)]
    assert made.loops["minutes"].to_list() == [12.0]


def test_rows_with_a_date_only_follow_the_bench_then_the_line():
    # No clock at all: neck, nut, final though the lines stand the other way round. The two finals by line.
    made = told("""
        A 2 - final fixed
        A 2 - nut pass
        A 2 - neck pass
        A 2 - final pass
        A 1 - packing hold""")
    assert made.visits.select("stage", "line").rows() == [
        ("packing", 5),
        ("neck", 3),
        ("nut", 2),
        ("final", 1),
        ("final", 4),
    ]


def test_a_date_only_row_finds_its_place_among_the_clocked():
    # The clocked rows went back along the bench: play 9:00, nut 10:00. Bridge without a clock stands before play and
    # after nut: a circle;
    # it goes right behind the last clocked row it follows (nut). Rest stands behind all.
    made = told("""
        A 2 9 play send_back sent_back_to=nut
        A 2 10 nut pass
        A 2 - rest pass
        A 2 - bridge pass
        A 2 - neck pass""")
    assert made.visits["stage"].to_list() == ["neck", "play", "nut", "bridge", "rest"]


def test_hours_to_a_row_without_a_clock_are_never_below_nothing():
    [loop] = loops("""
        A 2 8 nut pass
        A 2 9 play send_back sent_back_to=nut
        A 2 - final pass""")
    assert loop["hours"] == 0.0


def test_an_open_visit_followed_by_a_later_stage_is_a_pass():
    made = told("""
        A 2 8 nut open
        A 2 9 nut open
        A 2 10 play open
        A 2 11 neck open""")
    assert made.visits.select("outcome", "outcome_typed").rows() == [
        ("pass", "open"),
        ("pass", "open"),
        ("open", "open"),
        ("open", "open"),
    ]


def test_two_names_are_nobody_to_charge():
    made = told("""
        A 2 8 nut pass tech=T1/T2
        A 2 9 play send_back sent_back_to=nut
        A 2 10 nut pass tech=T1&T3
        A 2 11 play send_back sent_back_to=nut
        B 2 8 nut pass tech=T1
        B 2 9 play send_back sent_back_to=nut""")
    assert made.loops.select("serial", "charged", "charged_visit").rows() == [
        ("A", "", 0),
        ("A", "", 2),
        ("B", "T1", 4),
    ]


def test_readings_are_set_by_the_last_tech_at_the_stage_that_sets_them():
    # Relief is set at the neck. Read at the neck itself: by that tech. At play: T1. After the neck was redone by T2:
    # T2, on the 3rd.
    # B never visited the neck: unknown, and dated by its own day. Neck bow has no setter.
    made = told("""
        A 2 8 receiving pass neck_bow=0.1 tech=T9
        A 2 9 neck pass relief=0.3 tech=T1
        A 2 10 play send_back relief=0.4 sent_back_to=neck tech=T8
        A 3 9 neck pass tech=T2
        A 4 9 play pass relief=0.2 tech=T8
        B 2 9 play pass relief=0.5 tech=T8""")
    relief = made.readings.filter(pl.col("characteristic") == "relief").sort("line")
    assert relief.select("serial", "stage", "set_by", "set_on", "tech", "first_pass").rows() == [
        ("A", "neck", "T1", date(2026, 3, 2), "T1", True),
        ("A", "play", "T1", date(2026, 3, 2), "T8", True),
        ("A", "play", "T2", date(2026, 3, 3), "T8", False),
        ("B", "play", "", date(2026, 3, 2), "T8", True),
    ]
    assert made.readings.filter(pl.col("characteristic") == "neck_bow").select("set_by", "set_on").rows() == [
        ("", date(2026, 3, 2))
    ]


def test_a_part_belongs_to_the_instrument_that_took_its_neck():
    # N1 was measured before it had a serial; A's neck visit names it. N2 stays a part. Supplier and lot follow the neck
    # to every visit of A.
    made = told("""
        . 2 8 receiving pass neck=N1 supplier=S1 lot=L1 neck_bow=0.1
        . 2 8 receiving pass neck=N2 supplier=S1 lot=L1 neck_bow=0.2
        A 5 9 neck pass neck=N1
        A 5 10 final pass""")
    assert made.visits.select("serial", "stage", "supplier", "lot", "neck").rows() == [
        ("A", "receiving", "S1", "L1", "N1"),
        ("A", "neck", "S1", "L1", "N1"),
        ("A", "final", "S1", "L1", "N1"),
    ]
    assert made.readings.select("serial", "visit", "lot", "neck", "first_pass").rows() == [
        ("", None, "L1", "N2", True),
        ("A", 0, "L1", "N1", True),
    ]


def test_clock_minutes_are_less_breaks_and_closed_hours_and_four_times_planned_is_the_most():
    # Nut is planned at 8 minutes: at most 32 by the clock. Dublin's winter clock is UTC.
    # 11:50 to 12:40 less the half hour from 12:00 = 20. 16:50 to 07:40 next day = 10 + 10 = 20. 9:00 to 9:33 = 33 > 32:
    # planned 8.
    # Over 17 March (closed): 16 March 16:55 to 18 March 7:35 = 5 + 5 = 10. Backwards: planned.
    rows = [
        ("2", "11:50", "2", "12:40"),
        ("2", "16:50", "3", "07:40"),
        ("4", "09:00", "4", "09:33"),
        ("16", "16:55", "18", "07:35"),
        ("19", "10:00", "19", "09:00"),
    ]
    stamp = [
        [datetime.fromisoformat(f"2026-03-{int(day):02d}T{hour}:00+00:00") for day, hour in ((a, b), (c, d))]
        for a, b, c, d in rows
    ]
    visits = pl.DataFrame(
        {
            "log_id": "log",
            "line": range(len(rows)),
            "serial": "A",
            "model": "LARK",
            "stage": "nut",
            "outcome": "hold",
            "time_known": True,
            "started_at": [pair[0] for pair in stamp],
            "finished_at": [pair[1] for pair in stamp],
        }
    )
    made = shop(
        calendar={"open": "07:30-17:00", "breaks": ["12:00-12:30"], "closed": ["2026-03-17"]},
        shop={"name": "x", "timezone": "Europe/Dublin"},
    )
    work = Snapshot.of(made, visits=visits).once(story).visits.whole().sort("line")
    assert work.select("minutes", "minutes_from").rows() == [
        (20.0, "clock"),
        (20.0, "clock"),
        (8.0, "planned"),
        (10.0, "clock"),
        (8.0, "planned"),
    ]


def test_a_clock_of_up_to_half_an_hour_is_believed_whatever_is_planned():
    # The neck is planned at 5 minutes, perhaps a guess: 21 and 30 are a repair, 31 a clock that was left running.
    began = datetime(2026, 3, 2, 9, tzinfo=UTC)
    visits = pl.DataFrame(
        {
            "log_id": "log",
            "line": range(4),
            "serial": "A",
            "model": "LARK",
            "stage": "neck",
            "outcome": "hold",
            "time_known": True,
            "started_at": began,
            "finished_at": [began + timedelta(minutes=minutes) for minutes in (12, 21, 30, 31)],
        }
    )
    work = Snapshot.of(shop(), visits=visits).once(story).visits.whole().sort("line")
    assert work["minutes"].to_list() == [12.0, 21.0, 30.0, 5.0]
    assert work["minutes_from"].to_list() == ["clock", "clock", "clock", "planned"]


def test_typed_minutes_hold_whatever_the_plan():
    made = told("A 2 9 nut pass minutes=100")
    assert made.visits.select("minutes", "minutes_from").row(0) == (100.0, "typed")


def test_nothing_after_as_of_is_told():
    made = told(
        """
        A 2 8 nut pass
        A 2 9 play send_back sent_back_to=nut
        A 3 9 nut pass""",
        as_of=datetime(2026, 3, 2, 12, tzinfo=UTC),
    )
    assert made.visits.height == 2
    assert made.loops.select("open", "hours").row(0) == (True, 3.0)


def test_standing_tells_hold_and_lost_from_the_bench():
    made = told(
        """
        A 1 9 nut pass
        B 31 9 nut hold
        C 31 10 nut pass""",
        as_of=datetime(2026, 4, 1, 12, tzinfo=UTC),
    )
    assert made.instruments.select("serial", "standing", "on_hold").rows() == [
        ("A", "lost", False),
        ("B", "hold", True),
        ("C", "bench", False),
    ]


def test_an_empty_shop_has_an_empty_story():
    made = Snapshot.of(shop(), visits=tables.empty(tables.VISITS)).once(story)
    assert [
        frame.height for frame in (made.visits, made.readings, made.faults, made.instruments, made.loops, made.caused)
    ] == [0] * 6


def test_a_stage_that_the_shop_does_not_know_is_named():
    with pytest.raises(UnusableData, match="'bandsaw' is a stage of the logs"):
        told("A 2 9 bandsaw pass")


def test_in_a_shop_without_packing_work_that_passed_final_inspection_is_finished():
    without = [{"key": "receiving", "role": "receiving"}, {"key": "final", "role": "final"}]
    characteristics = [{"key": "relief"}]
    made = told(
        """
        A 2 8 receiving pass
        A 3 9 final pass
        B 2 8 receiving pass
        B 3 9 final send_back""",
        stage=without,
        characteristic=characteristics,
    )
    first, second = made.instruments.iter_rows(named=True)
    assert (first["standing"], first["finished_week"], second["standing"]) == ("finished", date(2026, 3, 2), "bench")
    assert (first["rounds"], first["finished_at"]) == (1, datetime(2026, 3, 3, 9, tzinfo=UTC))

"""Weekly shares: dated by when an instrument was judged, judged by the twelve weeks before it."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from analysis.methods.counts_ahead import binomial_ahead
from analysis.studies.rework.stage_weeks import FALSE_RATE, weekly_shares
from analysis.studies.rework.work_mix import UNKNOWN
from analysis.studies.story.scope import Scope
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.benches import STAGES, bench, shop
from tests.trials.weekly_shares import harder


def weeks_of(counts: list[tuple[int, int]], to: str = "nut") -> Snapshot:
    """(instruments, of which came back to the nut) for each week; to : where their rows say they went."""
    rows = []
    for week, (instruments, back) in enumerate(counts):
        at = date(2026, 1, 5) + timedelta(weeks=week)
        for i in range(instruments):
            serial = f"W{week:02d}N{i:03d}"
            rows += [
                (serial, at, "nut", "pass", ""),
                (serial, at, "play", "send back" if i < back else "pass", to if i < back else ""),
                (serial, at, "final", "pass", ""),
            ]
    frame = pl.DataFrame(
        rows, schema=["serial", "at", "stage", "outcome", "sent_back_to"], orient="row"
    ).with_row_index("line")
    return Snapshot.of(
        shop(),
        visits=frame.with_columns(
            pl.lit("l").alias("log_id"),
            pl.lit("LARK").alias("model"),
            pl.lit(True).alias("time_known"),
            (pl.col("at").cast(pl.Datetime("us", "UTC")) + pl.duration(hours=9, minutes=pl.col("line") % 60)).alias(
                "finished_at"
            ),
        ),
    )


def test_an_instrument_counts_in_the_week_it_was_judged_with_what_was_found_before():
    # A came back to the nut in the week of 2 March and was judged in that of the 9th; C was never judged. Two faults
    # named, and a fix without
    # a name caused by the nut: 3 faults on 2 instruments.
    made = weekly_shares(
        bench("""
        A 2 8 nut pass
        A 3 9 play send_back sent_back_to=nut fault=buzz;dead
        A 4 9 nut pass
        A 9 9 final pass
        B 2 8 nut pass
        B 10 9 final fixed cause=nut
        C 2 8 nut pass
        C 3 8 play send_back sent_back_to=nut""")
    )
    nut = made.filter(pl.col("stage") == "nut")
    assert nut.select("week", "instruments", "came_back", "share", "faults", "faults_each", "state").rows() == [
        (date(2026, 3, 9), 2, 1, 0.5, 3, 1.5, "no base")
    ]


def test_what_was_sent_back_to_a_stage_not_known_is_dropped_nowhere():
    counts = [(20, 1)] * 13 + [(20, 4)] * 4
    told, known = (weekly_shares(weeks_of(counts, to)) for to in ("", "nut"))
    unknown = told.filter(pl.col("stage") == UNKNOWN)
    assert unknown["came_back"].to_list() == [back for _, back in counts]
    assert unknown["instruments"].to_list() == [20] * len(counts)
    assert told.filter(pl.col("stage") != UNKNOWN)["came_back"].sum() == 0
    assert UNKNOWN not in known["stage"].to_list()


UNWRITTEN = """
        A 2 8 nut pass
        A 3 9 play send_back sent_back_to=frets fault=buzz
        A 4 9 final pass
        B 2 8 nut pass
        B 4 9 final pass
        C 9 8 nut pass
        C 10 9 final pass"""


def test_what_came_back_to_a_stage_that_writes_no_rows_is_held_against_all_that_go_by_it():
    frets = weekly_shares(bench(UNWRITTEN)).filter(pl.col("stage") == "frets")
    assert frets.select("week", "instruments", "came_back").rows() == [
        (date(2026, 3, 2), 2, 1),
        (date(2026, 3, 9), 1, 0),
    ]


def test_of_a_stage_that_writes_only_what_came_back_all_are_counted_that_go_by_it():
    again = UNWRITTEN.replace("A 4 9 final", "A 3 10 frets pass\n        A 4 9 final")
    frets = weekly_shares(bench(again)).filter(pl.col("stage") == "frets")
    assert frets.select("week", "instruments", "came_back").rows() == [
        (date(2026, 3, 2), 2, 1),
        (date(2026, 3, 9), 1, 0),
    ]


def test_in_a_week_in_which_a_stage_wrote_rows_those_count_and_what_came_back_without_one():
    some = (
        UNWRITTEN
        + """
        D 2 7 frets pass
        D 4 9 final pass"""
    )
    frets = weekly_shares(bench(some)).filter(pl.col("stage") == "frets")
    assert frets.select("week", "instruments", "came_back").rows() == [(date(2026, 3, 2), 2, 1)]


def test_a_family_that_does_not_go_by_a_stage_is_not_counted_there():
    stages = [{"key": key, "role": role} for key, role, _ in STAGES]
    stages[2]["families"] = ["tenor ukulele"]
    banjo = UNWRITTEN.replace("C 9 8 nut pass", "C 9 8 nut pass model=WREN")
    frets = weekly_shares(bench(banjo.replace("C 10 9 final pass", "C 10 9 final pass model=WREN"), stage=stages))
    assert frets.filter(pl.col("stage") == "frets").select("week", "instruments").rows() == [(date(2026, 3, 2), 2)]


def test_the_base_is_the_twelve_weeks_before_and_no_more():
    counts = [(10, 9)] + [(20, 1)] * 12 + [(20, 9), (20, 1)]
    nut = weekly_shares(weeks_of(counts)).filter(pl.col("stage") == "nut")
    assert nut["base_instruments"].to_list() == [0, 10, *(10 + 20 * k for k in range(1, 12)), 240, 240]
    assert nut["base_came_back"].to_list()[-2:] == [12, 20]  # the first week has dropped out; then the high one is in
    assert nut["state"].to_list()[-2:] == ["above", "within"]
    low, high = binomial_ahead([12], [240], [20], false_rate=0.003)
    assert nut.select("lower", "upper").row(13) == pytest.approx((low[0] / 20, high[0] / 20))


def test_a_week_without_work_is_passed_over_but_stays_in_the_calendar():
    counts = [(20, 1), (0, 0), (20, 1)]
    nut = weekly_shares(weeks_of(counts)).filter(pl.col("stage") == "nut")
    assert nut["week"].to_list() == [date(2026, 1, 5), date(2026, 1, 19)]
    assert nut["base_instruments"].to_list() == [0, 20]


def test_a_scope_shows_its_weeks_and_keeps_their_base():
    made = weeks_of([(20, 1)] * 5)
    shown = weekly_shares(made, Scope(first=date(2026, 2, 2))).filter(pl.col("stage") == "nut")
    assert shown.select("week", "base_instruments").rows() == [(date(2026, 2, 2), 80)]


def test_an_empty_shop_has_no_weeks():
    assert weekly_shares(Snapshot.of(shop(), visits=tables.empty(tables.VISITS))).is_empty()


@pytest.mark.promise
def test_limits_are_seldom_false_with_few_instruments_and_a_short_base():
    # Twelve weeks of 25 instruments, true shares of 2, 5, 10 and 20 %: 20,000 thirteenth weeks each; seed 5 fixed
    # before the first run.
    rng = np.random.default_rng(5)
    for share in (0.02, 0.05, 0.1, 0.2):
        base, now = rng.binomial(300, share, 20_000), rng.binomial(25, share, 20_000)
        _, high = binomial_ahead(base, np.full(20_000, 300), np.full(20_000, 25), false_rate=0.003)
        assert (now > high).mean() <= 0.003 + 3 * np.sqrt(0.003 / 20_000)


@pytest.mark.promise
def test_a_week_of_hard_models_is_not_a_bad_week():
    at_mix, raw = harder(np.random.default_rng(20270302), 2000, 0.4)
    assert at_mix <= FALSE_RATE + 4 * np.sqrt(FALSE_RATE / 2000)
    assert raw > 5 * FALSE_RATE

"""One stream as it is looked at, and all of them at a glance."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from analysis.methods.problems import UnusableData
from analysis.studies.drift.rack import TICKS, rack
from analysis.studies.drift.signals import signals
from analysis.studies.drift.states import stream_rows
from analysis.studies.drift.stream_view import StreamSeen, stream_view
from ingest.shopfiles.specs import Specs
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.drift.test_signals import QUIET
from tests.analysis.studies.drift.test_streams import RELIEF, filed
from tests.analysis.studies.drifting import at, shop, snapshot

STEPPED = QUIET.copy()
STEPPED[300:] += 3.0
NAMED = {"characteristic": "relief", "model": "LARK", "stage": "final"}


def seen(made: Snapshot, **more: object) -> StreamSeen:
    return stream_view(made, **(NAMED | {"weeks": None} | more))


def test_the_view_holds_the_stream_as_the_figures_do():
    made = snapshot(shop(), {RELIEF: STEPPED})
    view = seen(made)
    assert view.row == made.once(stream_rows).row(0, named=True)
    assert view.readings["value"].to_list() == STEPPED.tolist()
    assert view.signals["opened_at"].to_list() == made.once(signals).found["opened_at"].to_list()
    assert (view.baseline, view.judged_from, view.young) == (100, at(100), False)


def test_the_average_and_its_gap_are_what_the_chart_judged():
    made = snapshot(shop(), {RELIEF: STEPPED})
    view, judged = seen(made), made.once(signals)
    outside = (view.average < view.gap_low) | (view.average > view.gap_high)
    mine = judged.charts.rows["chart"].index_of("average")
    first = int(judged.charts.starts[mine])
    assert outside.tolist() == judged.fired.fired[first : first + 400].tolist()
    assert np.isnan(view.gap_low[:100]).all()
    assert not np.isnan(view.gap_low[100:]).any()


def test_weeks_cut_what_is_in_sight_and_nothing_else():
    made = snapshot(shop(), {RELIEF: STEPPED})
    whole, part = seen(made), seen(made, weeks=2)
    assert part.readings["taken_at"][0] >= made.as_of - timedelta(weeks=2)
    k = len(part.readings)
    assert part.average.tolist() == whole.average[-k:].tolist()
    assert part.row == whole.row


def test_limits_are_drawn_at_the_dates_they_held():
    view = seen(snapshot(shop(), {RELIEF: QUIET}, limits_on_file=filed(250, centre=0.5, sigma=2.0)))
    assert view.limits.select("from_at", "to_at", "on_file").rows() == [
        (at(0), at(249), False),
        (at(250), at(399), True),
    ]
    assert view.limits["upper"][1] == 6.5


def test_where_setters_differ_the_gap_lies_about_the_stream_and_it_says_so():
    setter = np.where(np.arange(400) % 2 == 0, "T1", "T2")
    view = seen(snapshot(shop(), {RELIEF: QUIET + np.where(setter == "T1", 0.0, 2.0)}, setter=setter))
    middle = (view.gap_low[100:] + view.gap_high[100:]) / 2
    assert view.adjusted == "setters differ"
    assert middle == pytest.approx(np.full(300, view.limits["centre"][0]))


def test_young_thin_and_classical_streams_have_no_gap():
    young = seen(snapshot(shop(), {RELIEF: QUIET[:60]}))
    assert (young.young, young.judged_from, young.baseline) == (True, None, 60)
    assert not seen(snapshot(shop(), {RELIEF: QUIET[:10]})).young
    assert np.isnan(seen(snapshot(shop(width=3.0), {RELIEF: QUIET})).average).all()
    for view in (young, seen(snapshot(shop(), {RELIEF: QUIET[:10]}))):
        assert np.isnan(view.gap_low).all()


def test_odd_instruments_and_runs_are_marked_and_open_nothing():
    x = QUIET.copy()
    x[250] = 5.5
    x[320:332] = 0.8  # twelve on one side
    view = seen(snapshot(shop(false_signals_per_week=0.001), {RELIEF: x}))
    assert 250 in view.odd.tolist()
    side = view.runs.filter(pl.col("rule") == "one side").row(-1, named=True)
    assert side["from_at"] <= at(320)
    assert side["to_at"] >= at(331)


def test_changes_that_may_touch_the_stream_are_shown():
    rows = [
        ("LARK", "neck", "jig"),
        ("WREN", "neck", "jig"),
        ("", "", "people"),
        ("", "packing", "boxes"),
        ("LARK", "final", "gauge"),
    ]
    changes = pl.DataFrame([{"from_date": at(200).date(), "model": m, "stage": s, "what": w} for m, s, w in rows])
    assert seen(snapshot(shop(), {RELIEF: QUIET}, changes=changes)).changes["what"].to_list() == [
        "jig",
        "people",
        "gauge",
    ]


def test_a_stream_that_is_not_there_says_what_to_do():
    with pytest.raises(UnusableData, match="choose another series"):
        stream_view(snapshot(shop(), {RELIEF: QUIET}), **(NAMED | {"model": "WREN"}))


def with_specs(made: Snapshot, *rows: dict[str, object]) -> Snapshot:
    asked = Specs(tables.shaped(pl.DataFrame(list(rows)), tables.SPECS))
    return Snapshot.of(made.shop, asked, visits=made.table("visits"), readings=made.table("readings"))


def test_what_was_asked_is_drawn_with_its_dates():
    made = with_specs(
        snapshot(shop(), {RELIEF: QUIET}),
        {"characteristic": "relief", "target": 0.0, "lower": -2.0, "upper": 2.0},
        {"characteristic": "relief", "target": 0.5, "lower": -1.5, "upper": 2.5, "from_date": at(200).date()},
    )
    view = seen(made)
    assert view.asked.select("from_at", "to_at", "target").rows() == [(at(0), at(199), 0.0), (at(200), at(399), 0.5)]
    assert (
        view.readings["outside"].sum()
        == ((QUIET[:200] < -2) | (QUIET[:200] > 2)).sum() + ((QUIET[200:] < -1.5) | (QUIET[200:] > 2.5)).sum()
    )


def test_what_moved_most_of_its_tolerance_stands_first():
    columns = {RELIEF: STEPPED, ("action", "bass"): QUIET, ("action", "treble"): STEPPED}
    made = with_specs(
        snapshot(shop(false_signals_per_week=0.02), columns),
        {"characteristic": "relief", "lower": -20.0, "upper": 20.0},
        {"characteristic": "action", "lower": -3.0, "upper": 3.0},
    )
    rows = rack(made).streams
    assert rows.select("characteristic", "position").rows() == [
        ("action", "treble"),
        ("relief", ""),
        ("action", "bass"),
    ]
    assert rows["shift_share"][0] == pytest.approx(rows["shift"][0] / 6.0)
    assert rows["shift"].is_null().to_list() == [False, False, True]


def test_a_straightedge_ends_at_the_average_of_now_on_its_scale():
    made = snapshot(shop(), {RELIEF: STEPPED})
    row, view = rack(made).streams.row(0, named=True), seen(made)
    plain = 0.0
    for x in STEPPED - STEPPED[:100].mean():
        plain += 0.1 * (x - plain)
    assert len(row["line"]) == TICKS
    assert row["line"][-1] == pytest.approx(plain / (2 * view.row["sigma"]))  # nothing is asked: two sigma stand for 1
    assert 0 < row["light_from"] < TICKS


def test_before_its_first_reading_a_straightedge_is_empty():
    row = rack(snapshot(shop(), {RELIEF: QUIET[:80]}), weeks=13).streams.row(0, named=True)
    assert row["line"][0] is None
    assert row["line"][-1] is not None


def test_an_empty_shop_has_an_empty_rack():
    assert rack(
        snapshot(shop(), {RELIEF: np.full(3, np.nan)}, as_of=datetime(2026, 2, 1, tzinfo=UTC))
    ).streams.is_empty()

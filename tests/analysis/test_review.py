"""What to know of a week stands in the order of what it does to instruments."""

from dataclasses import replace
from datetime import UTC, date, datetime
from types import SimpleNamespace

import numpy as np
import polars as pl

from analysis import review
from analysis.studies.week import weeks
from ingest.shopfiles.specs import Specs
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.drifting import shop, snapshot
from tests.analysis.studies.rework.test_stage_weeks import weeks_of
from tests.dashboard.sentences.test_shared import NOTHING, at, matter

SEED = 20281214


def two_moved() -> Snapshot:
    """Relief moves by half of its tolerance and stays well inside; action moves by less of its own and is outside."""
    rng, n = np.random.default_rng(SEED), 1600
    at = np.arange(n) // 20
    hours = (at // 5 * 7 + at % 5) * 24.0 + np.arange(n) % 20 / 3
    later = at >= 60
    columns = {
        ("relief", ""): 0.3 + 0.02 * rng.normal(size=n) + 0.10 * later,
        ("action", "bass"): 2.4 + 0.15 * rng.normal(size=n) + 0.25 * later,
    }
    made = snapshot(shop(), columns, hours=hours, setter=rng.choice(["T1", "T2"], n))
    limits = [
        {"characteristic": "relief", "lower": 0.35 - 0.11, "upper": 0.35 + 0.11},
        {"characteristic": "action", "position": "bass", "lower": 1.9, "upper": 2.9},
    ]
    blank = dict.fromkeys(("position", "family", "model", "stage", "supplier", "note"), "")
    asked = Specs(tables.shaped(pl.DataFrame([blank | row for row in limits]), tables.SPECS))
    return Snapshot.of(made.shop, asked, as_of=made.as_of, visits=made.table("visits"), readings=made.table("readings"))


def test_what_puts_more_instruments_outside_comes_before_what_moved_a_larger_share_of_its_tolerance():
    told = [one.matter for one in review._matters(two_moved(), date(2026, 5, 4)) if one.matter.shown]
    assert [one.characteristics for one in told] == [["action"], ["relief"]]
    assert told[0].share_of_tolerance < told[1].share_of_tolerance


def test_what_moved_is_told_to_be_back_though_its_baseline_had_moved_and_a_slight_one_is_not():
    week, over = date(2026, 3, 30), datetime(2026, 4, 1, 9, tzinfo=UTC)
    every = [
        matter(base_moved=True, back_since=over).matter,
        matter(share_of_tolerance=0.01, back_since=over).matter,
        matter(back_since=datetime(2026, 3, 9, 9, tzinfo=UTC)).matter,
        matter(one_reading=True, back_since=over).matter,
    ]
    snapshot = SimpleNamespace(once=lambda _study: every, shop=SimpleNamespace(zone=UTC))
    assert review._back(snapshot, week) == every[:1]


def test_an_end_is_told_in_the_week_in_which_it_was_sure_and_not_again():
    week, over = date(2026, 3, 30), datetime(2026, 3, 26, 9, tzinfo=UTC)
    known = (datetime(2026, 3, 27, 9, tzinfo=UTC), datetime(2026, 3, 31, 9, tzinfo=UTC), None)
    every = [matter(back_since=over, known_over=when).matter for when in known]
    snapshot = SimpleNamespace(once=lambda _study: every, shop=SimpleNamespace(zone=UTC))
    assert review._back(snapshot, week) == every[1:]


def test_what_may_be_chance_stands_after_what_is_surer_though_it_is_new(monkeypatch):
    doubt = replace(NOTHING, nothing=0.3)
    chance = matter(doubt, key="a", real=0.6, opened_at=at(31)).matter
    surer = matter(replace(NOTHING, nothing=0.001), key="b", real=0.6, opened_at=at(25)).matter
    for one in (chance, surer):
        one.main["closed_at"] = None
    snapshot = SimpleNamespace(once=lambda _study: [chance, surer], shop=SimpleNamespace(zone=UTC))
    rows = pl.DataFrame(schema=dict.fromkeys((*review.KEY, "line", "matter"), pl.String))
    monkeypatch.setattr(review, "in_sight", lambda _snapshot: SimpleNamespace(streams=rows))
    monkeypatch.setattr(review, "place_of", lambda *_: None)
    told = review._matters(snapshot, date(2026, 3, 30))
    assert [(one.matter.key, one.new) for one in told] == [("b", False), ("a", True)]


def test_weeks_shown_and_what_is_usual_are_those_of_the_whole_table():
    # eighty weeks on file, two of them without work
    counts = [(0, 0) if place in (40, 70) else (4 + place % 5, place % 3) for place in range(82)]
    made = weeks_of(counts)
    every = weeks.week_rows(made)
    for week in every["week"][[3, 30, 60, 75, 79]]:
        some = weeks.week_rows(made, review._shown_from(made, week))
        assert len(some) < len(every) or week <= every["week"][52]
        for more_back in (None, every["week"][65]):
            assert review._usual(some, week, more_back) == review._usual(every, week, more_back)
        shown = [each.filter(pl.col("week") <= week).tail(review.SEEN_WEEKS) for each in (some, every)]
        assert shown[0].equals(shown[1])

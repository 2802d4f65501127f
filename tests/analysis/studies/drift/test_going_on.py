"""Charts that go on from where they stood tell what they tell when all readings are judged, to the last digit, whatever
came in between; and they do go on.
"""

from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from analysis.studies.drift import settled, signals
from analysis.studies.drift.going_on import going_on
from analysis.studies.drift.watching import AGAINST_ALL, AVERAGE, POOLED
from ingest.store.kept_states import bytes_of, tables_of
from tests.analysis.studies.drift.test_entries import entry
from tests.analysis.studies.drift.test_streams import filed
from tests.analysis.studies.drifting import shop, snapshot, working_hours

MODELS = ("LARK", "WREN", "HERON")
PLACES = (("action", "bass"), ("action", "treble"), ("relief", ""), ("bow", ""))
PER_DAY = 24
BASE = 25


@pytest.fixture(autouse=True)
def small_shops_too(monkeypatch):
    monkeypatch.setattr(settled, "LEAST", 0)
    monkeypatch.setattr("analysis.studies.drift.going_on.MOST", 1.0)


class Kept:
    """What is kept beside a store, in memory."""

    def __init__(self):
        self.files = {}

    def of(self, key):
        return tables_of(self.files[key]) if key in self.files else None

    def keep(self, key, tables):
        self.files[key] = bytes_of(tables)


class Bench:
    """A shop that grows, whose readings move now and then, through several hands and gauges."""

    def __init__(self, seed, n=2600, *, calm=False):
        rng = self.rng = np.random.default_rng(seed)
        self.n, self.kept, self.went_on = n, Kept(), []
        self.shop = shop(MODELS, gauges={"dial": 0.01, "rule": 0.02}, baseline_readings=BASE)
        self.hours = working_hours(n, PER_DAY)
        self.model = rng.choice(MODELS, n, p=(0.5, 0.3, 0.2))
        self.setter = np.where(rng.random(n) < 0.02, "d", rng.choice(["a", "b", "c"], n)).astype("<U8")
        self.setter[n // 2 :] = np.where(rng.random(n - n // 2) < 0.2, "new", self.setter[n // 2 :])
        self.gauge = rng.choice(["dial", "rule"], n)
        self.values, self.book, self.filed = {}, [], []
        together = np.zeros(n)
        for _ in range(0 if calm else 4):  # what moves everything for a while, or for good
            first = int(rng.integers(n // 5, n))
            together[first : first + int(rng.integers(60, 700))] += rng.choice([-0.05, 0.06, 0.1])
        for place in PLACES:
            own = np.cumsum(rng.normal(0, 0.002, n)) if place == ("bow", "") and not calm else np.zeros(n)
            for _ in range(0 if calm else 3):
                first = int(rng.integers(n // 5, n))
                own[first : first + int(rng.integers(40, 500))] += rng.choice([-0.12, 0.1, 0.2])
            level = 2.0 + 0.3 * (self.model == "WREN") + 0.05 * (self.setter == "b")
            self.values[place] = np.round(level + together + own + rng.normal(0, 0.08, n), 2)

    def first(self, k):
        """The shop after so many instruments."""
        frames = {}
        if self.book:
            frames["bench_book"] = pl.concat(self.book).with_columns(sequence=pl.int_range(1, len(self.book) + 1))
        if self.filed:
            frames["limits_on_file"] = pl.concat(self.filed)
        made = snapshot(
            self.shop,
            {place: each[:k] for place, each in self.values.items()},
            model=self.model[:k],
            setter=self.setter[:k],
            gauge=self.gauge[:k],
            hours=self.hours[:k],
            **frames,
        )
        return replace(made, kept_tables=SimpleNamespace(visits=0, laid_over=str), kept_states=self.kept)

    def judged(self, k, monkeypatch):
        """After so many instruments, from what is kept; held against all of them judged anew."""
        seen = []

        def watched(*given, **more):
            seen.append(going_on(*given, **more))
            return seen[-1]

        monkeypatch.setattr(signals, "going_on", watched)
        made = self.first(k).once(signals.signals)
        self.went_on += seen
        same(made, replace(self.first(k), kept_states=None).once(signals.signals))
        return made


def same(one, other):
    for name in ("found", "others", "openings", "looked", "unjudged"):
        assert_frame_equal(getattr(one, name), getattr(other, name), check_exact=True)
    assert (one.ends, one.laws.names) == (other.ends, other.laws.names)
    for ours, theirs in (
        (one.sigma, other.sigma),
        (one.budget.rates, other.budget.rates),
        (one.laws.factors, other.laws.factors),
        (one.coarse, other.coarse),
        (one.charts.plotted, other.charts.plotted),  # worked out where somebody asks
        (one.fired.average, other.fired.average),
        (one.pooled.steady, other.pooled.steady),
    ):
        assert np.array_equal(ours, theirs)


@pytest.mark.parametrize("seed", [20_311_101, 20_311_102])
def test_day_after_day_tells_what_all_readings_tell(seed, monkeypatch):
    gone_on = grows(seed, monkeypatch)
    assert len(gone_on) > 6
    assert any(len(one.signals) for one in gone_on)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(20_311_110, 20_311_116))
def test_day_after_day_tells_what_all_readings_tell_in_many_shops(seed, monkeypatch):
    grows(seed, monkeypatch)


def grows(seed, monkeypatch):
    bench = Bench(seed)
    for k in np.cumsum(bench.rng.integers(20, 160, 14)) + 900:
        bench.judged(int(k), monkeypatch)
    gone_on = [one for one in bench.went_on if one is not None]
    assert any(one.goes_on.any() for one in gone_on)
    return gone_on


def test_what_goes_on_looks_at_few_readings(monkeypatch):
    bench = Bench(20_311_103, calm=True)
    bench.judged(2300, monkeypatch)
    bench.judged(2340, monkeypatch)
    (_, one) = bench.went_on
    assert len(one.thin.at) < 0.6 * len(one.early)
    assert one.goes_on.sum() > 10


def test_who_gets_limits_of_their_own_meanwhile_stops_no_other_chart(monkeypatch):
    bench = Bench(20_311_108, calm=True)
    first = bench.judged(1480, monkeypatch)
    then = bench.judged(2000, monkeypatch)
    counts = []
    for charts in (first.charts, then.charts):
        own = charts.rows.filter(charts.adjusted != AGAINST_ALL).filter(chart=AVERAGE, tech="new")
        counts.append(len(own))
    assert counts[1] > counts[0]
    gone = bench.went_on[-1]
    rows = gone.found.charts.rows.filter(pl.Series(gone.goes_on))
    assert {"action", "bow"} <= set(rows.filter(chart=POOLED)["characteristic"])


CHANGES = ("a reading of long ago", "a late log", "a new setter long ago", "a gauge", "a model", "a serial")


@pytest.mark.parametrize("what", CHANGES)
def test_what_was_changed_of_long_ago_is_judged_with_all_that_hangs_on_it(what, monkeypatch):
    bench = Bench(20_311_104)
    bench.judged(2000, monkeypatch)
    row = int(bench.rng.integers(300, 900))
    if what == "a reading of long ago":
        bench.values["action", "bass"][row] += 0.4
    elif what == "a late log":
        bench.values["relief", ""][row] = np.nan
    elif what == "a new setter long ago":
        bench.setter[row : row + 40] = "late"
    elif what == "a gauge":
        bench.gauge[row : row + 20] = "dial"
    elif what == "a model":
        bench.model[row] = "HERON"
    else:
        bench.hours[row] += 0.25
    bench.judged(2040, monkeypatch)
    assert len(bench.went_on) == 2


def test_a_word_in_the_book_and_limits_on_file_are_heeded(monkeypatch):
    bench = Bench(20_311_105)
    told = bench.judged(2000, monkeypatch)
    old = told.found.filter(pl.col("stream") >= 0).head(3)
    for row in old.iter_rows(named=True):
        line = entry("close", 0, 0, chart=row["chart"]).with_columns(
            **{name: pl.lit(row[name]) for name in ("characteristic", "position", "model", "stage", "tech")},
            opened_at=pl.lit(row["opened_at"], dtype=pl.Datetime("us", "UTC")),
            at=pl.lit(row["opened_at"] + timedelta(days=1), dtype=pl.Datetime("us", "UTC")),
        )
        bench.book.append(line)
    bench.judged(2030, monkeypatch)
    assert bench.went_on[-1] is not None
    bench.filed.append(filed(40))
    bench.judged(2060, monkeypatch)
    bench.judged(2100, monkeypatch)


def test_it_is_taken_anew_after_some_weeks(monkeypatch):
    bench = Bench(20_311_106)
    bench.judged(1100, monkeypatch)
    (first,) = {key: data for key, data in bench.kept.files.items() if not key.endswith("opened")}.values()
    bench.judged(1160, monkeypatch)
    assert first in bench.kept.files.values()
    bench.judged(2500, monkeypatch)
    assert first not in bench.kept.files.values()


def test_a_shop_without_a_budget_or_with_few_readings_keeps_nothing(monkeypatch):
    bench = Bench(20_311_107)
    bench.shop = shop(MODELS, baseline_readings=BASE, width=3.0, false_signals_per_week=None)
    bench.first(1200).once(signals.signals)
    assert not bench.kept.files
    bench = Bench(20_311_107)
    monkeypatch.setattr(settled, "LEAST", 10**9)
    bench.judged(1200, monkeypatch)
    assert not bench.kept.files

"""What is worked out for the matters asked about alone is what stands among all matters ever, to the last digit."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.entries import entries_for
from analysis.studies.drift.signals import signals
from analysis.studies.drift.streams import STREAM
from analysis.studies.matters import groups, matters, one_move, open_ones, reached, register, spans
from analysis.studies.matters.records import Matter
from analysis.studies.matters.units import every_signal
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.drifting import at, shop, snapshot

N = 1000  # 25 weeks
MODELS = ("LARK", "WREN")


@pytest.fixture(autouse=True)
def short_times(monkeypatch):
    """Half a year is many times what anybody looks back."""
    monkeypatch.setattr(spans, "TOGETHER", timedelta(weeks=3))
    monkeypatch.setattr(spans, "AROUND", 21)
    monkeypatch.setattr(spans, "STEP", 7)
    monkeypatch.setattr(spans, "ENOUGH", 60)
    for module in (groups, one_move, reached):
        monkeypatch.setattr(module, "SAME_CAUSE", timedelta(days=4))
    monkeypatch.setattr(open_ones, "LOOKED_BACK", timedelta(weeks=2))
    for module in (groups, reached, open_ones, register):
        monkeypatch.setattr(module, "JUST_OVER", timedelta(days=4))
    for module in (reached, register):
        monkeypatch.setattr(module, "KEPT", timedelta(weeks=4))


def comes_and_goes(seed: int) -> Snapshot:
    """Two gauges, setters and models of which one after another goes off and comes back, and lines about any of it."""
    rng, place = np.random.default_rng(seed), np.arange(N)
    told = {
        name: rng.choice(words, N)
        for name, words in (("model", list(MODELS)), ("setter", ["T1", "T2"]), ("gauge", ["g1", "g2"]))
    }
    values = {("relief", ""): rng.normal(size=N), ("action", "bass"): rng.normal(size=N)}
    for _ in range(12):
        name = list(told)[int(rng.integers(3))]
        first, long = int(rng.integers(150, N)), int(rng.integers(30, 120))
        moved = (place >= first) & (place < first + long) & (told[name] == rng.choice(told[name]))
        which = list(values)[int(rng.integers(2))]
        values[which] = values[which] + rng.choice([-2.0, 2.0]) * moved
    made = shop(MODELS, false_signals_per_week=1.0)
    bare = snapshot(made, values, as_of=at(N - 1), **told)
    return snapshot(made, values, as_of=at(N - 1), bench_book=lines(bare, rng), **told)


def lines(bare: Snapshot, rng: np.random.Generator) -> pl.DataFrame:
    """A book about some of the signals, some of it written before their cause began."""
    every = [one for one in bare.once(every_signal) if one.table == "found"]
    rows = []
    for k in range(8):
        one = every[int(rng.integers(len(every)))]
        opened, end = one.row["opened_at"], one.row["closed_at"] or bare.as_of
        when = opened + float(rng.random()) * (max(end, one.row["opened_last"] or end) - opened)
        kind = str(rng.choice(["action", "cause", "done"]))
        rows.append(
            {name: one.row[name] for name in (*STREAM, "chart", "opened_at")}
            | {"sequence": k + 1, "kind": kind, "text": f"line {k}", "at": when, "who": "Mara"}
        )
    return tables.shaped(pl.DataFrame(rows), tables.BENCH_BOOK)


def anew(made: Snapshot) -> Snapshot:
    """The same shop of which nothing has been asked but its signals."""
    kept = {study: made._kept[study] for study in (signals, every_signal, entries_for) if study in made._kept}
    return replace(made, _kept=kept, _book_kinds={}, _turns={})


def explained(made: Snapshot) -> int:
    """Of how many chains it was asked what explains them."""
    return sum(chain.made is not None for chain in made.once(reached._past))


def in_sight(made: Snapshot, every: list[Matter]) -> list[Matter]:
    """What the register tells: open, closed of late or written about."""
    return [one for one in every if one.lines or one.closed_at is None or one.closed_at >= made.as_of - reached.KEPT]


@pytest.mark.parametrize("seed", range(20301201, 20301205))
def test_what_is_told_of_some_matters_is_what_is_told_of_them_among_all_ever(seed):
    made = comes_and_goes(seed)
    whole, told = anew(made), anew(made)
    every = whole.once(matters.matters)
    moves = {(signal.table, signal.row): one.moves_with for one in every for signal in one.signals}
    assert repr(anew(made).once(matters.moves_with)) == repr(moves)
    assert any(one.named for one in moves.values())
    some = in_sight(made, every)
    assert repr(in_sight(made, told.once(matters.matters_told))) == repr(some)
    assert 0 < len(some) < len(every)
    asked = [*anew(made).once(matters.open_matters), *anew(made).once(matters.ended_matters)]
    assert asked
    rows = whole.once(register.register)
    for one in asked:
        alone = anew(made)
        expected = {key: row for key in (one.key,) for row in rows if row.goes_by(key)}
        assert repr(register.rows_of(alone, keys=(one.key,))) == repr(expected)
        assert explained(alone) <= explained(told) <= explained(whole)
    together = tuple(one.key for one in asked)
    expected = {key: row for key in together for row in rows if row.goes_by(key)}
    assert repr(register.rows_of(anew(made), keys=together)) == repr(expected)


def test_what_is_asked_of_one_matter_does_not_explain_all_that_ever_closed():
    made = comes_and_goes(20301206)
    whole, alone = anew(made), anew(made)
    whole.once(matters.matters)
    last = max(whole.once(matters.open_matters), key=lambda one: one.began_at)
    register.rows_of(alone, keys=(last.key,))
    assert explained(alone) < explained(whole) / 2


def test_a_cause_that_comes_again_after_long_is_another_matter_and_takes_no_line_of_the_first():
    n, rng = 1200, np.random.default_rng(20301207)
    place, setter = np.arange(n), rng.choice(["T1", "T2"], n)
    moved = ((place >= 300) & (place < 400)) | ((place >= 1020) & (place < 1120))  # forty a week
    values = {("relief", ""): rng.normal(size=n) + 2.5 * (moved & (setter == "T2"))}
    few = shop(MODELS[:1], false_signals_per_week=0.05)
    first = next(one for one in snapshot(few, values, setter=setter).once(every_signal) if one.table == "found")
    line = {name: first.row[name] for name in (*STREAM, "chart", "opened_at")} | {"sequence": 1, "kind": "action"}
    line |= {"text": "a new rest", "who": "Mara", "at": first.row["opened_at"] + timedelta(days=1)}
    made = snapshot(few, values, setter=setter, bench_book=tables.shaped(pl.DataFrame([line]), tables.BENCH_BOOK))
    told = [one for one in made.once(matters.matters) if one.moves_with.named]
    assert [len(one.lines) for one in sorted(told, key=lambda one: one.began_at)] == [1, 0]

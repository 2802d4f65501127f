"""A key of an explanation is another one wherever something that it hangs on is, and the same where nothing is."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.signals import signals
from analysis.studies.matters.hangs_on import _Numbers, _of_readings, _readings, key_of
from analysis.studies.matters.spans import Bench, Span, bench, day_of
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import at, shop, snapshot

N = 240
MADE = shop(("LARK", "WREN"))
SPAN = Span(at(80).date(), at(180).date())
OUTSIDE, INSIDE, LATER = 40, 120, 200  # instruments read before the span, in it and behind it


def random_bench(rng: np.random.Generator) -> Bench:
    """Streams of some readings each, in time order, some of days that nobody knows, some young."""
    size = rng.integers(1, 40, 12)
    starts = np.cumsum(size) - size
    days = [np.sort(rng.integers(20000, 20060, n)) for n in size]
    for day in days[:4]:
        day[0] = np.iinfo(np.int64).min
    day = np.concatenate(days)
    young = np.repeat(rng.random(12) < 0.4, size)
    return Bench("action", "final", np.arange(len(day)), day, day, young, frozenset(), starts)


@pytest.mark.parametrize("seed", range(20310201, 20310209))
def test_pieces_hold_the_rows_that_lie_within_a_span(seed):
    rng = np.random.default_rng(seed)
    here = random_bench(rng)
    for first, last in ((None, None), (20010, None), (None, 20040), (20010, 20040), (20030, 20030), (30000, 30001)):
        days = [None if day is None else day_of(day) for day in (first, last)]
        for young in (True, False):
            span = Span(*days, young)
            begin, end = here.pieces(span)
            rows = np.concatenate([np.arange(*ends) for ends in zip(begin, end, strict=True)] or [np.zeros(0)])
            assert (end > begin).all()
            assert rows.tolist() == np.flatnonzero(here.within(span)).tolist()


def test_what_is_told_of_a_piece_hangs_on_its_rows_in_their_order_and_on_no_other():
    each = np.random.default_rng(20310210).integers(0, 2**63, 30).astype(np.uint64)
    first, end = np.array([4, 10, 29]), np.array([10, 11, 30])
    told = _Numbers.of(each).told(first, end)
    for k, (begin, over) in enumerate(zip(first, end, strict=True)):
        alone = _Numbers.of(each[begin:over])
        assert alone.told(np.array([0]), np.array([over - begin])).tolist() == [told[k]]
    for row in range(30):
        moved = each.copy()
        moved[row] += np.uint64(1)
        assert (_Numbers.of(moved).told(first, end) != told).tolist() == ((first <= row) & (row < end)).tolist()
    turned = each.copy()
    turned[[6, 7]] = each[[7, 6]]
    assert (_Numbers.of(turned).told(first, end) != told).tolist() == [True, False, False]


def made(changed: str = "", row: int = INSIDE, **frames: pl.DataFrame) -> Snapshot:
    """A shop in which of one instrument one thing is another; it is set with a gauge at the neck."""
    rng = np.random.default_rng(20310211)
    words = {
        name: rng.choice(["a", "b"], N) for name in ("model", "setter", "early", "gauge", "lot", "supplier", "reader")
    }
    words["model"] = np.where(np.arange(N) % 2, "LARK", "WREN")
    value, rh = rng.normal(size=N), rng.normal(45, 5, N)
    one = np.arange(N) == row
    if changed in words:
        words[changed] = np.where(one, {"model": "WREN" if row % 2 else "LARK"}.get(changed, "c"), words[changed])
    value, rh = value + (changed == "value") * one, rh + (changed == "rh") * one
    held = snapshot(MADE, {("relief", ""): value}, rh=rh, **words)
    read = held.table("readings")
    with_one = pl.col("line") == row * 4 + 3
    set_with = pl.when(with_one).then(pl.lit("g2" if changed == "set with" else "g1")).otherwise(pl.lit("g1"))
    at_neck = read.with_columns(
        gauge=set_with, stage=pl.lit("neck"), line=pl.col("line") - 2, taken_at=pl.col("taken_at") - timedelta(hours=1)
    )
    return Snapshot.of(
        MADE, visits=held.table("visits"), readings=pl.concat([read, at_neck]), as_of=held.as_of, **frames
    )


def numbers(held: Snapshot, span: Span = SPAN) -> list[int]:
    """Of the readings of a bench in the span; what is judged of it is nobody's."""
    judged = held.once(signals)
    assert judged is not None
    here = bench(held, judged, "relief", "final")
    assert here is not None
    return _readings(held, judged, here, span).tolist()


def key(held: Snapshot) -> str:
    judged = held.once(signals)
    here = bench(held, judged, "relief", "final")
    return key_of(held, judged, here, SPAN, [])


@pytest.mark.parametrize(
    "changed", ["model", "setter", "early", "gauge", "lot", "supplier", "reader", "rh", "set with"]
)
def test_what_one_reading_says_is_in_the_numbers_of_the_spans_that_hold_it(changed):
    before = numbers(made())
    assert numbers(made(changed)) != before
    assert key(made(changed)) != key(made())
    for row in (OUTSIDE, LATER):
        assert numbers(made(changed, row), Span(None, None)) != numbers(made(), Span(None, None))
        if changed != "model":  # which moves the baseline of both
            assert numbers(made(changed, row)) == before


def test_its_value_is_in_the_numbers_and_so_is_the_baseline_that_it_moves():
    assert numbers(made("value")) != numbers(made())
    assert numbers(made("value", OUTSIDE)) != numbers(made())  # of the readings that the baseline is made of
    assert numbers(made("value", LATER)) == numbers(made())


def test_a_change_that_is_dated_and_the_air_are_in_the_key_as_far_as_they_may_touch_the_span():
    def change(day):
        row = {"from_date": day, "to_date": None, "model": "", "stage": "neck", "what": "a jig", "note": ""}
        return pl.DataFrame([row], schema_overrides={"to_date": pl.Date})

    def air(day):
        return pl.DataFrame({"at": [at(0) + timedelta(days=n) for n in range(60)], "room": "hall",
                             "rh": [40.0 + (n == day) for n in range(60)]})  # fmt: skip

    before = key(made())
    assert key(made(changes=change(at(INSIDE).date()))) != before
    assert key(made(changes=change(at(LATER).date()))) == before
    inside, later = ((when.date() - at(0).date()).days for when in (at(INSIDE), at(N - 1)))
    assert key(made(climate=air(inside))) != key(made(climate=air(-1)))
    assert key(made(climate=air(later))) == key(made(climate=air(-1)))


def test_the_order_in_which_rows_were_loaded_is_in_no_number():
    held, rng = made(), np.random.default_rng(20310212)
    tables = {name: held.table(name) for name in ("visits", "readings")}
    mixed = {name: rows[rng.permutation(len(rows))] for name, rows in tables.items()}
    other = Snapshot.of(MADE, as_of=held.as_of, **mixed)
    assert key(other) == key(held)
    judged = other.once(signals)
    here = bench(other, judged, "relief", "final")
    assert len(np.unique(_of_readings(other, judged, here))) == len(here.at)

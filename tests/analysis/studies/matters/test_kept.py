"""What explains a matter is kept under all that it hangs on: whatever happens to the shop in between, a kept answer is
the one that would be worked out again, to the last digit.
"""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.matters import spans
from analysis.studies.matters.matters import matters
from analysis.studies.matters.records import Candidate, MovesWith
from analysis.studies.matters.written import read, written
from ingest.store.snapshot import Snapshot
from ingest.store.worked_out import WorkedOut
from tests.analysis.studies.drifting import at, shop, snapshot

N, STEPS = 720, 8
SHOP = shop(("LARK", "WREN"), false_signals_per_week=0.3)


class Bench:
    """A shop to which something happens again and again."""

    def __init__(self, seed: int) -> None:
        self.rng = rng = np.random.default_rng(seed)
        self.told = {
            name: rng.choice(words, N)
            for name, words in (
                ("model", ["LARK", "WREN"]),
                ("setter", ["T1", "T2", "T3"]),
                ("early", ["T4", "T5"]),
                ("gauge", ["g1", "g2"]),
                ("lot", ["a", "b", "c", "d"]),
                ("supplier", ["A", "B"]),
            )
        }
        since = np.arange(N)
        self.rh = 47.0 + rng.normal(0, 5, N)
        relief = rng.normal(size=N) + 1.8 * ((since % 300 > 150) & (self.told["gauge"] == "g1"))
        action = rng.normal(size=(2, N)) + 1.5 * ((since % 240 > 130) & (self.told["setter"] == "T2"))
        self.values = {("relief", ""): relief, ("action", "bass"): action[0], ("action", "treble"): action[1]}
        self.there = rng.random(N) < 0.9  # what is not is loaded late
        self.upto = 400
        self.changes = pl.DataFrame()

    def happens(self) -> None:
        """More days, late data, a log taken out, a correction, another word for somebody, a change written down."""
        rng, what = self.rng, int(self.rng.integers(7))
        place = int(rng.integers(self.upto))
        if what <= 1:
            self.upto = min(self.upto + int(rng.integers(8, 60)), N)
        elif what == 2:
            self.there[place : place + 16] = True
        elif what == 3:
            self.there[place : place + 8] = False
        elif what == 4:
            name = list(self.values)[int(rng.integers(3))]
            self.values[name] = np.where(np.arange(N) == place, rng.normal(), self.values[name])
        elif what == 5:
            name = list(self.told)[int(rng.integers(len(self.told)))]
            self.told[name] = np.where(np.arange(N) == place, rng.choice(self.told[name]), self.told[name])
        else:
            row = {"from_date": at(place).date(), "to_date": None, "model": "", "stage": "neck", "what": f"jig {place}"}
            more = pl.DataFrame([row | {"note": ""}], schema_overrides={"to_date": pl.Date})
            self.changes = pl.concat([self.changes, more]) if len(self.changes) else more

    def stands(self) -> Snapshot:
        """The shop as it is now."""
        kept = self.there & (np.arange(N) < self.upto)
        values = {name: np.where(kept, column, np.nan) for name, column in self.values.items()}
        return snapshot(
            SHOP, values, rh=self.rh, as_of=at(self.upto - 1), changes=self.changes, shuffled=self.rng, **self.told
        )


@pytest.fixture
def short_spans(monkeypatch):
    """A shop of half a year has a past."""
    monkeypatch.setattr(spans, "TOGETHER", timedelta(weeks=3))
    monkeypatch.setattr(spans, "AROUND", 21)
    monkeypatch.setattr(spans, "STEP", 7)
    monkeypatch.setattr(spans, "ENOUGH", 60)


class Counted(WorkedOut):
    """Answers that count how often one was there."""

    hits = 0

    def of(self, key):
        found = super().of(key)
        self.hits += found is not None
        return found


@pytest.mark.long
@pytest.mark.parametrize("seed", [20270114, 20270115])
def test_over_random_histories_a_kept_answer_is_the_one_worked_out_again(seed, short_spans, tmp_path):
    bench, kept = Bench(seed), Counted(tmp_path, 1, "")
    seen = []
    for _ in range(STEPS):
        now = bench.stands()
        again = replace(now, worked_out=kept, _kept={}, _book_kinds={}, _turns={})
        alone, once_more = now.once(matters), again.once(matters)
        assert repr(once_more) == repr(alone)
        seen.append(len(alone))
        bench.happens()
    assert min(seen) >= 3
    assert kept.hits >= STEPS // 2


def test_a_number_is_read_as_it_was_written():
    ones = [0.1, 1 / 3, 5e-324, 1.7976931348623157e308, float("inf")]
    moves = [MovesWith([Candidate("lot", "Zoë\n", on=at(3).date(), effect=one)], 3, one, one) for one in ones]
    assert repr(read(written(moves))) == repr(moves)
    assert read(written(None)) is None

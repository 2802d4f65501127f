"""Longest first, with bounds, and what cannot be told apart says so."""

import polars as pl
import pytest

from analysis.methods.intervals import poisson_exact
from analysis.studies.rework.pareto import pareto
from analysis.studies.rework.rework import send_backs
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.benches import bench, shop
from tests.analysis.studies.random_shops import random_shop, snapshot_of


def sent(counts: dict[str, int]) -> Snapshot:
    lines, serial = [], 0
    for cause, times in counts.items():
        for _ in range(times):
            serial += 1
            lines += [
                f"S{serial} 2 8 {cause} pass",
                f"S{serial} 2 9 final send_back sent_back_to={cause}",
                f"S{serial} 2 10 {cause} pass",
                f"S{serial} 2 11 final pass",
            ]
    return bench("\n".join(lines))


def test_counts_stand_longest_first_with_exact_bounds():
    table = pareto(sent({"nut": 6, "frets": 20, "bridge": 5}), of="count")
    assert table.select("name", "value").rows() == [("frets", 20.0), ("nut", 6.0), ("bridge", 5.0)]
    assert table["so_far"].to_list() == pytest.approx([20 / 31, 26 / 31, 1.0])
    low, high = poisson_exact([20, 6, 5])
    assert table["low"].to_list() == pytest.approx(low)
    assert table["high"].to_list() == pytest.approx(high)


def test_bars_that_chance_could_swap_are_named_together():
    # 20 and 6: 2 P(X >= 20 of 26) = 0.009, apart. 6 and 5: never.
    table = pareto(sent({"nut": 6, "frets": 20, "bridge": 5}), of="count")
    assert table["same_as_next"].to_list() == [False, True, False]
    assert table["same_as"].to_list() == ["", "bridge", "nut"]


def test_minutes_weigh_and_an_instrument_sent_back_twice_is_one_piece():
    # Nut again 8 + final again 5 = 13 minutes a loop: S1 twice.
    made = bench("""
        S1 2 8 nut pass
        S1 2 9 final send_back sent_back_to=nut
        S1 2 10 nut pass
        S1 2 11 final send_back sent_back_to=nut
        S1 2 12 nut pass
        S1 2 13 final pass""")
    once = pareto(made).row(0, named=True)
    assert (once["name"], once["value"], once["count"]) == ("nut", 26.0, 2)
    low, high = poisson_exact([1])  # one piece of 26 minutes
    assert (once["low"], once["high"]) == pytest.approx((26 * low[0], 26 * high[0]))


@pytest.mark.parametrize("by", ["caused_at", "caught_at", "fault"])
@pytest.mark.parametrize("of", ["minutes", "hours", "cost", "count"])
def test_bars_sum_to_all_the_send_backs(by, of):
    snapshot = snapshot_of(*random_shop(4, instruments=30))
    table = pareto(snapshot, by=by, of=of)
    column = "count" if of == "count" else f"loop_{of}"
    assert table["value"].sum() == pytest.approx(send_backs(snapshot)[column].sum())
    assert (table["low"] <= table["value"]).all()
    assert (table["value"] <= table["high"]).all()


def test_no_send_back_no_bar():
    assert pareto(Snapshot.of(shop(), visits=tables.empty(tables.VISITS))).is_empty()
    assert isinstance(pareto(bench("A 2 8 nut pass")), pl.DataFrame)

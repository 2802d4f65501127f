"""What-if savings: by hand, exactly today's minutes, and the laws they keep."""

import numpy as np
import pytest

from analysis.studies.savings import table, what_if
from analysis.studies.story import story
from ingest import tables
from ingest.snapshot import Snapshot
from tests.analysis.studies import simulated
from tests.analysis.studies.benches import bench, shop
from tests.analysis.studies.random_shops import random_shop, snapshot_of


def sent_back_from_final(times: int, instruments: int) -> Snapshot:
    lines = []
    for i in range(instruments):
        lines += [f"S{i} 2 {hour} {stage} pass" for hour, stage in ((8, "nut"), (9, "bridge"), (10, "play"))]
        if i < times:
            lines += [f"S{i} 2 11 final send_back sent_back_to=nut"]
            lines += [f"S{i} 2 {hour} {stage} pass" for hour, stage in ((12, "nut"), (13, "bridge"), (14, "play"))]
        lines += [f"S{i} 2 15 final pass", f"S{i} 2 16 packing pass"]
    return bench("\n".join(lines))


def test_savings_by_hand():
    # 4 of 10 came back from final to the nut: nut 8 + bridge 6 + play 4 + final 5 = 23 minutes each, 92 in all, elapsed 4 hours each.
    # Half as often: 46 minutes, 8 hours. Caught at the bridge instead: the nut again 8 and the bridge again 6 = 14 each; 92 - 56 = 36.
    made = what_if(sent_back_from_final(4, 10), draws=50)
    assert made.rows.select("change", "count", "minutes", "cost").rows() == [
        ("nut caught at final: half as often", 4, pytest.approx(46.0), pytest.approx(46.0)),
        ("nut caught at final: caught at bridge instead", 4, pytest.approx(36.0), pytest.approx(36.0))]  # fmt: skip
    assert (made.loop_minutes, made.loop_days) == pytest.approx((92.0, 16 / 24))
    assert made.rows["days"][0] == pytest.approx(8 / 24)
    for row in made.rows.to_dicts():
        assert row["minutes_low"] <= row["minutes"] <= row["minutes_high"]


@pytest.mark.parametrize("seed", range(8))
def test_the_chain_gives_back_todays_minutes_exactly(seed):
    snapshot = snapshot_of(*random_shop(seed, instruments=30))
    loops = snapshot.once(story).loops
    assert what_if(snapshot, draws=2).loop_minutes == pytest.approx(loops.filter(loops["round"] == 1)["minutes"].sum(), rel=1e-9)


def test_no_change_saves_more_than_all_the_rework_it_touches():
    snapshot = simulated.snapshot(simulated.visits(1500, np.random.default_rng(3)))
    made = what_if(snapshot, draws=20)
    assert (made.rows["minutes"] > 0).all()
    assert (made.rows.filter(made.rows["kind"] == "halved")["minutes"] < made.loop_minutes / 2).all()
    assert made.rows["minutes"].to_list() == sorted(made.rows["minutes"], reverse=True)


@pytest.mark.promise
def test_a_change_made_for_real_saves_what_was_said():
    # Half the send-backs from play to the nut: told from 3,000 instruments, made in 40,000 others (seeds 1, 2, 3 fixed before the first run).
    pair = ("nut", "play")
    told = what_if(simulated.snapshot(simulated.visits(3000, np.random.default_rng(1))), draws=100).rows
    halved = told.filter((told["caused_at"] == pair[0]) & (told["caught_at"] == pair[1]) & (told["kind"] == "halved")).row(0, named=True)

    def minutes(seed: int, chances: dict[tuple[str, str], float]) -> float:
        rows = simulated.visits(40_000, np.random.default_rng(seed), chances)
        return simulated.snapshot(rows).once(story).loops["minutes"].sum() * 3000 / 40_000

    saved = minutes(2, simulated.CHANCES) - minutes(3, simulated.CHANCES | {pair: simulated.CHANCES[pair] / 2})
    assert halved["minutes_low"] <= saved <= halved["minutes_high"]


def test_the_same_seed_says_the_same():
    snapshot = sent_back_from_final(3, 9)
    assert table(snapshot, seed=7).equals(table(snapshot, seed=7))
    assert not table(snapshot, seed=7).equals(table(snapshot, seed=8))


def test_a_bench_without_a_send_back_has_nothing_to_save():
    assert what_if(bench("A 2 8 nut pass\nA 3 8 final pass")).rows.is_empty()
    assert table(Snapshot.of(shop(), visits=tables.empty(tables.VISITS))).columns == ["change", "minutes", "minutes_low", "minutes_high", "cost"]

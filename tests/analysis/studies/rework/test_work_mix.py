"""The mix of work, counted once more in plain loops over the story's rows."""

from collections import Counter, defaultdict

import polars as pl
import pytest

from analysis.studies.rework.work_mix import MIX, UNKNOWN, every_mix, mix_of
from analysis.studies.story.of_visits import ANSWERED
from analysis.studies.story.scope import instrument_of, judged
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.random_shops import random_shop, snapshot_of


def counted(snapshot: Snapshot, only: set[str] | None = None) -> list[tuple]:
    """WORK as `stage_weeks` defines it, an instrument after the other."""
    told, shop = snapshot.once(story), snapshot.shop
    visits = told.visits.whole().to_dicts()
    instruments = [one for one in judged(snapshot).to_dicts() if only is None or one["serial"] in only]
    serials = {one["serial"]: one for one in instruments}
    first = {(row["serial"], row["stage"]): row["visit"] for row in visits if row["first_pass"]}
    named = Counter(row["visit"] for row in told.faults.to_dicts() if row["outcome"] in ANSWERED)
    caused: dict[tuple[str, str], list[dict]] = defaultdict(list)
    for row in told.caused.filter(pl.col("round") == 1).to_dicts():
        if row["serial"] in serials:
            caused[row["serial"], row["caused_at"]].append(row)
    late = {
        key
        for key, rows in caused.items()
        if key[1] in shop.bench_order and first.get(key, 1e9) >= min(row["visit"] for row in rows)
    }
    here = {key for key in first if key[0] in serials}
    if any(key[1] == UNKNOWN and any(row["kind"] == "send back" for row in rows) for key, rows in caused.items()):
        here |= {(serial, UNKNOWN) for serial in serials}
    written = {(serials[serial]["week"], stage) for serial, stage in here - late}
    silent = {stage for serial, stage in late if (serials[serial]["week"], stage) not in written}
    for stage in (one for one in shop.stages if one.key in silent):
        here |= {
            (one["serial"], stage.key)
            for one in instruments
            if stage.holds_for(one["family"]) and (one["week"], stage.key) not in written
        }
    cells: dict[tuple, list[int]] = defaultdict(lambda: [0, 0, 0])
    for serial, stage in here | late:
        one = serials[serial]
        rows = caused.get((serial, stage), [])
        cell = cells[stage, one["week"], one["model"], one["lot"], visits[one["judged_visit"]]["tech"]]
        cell[0] += 1
        cell[1] += any(row["kind"] == "send back" for row in rows)
        cell[2] += sum(named.get(row["visit"], 1) for row in rows)
    return [(*key, *cells[key]) for key in sorted(cells)]


@pytest.mark.parametrize("seed", range(12))
def test_the_mix_is_that_of_a_plain_count(seed):
    snapshot = snapshot_of(*random_shop(seed, instruments=40))
    assert every_mix(snapshot).rows() == counted(snapshot)
    some = judged(snapshot).filter(pl.col("serial").hash(seed) % 2 == 0)
    assert mix_of(snapshot, some).rows() == counted(snapshot, set(some["serial"]))


def test_the_mix_of_a_shop_of_sixteen_weeks_is_that_of_a_plain_count(demo):
    assert every_mix(demo).rows() == counted(demo)


def test_visits_of_an_instrument_share_what_the_mix_takes_from_it():
    # the mix takes model and lot from the instrument, not from each visit
    told = snapshot_of(*random_shop(5, instruments=40)).once(story)
    at = instrument_of(told)
    for name in ("serial", *MIX[:2], "family"):
        assert told.visits[name].cast(pl.String).to_list() == told.instruments[name].gather(at).to_list()

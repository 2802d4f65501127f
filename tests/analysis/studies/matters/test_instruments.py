"""Who worked on each instrument first, against a loop over the visits."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.matters.instruments import MODEL, OF_READINGS, grouped, hands
from analysis.studies.matters.set_with import set_with
from analysis.studies.story.story import story
from tests.analysis.studies.drifting import shop, snapshot

N = 200


def made(seed: int):
    rng = np.random.default_rng(seed)
    serial_of = rng.choice(["T1", "T2", "T3", ""], N)
    gauge = rng.choice(["g1", "g2", ""], N)
    values = {("relief", ""): rng.normal(size=N), ("action", "bass"): rng.normal(size=N)}
    return snapshot(
        shop(), values, setter=serial_of, early=rng.choice(["T4", ""], N), reader="", gauge=gauge, shuffled=rng
    )


@pytest.mark.parametrize("seed", [20301211, 20301212])
def test_the_first_hands_are_those_of_the_first_visit_that_names_somebody(seed):
    bench = made(seed)
    found, told = hands(bench), {}
    for row in bench.once(story).visits.whole().iter_rows(named=True):
        if row["first_pass"] and row["tech"]:
            told.setdefault((row["serial"], row["stage"]), (row["tech"], row["visit"]))
    assert found.people == sorted(set(bench.once(story).visits["tech"].cast(pl.String)) - {""})
    serials = bench.once(story).visits["serial"].gather(found.starts[:-1]).to_list()
    assert serials == sorted(bench.once(story).visits["serial"].unique())
    rng, every = np.random.default_rng(seed), np.arange(len(serials))
    for which in (every[:1], rng.permutation(every)[:3], rng.permutation(every)):  # some asked before, some not
        tech, visit = found.of(which)
        for row, number in enumerate(which):
            for k, stage in enumerate(found.stages):
                who, first = told.get((serials[number], stage), (None, None))
                assert tech[row, k] == (-1 if who is None else found.people.index(who))
                assert who is None or visit[row, k] == first


@pytest.mark.parametrize("seed", [20301213, 20301214])
def test_the_gauge_a_reading_was_set_with_is_the_last_named_before_it(seed):
    bench, rng = made(seed), np.random.default_rng(seed)
    every = bench.once(story).readings.whole()
    later = pl.duration(hours=pl.Series(rng.integers(0, 2, len(every))))
    read = every[rng.permutation(len(every))].select("serial", pl.col("taken_at") + later)
    rows = every.filter(every["gauge"] != "").sort("taken_at").rows(named=True)
    expected = []
    for one in read.iter_rows(named=True):
        mine = [
            row
            for row in rows
            if row["characteristic"] == "action"
            and row["serial"] == one["serial"]
            and row["taken_at"] < one["taken_at"]
        ]
        expected.append(mine[-1]["gauge"] if mine else "")
    assert set(expected) == {"g1", "g2", ""}
    assert set_with(bench, "action", ("final",), read).to_list() == expected


@pytest.mark.parametrize("seed", [20310401, 20310402, 20310403])
def test_instruments_are_visits_and_parts_as_a_table_groups_them(seed):
    rng, n = np.random.default_rng(seed), 300
    visit = np.where(rng.random(n) < 0.1, -1, rng.integers(0, 60, n))
    serial = np.where(visit < 0, rng.choice(["", "N1", "N2"], n), np.char.add("S", (visit // 2).astype(str)))
    told = made(seed).once(story).readings[rng.integers(0, N, n)].select(OF_READINGS).rename({"setup": MODEL})
    told = told.with_columns(serial=pl.Series(serial), visit=pl.Series(visit).replace(-1, None))
    rows, of = grouped(told)
    expected = (
        told.with_columns(pl.col(pl.Categorical).cast(pl.String), place=pl.int_range(n))
        .group_by("serial", "visit", maintain_order=True)
        .agg(pl.exclude("gauge", "place").first(), pl.col("gauge").filter(pl.col("gauge") != "").first(), "place")
        .with_columns(pl.col("gauge").fill_null(""))
        .sort("taken_at", "serial")
    )
    assert rows.rows() == expected.select(rows.columns).rows()
    for row, places in enumerate(expected["place"]):
        assert np.flatnonzero(of == row).tolist() == places.to_list()
    assert rows["visit"].null_count() == 3

"""What a shop's studies ask for leaves without people, and gives the figures of home elsewhere, to the last digit."""

import polars as pl
import pytest

from analysis.studies.drift.signals import signals
from analysis.studies.drift.states import stream_rows
from dashboard.cluster.work import FIGURES
from dashboard.desk.people_published import Leaving
from dashboard.exports import house, published
from ingest.store.store import open_snapshot
from tests.analysis.studies.drift.test_signals import INDIVIDUALS, RELIEF, WIDTH, entry, filed, shop, snapshot, stepped
from tests.dashboard.pages.people_shop import TECHS


def left(bare, secret="00" * 16, **more):
    """Every table that leaves of a shop but for what only its own figures hold, as a target orders them."""
    people = Leaving(bare, secret)
    told = {name: published._leaving(name, bare.table(name), people) for name in house.ROWS}
    told |= {"changes": published._leaving("changes", published.changes(bare), people)}
    told |= dict(house.leaving(bare, people))
    return {name: rows.sort(rows.columns) for name, rows in told.items()} | more


@pytest.mark.parametrize("name", ["people_desk", "reworked_desk"])
def test_figures_worked_out_of_what_left_are_those_of_home_to_the_last_digit(request, name):
    bare = open_snapshot(request.getfixturevalue(name).folder)
    people = Leaving(bare, "00" * 16)
    there = house.snapshot_of(left(bare), bare.as_of)
    full = 0
    for figure, work in FIGURES.items():
        home = published._leaving(figure, bare.once(work), people)
        found = there.once(work).cast(dict(home.schema))
        assert home.sort(home.columns).equals(found.sort(home.columns)), figure
        full += len(home) > 0
    assert full >= 2


@pytest.mark.parametrize(
    ("table", "more"),
    [
        ("closed", {"bench_book": entry("close", 125, 120, chart=INDIVIDUALS)}),
        ("limits", {"limits_on_file": filed(110, centre=2.0, sigma=1.0)}),
    ],
)
def test_what_a_person_closed_and_what_limits_are_on_file_count_elsewhere_too(table, more):
    bare = snapshot(shop(**WIDTH), {RELIEF: stepped(120, 200)}, **more)
    told = left(bare)
    assert len(told[table]) == 1
    there = house.snapshot_of(told, bare.as_of)
    assert there.once(signals).found.equals(bare.once(signals).found)
    assert there.once(stream_rows).equals(bare.once(stream_rows))
    without = house.snapshot_of(told | {table: told[table].clear()}, bare.as_of)
    assert not without.once(signals).found.equals(bare.once(signals).found)  # it hangs on the line


def test_no_person_wage_heading_or_word_by_hand_leaves(people_desk):
    bare = open_snapshot(people_desk.folder)
    told = left(bare)
    every = "\n".join(
        text for rows in told.values() for name, kind in rows.schema.items() if kind == pl.String for text in rows[name]
    )
    names = [*TECHS, *TECHS.values(), *(part for name in TECHS.values() for part in name.split())]
    assert [name for name in names if name in every] == []
    assert 'labour_per_hour":0.0' in every
    columns = {name for rows in told.values() for name in rows.columns}
    assert {"heading", "raw", "note", "who", "why", "owner"} & columns == set()


def test_a_shop_that_publishes_nobodys_codes_publishes_none_of_it(people_desk):
    bare = open_snapshot(people_desk.folder)
    people = Leaving(bare, "00" * 16)
    people.publish = "none"
    assert list(house.leaving(bare, people)) == []


def test_files_of_another_version_are_one_line(moving_desk):
    bare = open_snapshot(moving_desk.folder)
    strange = pl.DataFrame({"shop_file": [house.shop_file(bare.shop, Leaving(bare, "00" * 16))[:-1] + ',"xyz":1}']})
    for frame in (strange, pl.DataFrame({"shop_file": ["no shop"]})):
        with pytest.raises(house.NotThisProgram, match="not those of this version") as problem:
            house.snapshot_of(left(bare, house=frame), bare.as_of)
        assert "\n" not in str(problem.value)

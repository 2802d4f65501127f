"""States kept beside the store: tables come back as they were kept, what is damaged or of another shop is as if it were
not there; nobody keeps one in a shop in which somebody has been forgotten since.
"""

from datetime import UTC, datetime

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from ingest.store import kept_states
from ingest.store.kept_states import bytes_of, tables_of
from ingest.store.store import open_snapshot
from ingest.verbs import forget
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, row, shop

TABLES = {
    "rows": pl.DataFrame(
        {"tech": ["T07", ""], "value": [0.1 + 0.2, float("inf")], "n": pl.Series([1, 2], dtype=pl.Int32)}
    ),
    "of": pl.DataFrame({"name": ["x"], "each": [[1.0, None]], "at": [datetime(2026, 3, 1, tzinfo=UTC)]}),
    "none": pl.DataFrame(schema={"a": pl.String(), "b": pl.Boolean()}),
}


@pytest.fixture
def folder(tmp_path):
    folder = shop(tmp_path / "shop")
    load(folder, [log(folder, "a.csv", [row("A1", tech="T07"), row("A2", tech="T08")])], now=NOW)
    return folder


def place(folder):
    return open_snapshot(folder).kept_states


def test_tables_are_read_as_they_were_written():
    found = tables_of(bytes_of(TABLES))
    assert list(found) == list(TABLES)
    for name, rows in TABLES.items():
        assert_frame_equal(found[name], rows, check_exact=True)
    assert tables_of(bytes_of({})) == {}


def test_a_state_is_there_for_whoever_opens_the_shop_next_and_the_newest_stay(folder):
    for number in range(kept_states.MOST + 2):
        place(folder).keep(f"k{number}", TABLES)
    held = [place(folder).of(f"k{number}") is not None for number in range(kept_states.MOST + 2)]
    assert held == [False, False, *[True] * kept_states.MOST]
    assert_frame_equal(place(folder).of(f"k{kept_states.MOST}")["rows"], TABLES["rows"])


def test_a_damaged_state_is_none(folder):
    place(folder).keep("k", TABLES)
    (path,) = (folder / "store" / kept_states.FOLDER).iterdir()
    data = path.read_bytes()
    path.write_bytes(data[:-7] + b"flipped")
    assert place(folder).of("k") is None
    path.write_bytes(data)
    assert place(folder).of("k") is not None


def test_of_how_the_shop_stood_before_nothing_is_kept(folder):
    snapshot = open_snapshot(folder)
    assert open_snapshot(folder, version=snapshot.version).kept_states is None
    assert open_snapshot(folder, as_of=datetime(2020, 1, 1, tzinfo=UTC)).kept_states is None


def test_whoever_is_forgotten_stands_in_none_and_comes_back_by_nobody(folder):
    before = place(folder)
    before.keep("k", TABLES)
    forget.forget(folder, "T07", now=NOW)
    root = folder / "store" / kept_states.FOLDER
    assert not root.exists()
    before.keep("k", TABLES)
    assert not root.exists() or not list(root.iterdir())

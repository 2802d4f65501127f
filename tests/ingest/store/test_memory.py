"""Memory that was let go is given back where the system knows how, and nothing is said where it does not."""

import ctypes

import pytest

from ingest.store import memory, snapshot
from ingest.store.snapshot import Snapshot
from ingest.store.store import open_snapshot
from tests.ingest.bench import shop


@pytest.mark.parametrize("fault", [OSError, TypeError, AttributeError])
def test_a_system_that_knows_no_such_thing_is_left_alone(fault, monkeypatch):
    def library(_):
        raise fault

    memory.give_back()
    monkeypatch.setattr(ctypes, "CDLL", library)
    memory.give_back()


@pytest.mark.parametrize(("long", "times"), [(-1.0, 1), (1e9, 0)])
def test_it_is_given_back_behind_long_work_alone(tmp_path, monkeypatch, long, times):
    said = []
    monkeypatch.setattr(snapshot, "LONG", long)
    monkeypatch.setattr(snapshot, "give_back", lambda: said.append(True))

    def work(one: Snapshot) -> int:
        return one.version

    here = open_snapshot(shop(tmp_path))
    assert [here.once(work), here.once(work)] == [0, 0]
    assert len(said) == times

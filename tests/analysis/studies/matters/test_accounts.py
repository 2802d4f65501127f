"""What is held of a bench while its signals are explained, for one reader and beside another."""

from datetime import date
from threading import Thread
from types import SimpleNamespace

import numpy as np

from analysis.studies.matters import accounts
from analysis.studies.matters.accounts import Looked, let_go
from analysis.studies.matters.spans import Span
from ingest.store.snapshot import Snapshot
from tests.analysis.studies.drifting import shop

HERE = ("relief", "final_inspection")
DAY = date(2026, 3, 2)


class Whole:
    """Readings of a bench; while somebody looks through them another reader is done with the bench."""

    def __init__(self, snapshot, others):
        self.at, self._snapshot, self._others = np.arange(3), snapshot, others

    @property
    def alike(self):
        other = Thread(target=let_go, args=(self._snapshot,))
        other.start()
        other.join(0.2)
        self._others.append(other)
        return False


def test_what_one_reader_looks_through_another_does_not_let_go_of_meanwhile(monkeypatch):
    snapshot, others = Snapshot.of(shop()), list[Thread]()
    held = snapshot.once(accounts._held)
    for last in (4, 5):
        held.wholes[*HERE, Span(DAY, date(2026, 3, last))] = Whole(snapshot, others)
    told = object()
    monkeypatch.setattr(accounts, "instruments", lambda *_: Whole(snapshot, others))
    monkeypatch.setattr(accounts, "evidence", lambda *_: told)
    here = SimpleNamespace(at=np.arange(3), within=lambda _span: np.ones(3, dtype=bool))
    asked = Looked(*HERE, [], Span(DAY, DAY))
    assert accounts._evidence(snapshot, None, here, asked, None) is told
    assert len(others) == 2
    for other in others:
        other.join()

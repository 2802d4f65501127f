"""What is reckoned once is not reckoned again, and is what it was to the last digit."""

import dataclasses

import numpy as np
import pytest

from analysis.studies.drift import independence, reckoned, widths
from analysis.studies.drift.reckoned import PLAIN, Reckoned
from analysis.studies.drift.signals import signals
from ingest.store import worked_out
from tests.analysis.studies.drift.test_budget import followed, laid
from tests.analysis.studies.drift.test_pooled import made, readings
from tests.analysis.studies.drift.test_streams import RELIEF
from tests.analysis.studies.drifting import shop, snapshot


@pytest.fixture
def before(tmp_path):
    return dataclasses.replace(made(readings(20270304)), worked_out=worked_out.WorkedOut(tmp_path, 0, ""))


def anew(snapshot, **other):
    return dataclasses.replace(snapshot, _kept={}, _book_kinds={}, _turns={}, **other)


def test_limits_of_a_shop_are_reckoned_once_and_are_those_that_were(before, monkeypatch):
    first = before.once(signals)
    for name in ("own_law", "ewma_widths", "ewma_width"):
        monkeypatch.setattr(widths, name, lambda *_, **__: pytest.fail("reckoned again"))
    again = anew(before).once(signals)
    monkeypatch.undo()
    alone = anew(before, worked_out=None).once(signals)
    for one in (again, alone):
        assert one.found.equals(first.found)
        assert one.others.equals(first.others)
        assert one.fired.half.tobytes() == first.fired.half.tobytes()
        assert one.laws.factors.tobytes() == first.laws.factors.tobytes()
    assert (first.laws.factors != 1).any()


def test_by_how_much_limits_widen_where_neighbours_are_alike_is_reckoned_once(tmp_path, monkeypatch):
    x = followed(np.random.default_rng(20270305), 3, 400)
    held = laid(x, None)
    kept = snapshot(shop(), {RELIEF: x[:, 0]})
    reckon = Reckoned(dataclasses.replace(kept, worked_out=worked_out.WorkedOut(tmp_path, 0, "")))
    first = independence.stretches(held, reckoned=reckon)
    assert (first > 1).all()
    monkeypatch.setattr(independence, "ewma_widening", lambda *_, **__: pytest.fail("reckoned again"))
    assert independence.stretches(held, reckoned=reckon).tobytes() == first.tobytes()


def test_numbers_come_back_to_the_last_digit_and_only_for_what_they_were_reckoned_of(before, monkeypatch):
    numbers = np.array([0.1, 1 / 3, -1e-300, np.inf, 5e17 + 0.1])
    reckon, others = Reckoned(before), (0.1, np.array([1, 2]))
    assert reckon("a", lambda: numbers, *others).tobytes() == numbers.tobytes()
    assert reckon("a", lambda: pytest.fail("again"), *others).tobytes() == numbers.tobytes()
    monkeypatch.setattr(reckoned, "_code", lambda: "other code")
    assert reckon("a", lambda: np.zeros(1), *others).tolist() == [0.0]
    monkeypatch.undo()
    for name, given in (("b", others), ("a", (0.1, np.array([1, 3]))), ("a", (0.2, np.array([1, 2]))), ("a", ())):
        assert reckon(name, lambda: np.ones(2), *given).tolist() == [1.0, 1.0]
    assert PLAIN("a", lambda: np.zeros(3), *others).tolist() == [0.0, 0.0, 0.0]

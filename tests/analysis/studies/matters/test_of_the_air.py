"""What the same readings make is one matter, though it is laid to the air once and once to nothing."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from analysis.studies.matters.groups import Group
from analysis.studies.matters.of_the_air import drifts_already, follows_less
from analysis.studies.matters.open_ones import _with_the_air
from analysis.studies.matters.records import HUMIDITY, SET_BY

BEGAN = datetime(2026, 9, 25, tzinfo=UTC)


@dataclass(frozen=True)
class Sized:
    size: float
    began_at: datetime
    sizes: tuple[float, float] | None = None


@dataclass(frozen=True)
class Stub:
    measured: Sized
    models: list[str]
    causes: list[tuple[str, str]] = field(default_factory=list)
    stage: str = "final"
    characteristic: str = "relief"

    @property
    def named(self):
        return bool(self.causes)


def part(size, *, day=0, models="SU", cause="", stage="final"):
    named = [(cause, "")] if cause else []
    return Stub(Sized(size, BEGAN + timedelta(days=day)), list(models), named, stage)


AIR = part(-0.09, models="ST", cause=HUMIDITY)


@pytest.mark.parametrize(
    ("one", "other", "of_it"),
    [
        (part(-0.045, day=5), AIR, True),
        (part(-0.12, day=5), AIR, False),  # more than the air moved others
        (part(0.045, day=5), AIR, False),
        (part(-0.045, day=20), AIR, False),
        (part(-0.045, models="V"), AIR, False),  # a model that the air does not touch
        (part(-0.045, stage="nut"), AIR, False),
        (part(-0.045, cause=SET_BY), AIR, False),
        (part(-0.045), part(-0.09, cause=SET_BY), False),
        (part(-0.045), part(-0.09), False),
    ],
)
def test_what_follows_the_air_by_less_since_the_same_days_is_of_it(one, other, of_it):
    assert follows_less([one], [other]) == of_it


DRIFT = part(0.22, day=-80, models="STUV")


@pytest.mark.parametrize(
    ("one", "opened", "other", "already"),
    [
        (part(0.2, cause=HUMIDITY), [], DRIFT, True),
        (part(0.2, cause=HUMIDITY), [BEGAN - timedelta(days=60)], DRIFT, True),
        (part(0.2, cause=HUMIDITY), [BEGAN - timedelta(days=60), BEGAN], DRIFT, False),  # a chart says so since then
        (part(-0.2, cause=HUMIDITY), [], DRIFT, False),
        (part(0.2, cause=HUMIDITY, models="SX"), [], DRIFT, False),
        (part(0.2, cause=SET_BY), [], DRIFT, False),
        (part(0.2, cause=HUMIDITY), [], part(0.22, day=-5, models="STUV"), False),  # as the air changed
        (part(0.2), [], DRIFT, False),
        (part(0.2, cause=HUMIDITY), [], part(0.22, day=-80, models="STUV", cause=SET_BY), False),
    ],
)
def test_what_had_drifted_before_is_not_laid_to_the_air_as_well(one, opened, other, already):
    assert drifts_already([one], opened, [other]) == already


def signal(closed=None, began=BEGAN):
    return SimpleNamespace(row={"closed_at": closed}, lately=SimpleNamespace(began=began))


def test_its_signals_and_models_become_those_of_the_air_with_the_smaller_size():
    every = [signal(), signal(), signal()]
    kept = _with_the_air([Group({0}, [part(-0.045, day=5)]), Group({1}, [AIR]), Group({2}, [part(0.3)])], every)
    assert [sorted(one.signals) for one in kept] == [[0, 1], [2]]
    assert kept[0].parts[0].models == ["S", "T", "U"]
    assert kept[0].parts[0].measured.sizes == (-0.045, -0.09)
    alike = _with_the_air([Group({0}, [part(-0.08, day=5)]), Group({1}, [AIR])], every)
    assert alike[0].parts[0].measured.sizes is None


def test_its_signals_become_those_of_the_drift_and_what_has_ended_stays():
    every = [signal(BEGAN), signal(None, BEGAN - timedelta(days=80))]
    air = part(0.2, cause=HUMIDITY)
    kept = _with_the_air([Group({0}, [air], lasts=True), Group({1}, [DRIFT])], every)
    assert [(sorted(one.signals), one.parts) for one in kept] == [([0, 1], [DRIFT])]
    over = [Group({0}, [air], ended=True), Group({1}, [DRIFT])]
    assert _with_the_air(over, every) == over

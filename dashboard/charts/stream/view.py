"""What the chart of one stream is given: every array in the unit it is shown in, every moment on the shop's clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime


@dataclass(frozen=True)
class Asked:
    """Target and limits of the work, over the dates they held; None where there is none on that side."""

    from_at: datetime
    to_at: datetime
    target: float | None
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class Limits:
    """The edge and the limits of one reading, over the dates they held; limits None while they are provisional or
    thin.
    """

    from_at: datetime
    to_at: datetime
    centre: float
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class Signal:
    """An opening: `opened_at` is the opening reading, `light_from` where its light begins (began-at), `words` what
    stands beside its wedge.
    """

    opened_at: datetime
    closed_at: datetime | None
    direction: str  # up | down
    words: str
    light_from: datetime | None = None


@dataclass(frozen=True)
class Began:
    """When the shift began: likeliest moment and the set around it, with its words."""

    at: datetime
    low: datetime
    high: datetime
    words: str


@dataclass(frozen=True)
class Change:
    """A dated change on the bench, or limits put on file anew."""

    at: datetime
    words: str


@dataclass(frozen=True)
class Run:
    """Members of a run, under our name of the rule."""

    from_at: datetime
    to_at: datetime
    rule: str


@dataclass(frozen=True)
class Odd:
    """One instrument far from the rest: when, how much, and its words."""

    at: datetime
    value: float
    words: str


@dataclass(frozen=True)
class StreamView:
    """Everything one stream chart shows. Sequences beside `taken_at` (n,) are (n,) too, oldest first; NaN where there
    is nothing to draw.
    """

    taken_at: Sequence[datetime]
    values: Sequence[float]
    serials: Sequence[str]
    unit: str = "mm"
    decimals: int = 2
    average: Sequence[float] | None = None  # the running average that judges; None in `width` mode
    gap_low: Sequence[float] | None = None  # where it may wander
    gap_high: Sequence[float] | None = None
    limits: Sequence[Limits] = ()
    asked: Sequence[Asked] = ()
    baseline: int = 0  # readings left of the nut
    judged_from: datetime | None = None  # the nut; None: not judged yet
    signals: Sequence[Signal] = ()
    began: Began | None = None
    changes: Sequence[Change] = ()
    anew: Sequence[Change] = ()  # limits put on file
    runs: Sequence[Run] = ()
    odd: Sequence[Odd] = ()
    outside: Sequence[int] = ()  # places in taken_at of readings outside what was asked
    corrected: Sequence[int] = ()  # places in taken_at of readings a person laid over what was typed
    notes: Sequence[
        str
    ] = ()  # one per reading: what the pointer is told beside serial, time and value (corrected, provisional, ...)
    kinds: Sequence[str] = ()  # one per reading: who, lot or gauge, drawn by shape; the subject first in kind_names
    kind_names: Sequence[str] = field(default=())  # at most four

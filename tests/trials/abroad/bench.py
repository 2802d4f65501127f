"""What truly happened in an invented shop: instruments on their way through the benches, with planted facts.

Nothing here knows how it will be written down; `paper` and the shops' own modules do that.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np

Key = tuple[str, str]  # characteristic and position, such as ("action", "bass")


@dataclass(frozen=True)
class Reading:
    """One true reading: mm for lengths, cents for pitch."""

    serial: str
    characteristic: str
    position: str
    stage: str
    moment: str  # "found" or "left"
    value: float


@dataclass
class Truth:
    """What a perfect reader would have after a load, and what was planted."""

    readings: list[Reading] = field(default_factory=list)
    send_backs: list[tuple[str, str]] = field(default_factory=list)  # serial, and where it was seen
    facts: dict[str, str] = field(default_factory=dict)
    instruments: int = 0


@dataclass
class Shop:
    """Its files as they lie in a folder, what is true, and what its manager knows by heart."""

    name: str
    files: dict[str, bytes]
    truth: Truth
    knows: str


@dataclass(frozen=True)
class Station:
    """A bench: who works there, what they read, how long it takes."""

    stage: str
    people: tuple[str, ...]
    found: tuple[Key, ...] = ()
    left: tuple[Key, ...] = ()
    minutes: float = 8.0
    sets: tuple[Key, ...] = ()


@dataclass(frozen=True)
class Plan:
    """An invented shop; values are mm or cents, `spread` the standard deviation of a setting."""

    seed: int
    start: date
    a_day: int
    models: dict[str, dict[Key, tuple[float, float]]]
    route: tuple[Station, ...]
    lots: tuple[str, ...] = ()
    serials: tuple[str, int] = ("", 1000)
    off: tuple[str, Key, float] | None = None  # who, what, by how much
    bad_lot: tuple[str, float] | None = None  # lot, mm more of `bad_key`
    bad_key: str = "neck_bow"  # what the bad lot has more of as it comes in
    culprit: tuple[str, float] | None = None  # stage and share of instruments that come back for it
    others: float = 0.012  # share that comes back for each other bench
    tight: str = ""  # the model with no room
    instruments: int = 600
    hours: tuple[int, int] = (8, 16)


@dataclass(frozen=True)
class Visit:
    """One instrument at one bench, once."""

    serial: str
    model: str
    lot: str
    stage: str
    who: str
    at: datetime
    minutes: int
    found: dict[Key, float]
    left: dict[Key, float]
    verdict: str  # "pass", "fixed" or "send back"
    back_to: str = ""
    again: bool = False


def working_days(start: date) -> Iterator[date]:
    """Days from `start` on without Saturdays and Sundays."""
    day = start
    while True:
        if day.weekday() < 5:
            yield day
        day += timedelta(days=1)


def happened(plan: Plan) -> tuple[list[Visit], np.random.Generator]:
    """All visits of the plan in time order, and the generator for whoever writes them down."""
    rng = np.random.default_rng(plan.seed)
    days = working_days(plan.start)
    calendar = [next(days) for _ in range(plan.instruments // plan.a_day + 40)]
    names = list(plan.models)
    visits: list[Visit] = []
    for i in range(plan.instruments):
        serial = f"{plan.serials[0]}{plan.serials[1] + i}"
        model = names[int(rng.choice(len(names), p=weights(len(names))))]
        lot = plan.lots[min(len(plan.lots) - 1, i * len(plan.lots) // plan.instruments)] if plan.lots else ""
        visits += list(one_instrument(plan, rng, serial, model, lot, calendar[i // plan.a_day :]))
    return sorted(visits, key=lambda visit: visit.at), rng


def weights(n: int) -> np.ndarray:
    """Shares of n models, the first the commonest; no model under a tenth of the commonest."""
    raw = np.array([1.0 / (1 + 0.5 * i) for i in range(n)])
    return raw / raw.sum()


def one_instrument(
    plan: Plan, rng: np.random.Generator, serial: str, model: str, lot: str, days: list[date]
) -> Iterator[Visit]:
    """The way of one instrument through the benches, with what came back and went through again."""
    wide = 3.2 if model == plan.tight else 1.0
    now: dict[Key, float] = {}
    for key, (centre, spread) in plan.models[model].items():
        more = plan.bad_lot[1] if plan.bad_lot and lot == plan.bad_lot[0] and key[0] == plan.bad_key else 0.0
        loose = 2.0 if key[0] != "neck_bow" else 1.0
        now[key] = centre + more + rng.normal(0, spread * loose)
    step = 0
    last = plan.route[-1]
    for station in plan.route[:-1]:
        yield visited(plan, rng, (serial, model, lot), station, now, (days[step // 3], step, wide), "pass")
        step += 1
    back = send_back(plan, rng)
    yield visited(
        plan, rng, (serial, model, lot), last, now, (days[step // 3], step, wide), "send back" if back else "pass", back
    )
    if back:
        station = next(one for one in plan.route if one.stage == back)
        yield visited(
            plan, rng, (serial, model, lot), station, now, (days[step // 3 + 1], 1, wide), "fixed", again=True
        )
        yield visited(plan, rng, (serial, model, lot), last, now, (days[step // 3 + 1], 2, wide), "pass", again=True)


def send_back(plan: Plan, rng: np.random.Generator) -> str:
    """The bench that an instrument goes back to from the last one, or nothing."""
    draw = rng.random()
    for station in plan.route[:-1]:
        share = plan.culprit[1] if plan.culprit and station.stage == plan.culprit[0] else plan.others
        if draw < share:
            return station.stage
        draw -= share
    return ""


def visited(
    plan: Plan,
    rng: np.random.Generator,
    what: tuple[str, str, str],
    station: Station,
    now: dict[Key, float],
    when: tuple[date, int, float],
    verdict: str,
    back: str = "",
    again: bool = False,
) -> Visit:
    """One visit; settings change `now`."""
    serial, model, lot = what
    day, step, wide = when
    who = station.people[int(rng.integers(len(station.people)))]
    first, end = plan.hours
    at = datetime(day.year, day.month, day.day, first) + timedelta(
        minutes=int(((step % 3) + rng.random()) * (end - first) * 20)
    )
    found = {key: now[key] + rng.normal(0, 0.015 if key[0] != "intonation" else 0.8) for key in station.found}
    for key in station.sets:
        centre, spread = plan.models[model][key]
        off = plan.off[2] if plan.off and plan.off[:2] == (who, key) else 0.0
        now[key] = centre + off + rng.normal(0, spread * wide)
    left = {key: now[key] + rng.normal(0, 0.012 if key[0] != "intonation" else 0.6) for key in station.left}
    minutes = max(1, round(station.minutes * float(rng.lognormal(0, 0.3))))
    return Visit(serial, model, lot, station.stage, who, at, minutes, found, left, verdict, back, again)

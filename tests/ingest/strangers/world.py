"""An invented shop's true story: instruments, visits, readings, send-backs. Knows nothing of how a sheet is written."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np

MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Written:
    """A reading as somebody writes it down, and what that means."""

    text: str
    value: float  # mm, cents, degrees or plain, of the text as written


@dataclass(frozen=True)
class Measure:
    """What a stage measures: the trade's name, where, how it is written, and where it lies."""

    characteristic: str
    position: str
    notation: str
    mean: float  # canonical unit
    sd: float
    shift: float = 0.0  # planted: added from the second half of the days on
    received: float | None = None  # mean as it came in; None: only one number a visit


@dataclass(frozen=True)
class Step:
    """One stage of the route: its key in the trade's words, its people, what it measures."""

    stage: str
    people: tuple[str, ...]
    minutes: int
    measures: tuple[Measure, ...] = ()
    sends_back_to: str = ""  # where instruments go that do not pass here
    share: float = 0.0  # of instruments that do not pass here at first
    faults: tuple[str, ...] = ()
    waits: int = 0  # days before this stage


@dataclass
class Visit:
    """One pass of one instrument through one stage, as it truly was."""

    serial: str
    model: str
    stage: str
    person: str
    started: datetime
    finished: datetime
    outcome: str  # pass | send back
    sent_back_to: str = ""
    fault: str = ""
    readings: dict[tuple[str, str, str], Written] = field(default_factory=dict)  # characteristic, position, moment


def write(value: float, notation: str, rng: np.random.Generator) -> Written:
    """A value as the shop writes it, rounded to the step of its gauge, and what the text means."""
    thou, sixty_fourths = round(value / 0.0254), round(value / MM_PER_INCH * 128) / 2
    if notation == "mm":
        return Written(f"{value:.2f}", round(value, 2))
    if notation == "mm comma":
        return Written(f"{value:.2f}".replace(".", ","), round(value, 2))
    if notation == "mm short comma":
        short = f"{value:.2f}".rstrip("0").rstrip(".").replace(".", ",")
        return Written(short if short not in ("-0", "") else "0", round(value, 2))
    if notation == "thou":
        return Written(f"{thou}", round(thou * 0.0254, 9))
    if notation == "inch":
        return Written(f"{thou / 1000:.3f}", round(thou * 0.0254, 9))
    if notation == "bare inch":
        text = f"{abs(thou) / 1000:.3f}".lstrip("0")
        return Written(("-" if thou < 0 else "") + text, round(thou * 0.0254, 9))
    if notation == "64ths":
        whole = f"{sixty_fourths:g}/64"
        if sixty_fourths == int(sixty_fourths) and rng.random() < 0.4:
            top, bottom = int(sixty_fourths), 64
            while top and top % 2 == 0:
                top, bottom = top // 2, bottom // 2
            whole = f"{top}/{bottom}"
        return Written(whole, sixty_fourths / 64 * MM_PER_INCH)
    if notation == "64ths counted":
        return Written(f"{sixty_fourths:g}", sixty_fourths / 64 * MM_PER_INCH)
    if notation == "mixed":  # two people, two rules in one column, each with its unit
        if rng.random() < 0.5:
            return Written(f"{value:.1f}mm", round(value, 1))
        return Written(f'{thou / 1000:.3f}"', round(thou * 0.0254, 9))
    if notation == "cents":
        return Written(f"{round(value):d}", float(round(value)))
    if notation == "cents signed":
        return Written(f"{round(value):+d}", float(round(value)))
    if notation == "cents comma":
        return Written(f"{value:.1f}".replace(".", ","), round(value, 1))
    if notation == "units":
        return Written(f"{round(value):d}", float(round(value)))
    raise ValueError(notation)


def serial_text(pattern: str, number: int) -> str:
    """A serial such as TU-04117 from a pattern such as TU-{:05d}."""
    return pattern.format(number)


@dataclass(frozen=True)
class Plan:
    """How a shop works: its models with their share, serial numbers, route and how many a day."""

    models: tuple[str, ...]
    serials: str
    first_number: int
    route: tuple[Step, ...]
    a_day: int
    first_day: datetime
    gap: int = 1  # between serial numbers
    skips: dict[str, tuple[str, ...]] = field(default_factory=dict)  # model -> stages it does not visit


def live(plan: Plan, instruments: int, rng: np.random.Generator) -> list[Visit]:
    """All visits of so many instruments, in time order. Every number comes from `rng`."""
    visits: list[Visit] = []
    days = workdays(plan.first_day, instruments // plan.a_day + 40)
    half = instruments // plan.a_day // 2
    serials = [serial_text(plan.serials, plan.first_number + plan.gap * n) for n in range(instruments)]
    for n, serial in enumerate(serials):
        model = plan.models[int(rng.integers(len(plan.models)))]
        day, minute = n // plan.a_day, 450 + int(rng.integers(60)) + 20 * (n % plan.a_day)
        sent = {step.stage: rng.random() < step.share for step in plan.route}
        for step in plan.route:
            if step.stage in plan.skips.get(model, ()):
                continue
            if step.waits:
                day, minute = day + step.waits, 460 + int(rng.integers(180))
            todo = [step]
            if sent[step.stage] and step.sends_back_to:
                back = next(s for s in plan.route if s.stage == step.sends_back_to)
                todo = [step, back, step]
            for turn, what in enumerate(todo):
                if minute > 930:
                    day, minute = day + 1, 455 + int(rng.integers(90))
                spent = max(2, int(rng.normal(what.minutes, what.minutes / 5)))
                started = days[day] + timedelta(minutes=minute)
                goes_back = len(todo) == 3 and turn == 0
                visit = Visit(
                    serial,
                    model,
                    what.stage,
                    str(rng.choice(what.people)),
                    started,
                    started + timedelta(minutes=spent),
                    "send back" if goes_back else "pass",
                )
                if goes_back:
                    visit.sent_back_to, visit.fault = what.sends_back_to, str(rng.choice(what.faults))
                measure_all(visit, what, late=day >= half, rng=rng)
                visits.append(visit)
                minute += spent + 6 + int(rng.integers(20))
    return sorted(visits, key=lambda v: (v.started, v.serial))


def measure_all(visit: Visit, step: Step, *, late: bool, rng: np.random.Generator) -> None:
    for m in step.measures:
        moved = m.shift if late else 0.0
        true = rng.normal(m.mean + moved, m.sd)
        if m.received is None:
            visit.readings[m.characteristic, m.position, "found"] = write(true, m.notation, rng)
        else:
            came = rng.normal(m.received, 2 * m.sd)
            visit.readings[m.characteristic, m.position, "found"] = write(came, m.notation, rng)
            visit.readings[m.characteristic, m.position, "left"] = write(true, m.notation, rng)


def workdays(first: datetime, many: int) -> list[datetime]:
    """So many days from the first on, Saturdays and Sundays left out."""
    days, day = [], first
    while len(days) < many:
        if day.weekday() < 5:
            days.append(day)
        day += timedelta(days=1)
    return days

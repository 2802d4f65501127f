"""What one explanation tells of a matter, in words and numbers alone: it can be kept when the readings are let go."""

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime

import numpy as np
import polars as pl

from analysis.methods.creep import Creep
from analysis.methods.explanation import UNEXPLAINED, Hypothesis
from analysis.methods.segments import Flags, Floats
from analysis.studies.matters.again import before, sides, spells
from analysis.studies.matters.creeping import stand_at
from analysis.studies.matters.evidence import Evidence
from analysis.studies.matters.explained import Explained
from analysis.studies.matters.known_over import known_over
from analysis.studies.matters.one_reading import one_reading
from analysis.studies.matters.planned import planned
from analysis.studies.matters.records import CHANGE, KIND, TECH_AT, Candidate, Creeping, MovesWith, Planned, TellApart
from ingest.store.snapshot import Snapshot

Z95 = 1.96
HARDLY = 0.1  # of an even share: a level (a slip in a name, who stood in for a day) with fewer is not counted
APART = 1.3  # sizes of single models are told where the largest is so many times the smallest


@dataclass(frozen=True)
class Measured:
    """Start and size of what moved, in the unit of the readings: of what creeps as it stands by now."""

    size: float
    size_low: float  # 95 %
    size_high: float
    sizes: tuple[float, float] | None  # smallest and largest over the models where they differ
    sigmas: float
    touched: int
    began_at: datetime
    began_low: datetime
    began_high: datetime
    over_all: float | None = None
    """What it comes to over all readings of the same models in that time; None where it touches all of them, or nothing
    with levels is named.
    """
    one_reading: bool = False  # one that lies far out makes it, the others say nothing
    levels: int = 0  # of what is named (people, lots, gauges ...) in that time, without those of hardly any reading
    earlier: tuple[tuple[date, date], ...] = ()  # its times before the one that began then, oldest first
    earlier_lots: tuple[str, ...] = ()  # of each the lot, where it is lots that come again
    every_other: str = ""  # the supplier of whom every other lot is such
    creeping: Creeping | None = None  # how it moves on; None: it does not, or has ended


@dataclass(frozen=True)
class Part:
    """One explanation of signals of one bench."""

    characteristic: str
    stage: str
    signals: list[int]  # their places among those that were explained together
    causes: list[tuple[str, str]]  # kind and level of what is named; none: nothing stands out
    started: date
    effect: float  # sigma
    telling: float  # how much it says beside other parts of a matter
    ended_at: datetime | None  # the first reading without it; None: it lasts
    lasts: bool  # its signals have closed, and its cause has not come back
    models: list[str]  # touched, in order
    most: str  # the model touched most
    moves_with: MovesWith
    tell_apart: list[TellApart]
    measured: Measured
    planned: Planned | None
    positions: list[str] = field(default_factory=list)  # that its size is of; none: of all that are read
    usual_at: str = ""  # the last stage before this one that reads the same and where what is touched lay as usual
    known_over: datetime | None = None  # by when its end was sure; None: not yet, or it lasts

    @property
    def named(self) -> bool:
        """Does a cause stand out?"""
        return bool(self.causes)


def part_of(snapshot: Snapshot, one: Explained, places: list[int], *, lasts: bool, usual_at: str = "") -> Part:
    """places : of its signals among those that were explained together."""
    found, best = one.evidence, one.best
    touched = one.column != 0
    streams = found.stream[touched]
    moves = moves_with(one)
    ended = _first(found.rows["taken_at"], found, found.day >= 0, best.end) if best.end >= 0 else None
    return Part(
        characteristic=found.characteristic,
        stage=found.stage,
        signals=places,
        causes=sorted(_causes(one)),
        started=found.days[best.start],
        effect=float(best.effect),
        telling=abs(float(best.effect)) * float(touched.sum()) ** 0.5,
        ended_at=ended,
        lasts=lasts,
        models=[found.models[k] for k in np.unique(streams)],
        most=found.models[int(np.bincount(streams, minlength=len(found.models)).argmax())],
        moves_with=moves,
        tell_apart=tell_apart(one),
        measured=_measured(one),
        planned=planned(snapshot, one, moves),
        positions=[place for place in _single(one.sized.evidence) if place],
        usual_at=usual_at,
        known_over=known_over(one),
    )


def _single(found: Evidence) -> list[str]:
    return found.single.positions if found.single is not None else []


def _causes(part: Explained) -> set[tuple[str, str]]:
    found = set()
    for one in part.named:
        words = part.evidence.words.get(one.factor)
        if words and one.factor == KIND:  # each characteristic has a gauge and a way of writing of its own there
            found.add((one.factor, f"{part.evidence.characteristic} {words[one.level]}"))
        else:
            found.add((one.factor, words[one.level]) if words else (one.kin, ""))
    return found


def moves_with(part: Explained) -> MovesWith:
    """What was looked at, the best of each candidate, those named first."""
    looked = {one.kin for one in part.look.hypotheses if one.factor != UNEXPLAINED}
    named = {one.kin for one in part.named}
    best: dict[str, Hypothesis] = {}
    chance: dict[str, float] = {}
    for one in part.look.hypotheses:
        chance[one.kin] = chance.get(one.kin, 0.0) + one.probability
    for one in [*part.named, *part.look.hypotheses]:
        if one.factor == UNEXPLAINED:
            continue
        slot = one.kin if one.kin in named else _name(part.evidence, one)
        held = best.get(slot)
        if held is None or (held.kin not in named and chance[held.kin] < chance[one.kin]):
            best[slot] = one
    shown = {_name(part.evidence, one) for one in best.values() if one.kin in named}
    kept = [
        candidate(part.evidence, one, part, probability=chance[one.kin], named=one.kin in named)
        for one in best.values()
        if one.kin in named or _name(part.evidence, one) not in shown
    ]
    kept.sort(key=lambda one: (not one.named, -one.probability, one.name, one.value))
    unexplained = sum(one.probability for one in part.look.hypotheses if one.factor == UNEXPLAINED)
    return MovesWith(kept, len(looked), part.look.nothing, unexplained, part.look.nothing_of_all)


def _name(found: Evidence, one: Hypothesis) -> str:
    """`Candidate.name` of what is made of it."""
    if one.factor in found.airs:
        return found.airs[one.factor].factor
    return CHANGE if one.factor in found.changes else one.factor


def candidate(found: Evidence, one: Hypothesis, of: Explained, *, probability: float, named: bool) -> Candidate:
    """A hypothesis in the unit of the readings; of : whose start and side say which change of the air counts."""
    unit = found.unit(one.streams)
    effect, error = one.effect * unit, one.error * unit
    if one.factor in found.airs:
        air = found.airs[one.factor]
        moved = air.moved(*sides(found, one, of), of.side * int(np.sign(one.effect)))
        size, half = effect * moved.by, Z95 * error * abs(moved.by)
        return Candidate(air.factor, "", change=moved.change, lag_hours=air.lag_hours, effect=size, low=size - half,
                         high=size + half, probability=probability, named=named)  # fmt: skip
    low, high = effect - Z95 * error, effect + Z95 * error
    if one.factor in found.changes:
        row = found.changes[one.factor]
        day = row["from_date"]
        assert isinstance(day, date)
        return Candidate(
            CHANGE, str(row["what"]), on=day, effect=effect, low=low, high=high, probability=probability, named=named
        )
    level = found.words[one.factor][one.level]
    factor, _, stage = one.factor.partition(f"{TECH_AT} ")
    factor, stage = (TECH_AT, stage) if stage else (one.factor, "")
    beside = factor == KIND and not any(each.once for each in found.factors if each.name == one.factor)
    return Candidate(factor, level, stage, effect=effect, low=low, high=high, probability=probability, named=named,
                     beside=beside)  # fmt: skip


def _unit(found: Evidence, touched: Flags) -> float:
    """What one unit of the values is in the unit of the readings, over the readings touched."""
    scale = found.scale[touched] if touched.any() else found.scale
    return float(1.0 / np.mean(1.0 / scale))


def tell_apart(part: Explained) -> list[TellApart]:
    """For two that are named together: how many instruments since the start have the one and not the other."""
    if len(part.named) < 2:
        return []
    found, first = part.evidence, part.named[0]
    since = found.day >= first.start
    pairs = []
    for other in part.named[1:3]:
        mine, theirs = _has(found, first), _has(found, other)
        this, that = (candidate(found, one, part, probability=one.probability, named=True) for one in (first, other))
        pairs.append(TellApart(this, that, int((since & mine & ~theirs).sum()), int((since & theirs & ~mine).sum())))
    return pairs


def _has(found: Evidence, one: Hypothesis) -> Flags:
    column = next((c.value for c in found.columns if c.name == one.factor), None)
    if column is not None:
        return np.asarray(column > (0.5 if one.factor in found.airs else 0.0))
    code = next(f.code for f in found.factors if f.name == one.factor)
    return np.asarray(code == one.level)


def _measured(part: Explained) -> Measured:
    """Start and size of the whole matter."""
    sized = part.sized
    found, best = sized.evidence, sized.best
    touched = sized.column != 0
    unit, several = _unit(found, touched), False
    if best.factor in found.airs:
        made = candidate(found, best, part, probability=1.0, named=True)
        assert made.effect is not None
        assert made.low is not None
        assert made.high is not None
        size, low, high = made.effect, made.low, made.high
        air, several = found.airs[best.factor], len(spells(found, best, part)) > 1
        early, since = sides(found, best, part)
        first = int(found.day[since].min()) if since.any() else part.since
        days = (best.start, best.start_low, best.start_high) if air.scanned and not several else (first, first, first)
        touched = air.moved(early, since & touched, part.side * int(np.sign(best.effect))).where
        if not several and (creep := _creeps(part, size)) is not None:  # air as far off as lately comes weeks later
            days = (creep.start, creep.start_low, creep.start_high)
    else:
        size, half = best.effect * unit, Z95 * best.error * unit
        low, high = size - half, size + half
        days = (best.start, best.start_low, best.start_high)
    could, creeps = _could(part), _creeps(part, size) is not None and not several
    begins = could if creeps else touched
    earliest = touched if best.factor in found.airs and not creeps else could  # no air, no move
    over_all, levels = _among(part, size, touched) if part.named else (None, 0)
    taken = found.rows["taken_at"]
    at = [_first(taken, found, some, day) for some, day in zip((begins, earliest, begins), days, strict=True)]
    one = Measured(
        size=size,
        size_low=low,
        size_high=high,
        sizes=_sizes(found, touched, size),
        sigmas=size / float(np.mean(found.scale)) * found.sigma,
        touched=int(touched.sum()),
        began_at=at[0],
        began_low=min(at[0], at[1]),
        began_high=max(at[0], at[2]),
        over_all=over_all,
        levels=levels,
        one_reading=one_reading(part),
        **vars(before(part)),
    )
    return _as_it_stands(one, part, touched, unit)


def _creeps(part: Explained, size: float) -> Creep | None:
    """How it moves on, where it lasts and stands on the side to which it moved."""
    creep = part.sized.creep
    return None if creep is None or part.best.end >= 0 or size * creep.now <= 0 else creep


def _as_it_stands(one: Measured, part: Explained, touched: Flags, unit: float) -> Measured:
    """What creeps as it stands by now, and how it moves on."""
    creep, found = _creeps(part, one.size), part.sized.evidence
    if creep is None:
        return one
    off, lately = stand_at(found, touched, creep, part.sized.known)
    n = np.bincount(found.stream[lately], minlength=len(found.models))
    sums = np.bincount(found.stream[lately], off[lately], minlength=len(found.models))
    now, half, a_week, more = (
        unit * each for each in (creep.now, Z95 * creep.now_error, creep.a_week, Z95 * creep.a_week_error)
    )
    times = now / one.size
    return replace(
        one,
        size=now,
        size_low=now - half,
        size_high=now + half,
        sizes=_sizes(found, lately, now, off),
        sigmas=one.sigmas * times,
        over_all=None if one.over_all is None else one.over_all * times,
        creeping=Creeping(
            a_week=a_week,
            a_week_low=a_week - more,
            a_week_high=a_week + more,
            rests_on=found.days[creep.rests] if creep.rests >= 0 else None,
            models=tuple((found.models[k], float(sums[k] / n[k])) for k in np.flatnonzero(n)),
        ),
    )


def _among(part: Explained, size: float, touched: Flags) -> tuple[float | None, int]:
    """`Measured.over_all` and `levels`: one level of what is named moved, and the series holds readings of all, from
    its first one on: whoever came new may have begun, for all that is known, long before.
    """
    found, best = part.sized.evidence, part.sized.best
    code = next((one.code for one in found.factors if one.name == best.factor), None)
    if code is None:
        return None, 0
    first = int(found.day[touched].min()) if touched.any() else best.start
    within = np.isin(found.stream, np.unique(found.stream[touched])) & (found.day >= max(first, best.start))
    within &= ((found.day < best.end) | (best.end < 0)) & (code >= 0)  # of the others nobody can say
    if not within.any():
        return None, 0
    share = float((touched & within).sum()) / int(within.sum())
    many = np.bincount(code[within])
    counted = many[many > 0]
    return (size * share if 0 < share < 1 else None), int((counted >= HARDLY * counted.mean()).sum())


def _could(part: Explained) -> Flags:
    """The readings that it touches, had it begun before: of its models, and of what is named (n,)."""
    found, best = part.sized.evidence, part.sized.best
    on = np.isin(found.stream, best.streams)
    code = next((one.code for one in found.factors if one.name == best.factor), None)
    return np.asarray(on if code is None else on & (code == best.level))


def _first(taken: pl.Series, found: Evidence, touched: Flags, day: int) -> datetime:
    """The first reading it touches on or after a working day, else the first of that day."""
    after = np.flatnonzero(touched & (found.day >= day))
    same = after if len(after) else np.flatnonzero(found.day >= min(day, int(found.day.max())))
    when = taken[int(same[0])]
    assert isinstance(when, datetime)
    return when.astimezone(UTC)


def _sizes(found: Evidence, touched: Flags, size: float, off: Floats | None = None) -> tuple[float, float] | None:
    """Smallest and largest size over the models, where they differ by more than their errors let expect: their mean
    deviations (off: in the unit of the readings, (n,)) round that of all, which is the size with all else that moved
    these readings known.
    """
    off = found.values * found.scale if off is None else off
    which = found.stream[touched]
    n = np.bincount(which, minlength=len(found.models)).astype(np.float64)
    some = n >= 30
    if some.sum() < 2:
        return None
    mean: Floats = np.bincount(which, off[touched], minlength=len(n))[some] / n[some]
    mean = mean + size - float((mean * n[some]).sum() / n[some].sum())
    error = float(np.mean(found.scale)) / np.sqrt(n[some])
    if float((((mean - size) / error) ** 2).sum()) < some.sum() + 3 * np.sqrt(2 * some.sum()):
        return None
    low, high = sorted((float(mean.min()), float(mean.max())), key=abs)
    return (low, high) if low * high > 0 and abs(high) > APART * abs(low) else None

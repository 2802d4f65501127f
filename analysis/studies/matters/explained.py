"""All signals of one characteristic at one stage, explained together: which cause accounts for which of them.

The likeliest explanation is taken, with every signal whose readings no longer lie out once its effect is known; then
the rest is looked at again. What no explanation accounts for stays with the signals that agree in direction and
start.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from analysis.methods.candidates import Factor
from analysis.methods.creep import Creep
from analysis.methods.explanation import UNEXPLAINED, Explainer, Hypothesis, Look, together
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.matters.agreeing import agreeing
from analysis.studies.matters.agreeing import touched as touched_by
from analysis.studies.matters.creeping import as_it_moves, asked
from analysis.studies.matters.evidence import Evidence
from analysis.studies.matters.signalled import Signalled
from analysis.studies.matters.steps import HIDDEN, Step, Work, apart, whole

SURE = 0.9  # the named ones hold the right one with this probability, or nothing is named
HALF = 0.5  # an explanation accounts for a signal whose readings lie half as far out once it is known
QUIET = 3.6  # or no further than this many standard errors: what opened a chart is in part chance
SOME = 0.85  # of what they lay out, that may then be left
LIKELY = 0.1  # a shift without a name is taken to be one where "nothing moved" is less likely than this
ROUNDS = 6
TAKEN = 4.0  # standard errors from which on what has no name is known to what else is measured
BEFORE = 400  # instruments, or a quarter of them: so many lie before any start, to say what is usual
ENOUGH = 100  # instruments before any start, or those of earlier times are not left out
CALM = 2000  # instruments, or half of them: so many at least say how far days, lots and people differ
WEEK = 5  # working days without them lie between two times at least


@dataclass(frozen=True, eq=False)
class Sized:
    """The start and size of what moved, on the positions that moved."""

    evidence: Evidence
    best: Hypothesis
    column: Floats  # (n,) the readings it touches, since its start; of the air its value
    creep: Creep | None = None  # how it moves on; None: it does not
    known: list[Floats] = field(default_factory=list)  # (n,) each: what moved beside it, as far as its creep knows


@dataclass(frozen=True, eq=False)
class Explained:
    """What one explanation accounts for."""

    evidence: Evidence
    signals: list[int]
    named: list[Hypothesis]  # with one that cannot be told apart from the first; none: nothing stands out
    best: Hypothesis
    look: Look
    column: Floats  # (n,) the readings it touches, since its start
    since: int  # working day of the earliest likely start of its signals
    side: int  # which way its signals moved
    beside: list[Floats] = field(default_factory=list)  # (n,) each: what moved beside it, by how much
    keep: Flags = field(default_factory=lambda: np.zeros(0, dtype=bool))  # (n,) readings that were looked at
    away: Flags = field(default_factory=lambda: np.zeros(0, dtype=bool))  # (n,) and those of earlier times
    times: tuple[tuple[int, int], ...] = ()  # first and last working day of each time before, as its main chart saw it
    narrowed: Sized | None = None  # where only some positions moved
    creep: Creep | None = None  # how it moves on; None: it does not
    known: list[Floats] = field(default_factory=list)  # what moved beside it, as far as its creep knows

    @property
    def sized(self) -> Sized:
        """Where start and size are taken from."""
        return self.narrowed or Sized(self.evidence, self.best, self.column, self.creep, self.known)


def explained(found: Evidence, signals: list[Signalled], *, until: int | None = None) -> list[Explained]:
    """Every open signal stands in one explanation, a closed one where an explanation of open ones accounts for it.

    until : the last working day that is looked at, of signals that have all closed; each then stands in one
    explanation.
    """
    work = _stepped(found, signals, until)
    if work is None:
        return []
    done = _by_step(work)
    rest = [one for one in work.left.values() if one.open or work.closed]
    alone = [one for parts in agreeing(work.found, rest) for one in _together(work, parts)]
    return done + sorted(alone, key=lambda one: one.signals)


def accounted_for(found: Evidence, signals: list[Signalled], *, until: int | None = None) -> list[Explained]:
    """The same without what no explanation accounts for."""
    work = _stepped(found, signals, until)
    return [] if work is None else _by_step(work)


def _by_step(work: Work) -> list[Explained]:
    return [_explained(work, number) for number, one in enumerate(work.steps) if one.covered]


def _stepped(found: Evidence, signals: list[Signalled], until: int | None) -> Work | None:
    """Looked at until nothing more is likely; None where there is nothing to look at."""
    keep = np.ones(len(found.values), dtype=bool) if until is None else found.day <= until
    looked = [one.first(found.day) for one in signals if one.open or until is not None]
    if not looked:
        return None
    away = np.any([one.away(found.day, asked=one.open or until is not None) for one in signals], axis=0)
    keep &= ~_of_other_times(found, away, min(looked))
    explainer = explainer_of(found, keep, min(looked), away)
    if explainer is None:
        return None
    work = Work(found, keep, away, explainer, {one.number: one for one in signals}, until is not None)
    for _ in range(ROUNDS):
        told = not any(one.open or work.closed for one in work.left.values())
        if (told and not _may_hide(work)) or not _round(work, hidden=told):
            break
    apart(work)
    return work


def _together(work: Work, parts: list[list[Signalled]]) -> list[Explained]:
    """One for signals that agree, told of those that moved alike most surely; of others beside it where these, with
    that known, moved for sure.
    """
    first, *others = (_unexplained(work, part) for part in parts)
    sure = [one for one in others if abs(one.best.effect) > TAKEN * one.best.error]
    signals = [number for one in (first, *others) if one not in sure for number in one.signals]
    return [replace(first, signals=signals), *sure]


def _of_other_times(found: Evidence, away: Flags, since: int) -> Flags:
    """Readings that lay off in earlier times of signals, and were back before any start that is looked for (n,): they
    say nothing of what is usual, nor of what moved since. None of them, where that leaves too few.
    """
    early = found.day < since
    return np.asarray(away & early & bool(np.count_nonzero(~away & early) >= ENOUGH))


def explainer_of(found: Evidence, keep: Flags, since: int, away: Flags | None = None) -> Explainer | None:
    """The readings kept, with everything they may move with; None where nothing lies before the working day since which
    a start is looked for. away : (n,) of earlier times.
    """
    judged_day = int(found.day[found.judged].min()) if found.judged.any() else int(found.day.max()) // 2
    part = slice(None) if keep.all() else keep  # all of them without a copy of each
    day = found.day[part]
    last, enough = int(day.max()), int(day[min(BEFORE, len(day) // 4)])
    since = max(min(max(judged_day, enough, since), last), 1)
    factors = [_begun(replace(one, code=one.code[part]), day, since) for one in found.factors]
    factors = [one for one in factors if not one.once or (one.code >= 0).any()]
    values_of = {id(one.value): one.value for one in found.columns}  # many columns are one value
    kept = {key: value[part] for key, value in values_of.items()}
    columns = [replace(one, value=kept[id(one.value)]) for one in found.columns]
    values, stream = found.values[part], found.stream[part]
    calm = int(day[min(CALM, len(day) // 2)])
    try:
        off = None if away is None else away[part]
        return Explainer(values, day, stream, factors, columns, since, span=last - judged_day + 1, calm=calm, away=off)
    except UnusableData:
        return None


def _begun(one: Factor, day: Ints, since: int) -> Factor:
    """Of what comes once and stays only the levels that began since a day: the others moved nothing then."""
    if not one.once:
        return one
    old = np.bincount(one.code[day < since] + 1, minlength=int(one.code.max(initial=-1)) + 2)[1:] > 0
    return replace(one, code=np.where(np.append(old, True)[one.code], -1, one.code))


def _may_hide(work: Work) -> bool:
    """May another cause stand behind the last one: there are signals for two. A lot may lie apart while all readings
    do.
    """
    return bool(work.steps) and sum(len(one.covered) for one in work.steps) > len(work.steps)


def _round(work: Work, *, hidden: bool = False) -> bool:
    """One explanation more; False where nothing more is likely. hidden : every signal is accounted for, but what moved
    most readings may hide what moved some of them further.
    """
    look = work.explainer.look()
    named = together(look, sure=HIDDEN if hidden else SURE)
    if hidden and (not named or look.nothing > 1 - HIDDEN):
        return False
    work.last = look
    if not look.hypotheses or (not named and look.nothing > LIKELY):
        return False
    best = look.hypotheses[0]
    if named or best.factor == UNEXPLAINED:
        best = work.explainer.ended(named[0] if named else best)
        named = [best, *named[1:]] if named else []
    days = {k: {one.since, _since(work, one, best)} for k, one in work.left.items()}

    def standing() -> dict[tuple[int, int], float]:
        """How far the readings of each signal lie out, from each of its days on."""
        return {
            (k, day): work.explainer.standing_out(one.touched[work.keep], day)
            for k, one in work.left.items()
            for day in days[k]
        }

    before = standing()
    moves = as_it_moves(work.found, work.explainer, best, still=not work.closed)
    best, column, named = moves.best, moves.column, [moves.best, *named[1:]] if named else []
    work.explainer.taken.append(moves.shape)
    after = standing()
    first = max(best.start_low, work.explainer.since)
    covered = [
        one
        for k, one in work.left.items()
        if (column[one.touched[work.keep]] != 0).any()
        and any(_accounts(one, first, before[k, day], after[k, day], day) for day in days[k])
        and not (one.open and 0 <= best.end <= one.again)  # it opened again behind the end: that is told by another
    ]
    if not work.closed and not any(one.open for one in covered):
        covered = []
    work.steps.append(Step(best, named, look, column, covered, moves.creep))
    for one in covered:
        del work.left[one.number]
    return True


def _since(work: Work, one: Signalled, best: Hypothesis) -> int:
    """The working day from which on it is asked whether an explanation accounts for a signal: of one that lasts, and
    before which the readings were back, that of its start.
    """
    if one.open and best.end < 0 and best.start > one.lately:
        between = one.touched[work.keep] & (work.explainer.day < best.start)
        if work.explainer.standing_out(between, one.lately) * one.side < QUIET:
            return best.start
    return one.lately


def _explained(work: Work, number: int) -> Explained:
    step, taken = work.steps[number], work.explainer.taken

    since = min(one.since for one in step.covered)
    side = int(np.sign(sum(one.side for one in step.covered))) or 1
    numbers = [one.number for one in step.covered]
    beside = [whole(work, column) for column in taken[:number] + taken[number + 1 :]]
    column, crept, known = whole(work, step.column), step.creep, beside
    if step.best.factor in work.found.airs and step.best.end < 0 and not work.closed:
        others = [taken[k] for k, one in enumerate(work.steps) if one.named and one.best.kin != step.best.kin]
        known = [whole(work, one) for one in others]
        mine = np.isin(work.explainer.stream, step.best.streams)
        crept = asked(work.found, work.explainer, step.best, mine, others, work.keep)
    times = _times(step.covered)
    return Explained(
        work.found,
        numbers,
        step.named,
        step.best,
        step.look,
        column,
        since,
        side,
        beside,
        work.keep,
        work.away,
        times,
        creep=crept,
        known=known,
    )


def _accounts(one: Signalled, first: int, before: float, after: float, since: int) -> bool:
    """Does an explanation, begun on its first likely day, account for a signal that opened since then, or is looked at
    since then: its readings lie half as far out once it is known, or no further than chance lets expect, some of it
    taken away.
    """
    if max(one.opened, one.again, since) < first or before * one.side <= 0:
        return False
    left, out = after * one.side, abs(before)  # what would be left the other way round is no part of this signal
    return left <= HALF * out or (left < QUIET and left <= SOME * out)


def _unexplained(work: Work, group: list[Signalled]) -> Explained:
    touched = touched_by(work.found, group)
    low, high = min(one.low for one in group), max(one.high for one in group)
    base = touched[work.keep].astype(np.float64)
    best, look = work.explainer.measured(base, low, high)
    moves = as_it_moves(work.found, work.explainer, best, base, still=not work.closed)
    best = moves.best
    column = np.where(touched & (work.found.day >= best.start), 1.0, 0.0)
    beside = [whole(work, column) for column in work.explainer.taken]
    if abs(best.effect) > TAKEN * best.error:
        work.explainer.taken.append(moves.shape)
    looked = [one for one in work.last.hypotheses if one.factor != UNEXPLAINED]  # and none of them stood out
    return Explained(
        work.found,
        [one.number for one in group],
        [],
        best,
        replace(look, hypotheses=look.hypotheses + looked, nothing_of_all=work.last.nothing if looked else None),
        column,
        min(one.since for one in group),
        group[0].side,
        beside,
        work.keep,
        work.away,
        _times(group),
        creep=moves.creep,
        known=beside,
    )


def _times(signals: list[Signalled]) -> tuple[tuple[int, int], ...]:
    """Those before: days on which a third as many of the charts were out, as on the day when most were."""
    each = [time for one in signals for time in one.times]
    if not each:
        return ()
    out = np.zeros(max(over for _, over in each) + 1)
    for begun, over in each:
        out[begun : over + 1] += 1
    days = np.flatnonzero(3 * out >= out.max())
    return tuple((int(part[0]), int(part[-1])) for part in np.split(days, np.flatnonzero(np.diff(days) > WEEK) + 1))

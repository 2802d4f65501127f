"""All signals of one characteristic at one stage, explained together: which cause accounts for which of them.

The likeliest explanation is taken, with every signal whose readings no longer lie out once its effect is known; then
the rest is looked at again. What no explanation accounts for stays with the signals that agree in direction and
start.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from analysis.methods.explanation import UNEXPLAINED, Explainer, Hypothesis, Look, together
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.matters.evidence import Evidence

SURE = 0.9  # the named ones hold the right one with this probability, or nothing is named
HIDDEN = 0.99  # and one more, where no signal asks for it, with this
HALF = 0.5  # an explanation accounts for a signal whose readings lie half as far out once it is known
QUIET = 3.6  # or no further than this many standard errors: what opened a chart is in part chance
SOME = 0.85  # of what they lay out, that may then be left
LIKELY = 0.1  # a shift without a name is taken to be one where "nothing moved" is less likely than this
ROUNDS = 6
BEFORE = 400  # instruments, or a quarter of them: so many lie before any start, to say what is usual
CALM = 2000  # instruments, or half of them: so many at least say how far days, lots and people differ
EARLIER = 10  # working days before the earliest likely start from which on a start is looked for
SLOW = 150  # readings of its own before its opening within which a shift began: one that needs more is under .5 sigma
AGREE = 3  # days by which the sets of likely starts of two signals may miss each other and still agree


@dataclass(frozen=True, eq=False)
class Signalled:
    """One signal as the evidence sees it."""

    number: int  # among all signals of the shop
    touched: Flags  # (n,) its readings
    since: int  # working day of its likeliest start
    low: int  # and of the first and last likely one
    high: int
    opened: int
    side: int
    open: bool
    back: int  # working day of its likeliest return; past the last one where there is none
    again: int = -1  # of the last opening of one that was back and opened again under its first start

    @property
    def lately(self) -> int:
        """The working day of its likeliest start; of one that is open again that of its last opening: before it came
        back its readings were those of another time.
        """
        return self.again if self.open and self.again > self.opened else self.since

    def first(self, day: Ints) -> int:
        """The working day from which on its start is looked for."""
        before = day[self.touched & (day <= self.opened)]
        return max(self.low, int(before[-min(SLOW, len(before))])) if len(before) else self.low


@dataclass(frozen=True, eq=False)
class Sized:
    """The start and size of what moved, on the positions that moved."""

    evidence: Evidence
    best: Hypothesis
    column: Floats  # (n,) the readings it touches, since its start; of the air its value


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
    narrowed: Sized | None = None  # where only some positions moved

    @property
    def sized(self) -> Sized:
        """Where start and size are taken from."""
        return self.narrowed or Sized(self.evidence, self.best, self.column)


@dataclass(eq=False)
class _Step:
    """One look's likeliest explanation."""

    best: Hypothesis
    named: list[Hypothesis]
    look: Look
    column: Floats  # of the readings kept
    covered: list[Signalled]


@dataclass(eq=False)
class _Work:
    found: Evidence
    keep: Flags
    explainer: Explainer
    left: dict[int, Signalled]
    closed: bool  # all of them have closed: what is looked at is the past
    steps: list[_Step] = field(default_factory=list)
    last: Look = field(default_factory=lambda: Look([], 1.0))  # the last look


def explained(found: Evidence, signals: list[Signalled], *, until: int | None = None) -> list[Explained]:
    """Every open signal stands in one explanation, a closed one where an explanation of open ones accounts for it.

    until : the last working day that is looked at, of signals that have all closed; each then stands in one
    explanation.
    """
    keep = np.ones(len(found.values), dtype=bool) if until is None else found.day <= until
    looked = [one.first(found.day) for one in signals if one.open or until is not None]
    explainer = explainer_of(found, keep, min(looked)) if looked else None
    if explainer is None:
        return []
    work = _Work(found, keep, explainer, {one.number: one for one in signals}, until is not None)
    for _ in range(ROUNDS):
        told = not any(one.open or work.closed for one in work.left.values())
        if (told and not _may_hide(work)) or not _round(work, hidden=told):
            break
    _apart(work)
    done = [_explained(work, number) for number, one in enumerate(work.steps) if one.covered]
    rest = [one for one in work.left.values() if one.open or work.closed]
    return done + [_unexplained(work, group) for group in _agreeing(rest)]


def explainer_of(found: Evidence, keep: Flags, start: int) -> Explainer | None:
    """The readings kept, with everything they may move with; None where nothing lies before a likely start."""
    judged_day = int(found.day[found.judged].min()) if found.judged.any() else int(found.day.max()) // 2
    part = slice(None) if keep.all() else keep  # all of them without a copy of each
    day = found.day[part]
    last, enough = int(day.max()), int(day[min(BEFORE, len(day) // 4)])
    since = max(min(max(judged_day, enough, start - EARLIER), last), 1)
    factors = [replace(one, code=one.code[part]) for one in found.factors]
    values_of = {id(one.value): one.value for one in found.columns}  # many columns are one value
    kept = {key: value[part] for key, value in values_of.items()}
    columns = [replace(one, value=kept[id(one.value)]) for one in found.columns]
    values, stream = found.values[part], found.stream[part]
    calm = int(day[min(CALM, len(day) // 2)])
    try:
        return Explainer(values, day, stream, factors, columns, since, span=last - judged_day + 1, calm=calm)
    except UnusableData:
        return None


def _may_hide(work: _Work) -> bool:
    """May another cause stand behind the last one: it is named, and there are signals for two."""
    return (
        bool(work.steps)
        and bool(work.steps[-1].named)
        and sum(len(one.covered) for one in work.steps) > len(work.steps)
    )


def _round(work: _Work, *, hidden: bool = False) -> bool:
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
    work.explainer.take(best)
    after = standing()
    column = work.explainer.column(best)
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
    work.steps.append(_Step(best, named, look, column, covered))
    for one in covered:
        del work.left[one.number]
    return True


def _since(work: _Work, one: Signalled, best: Hypothesis) -> int:
    """The working day from which on it is asked whether an explanation accounts for a signal: of one that lasts, and
    before which the readings were back, that of its start.
    """
    if one.open and best.end < 0 and best.start > one.lately:
        between = one.touched[work.keep] & (work.explainer.day < best.start)
        if work.explainer.standing_out(between, one.lately) * one.side < QUIET:
            return best.start
    return one.lately


def _apart(work: _Work) -> None:
    """Where several things moved, sizes with all of them known. Where several causes are named: each is one of its own,
    not one that cannot be told from another; and each signal belongs to the one that moves its chart most, and other
    charts least.
    """
    several = [one for one in work.steps if one.named]
    kin = {one.best.kin for one in several}
    taken = work.explainer.taken
    for number, step in enumerate(work.steps):
        if len(several) > 1 if step.named else len(taken) > 1:
            work.explainer.taken = taken[:number] + taken[number + 1 :]
            found, _ = work.explainer.measured(step.column, step.best.start, step.best.start)
            error = max(found.error, step.best.error)
            step.best = replace(step.best, effect=found.effect, error=error)
            taken[number] = step.column * found.effect
            if step.named:
                step.named = [step.best, *(one for one in step.named[1:] if one.kin not in kin)]
    work.explainer.taken = taken
    if len(several) < 2:
        return
    signals = [signal for step in several for signal in step.covered]
    if not signals:
        return
    pull = np.array([[_pull(work, step, signal) for step in several] for signal in signals])  # (signals, steps)
    over = np.array([step.best.end >= 0 for step in several])
    still = np.array([signal.open and not work.closed for signal in signals])
    kept_up = still & (pull[:, ~over] > 0).any(axis=1)  # by one that lasts, whatever opened it
    pull[np.ix_(kept_up, over)] = 0.0
    homes = pull.argmax(axis=1)
    for number in range(len(several)):
        if not (homes == number).any():  # moved what others move more: it is told by the chart that it moves most
            spare = (np.bincount(homes, minlength=len(several))[homes] > 1) & (pull[:, number] > 0)
            if spare.any():
                share = pull[:, number] / pull.max(axis=1)
                homes[int(np.where(spare, share, -np.inf).argmax())] = number
    for number, step in enumerate(several):
        mine = [signal for signal, home in zip(signals, homes, strict=True) if home == number]
        step.covered = mine if work.closed or any(one.open for one in mine) else []
        for one in mine if not step.covered else []:
            work.left[one.number] = one


def _pull(work: _Work, step: _Step, signal: Signalled) -> float:
    """By how much an explanation moves a chart to the side of its signal, times how much denser its readings lie there
    than elsewhere.
    """
    since = work.explainer.day >= signal.lately
    held = signal.touched[work.keep] & since
    hit = step.column != 0
    everywhere = float(hit[since].mean())
    if not held.any() or everywhere == 0:
        return 0.0
    moved = float(step.column[held].mean()) * step.best.effect * signal.side
    return moved * float(hit[held].mean()) / everywhere


def _explained(work: _Work, number: int) -> Explained:
    step, taken = work.steps[number], work.explainer.taken

    since = min(one.since for one in step.covered)
    side = int(np.sign(sum(one.side for one in step.covered))) or 1
    numbers = [one.number for one in step.covered]
    beside = [_whole(work, column) for column in taken[:number] + taken[number + 1 :]]
    column = _whole(work, step.column)
    return Explained(work.found, numbers, step.named, step.best, step.look, column, since, side, beside)


def _whole(work: _Work, column: Floats) -> Floats:
    """A column of the readings kept as one of all (n,)."""
    found = np.zeros(len(work.keep))
    found[work.keep] = column
    return found


def _accounts(one: Signalled, first: int, before: float, after: float, since: int) -> bool:
    """Does an explanation, begun on its first likely day, account for a signal that opened since then, or is looked at
    since then: its readings lie half as far out once it is known, or no further than chance lets expect, some of it
    taken away.
    """
    if max(one.opened, one.again, since) < first or before * one.side <= 0:
        return False
    left, out = after * one.side, abs(before)  # what would be left the other way round is no part of this signal
    return left <= HALF * out or (left < QUIET and left <= SOME * out)


def _agreeing(left: list[Signalled]) -> list[list[Signalled]]:
    """Those of one direction whose likely starts meet."""
    groups: list[tuple[list[Signalled], int, int]] = []
    for one in sorted(left, key=lambda signal: (signal.side, signal.low, signal.number)):
        if groups:
            last, low, high = groups[-1]
            low, high = max(low, one.low), min(high, one.high)
            if last[0].side == one.side and low <= high + AGREE:
                groups[-1] = ([*last, one], low, high)
                continue
        groups.append(([one], one.low, one.high))
    return [group for group, _, _ in groups]


def _unexplained(work: _Work, group: list[Signalled]) -> Explained:
    touched = np.any([one.touched for one in group], axis=0)
    low, high = min(one.low for one in group), max(one.high for one in group)
    best, look = work.explainer.measured(touched[work.keep].astype(np.float64), low, high)
    column = np.where(touched & (work.found.day >= best.start), 1.0, 0.0)
    looked = [one for one in work.last.hypotheses if one.factor != UNEXPLAINED]  # and none of them stood out
    return Explained(
        work.found,
        [one.number for one in group],
        [],
        best,
        replace(look, hypotheses=look.hypotheses + looked),
        column,
        min(one.since for one in group),
        group[0].side,
        [_whole(work, column) for column in work.explainer.taken],
    )

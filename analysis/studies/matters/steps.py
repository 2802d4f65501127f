"""What is explained step by step: the signals, what each step accounts for, and where several things moved, each by its
own size and with its own signals.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from analysis.methods.creep import Creep
from analysis.methods.explanation import Explainer, Hypothesis, Look, together
from analysis.methods.segments import Flags, Floats
from analysis.studies.matters.creeping import as_it_moves
from analysis.studies.matters.evidence import Evidence
from analysis.studies.matters.signalled import Signalled

HIDDEN = 0.99  # the named ones hold the right one with this probability, where no signal asks for it
SAME = 3  # working days by which the starts of one cause, looked at twice, may lie apart


@dataclass(eq=False)
class Step:
    """One look's likeliest explanation."""

    best: Hypothesis
    named: list[Hypothesis]
    look: Look
    column: Floats  # of the readings kept
    covered: list[Signalled]
    creep: Creep | None = None


@dataclass(eq=False)
class Work:
    """What is explained by now, and what is left."""

    found: Evidence
    keep: Flags
    away: Flags  # (n,) of earlier times
    explainer: Explainer
    left: dict[int, Signalled]
    closed: bool  # all of them have closed: what is looked at is the past
    steps: list[Step] = field(default_factory=list)
    last: Look = field(default_factory=lambda: Look([], 1.0))  # the last look


def apart(work: Work) -> None:
    """Where several things moved, sizes with all of them known. Where several causes are named: each is one of its own,
    not one that cannot be told from another; and each signal belongs to the one that moves its chart most, and other
    charts least.
    """
    _one_each(work)
    several = [one for one in work.steps if one.named]
    if not any(one.covered for one in several):  # what moved all has every chart
        several = [one for one in work.steps if one.covered or _for_certain(one)] if several else several
    crept = len(work.steps) > 1 and any(one.creep is not None for one in work.steps)
    kin = {one.best.kin for one in several}
    taken = work.explainer.taken
    for number, step in enumerate(work.steps):
        if len(several) > 1 or crept if step.named else len(taken) > 1:
            work.explainer.taken = taken[:number] + taken[number + 1 :]
            if step.creep is not None:
                moves = as_it_moves(work.found, work.explainer, step.best)
                step.best, step.column, step.creep, taken[number] = moves.best, moves.column, moves.creep, moves.shape
            else:
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
                share = pull[:, number] / np.where(spare, pull.max(axis=1), 1.0)
                homes[int(np.where(spare, share, -np.inf).argmax())] = number
    for number, step in enumerate(several):
        mine = [signal for signal, home in zip(signals, homes, strict=True) if home == number]
        step.covered = mine if work.closed or any(one.open for one in mine) else []
        for one in mine if not step.covered else []:
            work.left[one.number] = one


def _for_certain(step: Step) -> bool:
    """Is it named so surely that it is told though no signal asks for it?"""
    return bool(together(step.look, sure=HIDDEN)) and step.look.nothing <= 1 - HIDDEN


def _one_each(work: Work) -> None:
    """One step a cause: what moved some of its models further than others, by sigma, was looked at again."""
    kept: list[Step] = []
    taken: list[Floats] = []
    again = set()
    for step, effect in zip(work.steps, work.explainer.taken, strict=True):
        home = next((k for k, one in enumerate(kept) if _same(one, step)), None)
        if home is None:
            kept.append(step)
            taken.append(effect)
        else:
            kept[home].covered += step.covered
            again.add(home)
    for number in again:
        work.explainer.taken = taken[:number] + taken[number + 1 :]
        step = kept[number]
        found, _ = work.explainer.measured(step.column, step.best.start, step.best.start)
        step.best = replace(step.best, effect=found.effect, error=found.error)
        step.named = [step.best, *step.named[1:]]
        taken[number] = step.column * found.effect
    work.steps, work.explainer.taken = kept, taken


def _same(one: Step, other: Step) -> bool:
    """Are they one cause that begins at one time, the other touching nothing that the one does not?"""
    if not one.named or one.creep is not None or other.creep is not None:
        return False
    mine, theirs = one.best, other.best
    alike = (mine.factor, mine.level, mine.kin, mine.end) == (theirs.factor, theirs.level, theirs.kin, theirs.end)
    within = set(theirs.streams.tolist()) <= set(mine.streams.tolist())
    return alike and within and mine.start_low - SAME <= theirs.start <= mine.start_high + SAME


def _pull(work: Work, step: Step, signal: Signalled) -> float:
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


def whole(work: Work, column: Floats) -> Floats:
    """A column of the readings kept as one of all (n,)."""
    found = np.zeros(len(work.keep))
    found[work.keep] = column
    return found

"""Weekly shares of send-backs of each model at a stage: does more come back to it on one model, whatever the others do?

Over all models a rise threefold on one of several is lost in the rest. So each stage and model of which a base knows
enough (`rework/since_weeks`) is a chart of its own beside the stage's: sums from every start against the base of that
start, at the budget's rate a week as every other chart, so that many models cost their share of it. What a model's base
lets expect comes of the stage's own fit: the models share what is known of who judged them. Only more is looked for:
that less comes back on one model asks for nothing, and it leaves the other half of the rate to this side. At least
FEWEST must have come back. A model that came when its base was over is looked at from the next base on that holds it:
four weeks later at most in a stage's first year, else with the next year of weeks.

Why a chart a model and not one look a stage at the model that stands out most: a model's chart has its own start and
its own end, tells when two models rise in turn, and its price is that of the models that are there by then, no more.

All starts, weeks and models of a base are looked at in one pass: those of which too little came back for the limit are
passed over by a bound, and the score (`since_when.apart`) is worked out of the few others.

Source: one chart a stream, the budget shared between them, Woodall & Ncube 1985, Technometrics 27 (several charts at
once); the sums themselves and their limit as in `methods/since_when`. The promised rate: tests/trials/model_shares.md.
"""

import numpy as np

from analysis.methods.segments import Flags, Floats, Ints
from analysis.methods.since_when import LONGEST, apart
from analysis.studies.drift.shares import Shares, Windows
from analysis.studies.rework.since_weeks import FEWEST, Base, OfModels

AT_ONCE = 8  # models: a base of a year holds some 8,000 sums of each
NEAR = 0.5  # of the limit: a signed root lies that far below what came back over its standard error nowhere


def model_windows(found: Shares, limit: Floats) -> tuple[Windows, Ints]:
    """Sums of single models beyond the limit (n,) of their last week, and the number of the model of each."""
    none = np.zeros(0, dtype=np.int64)
    firsts, lasts, models, scores = [none], [none], [none], [np.zeros(0)]
    for base in found.bases:  # a handful a stage
        of = base.models
        high = limit[base.end : base.reach]
        for at in range(0, len(of.model), AT_ONCE):
            some = np.arange(at, min(at + AT_ONCE, len(of.model)))
            first, last, place, score = _beyond(base, of, some, high)
            firsts.append(first + base.end)
            lasts.append(last + base.end)
            models.append(of.model[place])
            scores.append(score)
    every = Windows(np.concatenate(firsts), np.concatenate(lasts), np.concatenate(scores))
    return every, np.concatenate(models)


def _beyond(base: Base, of: OfModels, some: Ints, high: Floats) -> tuple[Ints, Ints, Ints, Floats]:
    """First and last row of each sum of some models beyond its limit (r,), the model's place in the base, the score."""
    starts = base.until - base.end
    rows = min(base.reach - base.end, starts + LONGEST - 1)  # those behind it are in no sum
    till = np.arange(rows)[None, :] - np.arange(starts)[:, None]
    inside: Flags = (till >= 0) & (till < LONGEST)

    def since(values: Floats) -> Floats:
        before = np.concatenate((np.zeros((1, len(some))), np.cumsum(values, axis=0)))
        return before[None, 1:] - before[:starts, None]

    size, expected, back = (part[:rows, some] for part in (of.size, of.expected, of.back))
    count, let = since(back), since(np.minimum(expected, size))
    # the factor of the model, the share of the stage, those of who judged it, and what these three count twice
    counted = (base.ahead.unsure[:, 0], base.ahead.expected)
    share = np.divide(*counted, out=np.zeros(len(counted[0])), where=counted[1] > 0).max() ** 2
    known = share + 1 / (of.seen[some] + 1) + base.ahead.common
    variance = np.maximum(let**2 * known + since(of.testers[:rows, some]) ** 2, 1e-9 * let**2 + 1e-12)
    wide = of.widening[some]
    over = (count >= FEWEST) & inside[:, :, None] & (back > np.minimum(expected, size))[None]
    over &= count - let > NEAR * high[None, :rows, None] * np.sqrt(wide * np.maximum(let + variance, 0.0))
    first, last, place = (part.astype(np.int64) for part in np.nonzero(over))
    let, variance, wide = let[over], variance[over], wide[place]
    k, n, others = count[over], since(size)[over], let**2 / variance
    score = apart(k / wide, n / wide, others / wide, others * n / np.maximum(let, 1e-12) / wide)
    beyond = score > high[last]
    return first[beyond], last[beyond], some[place[beyond]], score[beyond]

"""Odds that add up level by level: what happens to a piece of a given model, lot, week and inspector, and whether one
hand's pieces stand out.

Every effect has a weak prior, log-F(1, 1): one more piece of that level, half of it an event, whose own odds are even
with the rest. A level that saw no event would run away without it; it moves none that is well known by more than half
an event. A level never seen stands at the average. The fit adds up its normal equations level by level, without a
column for each; it is the GLM that a general program fits with the prior's pieces as rows (tests hold one against the
other), in a hundredth of the time.
Sources: Greenland & Mansournia 2015, Statistics in Medicine 34 (data rows for log-F priors); the modified signed root
of the likelihood ratio: Barndorff-Nielsen 1986, Biometrika 73; Davison 1988, J. Royal Statistical Society B 50, who has
it for logistic models (both from memory; held by tests against the exact conditional distribution).
"""

import numpy as np
from scipy import special

from analysis.methods.level_tables import Parted, Tables, Whole
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints

STEPS = 60
CLOSE = 1e-6  # largest last step of an effect; the error left is about its square
PRIOR = 1.0  # pieces behind each level's effect
# prior of the hand's own effect, in pieces: there only so that a hand with all of the events or none has a finite
# effect
FAINT = 0.01


def fit(level: Ints, n: Floats, k: Floats, start: Floats | None = None) -> Floats:
    """Effects, intercept first, from pieces `n` and events `k` (some, not all) of each row, shape (effects,).

    level : the place of each row's effects, shape (rows, parts); column 0 is the intercept, 0, and places run without a
    gap.
    """
    return Rows(level, None, n).fitted(k, start)


def share(level: Ints, effects: Floats) -> Floats:
    """Chance of an event of a piece in each row, shape (rows,)."""
    return special.expit(effects[level].sum(axis=1))  # type: ignore[no-any-return]


def expected(level: Ints, effects: Floats, n: Floats, pieces: Floats) -> tuple[float, float]:
    """Events expected over `pieces` of each row by effects fitted on `n`, and how well that is known, as a variance
    (delta method).
    """
    chance, rows = share(level, effects), Rows(level, None, n)
    slope = rows.summed(pieces * chance * (1 - chance))
    return float(pieces @ chance), float(slope @ rows.information(effects).solved(slope))


def as_many(level: Ints, own_n: Floats, own_k: Floats, n: Floats, k: Floats, null: Floats | None = None) -> float:
    """Chance that one hand has as many events or more, given all events and where they fell, were this hand as the
    others.

    own_n, own_k : the hand's pieces and events of each row, (rows,); n, k : everybody's, the hand's among them; null :
    `fit` of these. Half of the tie is counted (mid-p). The hand's own pieces inform the effects too, so none of what is
    known is thrown away. It is the modified signed root of the likelihood ratio, referred to the normal distribution; 1
    where the hand had no event.
    """
    events, pieces = float(k.sum()), float(n.sum())
    if own_k.sum() == 0 or events == pieces or own_n.sum() == pieces:
        return 1.0
    seen = n > 0
    level, own_n, own_k, n, k = level[seen], own_n[seen], own_k[seen], n[seen], k[seen]
    null = fit(level, n, k) if null is None else null
    both = np.vstack([level, level])
    mine = np.repeat([1.0, 0.0], len(level))
    rows, events_of = Rows(both, mine, np.concatenate([own_n, n - own_n])), np.concatenate([own_k, k - own_k])
    without = np.append(null, 0.0)
    full = rows.fitted(events_of, without)
    effect = float(full[-1])
    gain = rows.likelihood(full, events_of) - rows.likelihood(without, events_of)
    root = float(np.sign(effect) * np.sqrt(max(2 * gain, 0.0)))
    if abs(root) < 1e-3:  # both parts of the correction tend to each other there
        return float(special.ndtr(-root))
    wide = rows.information(full).log_det(len(full))
    narrow = Rows(level, None, n).information(null).log_det(len(null))
    return float(special.ndtr(-(root + np.log(effect * np.exp((wide - narrow) / 2) / root) / root)))


class Rows:
    """Rows of pieces, and what of them is the same whatever the effects are: of one fit it is worked out once.

    level : int (rows, parts), as `fit` takes it. mine : (rows,) 1 where a row is of the hand whose own effect stands
    last, else 0; None: no such effect. n : pieces (rows,).
    """

    def __init__(self, level: Ints, mine: Floats | None, n: Floats) -> None:
        self.level, self.mine, self.n = level, mine, n
        self.size = int(level.max()) + 1  # effects that belong to levels, the intercept among them
        self.effects = self.size + (mine is not None)
        self.flat, self.parts = level.ravel(), level.shape[1]
        self.tables = Tables(level, mine, self.effects)
        self.prior = np.full(self.effects, PRIOR)  # pieces behind each effect: none for the intercept
        self.prior[0], self.prior[self.size :] = 0.0, FAINT

    def fitted(self, k: Floats, start: Floats | None = None, *, held: bool = False) -> Floats:
        """Effects, the hand's own last, from the events `k` of each row (rows,).

        held : the hand's own effect stays as `start` has it and only the others are fitted. With the prior the
        likelihood has one peak; a step that leads down is halved.
        """
        if start is None:
            effects = np.zeros(self.effects)
            effects[0] = np.log(k.sum() / (self.n - k).sum())
        else:
            effects = start.copy()
        odds = self._odds(effects)
        here = self._likelihood(effects, odds, k)
        for _ in range(STEPS):
            step = np.zeros(len(effects))
            free = len(effects) - held
            chance = special.expit(odds)
            step[:free] = self._information(effects, chance).solved(self._gradient(effects, chance, k)[:free])
            while (
                there := self._likelihood(effects + step, odds := self._odds(effects + step), k)
            ) < here - 1e-9 * abs(here):
                step /= 2
            effects, here = effects + step, there
            if float(np.abs(step).max()) < CLOSE:
                return effects
        raise UnusableData(
            "the model of what the others would give does not settle; look for a model, lot or inspector mistyped on "
            "many visits"
        )

    def likelihood(self, effects: Floats, k: Floats) -> float:
        """Log-likelihood of effects as `fitted` gives them, the prior's pieces among it."""
        return self._likelihood(effects, self._odds(effects), k)

    def information(self, effects: Floats) -> Whole | Parted:
        """Curvature of the likelihood and prior about the effects, a table of (effects, effects)."""
        return self._information(effects, special.expit(self._odds(effects)))

    def _odds(self, effects: Floats) -> Floats:
        """Log odds of each row."""
        odds = effects[self.level].sum(axis=1)
        return odds if self.mine is None else odds + effects[self.size] * self.mine  # type: ignore[no-any-return]

    def _likelihood(self, effects: Floats, odds: Floats, k: Floats) -> float:
        return float(
            (k * odds - self.n * np.logaddexp(0, odds)).sum()
            + (self.prior * (effects / 2 - np.logaddexp(0, effects))).sum()
        )

    def _gradient(self, effects: Floats, chance: Floats, k: Floats) -> Floats:
        over = k - self.n * chance
        own = [] if self.mine is None else [float(over @ self.mine)]
        return np.append(self.summed(over), own) + self.prior * (0.5 - special.expit(effects))  # type: ignore[no-any-return]

    def _information(self, effects: Floats, chance: Floats) -> Whole | Parted:
        near = special.expit(effects)
        return self.tables.of(self.n * chance * (1 - chance), self.prior * near * (1 - near))

    def summed(self, values: Floats) -> Floats:
        """What rows (rows,) say, summed over those of each level (levels,)."""
        return np.bincount(self.flat, np.repeat(values, self.parts), minlength=self.size).astype(np.float64)

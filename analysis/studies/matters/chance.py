"""What part of a matter's kind of signals is not chance, over the last year or what there is of it. It hangs on the
budget, on how many opened and on what its own readings say, on nobody's answers.

How many false ones to expect is known, by the budget. How many real ones there are is not: o openings are a Poisson
count of e false ones and r real ones, r an exponential guess beforehand, its mean that of all kinds of the shop. What
is told is the mean share of false ones, e / (e + r), so that a kind that opened once is neither all chance nor all
real; for many openings it is e / o.

Source: Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., section 2.6 (Poisson counts); the mean by incomplete gamma
functions, Abramowitz & Stegun 1964, 6.5 (from memory, held by tests).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import stats
from scipy.special import gammaincc, ndtr

from analysis.studies.drift.signals import YEAR, Signals, signals
from analysis.studies.drift.watching import SHARE
from analysis.studies.drift.widths import week_numbers
from analysis.studies.matters.signalled import SLOW
from ingest.store.snapshot import Snapshot

TINY = 1e-300
Z95 = 1.96
FALSE_LIE, FALSE_SPREAD = 2.54, 0.89  # errors that the sizes of false matters lie off: mean and standard deviation
TRUE_SPREAD = 10.0  # errors over which those of true ones lie about evenly
SOME = 0.01  # of any kind may be true, however few opened


@dataclass(frozen=True)
class Kind:
    """Openings of one kind of chart over the last year."""

    opened: int
    expected: float  # false ones, by the budget


def kind_of(row: dict[str, object]) -> str:
    """Of which kind a chart is: a stream's own, one person's own, young streams together, pooled over what, a share."""
    over = str(row.get("over") or "")
    return f"{row['chart']} over {over}" if over else f"{row['chart']}{' of one person' if row['tech'] else ''}"


def real(snapshot: Snapshot, judged: Signals, row: dict[str, object]) -> float:
    """Between 0 and 1; 1 where the shop has no budget, and nothing false is expected of its own making."""
    every = snapshot.once(kinds)
    return not_chance(every[kind_of(row)], list(every.values())) if kind_of(row) in every else 1.0


def weighed(usual: float, size: float, low: float, high: float) -> float:
    """What part is no chance by its kind (`usual`), weighed by what its own readings say: how many errors (of its 95 %
    interval low to high) its size lies off, against how many those of false matters do (tests/trials/chance.md).
    """
    half = (high - low) / 2
    if not half > 0 or usual >= 1:
        return usual
    usual = max(usual, SOME)
    errors = Z95 * abs(size) / half
    false = stats.norm.pdf(max(errors, FALSE_LIE), FALSE_LIE, FALSE_SPREAD)
    return float(usual / (usual + (1 - usual) * TRUE_SPREAD * false))


def shown(judged: Signals, size: float, low: float, high: float) -> float:
    """How sure a size with its 95 % interval makes it by itself, between 0 and 1: so many false ones at most lie so
    many errors off, of all ends that the charts ever looked at, each with all starts behind it (Bonferroni).
    """
    half = (high - low) / 2
    if not judged.ends or not half > 0:
        return 0.0
    return float(1 - min(1.0, judged.ends * SLOW * 2 * ndtr(-Z95 * abs(size) / half)))


def not_chance(own: Kind, every: Sequence[Kind]) -> float:
    """Of one kind, among all kinds that opened."""
    if own.expected <= 0 or not own.opened:
        return 1.0
    usual = sum(max(kind.opened - kind.expected, 0.0) for kind in every) / len(every)
    if usual <= 0:
        return 0.0
    fall = 1 + 1 / usual
    z = fall * own.expected
    # share of e in e + r, where (e + r)^o exp(-fall r) weighs every r above 0
    chance = z * gammaincc(own.opened, z) / (own.opened * max(float(gammaincc(own.opened + 1, z)), TINY))
    return float(np.clip(1.0 - chance, 0.0, 1.0))


def kinds(snapshot: Snapshot) -> dict[str, Kind]:
    """Openings and expected false ones of each kind of chart over the year up to as_of."""
    judged = snapshot.once(signals)
    if judged is None:
        return {}
    since = snapshot.as_of - YEAR
    opened: dict[str, int] = {}
    for row in judged.openings.filter(pl.col("opened_at") > since).iter_rows(named=True):
        opened[kind_of(row)] = opened.get(kind_of(row), 0) + 1
    expected = _expected(snapshot, judged)
    return {name: Kind(count, expected.get(name, 0.0)) for name, count in opened.items()}


def _expected(snapshot: Snapshot, judged: Signals) -> dict[str, float]:
    """phi summed over the judged readings of each kind of chart."""
    allowance = judged.budget
    if allowance is None:
        return {}
    found: dict[str, float] = {}
    for chart, over, person, week, n in judged.looked.iter_rows():
        name = kind_of({"chart": chart, "over": over, "tech": "somebody" if person else ""})
        found[name] = found.get(name, 0.0) + n * float(allowance.rates[allowance.at(week)])
    weekly = judged.weekly
    if weekly is not None:
        first = int(week_numbers(judged.streams, snapshot.shop).max()) - 51
        of_models, _ = weekly.looked()
        told = np.concatenate((weekly.weeks[weekly.judged], weekly.weeks[of_models]))
        found[SHARE] = float(allowance.rates[allowance.at(told[told >= first])].sum())
    return found

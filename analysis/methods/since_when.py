"""Since when does more, or less, come back than a base lets expect: sums of counts from every start at once.

Each row (a week) has a count, and how many the base lets expect of it. For each start the sum of the counts since then
is held against the sum expected since then; the start that stands out most gives the row's score, and where the score
passes its limit it is the likeliest start. A rise that stays shows as soon as its own weeks tell it, be it large or
small; one week's burst is the sum of one week. That is the cumulative sum chart for a change of unknown size.

The base is an estimate too. A sum is held against it as one sample against another, so that what the base does not
know widens it, and no sum since however long ago can say more than the base knows. `unsure` says how far each row's
expected count moves with what was estimated: with hard models in the work that the base hardly holds, it is little.

Weeks that vary more than chance has them would signal oftener: counts and sizes are divided by the variance of the
base's weeks over that of chance, drawn to 1 as by so many weeks of chance alone (`widening`), and never below 1.

The limit gives the wished false-signal rate over both sides, as a mean over bases, for normal sums. Measured with
counts: tests/trials/weekly_shares.md.

Source: sums from every start, Lorden 1971, Annals of Mathematical Statistics 42; their limit, Siegmund & Venkatraman
1995, Annals of Statistics 23 (for a known base: the rate is c phi(c) times the integral of x nu(x)^2; from memory, held
by simulation); a base that is a sample, Hawkins, Qiu & Kang 2003, J. Quality Technology 35; for counts at a mix, Hoehle
& Paul 2008, Computational Statistics & Data Analysis 52. Score of two counts: the modified signed root of the
likelihood ratio, Barndorff-Nielsen 1986, Biometrika 73; Davison 1988, J. Royal Statistical Society B 50. Widening:
Wedderburn 1974, Biometrika 61 (quasi-likelihood; Pearson's X2 over its degrees of freedom).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import xlogy

from analysis.methods.change_point import overshoot
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

LONGEST = 52  # rows that a sum reaches back
NONE = 0.15  # of one: what a count of none stands for, by which the score is that of half the chance of none
NEAR = 0.05  # score under which the correction of the signed root, 0 over 0 there, is left out
OF_CHANCE = 13  # rows of chance alone that a base's widening is drawn to 1 by
LEAST_LIMIT, LARGEST_LIMIT = 1.5, 12.0


@dataclass(frozen=True)
class Ahead:
    """What a base lets expect of rows after it, oldest first."""

    expected: Floats  # (r,) counts, above 0 where there are pieces
    unsure: Floats  # (r, l) how far each moves with one standard error of each thing that the base estimates
    common: float  # squared relative error that all share beside these; below 0 where they count it twice
    widening: float = 1.0  # variance of a row's count over that of chance alone, of rows after the base and in it


@dataclass(frozen=True)
class Sums:
    """Of each start (m,) up to each row (r,); nan where the row lies before the start or too far after it."""

    score: Floats  # (m, r) standard normal without a change; above 0: more than expected
    count: Floats  # (m, r)
    size: Floats  # (m, r)
    expected: Floats  # (m, r)
    variance: Floats  # (m, r) of `expected`: how well the base knows it, but for the widening


def apart(count: npt.ArrayLike, size: npt.ArrayLike, base_count: npt.ArrayLike, base_size: npt.ArrayLike) -> Floats:
    """How far the share of one sample lies above that of another, in standard normal scores: any shapes that fit.

    Counts lie between 0 and their sizes, those of the base between them; they need not be whole. Relabelling what is
    counted (sound for faulty) turns the sign. nan where a sample is empty.
    """
    n, big = np.asarray(size, dtype=np.float64), np.asarray(base_size, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        edge, base_edge = np.minimum(NONE, n / 2), np.minimum(NONE, big / 2)
        k = np.clip(np.asarray(count, dtype=np.float64), edge, n - edge)
        base = np.clip(np.asarray(base_count, dtype=np.float64), base_edge, big - base_edge)
        p, q, both = k / n, base / big, (k + base) / (n + big)
        likelier = xlogy(k, p / both) + xlogy(n - k, (1 - p) / (1 - both))
        likelier += xlogy(base, q / both) + xlogy(big - base, (1 - q) / (1 - both))
        root = np.sign(p - q) * np.sqrt(2 * np.maximum(likelier, 0.0))
        odds = np.log(p / (1 - p)) - np.log(q / (1 - q))
        wald = odds * np.sqrt(n * p * (1 - p) * big * q * (1 - q) / ((n + big) * both * (1 - both)))
        modified = root + np.log(wald / root) / root
        return np.asarray(np.where(np.abs(root) > NEAR, modified, root), dtype=np.float64)


def sums(count: Floats, size: Floats, ahead: Ahead, starts: int, *, longest: int = LONGEST) -> Sums:
    """Sums from each of the first `starts` rows on, up to each row.

    Parameters
    ----------
    count, size : float, shape (r,)
        What was counted of each row after the base, of so many pieces (above 0), oldest first.
    ahead : what the base lets expect of these rows.
    starts : the first so many rows may begin a sum.
    longest : rows that a sum holds at most.

    Raises UnusableData for a row without a piece, or with more counted than there are.
    """
    rows = len(count)
    if not len(size) == len(ahead.expected) == len(ahead.unsure) == rows or not 0 <= starts <= rows:
        raise UnusableData(f"wanted counts, sizes and expected counts of as many rows; got {rows} counts")
    if (size <= 0).any() or (count < 0).any() or (count > size).any() or (ahead.expected < 0).any():
        raise UnusableData("rows want pieces above 0, at most so many of them counted, and no expectation below 0")
    reached = min(rows, max(starts + longest - 1, 0))  # rows behind it are in no sum
    till = np.arange(reached)[None, :] - np.arange(starts)[:, None]
    inside = (till >= 0) & (till < longest)

    def since(values: Floats) -> Floats:
        before = np.concatenate((np.zeros(1), np.cumsum(values[:reached])))
        return np.asarray((before[None, 1:] - before[:starts, None])[inside], dtype=np.float64)

    def every(values: Floats) -> Floats:  # of the rows inside
        found = np.full((starts, rows), np.nan)
        found[:, :reached][inside] = values
        return found

    k, n, expected = since(count), since(size), since(np.minimum(ahead.expected, size))
    area = np.zeros((reached + 1, reached + 1))
    area[1:, 1:] = (ahead.unsure @ ahead.unsure.T)[:reached, :reached]
    area = np.cumsum(np.cumsum(area, axis=0), axis=1)
    own = np.diagonal(area)
    variance = (own[None, 1:] - area[:starts, 1:] - area[1:, :starts].T + own[:starts, None])[inside]
    variance = np.maximum(variance + ahead.common * expected**2, 1e-9 * expected**2 + 1e-12)
    others = expected**2 / variance  # counts of the base that it knows the expected one by
    whole = ahead.widening  # so many pieces tell as much as one whose chance is its own
    score = apart(k / whole, n / whole, others / whole, others * n / np.maximum(expected, 1e-12) / whole)
    return Sums(*(every(part) for part in (score, k, n, expected, variance)))


def widening(count: Floats, size: Floats, fitted: Floats) -> Floats:
    """How much more the rows of a base vary round their fitted counts (r, ...) than chance has them; at least 1. Rows
    without a piece say nothing.
    """
    chance = fitted * (1 - np.minimum(np.divide(fitted, size, out=np.ones_like(fitted), where=size > 0), 1.0))
    some = chance > 0
    lack = np.divide((count - fitted) ** 2, chance, out=np.zeros_like(fitted), where=some).sum(axis=0)
    times = (lack + OF_CHANCE) / (np.maximum(some.sum(axis=0) - 1, 0) + OF_CHANCE)
    return np.asarray(np.maximum(times, 1.0), dtype=np.float64)


def splits(count: Floats, expected: Floats, side: int) -> Floats:
    """How likely each row after the first is the one with which the share of counts (r,) in what was expected of them
    (r,) rose (side 1) or fell (-1), oldest first: log likelihoods, shape (r - 1,), -inf where it did not. All rows
    before it are of one level, it and those after it of another; nothing is asked of a limit.

    Source: Hinkley & Hinkley 1970, Biometrika 57 (binomial sequences); Worsley 1986, Biometrika 73 (of the exponential
    family, here Poisson counts with their expectations as sizes).
    """
    before, let = (np.cumsum(part)[:-1] for part in (count, expected))
    since, still = count.sum() - before, expected.sum() - let
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.array([before / let, since / still])
        found = xlogy(before, ratio[0]) + xlogy(since, ratio[1])
        way = side * (ratio[1] - ratio[0]) > 0
    return np.asarray(np.where(np.isfinite(found) & way, found, -np.inf), dtype=np.float64)


def rate(limit: float, base: float, *, longest: int = LONGEST) -> float:
    """False signals a row, over both sides, of scores of sums of 1 to `longest` rows held against a base of so many.

    Beside a base of m rows a sum of w rows tells as much of itself as one of w (1 + w / m) rows beside a known one.
    """
    w = np.arange(1, longest + 1, dtype=np.float64)
    alike = w * (1 + w / base)
    crossings = overshoot(limit / np.sqrt(alike)) ** 2 / alike**2
    return float(2 * math.exp(-limit * limit / 2) / math.sqrt(2 * math.pi) * limit**3 / 4 * crossings.sum())


@lru_cache(maxsize=4096)
def limit(false_rate: float, base: float, *, longest: int = LONGEST) -> float:
    """The score beyond which a row signals, at so many false signals a row over both sides.

    base : rows of the base ; longest : rows of the longest sum there is.
    """
    if not 0 < false_rate < 0.2 or base <= 0 or longest < 1:
        raise UnusableData("a limit wants a false rate between 0 and a fifth, a base and sums of at least one row")
    if rate(LEAST_LIMIT, base, longest=longest) <= false_rate:
        return LEAST_LIMIT
    return float(
        brentq(lambda at: math.log(rate(at, base, longest=longest) / false_rate), LEAST_LIMIT, LARGEST_LIMIT, xtol=1e-6)
    )

"""From readings to signals: when a chart opens, when the readings say that the stream is back, and when it opens again.

A chart opens at its first firing while no signal is open. From then on each reading is asked whether the stream came
back: a return to the baseline's mean, at its likeliest moment since the signal began, against staying at the mean since
then. The signal closes where the return is 1,000 times likelier, and the running average starts anew at the centre with
the next reading.

With z the readings in sigmas off the baseline's mean and S(r) the sum of the n(r) of them from the beginning of the
shift to before r, a return at r fits by S(r)^2 / 2 n(r) and staying until t by S(t)^2 / 2 n(t), both as
log-likelihoods above readings that never left. What the best return fits better is the evidence. Staying means staying
at least `LEAST_AWAY` sigma away: else a false signal, whose mean since then sinks to nothing, could hardly be
contradicted. Readings that resemble their neighbours are given in sigmas as much wider as their averages are.

One pass over all charts, then one over those that opened for as long as one of them opens again; no loop over charts.

Source: likelihood ratio for a change of the mean with known sigma, Siegmund (1985), Sequential Analysis, chapter II;
the restarted average: Lucas & Saccucci (1990), Technometrics 32. How long shifts stay open and how soon a return is
seen: tests/trials/signal_life.md.
"""

import math
from dataclasses import dataclass

import numpy as np

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Flags, Floats, Ints, blocks, checked, lengths, rectangles, spans
from analysis.methods.weighted import faded, growth

BACK = math.log(1000.0)  # how much likelier (log) a return must be than staying away
LEAST_AWAY = 0.5  # sigmas that staying away means at least
SOON = 100  # readings after an opening that are looked at first
TIE = 1e-9  # relative: an average on its limit to the last bits is not beyond it


@dataclass(frozen=True)
class Lives:
    """Signals of many charts, oldest first within a chart; places are indices of the readings."""

    segment: Ints  # (k,) the chart
    opened: Ints  # (k,)
    began: Ints  # (k,) likeliest first reading of the shift, as seen when it opened
    side: Ints  # (k,) +1 above the centre, -1 below
    back: Ints  # (k,) likeliest first reading after the return; -1 while none is shown
    closed: Ints  # (k,) the reading that showed the return; -1 while none is shown
    average: Floats  # (n,) in sigmas; starts anew at the centre after each closing; z itself where a rule fires
    half: Floats  # (n,) how far the average may stray, in sigmas; 0 before judging starts, and where a rule fires


@dataclass(frozen=True)
class Stands:
    """Where charts stand that were walked before up to a reading, with no signal open: they are walked on from it, and
    what lies before it is not looked at.
    """

    at: Ints  # (k,) rising: the reading from which on; the end of the chart where there is none yet
    chart: Ints  # (k,)
    average: Floats  # (k,) the running average before it, in sigmas
    judged: Ints  # (k,) readings in it since it began anew


@dataclass(frozen=True)
class _Run:
    """Pieces of charts that are still to be walked: from `at` to before `end`."""

    at: Ints
    end: Ints
    chart: Ints


def lives(
    z: Floats,
    starts: Ints,
    *,
    begin: Ints,
    width: Floats | None = None,
    fired: Flags | None = None,
    weight: float = 0.1,
    cuts: Ints | None = None,
    stands: Stands | None = None,
) -> Lives:
    """Signals of many charts at once.

    Parameters
    ----------
    z : float (n,)
        Readings in sigmas off the baseline's mean, chart after chart, oldest first.
    starts, begin : int (s,)
        Where each chart begins, and the place in it of the first judged reading (its length or more: none).
    width : float (n,)
        Limits of the running average in its standard deviations, at each reading; or, instead of it,
    fired : bool (n,)
        where a rule fires.
    weight : float
        Of the newest reading in the average.
    cuts : int, optional
        Readings before which a person closed what was open: the average starts anew there.
    stands : Stands, optional
        Of charts that go on from where they stood. What then opens on one of them is told by its reading and side; its
        beginning, and all that follows from it, is looked for among the readings walked alone.

    Raises
    ------
    UnusableData
        A missing reading; neither or both of width and fired.
    """
    readings, charts = checked(z, starts)
    if (width is None) == (fired is None):
        raise UnusableData("wanted either the width of the average's limits or where a rule fires, not both")
    n = len(readings)
    judged = np.minimum(charts + begin, np.append(charts[1:], n))
    pieces = np.union1d(charts, cuts if cuts is not None else charts).astype(np.int64)
    pieces = pieces if stands is None else np.union1d(pieces, stands.at)
    pieces = pieces[pieces < n]
    chart = np.searchsorted(charts, pieces, side="right") - 1
    ends = np.append(pieces[1:], n)
    run = _Run(np.minimum(np.maximum(pieces, judged[chart]), ends), ends, chart)
    before = _Before(np.zeros(len(pieces)), np.zeros(len(pieces), dtype=np.int64))
    if stands is not None:
        run, before = _going_on(run, pieces, stands, n)
    if fired is not None:
        average, half, hits = readings.copy(), np.zeros(n), np.flatnonzero(fired)
    else:
        average, half, hits = _first_pass(readings, pieces, run.at - pieces, before, np.asarray(width), weight)
    found: list[tuple[Ints, ...]] = []
    while len(run.at):
        if found and width is not None:
            where = spans(run.at, run.end)
            begins = np.cumsum(run.end - run.at) - (run.end - run.at)
            none = np.zeros(len(begins), dtype=np.int64)
            parts = _averages(readings[where], begins, none, _Before(np.zeros(len(begins)), none), width[where], weight)
            average[where], half[where], beyond = parts
            hits = np.sort(where[beyond])
        next_hit = np.append(hits, n)[np.searchsorted(hits, run.at)]
        hit = np.flatnonzero(next_hit < run.end)
        opened, end = next_hit[hit], run.end[hit]
        side = np.where(average[opened] > 0, 1, -1)
        began = _likeliest_start(readings, run.at[hit], opened, side)
        back, closed = _returns(readings, began, opened, end, side)
        found.append((run.chart[hit], opened, began, side, back, closed))
        again = closed >= 0
        again &= closed + 1 < end
        run = _Run(closed[again] + 1, end[again], run.chart[hit][again])
    columns = [np.concatenate(parts).astype(np.int64) for parts in zip(*found, strict=True)]
    order = np.argsort(columns[1], kind="stable")
    segment, opened, began, side, back, closed = (column[order] for column in columns)
    return Lives(segment, opened, began, side, back, closed, average, half)


@dataclass(frozen=True)
class _Before:
    """What the average of each piece begins with: itself, and how many readings are in it."""

    average: Floats  # (p,)
    judged: Ints  # (p,)

    def some(self, which: slice) -> "_Before":
        return _Before(self.average[which], self.judged[which])


def _going_on(run: _Run, pieces: Ints, stands: Stands, n: int) -> tuple[_Run, _Before]:
    """The same, of charts that stand somewhere from there on."""
    since = np.full(int(max(run.chart.max(initial=0), stands.chart.max(initial=0))) + 1, -1)
    since[stands.chart] = stands.at
    walked = since[run.chart] > pieces  # before it
    at = np.where(walked, run.end, run.at)
    average, judged = np.zeros(len(pieces)), np.zeros(len(pieces), dtype=np.int64)
    on = np.flatnonzero(stands.at < n)
    place = np.searchsorted(pieces, stands.at[on])
    there = run.chart[place] == stands.chart[on]  # the end of a chart is the first of the next
    average[place[there]], judged[place[there]] = stands.average[on[there]], stands.judged[on[there]]
    return _Run(at, run.end, run.chart), _Before(average, judged)


def _first_pass(
    z: Floats, pieces: Ints, idle: Ints, before: _Before, width: Floats, weight: float
) -> tuple[Floats, Floats, Ints]:
    """Averages, limits and where the average leaves them, over all pieces."""
    average, half = np.empty(len(z)), np.empty(len(z))
    hits = []
    for which, where in blocks(pieces, len(z)):
        begins = pieces[which] - where.start
        own = before.some(which)
        average[where], half[where], beyond = _averages(z[where], begins, idle[which], own, width[where], weight)
        hits.append(np.flatnonzero(beyond) + where.start)
    return average, half, np.concatenate(hits)


def _averages(
    z: Floats, begins: Ints, idle: Ints, before: _Before, width: Floats, weight: float
) -> tuple[Floats, Floats, Flags]:
    """Averages that start anew at each begin after `idle` readings, or go on from what was `before`, their limits, and
    where they lie beyond.
    """
    settled = 1 if weight == 1 else math.ceil(-20 / math.log1p(-weight))  # from then on the limits no longer move
    grown = growth(weight, np.arange(1, settled + 1))
    size = lengths(begins, len(z))
    resting = spans(begins, begins + idle)
    steps = z * weight
    steps[resting] = 0.0
    on = np.flatnonzero((before.judged > 0) & (size > idle))
    steps[begins[on] + idle[on]] += (1 - weight) * before.average[on]
    average = faded(steps, begins, 1 - weight)
    half = width * grown[-1]
    taken = np.minimum(size - idle, np.maximum(settled - before.judged, 0))
    young = spans(begins + idle, begins + idle + taken)
    so_far = before.judged - (np.cumsum(taken) - taken)
    half[young] = width[young] * grown[np.arange(len(young)) + np.repeat(so_far, taken)]
    half[resting] = 0.0
    beyond = np.abs(average) > half * (1 + TIE) + TIE
    beyond[resting] = False
    return average, half, beyond


def _likeliest_start(z: Floats, low: Ints, opened: Ints, side: Ints) -> Ints:
    """First reading of the shift, from `low` to the opening one: the start whose mean since then fits best."""
    began = opened.copy()
    for which, longest in rectangles(opened - low + 1):
        back = np.arange(longest)
        inside = back <= (opened - low)[which, None]
        at = np.where(inside, opened[which, None] - back, 0)
        total = np.cumsum(np.where(inside, z[at], 0.0), axis=1) * side[which, None]
        fit = np.where(inside, np.maximum(total, 0.0) ** 2 / (2 * (back + 1)), -1.0)
        began[which] = opened[which] - fit.argmax(axis=1)
    return began


def _returns(z: Floats, began: Ints, opened: Ints, end: Ints, side: Ints) -> tuple[Ints, Ints]:
    """Likeliest first reading after the return and the reading that shows it; -1 both where none does before `end`.

    Most return soon or never: the next readings first, then all of those that are still open.
    """
    back, closed = _shown(z, began, opened, np.minimum(end, opened + SOON), side)
    still = np.flatnonzero((closed < 0) & (end > opened + SOON))
    if len(still):
        back[still], closed[still] = _shown(z, *(column[still] for column in (began, opened, end, side)))
    return back, closed


def _shown(z: Floats, began: Ints, opened: Ints, end: Ints, side: Ints) -> tuple[Ints, Ints]:
    back, closed = np.full(len(began), -1), np.full(len(began), -1)
    for which, longest in rectangles(end - began):
        along = np.arange(longest)
        inside = along < (end - began)[which, None]
        at = np.where(inside, began[which, None] + along, 0)
        total = np.cumsum(np.where(inside, z[at], 0.0), axis=1) * side[which, None]
        count = along + 1.0
        fit = np.maximum(total, 0.0) ** 2 / (2 * count)
        stays = np.where(total >= LEAST_AWAY * count, fit, LEAST_AWAY * total - count * (LEAST_AWAY**2 / 2))
        best = np.maximum.accumulate(fit, axis=1)
        shown = inside & (at > opened[which, None])
        shown[:, 1:] &= best[:, :-1] - stays[:, 1:] >= BACK
        shown[:, 0] = False
        some = np.flatnonzero(shown.any(axis=1))
        place = shown[some].argmax(axis=1)
        before = along < place[:, None]
        back[which[some]] = began[which[some]] + np.where(before, fit[some], -1.0).argmax(axis=1) + 1
        closed[which[some]] = began[which[some]] + place
    return back, closed

"""What all strings of one instrument say together at the play test: bridge, saddle, nut or one fret, and how far.

Each note is `cents` less what the model usually shows, sharp positive. Every string has its tuning; a cause adds the
derivative of `intonation.cents_short` in what it moves (C = 1200 / ln 2, g_n = 2^(n/12), X the string's own length):

    bridge or saddle to go back by m mm     C (g_n - 1) m / X        alike on all strings, or more on one side (slant)
    one string to go back by m mm           the same on one string
    nut slots u mm too high                 c u (g_1 - 1) / (g_n - 1),  c = cents at fret 1 a millimetre
    nut m mm too far back                   C m / X                  on all fretted notes
    fret k                                  its own cents at k, alike on all strings and a little on each

Sizes of each cause have a normal prior, good instruments differ by a normal spread of the same causes, notes by their
noise: the evidence for each cause, and for each two together, is then in closed form, and the chances of all of them
and of nothing add up to one. How often a cause is seen beforehand and how much good instruments differ are common
practice, no published source; what they give is in tests/trials/play_test.md.
Source: evidence and chances, Kass & Raftery 1995, J. American Statistical Association 90 (from memory); shapes,
Anderson & Beausoleil 2024, J. Acoustical Society of America 156, 683.
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import numpy.typing as npt

from analysis.methods.intonation import CENTS
from analysis.methods.play_test_shapes import (
    BRIDGE,
    FRET,
    NUT,
    NUT_PLACE,
    SLOT,
    STRING,
    Cause,
    Columns,
    Played,
    Spread,
    indicator,
    shapes,
    usual_cover,
)
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Flags, Floats, Ints

CHOKE = 40.0  # cents sharp of its string: the next fret stops the string
NAMED = 0.57  # chance from which on a cause is named
WORTH_BRIDGE, WORTH_STRING, WORTH_FRET = 5.0, 5.0, 3.5  # cents; less is not worth the work
WORTH_BACK = 1.2  # mm a bridge or saddle stands off: on a long scale that is under five cents
WORTH_NUT = 0.2  # mm, about half of what is asked of a nut either way
WIDER = (1.0, 1.4, 2.0, 2.8)
TRIMMED = 0.95  # of the instruments behind a spread: the others may have a fault


@dataclass(frozen=True)
class Told:
    """What was found on each of m instruments, most likely first; arrays (m,) and (m, ...)."""

    causes: tuple[Cause, ...]
    chance: Floats  # (m, c) of each cause, alone or beside another
    nothing: Floats  # (m,)
    move: Floats  # (m, c, 2) bridge: mm to go back at treble and bass side; string: mm twice; else 0
    high: Floats  # (m, c, S) nut, slot: mm too high at each slot; nut place: mm too far back; else 0
    cents: Floats  # (m, c) at fret 12 (bridge, string), at fret 1 (nut, slot), of all notes (place), of the fret
    worth: Flags  # (m, c) named: likely enough and large enough to be worth the work


def choked(cents: npt.ArrayLike, string: Ints, own: Ints) -> Flags:
    """Notes so sharp of the middle of their string that the next fret stops it, (m, k); nan is none."""
    e = np.atleast_2d(np.asarray(cents, dtype=np.float64))
    out = np.zeros(e.shape, dtype=bool)
    for s in np.unique(string):
        here = string == s
        some = np.isfinite(e[:, here]).any(axis=1)
        centre = np.full(len(e), np.nan)
        centre[some] = np.nanmedian(e[some][:, here], axis=1)
        out[:, here] = e[:, here] - centre[:, None] > CHOKE
    return np.asarray(out & (own > 0)[None, :])


def stopped_by(cents: npt.ArrayLike, fret: Ints) -> Ints:
    """The fret that stops a note fretted at `fret` and so many cents sharp: the next one, or the one a semitone on."""
    return np.asarray(fret + np.maximum(1, np.rint(np.asarray(cents, dtype=np.float64) / 100).astype(np.int64)))


def explain(played: Played, cents: npt.ArrayLike, spread: Spread, *, movable: bool = True) -> Told:
    """What each instrument's notes say.

    Parameters
    ----------
    played : the notes, the same on all instruments given; chokes taken out before.
    cents : shape (m, k), less what the model usually shows; none missing.
    spread : noise of a note and what good instruments differ by.
    movable : a bridge that can be moved has one place for all strings, parallel or slanted; a fixed one's saddle is
        worked string by string too, so that single strings are likelier.

    Raises
    ------
    UnusableData
        Too few notes (no string with its open note and three frets), or cents of another shape.
    """
    e = np.asarray(cents, dtype=np.float64)
    if e.ndim != 2 or e.shape[1] != len(played.string) or not bool(np.isfinite(e).all()):
        raise UnusableData(f"wanted cents of shape (instruments, {len(played.string)}), none missing; got {e.shape}")
    if not played.enough:
        raise UnusableData("too few notes; play the open string and three frets or more")
    columns = Columns(played, movable=movable)
    inside = np.linalg.inv(usual_cover(played, spread))
    weighed = columns.all.T @ inside
    gram, along = weighed @ columns.all, e @ weighed.T
    models: list[tuple[int, ...]] = [(i,) for i in range(len(columns.causes))]
    models += [(i, j) for i, j in combinations(range(len(columns.causes)), 2) if not columns.alike(i, j)]
    evidence, sizes = [np.zeros(len(e))], []
    nothing = 1.0 - sum(columns.before)
    for model in models:
        use = np.concatenate([columns.of[i] for i in model])
        inner = np.eye(len(use)) + gram[np.ix_(use, use)]
        found = np.linalg.solve(inner, along[:, use].T).T
        prior = float(np.sum([np.log(columns.before[i] / nothing) for i in model]))
        evidence.append(0.5 * (found * along[:, use]).sum(axis=1) - 0.5 * np.linalg.slogdet(inner)[1] + prior)
        sizes.append(found)
    logs = np.stack(evidence)
    chances = np.exp(logs - logs.max(axis=0))
    chances /= chances.sum(axis=0)
    return _told(columns, models, chances, sizes)


def log_likelihood(played: Played, cents: Floats, spread: Spread) -> Floats:
    """Log likelihood (m,) of instruments with nothing wrong, up to a constant."""
    cover = usual_cover(played, spread)
    sign, size = np.linalg.slogdet(cover)
    return np.asarray(-0.5 * (np.einsum("mi,ij,mj->m", cents, np.linalg.inv(cover), cents) + sign * size))


def usual_spread(played: Played, cents: Floats, start: Spread | None = None) -> Spread:
    """Noise and spread of accepted instruments: (m, k) cents less what the model usually shows; at least ten of them.

    Noise: the median over instruments of what each string's own tuning, place, step and nut leave. Spread: the usual
    one or a wider one, whichever makes the likeliest 95 % of the instruments likeliest: the rest may have a fault.
    """
    start = start or Spread()
    if len(cents) < 10:
        return start
    shape = np.column_stack([indicator(played)] + [indicator(played) * one[:, None] for one in shapes(played)])
    basis, sizes, _ = np.linalg.svd(shape, full_matrices=False)
    basis = basis[:, sizes > 1e-8]
    spare = cents.shape[1] - basis.shape[1]
    noise = start.noise
    if spare > 2:
        left = ((cents - (cents @ basis) @ basis.T) ** 2).sum(axis=1) / spare
        noise = float(np.sqrt(np.median(left) / (1 - 2 / (9 * spare)) ** 3))  # median of chi squared, Wilson-Hilferty
    found = replace(start, noise=max(noise, 0.3))
    keep = max(1, int(TRIMMED * len(cents)))
    score = [np.sort(log_likelihood(played, cents, found.wider(one)))[-keep:].sum() for one in WIDER]
    return found.wider(WIDER[int(np.argmax(score))])


def _told(columns: Columns, models: list[tuple[int, ...]], chances: Floats, sizes: list[Floats]) -> Told:
    """Chances of each cause, and its sizes in the likeliest model that holds it."""
    played, m, c = columns.played, chances.shape[1], len(columns.causes)
    chance = np.zeros((m, c))
    move, high, cents = np.zeros((m, c, 2)), np.zeros((m, c, played.strings)), np.zeros((m, c))
    best = np.zeros((m, c))
    for model, share, found in zip(models, chances[1:], sizes, strict=True):
        at = 0
        for i in model:
            chance[:, i] += share
            width = len(columns.of[i])
            better = share > best[:, i]
            mine = found[better, at : at + width] * columns.sizes[i]
            best[better, i] = share[better]
            if mine.size:
                _size(columns, i, mine, (move, high, cents), better)
            at += width
    return Told(
        tuple(columns.causes), chance, chances[0], move, high, cents, _worth(columns, chance, move, high, cents)
    )


def _size(columns: Columns, i: int, mine: Floats, into: tuple[Floats, Floats, Floats], rows: Flags) -> None:
    """Write the sizes of cause i, (rows, columns of i) in its own units, into move, high and cents."""
    move, high, cents = into
    played, cause = columns.played, columns.causes[i]
    mean_scale = float(played.scale.mean())
    if cause.kind == BRIDGE:
        slant = mine[:, 1] if mine.shape[1] > 1 else np.zeros(len(mine))
        move[rows, i] = np.stack([mine[:, 0] - slant, mine[:, 0] + slant], axis=1)
        cents[rows, i] = mine[:, 0] * CENTS / mean_scale
    elif cause.kind == STRING:
        move[rows, i] = mine
        cents[rows, i] = mine[:, 0] * CENTS / played.scale[cause.at]
    elif cause.kind == NUT:
        high[rows, i] = mine[:, :1] + (mine[:, 1:] if mine.shape[1] > 1 else 0.0)
        cents[rows, i] = (high[rows, i] * played.nut_cents).mean(axis=1)
    elif cause.kind == SLOT:
        one = np.zeros((len(mine), played.strings))
        one[:, cause.at] = mine[:, 0]
        high[rows, i] = one
        cents[rows, i] = mine[:, 0] * played.nut_cents[cause.at]
    elif cause.kind == NUT_PLACE:
        high[rows, i] = mine
        cents[rows, i] = mine[:, 0] * CENTS / mean_scale
    else:
        cents[rows, i] = mine[:, 0]


def _worth(columns: Columns, chance: Floats, move: Floats, high: Floats, cents: Floats) -> Flags:
    """Which causes are named: one of each group whose chances together reach NAMED, if it is large enough."""
    groups: dict[tuple[str, int], list[int]] = {}
    for i, cause in enumerate(columns.causes):
        nut = cause.kind in (NUT, SLOT, NUT_PLACE)
        groups.setdefault(
            ("at the nut", -1) if nut else (cause.kind, -1 if cause.kind == BRIDGE else cause.at), []
        ).append(i)
    worth = np.zeros(chance.shape, dtype=bool)
    rows = np.arange(len(chance))
    for (kind, _), members in groups.items():
        sure = chance[:, members].sum(axis=1) >= NAMED
        top = np.array(members)[chance[:, members].argmax(axis=1)]
        size = cents[rows, top]
        if kind == BRIDGE:
            far = np.abs(move[rows, top]).max(axis=1)
            large = (far >= WORTH_BACK) | (far * CENTS / float(columns.played.scale.mean()) >= WORTH_BRIDGE)
        elif kind == STRING:
            large = np.abs(size) >= WORTH_STRING
        elif kind == FRET:
            large = np.abs(size) >= WORTH_FRET
        else:
            place = np.array([columns.causes[i].kind == NUT_PLACE for i in top], dtype=bool)
            large = np.where(place, np.abs(size) >= WORTH_BRIDGE, np.abs(high[rows, top]).max(axis=1) >= WORTH_NUT)
        worth[rows, top] |= sure & large
    return worth

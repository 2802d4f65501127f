"""What a play test says of one string: tuning, bridge, nut, or one fret, from how far its notes are out.

e_n = measured cents - baseline (the median pattern of 30 or more accepted instruments of the same model, string and
set), for fret n, 0 = open:

    e_n = tuning + [n >= 1] {step + tilt (g_n - 1) + hook (g_1 - 1) / (g_n - 1)} + fret_k [n = k],    g_n = 2^(n/12)

tuning: the open string; tilt (cents at 12): bridge place, but action, gauge and stiffness have the same shape; step
(all fretted notes): nut too far back; hook (cents at fret 1): nut slot high. The columns are the derivatives of
`intonation.cents_short`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from analysis.methods.intonation import CENTS, String, gamma
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Flags, Floats

TERMS = ("tuning", "step", "tilt", "hook")
CHOKE = 40.0  # cents: further out is a choked note, not intonation
DOUBT = 0.05  # of naming a fret on a string that has none


@dataclass(frozen=True)
class Fit:
    """Terms of one string in cents, 0 for a term left out."""

    tuning: float
    step: float
    tilt: float
    hook: float
    errors: dict[
        str, float
    ]  # standard errors of the terms fitted; empty where neither spare notes nor a noise tell them
    fret: int | None  # the fret with a term of its own
    fret_cents: float | None
    residual_sd: float | None  # None where no note is left over to judge by
    notes: int


@dataclass(frozen=True)
class Fits:
    """Terms of many strings played at the same frets: arrays (m,) by name, "fret" among them where asked for."""

    terms: dict[str, Floats]
    errors: dict[str, Floats]  # empty as in Fit
    residual_sd: Floats | None  # (m,)


@dataclass(frozen=True)
class Scan:
    """One fret against the rest of the string, for each fret that can be tested."""

    frets: npt.NDArray[np.int64]  # (f,)
    t: Floats  # (f,) deletion t statistic
    critical: float  # |t| beyond it names the fret, 5 % a string over all frets tested
    suspect: int | None


def fit(
    frets: npt.ArrayLike,
    cents: npt.ArrayLike,
    *,
    terms: Sequence[str] = TERMS,
    fret: int | None = None,
    noise: float | None = None,
) -> Fit:
    """Fit the terms of one string by least squares.

    Parameters
    ----------
    frets, cents : shape (n,)
        Frets played, 0 = open, repeats allowed; cents less the baseline.
    terms : of "tuning", "step", "tilt", "hook"
        Leave out "hook" or "step" where a gauge has already cleared the nut: the bridge is then known better.
    fret : int or None
        Give this fret a term of its own.
    noise : float or None
        Standard deviation of one note, in cents, where known (2 for one pluck by hand: Mottola 2018); else the
        residuals give it.

    Raises
    ------
    UnusableData
        A note over 40 cents out (a choke), or notes that cannot tell the terms apart: open and three different frets at
        least for all four, one more note for an error.
    """
    n, e = _notes(frets, cents)
    out = choked(e)
    if out.any():
        at = int(out.argmax())
        raise UnusableData(
            f"fret {n[at]:g} is {e[at]:.0f} cents out: a choked or wrong note, not intonation; leave it out"
        )
    many = fit_strings(n, e[None, :], terms=terms, fret=fret, noise=noise)
    value = {name: float(found[0]) for name, found in many.terms.items()}
    return Fit(
        value.get("tuning", 0.0),
        value.get("step", 0.0),
        value.get("tilt", 0.0),
        value.get("hook", 0.0),
        {name: float(error[0]) for name, error in many.errors.items()},
        fret,
        value.get("fret"),
        float(many.residual_sd[0]) if many.residual_sd is not None else None,
        len(n),
    )


def fit_strings(
    frets: npt.ArrayLike,
    cents: npt.ArrayLike,
    *,
    terms: Sequence[str] = TERMS,
    fret: int | None = None,
    noise: float | None = None,
) -> Fits:
    """The same for many strings at once: `cents` of shape (m, n), every string played at the same `frets` (n,); chokes
    taken out first.
    """
    n, e = np.asarray(frets, dtype=np.float64), np.asarray(cents, dtype=np.float64)
    if e.ndim != 2 or e.shape[1:] != n.shape or not bool(np.isfinite(e).all()):
        raise UnusableData(
            f"strings need a row each and a column a fret, none missing; got {e.shape} for {len(n)} frets"
        )
    names = [term for term in TERMS if term in terms]
    columns = _columns(n, names)
    if fret is not None:
        columns, names = np.column_stack([columns, n == fret]), [*names, "fret"]
    rank = int(np.linalg.matrix_rank(columns)) if columns.size else 0
    if not names or rank < columns.shape[1]:
        played = ", ".join(str(int(f)) for f in np.unique(n))
        raise UnusableData(
            f"frets {played} cannot tell {', '.join(names) or 'nothing'} apart ({rank} of {columns.shape[1]}); play "
            "the open string and at "
            "least three frets, two more to judge one of them, or leave a term out"
        )
    inverse = np.linalg.inv(columns.T @ columns)
    found = e @ columns @ inverse
    spare = len(n) - columns.shape[1]
    residual = np.sqrt(((e - found @ columns.T) ** 2).sum(axis=1) / spare) if spare > 0 else None
    one = np.full(len(e), noise) if noise is not None else residual
    error = {} if one is None else {name: one * np.sqrt(inverse[j, j]) for j, name in enumerate(names)}
    return Fits({name: found[:, j] for j, name in enumerate(names)}, error, residual)


def choked(cents: npt.ArrayLike) -> Flags:
    """Notes over 40 cents from the median of their string, along the last axis: choked or wrong, not intonation."""
    e = np.asarray(cents, dtype=np.float64)
    return np.asarray(np.abs(e - np.nanmedian(e, axis=-1, keepdims=True)) > CHOKE)


def standard_errors(frets: npt.ArrayLike, terms: Sequence[str] = TERMS) -> dict[str, float]:
    """Standard errors of the terms in units of the noise of one note, for these frets; what to play before it is
    played.
    """
    f = np.asarray(frets, dtype=np.float64)
    return fit(f, np.zeros(len(f)), terms=terms, noise=1.0).errors


def leverage(frets: npt.ArrayLike) -> Floats:
    """How much each note decides its own fitted value (n,): near 1 (fret 1, open) it cannot be judged by the others."""
    q, _ = np.linalg.qr(_columns(np.asarray(frets, dtype=np.float64), list(TERMS)))
    return np.asarray((q**2).sum(axis=1), dtype=np.float64)


def scan(frets: npt.ArrayLike, cents: npt.ArrayLike, *, terms: Sequence[str] = TERMS, doubt: float = DOUBT) -> Scan:
    """Is one fret out by itself: deletion t of each fretted note, with Bonferroni over the frets.

    `cents` of shape (n,) for one string, or (strings, n) for several played at the same frets: each has its own terms,
    the fret is out by the same on all of them. Frets played more than once are judged by the mean of their notes.
    """
    n, e = np.asarray(frets, dtype=np.float64), np.atleast_2d(np.asarray(cents, dtype=np.float64))
    for string in e:
        _notes(n, string)
    base = _columns(n, [term for term in TERMS if term in terms])
    tested = np.unique(n[n > 0]).astype(np.int64)
    spare = len(e) * (len(n) - base.shape[1]) - 1
    if len(n) - base.shape[1] < 2 or np.linalg.matrix_rank(base) < base.shape[1]:
        raise UnusableData(f"a fret cannot be judged from {len(n)} notes; play the open string and at least five frets")
    q, _ = np.linalg.qr(base)
    rest = e - (e @ q) @ q.T
    mark = (n[:, None] == tested[None, :]).astype(np.float64)
    mark -= q @ (q.T @ mark)
    size = len(e) * (mark**2).sum(axis=0)
    can = size > 1e-9
    along = (rest @ mark[:, can]).sum(axis=0)
    # squares left once the fret has its own term; the floor keeps exact data finite and lies far below a hundredth of a
    # cent
    left = np.maximum((rest**2).sum() - along**2 / size[can], 1e-12)
    t = along / np.sqrt(size[can] * left / spare)
    critical = float(stats.t.isf(doubt / (2 * int(can.sum())), spare))
    worst = int(np.abs(t).argmax())
    return Scan(tested[can], t, critical, int(tested[can][worst]) if abs(t[worst]) > critical else None)


def bridge_move(tilt: float, scale: float) -> float:
    """Millimetres to move the bridge back (away from the nut) for a tilt in cents; below 0: forward."""
    return tilt * scale / CENTS


def nut_set_back(step: float, scale: float) -> float:
    """Millimetres by which the nut stands too far back, for a step in cents."""
    return step * scale / CENTS


def nut_too_high(hook: float, string: String) -> float:
    """Millimetres by which the nut slot is too high, for a hook in cents (down to the lowest pitch the height can
    give).
    """
    b = string.nut_height
    under = b**2 + 2 * hook * (float(gamma(1)) - 1) * 2 * string.scale**2 / (CENTS * string.kappa)
    if under < 0:
        raise UnusableData(
            f"a hook of {hook:.1f} cents is more than lowering the nut can give; measure the nut with a feeler"
        )
    return float(-b + np.sqrt(under))


def fret_shift(cents: float, fret: int, scale: float) -> float:
    """Millimetres towards the bridge by which the string touches fret `fret` off its place, for that fret's own
    cents.
    """
    return float(cents * scale / (CENTS * gamma(fret)))


def baseline(frets: npt.ArrayLike, cents: npt.ArrayLike, *, least: int = 30) -> tuple[Floats, Floats]:
    """(frets, median cents) of accepted instruments of one model, string and set: rows (instrument, note) of one
    string.

    `cents` of shape (instruments, frets), nan for a note not played. Frets with under `least` notes are left out; none
    left raises.
    """
    n, e = np.asarray(frets, dtype=np.float64), np.asarray(cents, dtype=np.float64)
    if e.ndim != 2 or e.shape[1] != len(n):
        raise UnusableData(
            f"a baseline needs a row an instrument and a column a fret; got {e.shape} for {len(n)} frets"
        )
    enough = np.isfinite(e).sum(axis=0) >= least
    if not enough.any():
        raise UnusableData(
            f"a baseline needs {least} accepted instruments of this model, string and set; got {e.shape[0]}"
        )
    return n[enough], np.nanmedian(e[:, enough], axis=0)


def _columns(n: Floats, terms: list[str]) -> Floats:
    fretted = n > 0
    over = np.where(fretted, gamma(n) - 1, 1.0)
    columns = {
        "tuning": np.ones(len(n)),
        "step": fretted.astype(np.float64),
        "tilt": np.where(fretted, over, 0.0),
        "hook": np.where(fretted, (float(gamma(1)) - 1) / over, 0.0),
    }
    return np.column_stack([columns[term] for term in terms]) if terms else np.empty((len(n), 0))


def _notes(frets: npt.ArrayLike, cents: npt.ArrayLike) -> tuple[Floats, Floats]:
    n, e = np.asarray(frets, dtype=np.float64), np.asarray(cents, dtype=np.float64)
    if n.shape != e.shape or n.ndim != 1 or len(n) == 0 or not bool((np.isfinite(n) & np.isfinite(e) & (n >= 0)).all()):
        raise UnusableData(
            f"a play test needs a fret from 0 and its cents for each note, none missing; got {n.shape} and {e.shape}"
        )
    return n, e

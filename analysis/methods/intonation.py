"""The pitch of fretted notes from the geometry of the instrument, and the set-backs of bridge and nut that suit it
best.

Lengths in mm, angles none, pitch errors in cents (sharp positive) of fretted note n against the open string. `frets`
counts from 0, the open string. scale X0 = nut to saddle before set-backs; saddle_back dS > 0 moves the saddle away from
the nut; nut_set dN < 0 moves the nut towards the saddle; nut_height b and saddle_height H over the plane of the fret
tops; kappa = 2 R + 1 with R = (L / f) df/dL. What a play test says of these in turn is in `intonation_inverse`.
Source: Anderson & Beausoleil 2024, J. Acoustical Society of America 156, 683; fret places Varieschi & Gower 2010,
American J. Physics 78, 47.
"""

from dataclasses import dataclass
from math import log

import numpy as np
import numpy.typing as npt

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats

CENTS = 1200 / log(2)  # cents for a relative change of frequency of 1
FITTED_FRETS = np.arange(1, 13)


@dataclass(frozen=True)
class String:
    """One string on one instrument, uncompensated."""

    scale: float
    nut_height: float  # b
    saddle_height: float  # H
    kappa: float
    stiffness: float  # B0

    def __post_init__(self) -> None:
        if not (
            self.scale > 0
            and self.kappa > 0
            and self.stiffness >= 0
            and np.isfinite(self.nut_height + self.saddle_height)
        ):
            raise UnusableData(f"a string needs a scale and kappa above 0 and a stiffness of 0 or more; got {self}")


@dataclass(frozen=True)
class Sensitivity:
    """Cents by which a small change moves the notes."""

    bridge_mm: float  # saddle 1 mm further back, at fret 12
    nut_tenth: float  # nut .1 mm higher, at fret 1
    action_fifth: float  # action at fret 12 .2 mm higher (saddle .4 mm), at fret 12


def gamma(frets: npt.ArrayLike) -> Floats:
    """Frequency ratio 2^(n/12) of each fret."""
    return np.asarray(2.0 ** (np.asarray(frets, dtype=np.float64) / 12), dtype=np.float64)


def fret_places(scale: float, frets: int = 24) -> Floats:
    """Distance from the nut to frets 1 to `frets`, shape (frets,)."""
    return np.asarray(scale * (1 - 1 / gamma(np.arange(1, frets + 1))), dtype=np.float64)


def stiffness(kappa: float, radius: float, scale: float) -> float:
    """B0 of a string of this radius: sqrt(kappa) radius / (2 scale)."""
    return float(np.sqrt(kappa) * radius / (2 * scale))


def cents(string: String, frets: npt.ArrayLike, *, saddle_back: float = 0.0, nut_set: float = 0.0) -> Floats:
    """Pitch error of each fretted note against the open string, exact form; 0 at fret 0."""
    n = np.asarray(frets, dtype=np.float64)
    if not bool((n >= 0).all()):
        raise UnusableData("frets count from 0, the open string")
    g = gamma(n)
    x0, b, h, kappa = string.scale, string.nut_height, string.saddle_height, string.kappa
    open_length = np.hypot(x0 + saddle_back + nut_set, h - b)
    sounding = np.hypot(x0 / g + saddle_back, h)
    behind = np.hypot(x0 - x0 / g + nut_set, b)
    stretch = (sounding + behind - open_length) / open_length
    stiff = string.stiffness * open_length / (sounding * np.sqrt(1 + kappa * stretch))
    bend = _stiff(stiff) / _stiff(np.asarray(string.stiffness))
    exact = 1200 * np.log2(open_length / (g * sounding) * np.sqrt((1 + stretch) * (1 + kappa * stretch)) * bend)
    return np.where(n == 0, 0.0, exact)


def cents_short(string: String, frets: npt.ArrayLike, *, saddle_back: float = 0.0, nut_set: float = 0.0) -> Floats:
    """The same to first order: shows which shape each cause has along the neck; up to .13 mm off in set-backs fitted
    with it.
    """
    n = np.asarray(frets, dtype=np.float64)
    over = np.where(n == 0, 1.0, gamma(n) - 1)
    x0 = string.scale
    stretch = (string.nut_height + over * string.saddle_height) ** 2 / (2 * over * x0**2)
    short = CENTS * (over * (string.stiffness - saddle_back / x0) + nut_set / x0 + string.kappa * stretch / 2)
    return np.where(n == 0, 0.0, short)


def setbacks(string: String, frets: npt.ArrayLike = FITTED_FRETS) -> tuple[float, float]:
    """(saddle_back, nut_set) in mm that make the notes truest, by least squares over the frets with exact uncompensated
    errors.
    """
    over = gamma(frets) - 1
    if len(over) < 2:
        raise UnusableData("set-backs need two frets or more")
    error = cents(string, frets) / CENTS
    g0, g1, g2 = (float((over**k).sum()) for k in range(3))
    z0, z1 = float(error.sum()), float((over * error).sum())
    d = g0 * g2 - g1**2
    return string.scale * (g0 * z1 - g1 * z0) / d, -string.scale * (g2 * z0 - g1 * z1) / d


def sensitivity(string: String, *, saddle_back: float = 0.0, nut_set: float = 0.0) -> Sensitivity:
    """How many cents a millimetre of bridge, a tenth of nut and a fifth of action are worth on this string (central
    differences).
    """

    def note(fret: int, back: float = 0.0, nut: float = 0.0, saddle: float = 0.0) -> float:
        changed = String(
            string.scale, string.nut_height + nut, string.saddle_height + saddle, string.kappa, string.stiffness
        )
        return float(cents(changed, [fret], saddle_back=saddle_back + back, nut_set=nut_set)[0])

    return Sensitivity(
        bridge_mm=note(12, back=0.5) - note(12, back=-0.5),
        nut_tenth=note(1, nut=0.05) - note(1, nut=-0.05),
        action_fifth=note(12, saddle=0.2) - note(12, saddle=-0.2),
    )


def _stiff(b: Floats) -> Floats:
    return np.asarray(1 + b + (1 + np.pi**2 / 2) * b**2, dtype=np.float64)

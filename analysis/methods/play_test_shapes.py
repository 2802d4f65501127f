"""Shapes that each fault of bridge, nut and fret gives the notes of an instrument, and how far good ones differ.

The shapes are derivatives of `intonation.cents_short`. How often a cause is seen beforehand, how large it then is and
how much good instruments differ are common practice, no published source.
Source: Anderson & Beausoleil 2024, J. Acoustical Society of America 156, 683.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from analysis.methods.intonation import CENTS, gamma
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints

BRIDGE, STRING, NUT, SLOT, NUT_PLACE, FRET = "bridge", "string", "nut", "slot", "nut place", "fret"
BEFOREHAND = {BRIDGE: 0.10, STRING: 0.03, NUT: 0.23, SLOT: 0.03, NUT_PLACE: 0.02, FRET: 0.05}
TUNED = 30.0  # cents: prior of a string's tuning, wide enough to leave it free
PRIOR = {BRIDGE: 2.0, "slant": 1.5, STRING: 2.5, NUT: 0.35, "nut each": 0.04, SLOT: 0.5, NUT_PLACE: 1.0}  # mm
FRET_CENTS, FRET_EACH = 7.0, 2.0  # prior of a fret's own cents: of all strings, of each beside


@dataclass(frozen=True)
class Played:
    """Which notes were played on an instrument of S strings; k notes."""

    string: Ints  # (k,) 0 to S - 1
    fret: Ints  # (k,) on the board, 0 = open
    own: Ints  # (k,) counted from the string's own nut, 0 = open
    scale: Floats  # (S,) mm, of the open string
    place: Floats  # (S,) across the bridge: -1 treble side to +1 bass side
    nut_cents: Floats  # (S,) cents at fret 1 for a slot one millimetre higher

    def __post_init__(self) -> None:
        if not len(self.string) == len(self.fret) == len(self.own) or not bool((np.asarray(self.own) >= 0).all()):
            raise UnusableData("a play test needs string, fret and own fret of each note, frets counted from 0")

    @cached_property
    def strings(self) -> int:
        """How many strings."""
        return len(self.scale)

    @cached_property
    def frets(self) -> list[int]:
        """The frets of the board that were played, open left out."""
        return [int(k) for k in np.unique(self.fret[self.own > 0])]

    @cached_property
    def enough(self) -> bool:
        """Can anything be told: a string with its open note and three fretted ones or more."""
        each = [self.own[self.string == s] for s in range(self.strings)]
        return any(bool((own == 0).any()) and len(np.unique(own[own > 0])) > 2 for own in each)


@dataclass(frozen=True)
class Spread:
    """What good instruments of one model differ by, standard deviations; noise of one note as written, in cents."""

    noise: float = 2.0  # one pluck by one hand: Mottola 2018
    bridge: float = 0.3  # mm
    slant: float = 0.15  # mm at the outer strings
    string: float = 0.1  # mm, each string by itself
    nut: float = 0.05  # mm, all slots
    slot: float = 0.04  # mm, each slot by itself
    nut_place: float = 0.05  # mm
    fret: float = 0.5  # cents

    def wider(self, factor: float) -> "Spread":
        """The same with all but the noise so many times as wide."""
        names = ("bridge", "slant", "string", "nut", "slot", "nut_place", "fret")
        return replace(self, **{name: getattr(self, name) * factor for name in names})


@dataclass(frozen=True)
class Cause:
    """One thing that may be wrong."""

    kind: str
    at: int = -1  # string index, or fret of the board; -1: of the whole instrument


def indicator(played: Played) -> Floats:
    """Each string's own notes, (k, S)."""
    return np.asarray(played.string[:, None] == np.arange(played.strings)[None, :], dtype=np.float64)


def shapes(played: Played) -> tuple[Floats, Floats, Floats]:
    """tilt, hook and step of each note, (k,), 0 for open."""
    fretted = played.own > 0
    over = np.where(fretted, gamma(played.own) - 1, 1.0)
    tilt, hook = np.where(fretted, over, 0.0), np.where(fretted, (float(gamma(1)) - 1) / over, 0.0)
    return tilt, hook, fretted.astype(np.float64)


class Columns:
    """Every cause with its columns, each times the standard deviation of its prior."""

    def __init__(self, played: Played, *, movable: bool) -> None:
        self.played = played
        own = indicator(played)
        tilt, hook, step = shapes(played)
        back = CENTS * tilt / played.scale[played.string]
        high = hook * played.nut_cents[played.string]
        place = played.place[played.string]
        self.causes: list[Cause] = []
        self.of: list[Ints] = []
        self.before: list[float] = []
        self.sizes: list[Floats] = []  # prior standard deviation of each cause's columns
        self._blocks: list[Floats] = []
        self._n = 0
        share = BEFOREHAND[BRIDGE] / 2
        self._add(Cause(BRIDGE, 0), [back], [PRIOR[BRIDGE]], share)
        if played.strings > 1:
            self._add(Cause(BRIDGE, 1), [back, back * place], [PRIOR[BRIDGE], PRIOR["slant"]], share)
            each = BEFOREHAND[STRING] / played.strings * (0.7 if movable else 1.3)
            for s in range(played.strings):
                self._add(Cause(STRING, s), [back * own[:, s]], [PRIOR[STRING]], each)
        per_slot = [high * own[:, s] for s in range(played.strings)] if played.strings > 1 else []
        self._add(Cause(NUT), [high, *per_slot], [PRIOR[NUT]] + [PRIOR["nut each"]] * len(per_slot), BEFOREHAND[NUT])
        for s in range(len(per_slot)):
            self._add(Cause(SLOT, s), [per_slot[s]], [PRIOR[SLOT]], BEFOREHAND[SLOT] / played.strings)
        self._add(
            Cause(NUT_PLACE), [CENTS * step / played.scale[played.string]], [PRIOR[NUT_PLACE]], BEFOREHAND[NUT_PLACE]
        )
        for k in played.frets:
            mark = ((played.fret == k) & (played.own > 0)).astype(np.float64)
            each_string = [mark * own[:, s] for s in range(played.strings) if (mark * own[:, s]).any()]
            several = each_string if len(each_string) > 1 else []
            self._add(
                Cause(FRET, k),
                [mark, *several],
                [FRET_CENTS] + [FRET_EACH] * len(several),
                BEFOREHAND[FRET] / len(played.frets),
            )
        self.all = np.column_stack(self._blocks)

    def _add(self, cause: Cause, columns: Sequence[Floats], sizes: Sequence[float], before: float) -> None:
        self.causes.append(cause)
        self.of.append(np.arange(self._n, self._n + len(columns)))
        self.before.append(before)
        self.sizes.append(np.array(sizes))
        self._blocks += [column * size for column, size in zip(columns, sizes, strict=True)]
        self._n += len(columns)

    def alike(self, i: int, j: int) -> bool:
        """Two tellings of one thing, which stand together nowhere: parallel and slanted, all slots and one of them."""
        kinds = {self.causes[i].kind, self.causes[j].kind}
        return kinds in ({BRIDGE}, {NUT, SLOT})


def usual_cover(played: Played, spread: Spread) -> Floats:
    """Covariance of the notes of good instruments, (k, k)."""
    own = indicator(played)
    tilt, hook, step = shapes(played)
    back = CENTS * tilt / played.scale[played.string]
    high = hook * played.nut_cents[played.string]
    frets = np.stack([(played.fret == k) & (played.own > 0) for k in played.frets], axis=1).astype(np.float64)
    blocks = [
        own * TUNED,
        back[:, None] * spread.bridge,
        (back * played.place[played.string])[:, None] * spread.slant,
        back[:, None] * own * spread.string,
        high[:, None] * spread.nut,
        high[:, None] * own * spread.slot,
        (CENTS * step / played.scale[played.string])[:, None] * spread.nut_place,
        frets * spread.fret,
    ]
    wide = np.concatenate(blocks, axis=1)
    return np.asarray(wide @ wide.T + spread.noise**2 * np.eye(len(played.string)))

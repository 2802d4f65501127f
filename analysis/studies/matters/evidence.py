"""What is known of the instruments whose readings moved: deviations of one characteristic at one stage, an instrument a
row, with everything they may move with.

Deviations are in sigma from the baseline in force, averaged over the positions that are looked at; a neighbour that
resembles its neighbour counts for less. Only streams with enough readings to have a baseline, provisional ones
included, and only readings since that baseline began.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np
import polars as pl

from analysis.methods.candidates import Column, Factor
from analysis.methods.constants import d2
from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.drift.signals import Signals
from analysis.studies.matters.air import Air, airs
from analysis.studies.matters.instruments import MODEL, OF_FACTOR, Instruments, Words, instruments
from analysis.studies.matters.records import CHANGE, GAUGE, KIND, LOT, SET_BY, SET_WITH, SHEET, TECH_AT, WEEKDAY
from ingest.store.snapshot import Snapshot

EPOCH = date(1970, 1, 1)
SAME_HANDS = 0.98  # of the instruments passed through the hands that set them at another bench too
RESEMBLES = 0.03  # lag-1 correlation under which neighbours are taken as independent
WEIGHTS = {
    WEEKDAY: 0.3,
    CHANGE: 2.0,
}  # prior weights beside 1: a weekday seldom moves anything, who dates a change has a reason


@dataclass(frozen=True, eq=False)
class Single:
    """The readings behind the rows of an evidence, each at one position."""

    of: Ints  # (m,) the row of each
    position: Ints  # (m,) its place in `positions`
    off: Floats  # (m,) deviation in sigma of a single reading
    positions: list[str]


@dataclass(frozen=True, eq=False)
class Evidence:
    """One characteristic at one stage, a row an instrument, oldest first."""

    characteristic: str
    stage: str
    rows: pl.DataFrame  # serial, visit, taken_at, day, model (the setup), set_by, gauge, reading
    values: Floats  # (n,) sigma of one such mean
    scale: Floats  # (n,) what one unit of `values` is in the unit of the readings
    sigma: float  # what one unit of `values` is in sigma of a single reading
    day: Ints  # (n,) number of the working day
    days: list[date]
    stream: Ints  # (n,) number of the model
    models: list[str]
    told: dict[str, Words]  # what each says by model, by who set it and by gauge, as a chart is called
    judged: Flags  # (n,) after the readings from which on some chart judges
    factors: list[Factor]
    words: dict[str, list[str]]  # of each factor, the level of each code
    columns: list[Column]
    airs: dict[str, Air]  # by name of column
    changes: dict[str, dict[str, object]]  # by name of column: the row of tables.CHANGES
    single: Single | None = None

    @cached_property
    def _units(self) -> tuple[Ints, Floats]:
        """How many readings each stream has, and the sum of what one unit of them is in `values`."""
        n = np.bincount(self.stream, minlength=len(self.models)).astype(np.int64)
        return n, np.bincount(self.stream, 1.0 / self.scale, minlength=len(self.models)).astype(np.float64)

    def unit(self, streams: Ints) -> float:
        """What one unit of `values` is in the unit of the readings, over some streams; over all where these have
        none.
        """
        n, sums = self._units
        some = streams if n[streams].any() else slice(None)
        return float(n[some].sum() / sums[some].sum())


def evidence(
    snapshot: Snapshot, judged: Signals, characteristic: str, stage: str, whole: Instruments, some: Flags | None = None
) -> Evidence | None:
    """Of all readings of the instruments of a bench, or of some of them (m,); None where there is none."""
    if some is not None and not some.any():
        return None
    if some is None or some.all():
        known = whole
    elif whole.alike:
        known = whole.only(some)
    else:
        known = instruments(snapshot, judged, characteristic, stage, whole.at[some])
    held, at, of, n = judged.streams, known.at, known.of, len(known.rows)
    era, mine = held.last_era, held.readings.stream[known.at].astype(np.int64)
    sigma = judged.sigma[era]
    sd = np.where(sigma > 0, sigma, 1.0)[mine]
    least = snapshot.shop.judging.least_readings  # from here on the short-run chart judges
    first_judged = held.eras.starts[era] + np.minimum(held.eras.judged_from[era], least)
    size = np.bincount(of, minlength=n)
    off = (held.values[at] - held.eras.centre[era][mine]) / sd
    z = np.bincount(of, off, minlength=n) / size
    early = np.bincount(of, at < first_judged[mine], minlength=n) > 0
    reading = np.empty(n, dtype=np.int64)
    reading[of[::-1]] = at[::-1]
    model = known.told[MODEL]
    one, resembles = _spread(z, model.code)
    scale = one * resembles
    there = np.flatnonzero(np.bincount(mine))
    names = held.rows["position"].gather(there).fill_null("").to_list()
    positions = sorted(set(names))
    place = np.zeros(int(there[-1]) + 1, dtype=np.int64)
    place[there] = [positions.index(name) for name in names]
    numbers, day = np.unique(known.rows["day"].cast(pl.Int32).to_numpy(), return_inverse=True)
    item = snapshot.shop.by_characteristic.get(characteristic)
    factors, words = _factors(known, stage, item.set_stages if item else ())
    air = airs(known.air)
    changes = {name: (row, on) for name, row, on in known.changes if on.any() and not on.all()}
    columns = [
        Column(name, found.value, scanned=found.scanned, weight=found.weight, kin=found.factor)
        for name, found in air.items()
    ]
    columns += [
        Column(name, touched.astype(np.float64), weight=WEIGHTS[CHANGE] / len(changes))
        for name, (_, touched) in changes.items()
    ]
    return Evidence(
        characteristic,
        stage,
        known.rows.with_columns(reading=pl.Series(reading)),
        z / scale,
        np.bincount(of, sd, minlength=n) / size * scale,
        float(scale),
        day.astype(np.int64),
        [EPOCH + timedelta(days=one) for one in numbers.tolist()],
        model.code,
        model.words,
        {"model": model, "tech": known.told[SET_BY], "gauge": known.told[GAUGE]},
        ~early,
        factors,
        words,
        columns,
        air,
        {name: row for name, (row, _) in changes.items()},
        Single(of, place[mine], off, positions),
    )


def _spread(z: Floats, stream: Ints) -> tuple[float, float]:
    """Sigma of one such mean, from neighbour to neighbour in its stream; and how much wider sums of them are than if
    neighbours did not resemble each other.
    """
    order = np.argsort(stream, kind="stable")
    off, of = z[order], stream[order]
    same = of[1:] == of[:-1]
    if same.sum() < 2:
        return 1.0, 1.0
    moves = np.abs(np.diff(off))[same]
    short = float(np.minimum(moves, 4 * moves.mean()).mean()) / d2(2)
    mean = np.bincount(of, off) / np.maximum(np.bincount(of), 1)
    centred = np.clip(off - mean[of], -4 * max(short, 1e-9), 4 * max(short, 1e-9))
    # second differences do not see a shift that stays: correlation at lag 1 against lag 2
    moves1, two = np.diff(centred)[same], (of[2:] == of[:-2])
    apart = (centred[2:] - centred[:-2])[two]
    if len(apart) < 200 or (moves1**2).mean() <= 0:
        return (short or 1.0), 1.0
    # var(x1 - x0) = 2 s (1 - r), var(x2 - x0) = 2 s (1 - r^2) for a first-order series
    r = float((apart**2).mean() / (moves1**2).mean()) - 1.0
    r = r if r >= max(RESEMBLES, 3.0 / np.sqrt(len(apart))) else 0.0
    r = min(r, 0.8)
    return (short or 1.0) / np.sqrt(1 - r), float(np.sqrt((1 + r) / (1 - r)))


def _same(code: Ints, setter: Ints) -> bool:
    """Are the hands at an earlier bench, of the instruments that passed there, those that set them?"""
    there = code >= 0
    return bool(there.any()) and float((code == setter)[there].mean()) >= SAME_HANDS


def _beside(code: Ints, day: pl.Series) -> bool:
    """Are there readings of two levels or more on most days, as of two shifts that write each on sheets of their own?
    code (n,), -1 where none is known.
    """
    told = pl.DataFrame({"day": day, "level": code}).filter(pl.col("level") >= 0)
    several = told.group_by("day").agg(pl.col("level").n_unique() > 1)["level"]
    return len(several) > 0 and 2 * int(several.sum()) > len(several)


def _factors(known: Instruments, stage: str, set_at: tuple[str, ...]) -> tuple[list[Factor], dict[str, list[str]]]:
    """What each reading may move with. Where nobody says at which stage it is set, whoever worked where it was read
    stands in the place of who set it.
    """
    factors, words = [], {}
    for name in OF_FACTOR:
        levels, code = known.told[name].words, known.told[name].code
        if (set_at or name != SET_BY) and (len(levels) > 1 or (len(levels) == 1 and (code < 0).any())):
            words[name] = levels
            in_turn = name == KIND and not _beside(code, known.rows["day"])
            factors.append(
                Factor(
                    name,
                    code,
                    own_start=name == LOT or in_turn,
                    once=in_turn,
                    nested=name in (SET_BY, GAUGE, SET_WITH, SHEET, KIND) and not in_turn,
                    weight=WEIGHTS.get(name, 1.0),
                    own_spread=name == SET_BY,
                )
            )
    early = [(one, code) for one, code in known.early if one not in set_at]
    if set_at:  # the same hands all along are one person, whatever the bench
        early = [(one, code) for one, code in early if not _same(code, known.setter)]
    several = [(one, code) for one, code in early if np.count_nonzero(np.bincount(code + 1)[1:]) > 1]
    before = sum(one != stage for one, _ in several)
    for one, code in several:
        words[f"{TECH_AT} {one}"] = known.people
        here = one == stage
        factors.append(
            Factor(f"{TECH_AT} {one}", code, nested=here, weight=1.0 if here else 1.0 / before, own_spread=True)
        )
    return factors, words

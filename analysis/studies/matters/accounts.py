"""What explains the signals of one bench that are looked at together, as parts of matters."""

from bisect import bisect_right
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from threading import Lock

import numpy as np

from analysis.methods.segments import Flags
from analysis.studies.drift.signals import Signals
from analysis.studies.matters.before_it import usual_at
from analysis.studies.matters.came_again import asks_for_air, in_turn, last_times, with_air
from analysis.studies.matters.evidence import Evidence, evidence
from analysis.studies.matters.explained import Explained, accounted_for
from analysis.studies.matters.hangs_on import key_of
from analysis.studies.matters.instruments import Instruments, instruments
from analysis.studies.matters.known_over import THROUGH
from analysis.studies.matters.narrowed import narrowed
from analysis.studies.matters.parts import Part, part_of
from analysis.studies.matters.places_moved import all_moved, places_moved
from analysis.studies.matters.signalled import MARGIN, Signalled
from analysis.studies.matters.spans import Bench, Span
from analysis.studies.matters.units import Signal, side_of
from analysis.studies.matters.written import read, written
from ingest.store.snapshot import Snapshot

LEAST = 5  # readings since a cause's signals came back, from which on it can be asked whether it lasts
NEARER = 0.5  # of the shift: from here on readings lie nearer to it than to the baseline
MOST_ROWS = 200_000  # of evidence that is held in case it is asked for again


@dataclass(frozen=True)
class Looked:
    """Signals of one bench that are explained together."""

    characteristic: str
    stage: str
    signals: list[Signal]
    span: Span
    until: datetime | None = None  # of signals that have all closed
    lasting: frozenset[int] = frozenset()
    """Numbers of closed ones that are looked at as if they were open where their readings are not quite back."""
    others: tuple[Signal, ...] = ()
    """Open ones that are explained with others: what came again says when readings were back in between."""

    @property
    def asked(self) -> list[Signal]:
        """Those that must stand in an explanation."""
        every = self.until is not None
        return [one for one in self.signals if every or one.row["closed_at"] is None or one.number in self.lasting]


def parts_of(snapshot: Snapshot, judged: Signals, here: Bench, looked: Looked) -> list[Part] | None:
    """What explains the signals of one bench; None where the readings cannot be laid side by side. As it was kept,
    where everything that it hangs on is as it was.
    """
    if snapshot.worked_out is None:
        return _parts(snapshot, judged, here, looked)
    asked = {one.number for one in looked.asked}
    counts = [(one, looked.until is None and one.number in asked) for one in looked.signals]
    counts += [(one, True) for one in looked.others]
    key = key_of(snapshot, judged, here, looked.span, counts)
    kept = snapshot.worked_out.of(key)
    with suppress(ValueError, TypeError, KeyError):  # what cannot be read is as if it were not there
        if kept is not None:
            return read(kept)
    found = _parts(snapshot, judged, here, looked)
    snapshot.worked_out.keep(key, written(found), past=looked.span.last is not None)
    return found


def _parts(snapshot: Snapshot, judged: Signals, here: Bench, looked: Looked) -> list[Part] | None:
    every = _explained(snapshot, judged, here, looked)
    if every is None:
        return None
    place = {one.number: k for k, one in enumerate(looked.signals)}
    found = []
    for one in every:
        mine = [looked.signals[place[k]] for k in one.signals]
        gone = looked.until is None and all(signal.row["closed_at"] is not None for signal in mine)
        lasts = gone and bool(one.named) and _lasts(snapshot, one, mine)
        if not lasts:  # a chart that closed late says nothing of a lot that was through before
            one = _through(one)
        usual = usual_at(snapshot, judged, one, looked.span)
        found.append(part_of(snapshot, one, [place[k] for k in one.signals], lasts=lasts, usual_at=usual))
    return found


def _explained(snapshot: Snapshot, judged: Signals, here: Bench, looked: Looked) -> list[Explained] | None:
    part, until, lasting = looked.signals, looked.until, looked.lasting
    wide = None if any(_pooled(one) for one in looked.asked) else _positions(looked.asked)
    found = _evidence(snapshot, judged, here, looked, wide)
    if found is None:
        return None
    last = None if until is None else day_at(found, until, snapshot)

    def seen(*, whole: bool) -> list[Signalled]:
        still = [one.row["closed_at"] is None or one.number in lasting for one in part]
        each = [_seen(found, one, snapshot, each, whole=whole) for one, each in zip(part, still, strict=True)]
        known = [one for one in each if one is not None]
        others = [_seen(found, one, snapshot, True, whole=whole) for one in looked.others]
        beside = [one for one in others if one is not None]
        return last_times(found, known, lasting, others=beside, closed=until is not None)

    usable = seen(whole=False)
    if len(usable) < len(part):
        return None
    made = in_turn(found, usable, last)
    if found.airs and any(one.times for one in usable) and any(asks_for_air(one) for one in made):
        whole = accounted_for(found, seen(whole=True), until=last)
        made = with_air(made, [one for one in whole if one.named and one.best.factor in found.airs])
    numbered = {one.number: one for one in part}
    every = []
    for one in made:
        places = places_of(looked, [numbered[k] for k in one.signals], one, wide)
        narrow = None if places == wide else _evidence(snapshot, judged, here, looked, places)
        if narrow is not None:
            one = narrowed(one, narrow, until=None if until is None else day_at(narrow, until, snapshot))
        every.append(one)
    return every or None


def _lasts(snapshot: Snapshot, part: Explained, closed: list[Signal]) -> bool:
    """Is the cause still there, and do all readings that it touches, since the first of its signals came back, lie
    nearer to the shift, or are they too few to say?
    """
    found = part.evidence
    back = min(one.row["back_at"] or one.row["closed_at"] for one in closed)
    touched = _there(part)
    if part.best.effect == 0 or not touched[found.day > found.day.max() - THROUGH].any():
        return False
    since = touched & (found.day >= day_at(found, back, snapshot))
    weight = part.column[since]
    if len(weight) < LEAST:  # that a chart of others too has closed says too little of these
        return True
    return float(weight @ found.values[since]) / float(weight @ weight) / part.best.effect > NEARER


def _there(part: Explained) -> Flags:
    """The readings that its cause moves (n,): air is always there, and moves those of days that are mostly as damp, dry
    or warm as it was then.
    """
    column, found = np.abs(part.column), part.evidence
    if part.best.factor not in found.airs or not column.any():
        return np.asarray(column != 0, dtype=np.bool_)
    mine = np.isin(found.stream, part.best.streams)
    such: Flags = mine & (column >= NEARER * float(column[column != 0].mean()))
    mostly: Flags = np.bincount(found.day, such, len(found.days)) >= NEARER * np.maximum(
        np.bincount(found.day, mine), 1
    )
    return np.logical_and(such, mostly[found.day])


def _through(part: Explained) -> Explained:
    """The same, ended with the last reading of its lot or of such air, where none has come for some days and the
    readings of the same models since, but for what moved beside it, lie nearer to the baseline: a chart of few readings
    may be open still.
    """
    found, best = part.evidence, part.best
    goes = best.factor in found.airs or any(one.name == best.factor and one.own_start for one in found.factors)
    touched = _there(part)
    if not goes or not part.named or best.end >= 0 or best.effect == 0 or not touched.any():
        return part
    end = int(found.day[touched].max()) + 1
    since = (found.day >= end) & np.isin(found.stream, best.streams)
    if found.day.max() < end - 1 + THROUGH or since.sum() < LEAST:
        return part
    left = found.values - sum(part.beside, np.zeros(len(found.values)))
    if float(left[since].mean()) / (best.effect * float(part.column[touched].mean())) > NEARER:
        return part
    return replace(part, best=replace(best, end=end))


def _pooled(one: Signal) -> bool:
    return one.table == "others"


def places_of(
    looked: Looked, part: list[Signal], one: Explained, wide: tuple[str, ...] | None
) -> tuple[str, ...] | None:
    """The positions that an explanation of some signals is told of; None: all. A pooled chart is of all positions;
    where charts of single ones opened too, these say which moved, and where they are several, or have all closed while
    it lasts, the readings do; so they do where one opened, and all others moved as well. wide : those that were looked
    at.
    """
    mine = [signal for signal in part if not _pooled(signal)]
    places = _positions(mine) if mine else wide
    passed = looked.until is None and all(signal.row["closed_at"] is not None for signal in mine)
    if places is None or len(places) > 1 or passed:
        moved = places_moved(one)
        if moved is None or places is None or one.named:
            return moved or places
        return tuple(place for place in moved if _of_all(one, mine, place)) or places  # else it is another's move
    return wide if all_moved(one) else places


def _of_all(one: Explained, part: list[Signal], place: str) -> bool:
    """Do its signals tell a position of every model that it touches?"""
    models = {one.evidence.models[k] for k in np.unique(one.evidence.stream[one.column != 0])}
    return models <= {str(signal.row["model"]) for signal in part if signal.row["position"] == place}


def _positions(part: list[Signal]) -> tuple[str, ...]:
    return tuple(sorted({str(one.row["position"]) for one in part}))


def _evidence(
    snapshot: Snapshot, judged: Signals, here: Bench, looked: Looked, positions: tuple[str, ...] | None
) -> Evidence | None:
    """Worked out once for each set of positions and span, as long as not many others have been asked for since."""
    kept = snapshot.once(_held)
    key = (looked.characteristic, looked.stage, looked.span)
    with kept.turn:
        if (*key, positions) in kept.every:
            return kept.every[*key, positions]
        whole = kept.wholes.get(key)
        wider = kept.wider(*key) if whole is None else None
    if whole is None:
        at = here.at[here.within(looked.span)].astype(np.int64)
        whole = (
            instruments(snapshot, judged, looked.characteristic, looked.stage, at)
            if wider is None
            else wider.only(np.isin(wider.at, at, assume_unique=True))
        )
    some = None
    if positions is not None:
        rows = np.array([one in positions for one in judged.streams.rows["position"].to_list()])
        some = rows[judged.streams.readings.stream[whole.at]]
    found = evidence(snapshot, judged, looked.characteristic, looked.stage, whole, some)
    with kept.turn:
        kept.wholes[key], kept.every[*key, positions] = whole, found
        kept.few()
    return found


@dataclass(eq=False)
class _Held:
    wholes: dict[tuple[str, str, Span], Instruments] = field(default_factory=dict)
    every: dict[tuple[str, str, Span, tuple[str, ...] | None], Evidence | None] = field(default_factory=dict)
    turn: Lock = field(default_factory=Lock)  # Week may explain what closed while another page does

    def wider(self, characteristic: str, stage: str, span: Span) -> Instruments | None:
        """Those of a bench over a span that holds this one, whose readings say the same of an instrument each."""
        for (of, at, other), whole in self.wholes.items():
            if (of, at) == (characteristic, stage) and whole.alike and other.holds(span):
                return whole
        return None

    def few(self) -> None:
        """Let go of what was asked for first."""
        while len(self.wholes) > 1 and sum(len(one.at) for one in self.wholes.values()) > MOST_ROWS:
            del self.wholes[next(iter(self.wholes))]
        while len(self.every) > 1 and sum(len(one.values) for one in self.every.values() if one) > MOST_ROWS:
            del self.every[next(iter(self.every))]


def _held(_snapshot: Snapshot) -> _Held:
    return _Held()


def let_go(snapshot: Snapshot) -> None:
    """Let go of the readings of a bench that nobody will ask for again."""
    kept = snapshot.once(_held)
    with kept.turn:
        kept.wholes.clear()
        kept.every.clear()


def day_at(found: Evidence, when: datetime, snapshot: Snapshot) -> int:
    """Number of the last working day up to a moment."""
    day = when.astimezone(snapshot.shop.zone).date()
    return max(bisect_right(found.days, day) - 1, 0)


def _seen(found: Evidence, one: Signal, snapshot: Snapshot, still: bool, *, whole: bool) -> Signalled | None:
    """whole : with all its times as one."""
    row, touched = one.row, np.ones(len(found.values), dtype=bool)
    for name, told in found.told.items():
        if row.get(name):
            touched &= told.says(row[name])
    if not touched.any():
        return None
    late, side = one.ever if whole else one.lately, side_of(row)
    since, first, last, opened = (
        day_at(found, when, snapshot) for when in (late.began, late.low, max(late.high, late.began), late.opened)
    )
    closed = row["back_at"] or row["closed_at"]
    back = len(found.days) if closed is None else day_at(found, closed, snapshot)
    again = day_at(found, row["opened_last"] or late.opened, snapshot) if closed is None else opened
    times = tuple((day_at(found, begun, snapshot), day_at(found, over, snapshot)) for begun, over in late.before)
    floor = times[-1][1] + 1 + MARGIN if times else 0
    at = found.single.positions if found.single is not None else []
    place = at.index(row["position"]) if row["position"] in at else -1
    return Signalled(one.number, touched, since, first, last, opened, side, still, back, again, times, floor, place)

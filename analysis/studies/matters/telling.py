"""One matter as a record: what it is called, its start, its size, what it may be, what to do, and where it stands."""

import hashlib
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import polars as pl

from analysis.methods.explanation import UNEXPLAINED, Hypothesis
from analysis.methods.segments import Flags, Floats
from analysis.studies.drift.entries import entries_for, known
from analysis.studies.drift.signals import Signals
from analysis.studies.drift.streams import KEY, STREAM
from analysis.studies.matters.asked import targets, to_target, tolerances
from analysis.studies.matters.chance import real
from analysis.studies.matters.evidence import Evidence
from analysis.studies.matters.explained import Explained
from analysis.studies.matters.planned import planned
from analysis.studies.matters.records import CHANGE, TECH_AT, Candidate, Matter, Member, MovesWith, TellApart
from analysis.studies.matters.units import Signal
from ingest.store.snapshot import Snapshot

Z95 = 1.96
OPEN, ACTION, KNOWN, CLOSED = "open", "action", "known", "closed"
APART = 1.3  # sizes of single models are told where the largest is so many times the smallest


def told(
    snapshot: Snapshot,
    judged: Signals,
    signals: list[Signal],
    parts: list[Explained],
    *,
    lasts: bool = False,
    ended: bool = False,
) -> Matter:
    """The record of one matter; signals by opening, parts by stage or characteristic, the most telling first; lasts :
    its cause has not come back, though its signals have closed; ended : its cause has ended, though one has not.
    """
    tolerance = snapshot.once(tolerances)
    parts = sorted(
        parts, key=lambda part: (not part.named, -abs(part.best.effect) * float((part.column != 0).sum()) ** 0.5)
    )
    main = _main(judged, signals, parts, tolerance)
    first = signals[0]
    closed = [one.row["closed_at"] for one in signals]
    known = [when for when in closed if when is not None]
    if ended:
        known += [_first(part.evidence.rows["taken_at"], part.evidence, part.evidence.day >= 0, part.best.end)
                  for part in parts if part.best.end >= 0]  # fmt: skip
    closed_at = None if lasts or (len(known) < len(closed) and not ended) else max(known)
    entries = _entries(snapshot, signals)
    state = _state(snapshot, signals, entries, closed_at)
    share = tolerance.get(tuple(str(main[name]) for name in KEY))
    record = Matter(
        key=_key(first),
        opened_at=first.row["opened_at"],
        closed_at=closed_at,
        moves_with=moves_with(parts[0]) if parts else MovesWith(),
        characteristics=_order(
            [part.evidence.characteristic for part in parts] or [one.row["characteristic"] for one in signals]
        ),
        positions=_order(one.row["position"] for one in signals),
        models=_models(signals, parts),
        stages=_order([part.evidence.stage for part in parts] or [one.row["stage"] for one in signals]),
        techs=_order(one.row["tech"] for one in signals),
        signals=[Member(one.table, one.row_number) for one in signals],
        streams=len(
            {
                (*(one.row[name] for name in STREAM), one.row.get("over") or "", one.row.get("gauge") or "")
                for one in signals
            }
        ),
        only_some=all(one.row["tech"] for one in signals) and bool(parts),
        real=real(snapshot, judged, first.row),
        check=_check(snapshot, str(main["characteristic"])),
        main=main,
        **_measured(snapshot, judged, signals, parts),
        **state,
        share_of_tolerance=None,
        tell_apart=tell_apart(parts[0]) if parts else [],
        planned=None,
        to_target=to_target(main, snapshot.once(targets)),
    )
    size = record.size
    return replace(
        record,
        share_of_tolerance=abs(size) / share if size is not None and share else None,
        planned=planned(snapshot, parts[0], record.moves_with) if parts else None,
    )


def _key(first: Signal) -> str:
    """Of its earliest signal; a digest, since a key that names a tech would be a name."""
    row = first.row
    names = (*STREAM, "chart", "over", "gauge", "opened_at", "serial")
    text = "\n".join(str(row.get(name) or "") for name in names)
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def _order(words: Any) -> list[str]:
    return [word for word in dict.fromkeys(str(word or "") for word in words) if word]


def _models(signals: list[Signal], parts: list[Explained]) -> list[str]:
    """Those whose signals opened, then those that the explanation touches."""
    found = [one.row["model"] for one in signals]
    for part in parts:
        touched = np.unique(part.evidence.stream[part.column != 0])
        found += [part.evidence.models[k] for k in touched]
    return _order(found)


def _main(
    judged: Signals, signals: list[Signal], parts: list[Explained], tolerance: dict[tuple[str, ...], float]
) -> dict[str, object]:
    """The signal that stands for it: of all techs where there is one, the largest share of tolerance; a pooled one
    wears a stream that it touches.
    """

    def rank(one: Signal) -> tuple[bool, bool, float, datetime]:
        room = tolerance.get(tuple(str(one.row[name]) for name in KEY), 0.0)
        share = abs(one.row["size"] or 0.0) / room if room else 0.0
        return one.table != "found", bool(one.row["tech"]), -share, one.row["opened_at"]

    best = min(signals, key=rank)
    main = dict(best.row)
    if best.table == "others" and parts:
        part = parts[0]
        touched = np.flatnonzero(part.column != 0)
        counts = np.bincount(part.evidence.stream[touched], minlength=len(part.evidence.models))
        main |= {"model": part.evidence.models[int(counts.argmax())], "stage": part.evidence.stage}
        rows = judged.streams.rows.filter(
            *[pl.col(name) == main[name] for name in ("characteristic", "model", "stage")], pl.col("tech") == ""
        )
        main["position"] = str(rows["position"][0]) if len(rows) else ""
        main["tech"] = ""
    return main


def moves_with(part: Explained) -> MovesWith:
    """What was looked at, the best of each candidate, those named first."""
    looked = {one.kin for one in part.look.hypotheses if one.factor != UNEXPLAINED}
    named = {one.kin for one in part.named}
    best: dict[str, Candidate] = {}
    chance: dict[str, float] = {}
    for one in part.look.hypotheses:
        chance[one.kin] = chance.get(one.kin, 0.0) + one.probability
    for one in [*part.named, *part.look.hypotheses]:
        if one.factor == UNEXPLAINED:
            continue
        made = candidate(part.evidence, one, part, probability=chance[one.kin], named=one.kin in named)
        slot = one.kin if made.named else made.name
        held = best.get(slot)
        if held is None or (not held.named and held.probability < made.probability):
            best[slot] = made
    shown = {one.name for one in best.values() if one.named}
    kept = [one for one in best.values() if one.named or one.name not in shown]
    kept.sort(key=lambda one: (not one.named, -one.probability, one.name, one.value))
    unexplained = sum(one.probability for one in part.look.hypotheses if one.factor == UNEXPLAINED)
    return MovesWith(kept, len(looked), part.look.nothing, unexplained)


def candidate(found: Evidence, one: Hypothesis, of: Explained, *, probability: float, named: bool) -> Candidate:
    """A hypothesis in the unit of the readings; of : whose start and side say which change of the air counts."""
    touched = np.isin(found.stream, one.streams)
    unit = _unit(found, touched)
    effect, error = one.effect * unit, one.error * unit
    if one.factor in found.airs:
        air = found.airs[one.factor]
        moved = air.moved(
            touched & (found.day < of.since), touched & (found.day >= of.since), of.side * int(np.sign(one.effect))
        )
        size, half = effect * moved.by, Z95 * error * abs(moved.by)
        return Candidate(air.factor, "", change=moved.change, lag_hours=air.lag_hours, effect=size, low=size - half,
                         high=size + half, probability=probability, named=named)  # fmt: skip
    low, high = effect - Z95 * error, effect + Z95 * error
    if one.factor in found.changes:
        row = found.changes[one.factor]
        day = row["from_date"]
        assert isinstance(day, date)
        return Candidate(
            CHANGE, str(row["what"]), on=day, effect=effect, low=low, high=high, probability=probability, named=named
        )
    level = found.words[one.factor][one.level]
    factor, _, stage = one.factor.partition(f"{TECH_AT} ")
    factor, stage = (TECH_AT, stage) if stage else (one.factor, "")
    return Candidate(factor, level, stage, effect=effect, low=low, high=high, probability=probability, named=named)


def _unit(found: Evidence, touched: Flags) -> float:
    """What one unit of the values is in the unit of the readings, over the readings touched."""
    scale = found.scale[touched] if touched.any() else found.scale
    return float(1.0 / np.mean(1.0 / scale))


def tell_apart(part: Explained) -> list[TellApart]:
    """For two that are named together: how many instruments since the start have the one and not the other."""
    if len(part.named) < 2:
        return []
    found, first = part.evidence, part.named[0]
    since = found.day >= first.start
    pairs = []
    for other in part.named[1:3]:
        mine, theirs = _has(found, first), _has(found, other)
        this, that = (candidate(found, one, part, probability=one.probability, named=True) for one in (first, other))
        pairs.append(TellApart(this, that, int((since & mine & ~theirs).sum()), int((since & theirs & ~mine).sum())))
    return pairs


def _has(found: Evidence, one: Hypothesis) -> Flags:
    column = next((c.value for c in found.columns if c.name == one.factor), None)
    if column is not None:
        return np.asarray(column > (0.5 if one.factor in found.airs else 0.0))
    code = next(f.code for f in found.factors if f.name == one.factor)
    return np.asarray(code == one.level)


def _measured(snapshot: Snapshot, judged: Signals, signals: list[Signal], parts: list[Explained]) -> dict[str, Any]:
    """Start and size of the whole matter; of a weekly share and of streams without a baseline those of its signal."""
    if not parts:
        row = signals[0].row
        size = row["size"]
        return {
            "size": size, "size_low": None, "size_high": None, "sizes": None, "sigmas": None, "touched": 0,
            "began_at": row["began_at"], "began_low": row["began_low"], "began_high": row["began_high"],
        }  # fmt: skip
    part = parts[0]
    sized = part.sized
    found, best = sized.evidence, sized.best
    touched = sized.column != 0
    unit = _unit(found, touched)
    if best.factor in found.airs:
        made = candidate(found, best, part, probability=1.0, named=True)
        size, low, high = made.effect, made.low, made.high
        assert size is not None
        air = found.airs[best.factor]
        days = (best.start, best.start_low, best.start_high) if air.scanned else (part.since, part.since, part.since)
        since = found.day >= part.since
        touched = air.moved(touched & ~since, touched & since, part.side * int(np.sign(best.effect))).where
    else:
        size, half = best.effect * unit, Z95 * best.error * unit
        low, high = size - half, size + half
        days = (best.start, best.start_low, best.start_high)
    taken = found.rows["taken_at"]
    at = [_first(taken, found, touched, day) for day in days]
    return {
        "size": size, "size_low": low, "size_high": high, "sizes": _sizes(found, touched, size),
        "sigmas": size / float(np.mean(found.scale)) * found.sigma, "touched": int(touched.sum()),
        "began_at": at[0], "began_low": at[1], "began_high": max(at[1], at[2]),
    }  # fmt: skip


def _first(taken: pl.Series, found: Evidence, touched: Flags, day: int) -> datetime:
    """The first reading it touches on or after a working day, else the first of that day."""
    after = np.flatnonzero(touched & (found.day >= day))
    same = after if len(after) else np.flatnonzero(found.day >= min(day, int(found.day.max())))
    when = taken[int(same[0])]
    assert isinstance(when, datetime)
    return when.astimezone(UTC)


def _sizes(found: Evidence, touched: Flags, size: float) -> tuple[float, float] | None:
    """Smallest and largest mean deviation over the models, where they differ by more than their errors let expect."""
    which = found.stream[touched]
    n = np.bincount(which, minlength=len(found.models)).astype(np.float64)
    some = n >= 30
    if some.sum() < 2:
        return None
    mean: Floats = np.bincount(which, (found.values * found.scale)[touched], minlength=len(n))[some] / n[some]
    error = float(np.mean(found.scale)) / np.sqrt(n[some])
    if float((((mean - size) / error) ** 2).sum()) < some.sum() + 3 * np.sqrt(2 * some.sum()):
        return None
    low, high = sorted((float(mean.min()), float(mean.max())), key=abs)
    return (low, high) if abs(high) > APART * abs(low) else None


def _check(snapshot: Snapshot, characteristic: str) -> list[str]:
    """What the shop checks first when this characteristic moves ([[reaction]])."""
    for one in snapshot.shop.reactions:
        if one.characteristic == characteristic:
            return list(one.check)
    return []


def _entries(snapshot: Snapshot, signals: list[Signal]) -> pl.DataFrame:
    """Lines of the bench book that hang on any of its signals, in the order written."""
    tied = snapshot.once(entries_for)
    if tied.is_empty():
        return tied
    rows = [one.row_number for one in signals if one.table == "found"]
    mine = pl.col("signal").is_in(rows)
    for one in signals:
        if one.table == "others":
            same = [pl.col(name) == one.row[name] for name in (*STREAM, "chart", "opened_at")]
            mine |= pl.all_horizontal(same)
    return tied.filter(mine.fill_null(False)).sort("sequence")


def _state(
    snapshot: Snapshot, signals: list[Signal], entries: pl.DataFrame, closed_at: datetime | None
) -> dict[str, Any]:
    acted = entries.filter((pl.col("kind") == ACTION) & (pl.col("text") != ""))
    last = acted.row(-1, named=True) if len(acted) else {"text": "", "owner": "", "due": None}
    rows = {one.row_number for one in signals if one.table == "found"}
    marks = snapshot.once(known).filter(pl.col("holds") & pl.col("signal").is_in(list(rows)))
    # a mark holds for the matter while it holds for a signal of it and none came since that nobody has marked
    until = marks["until"].max() if len(marks) else None
    state = CLOSED if closed_at is not None else KNOWN if until is not None else ACTION if len(acted) else OPEN
    return {"state": state, "action": last["text"], "owner": last["owner"], "due": last["due"], "known_until": until}

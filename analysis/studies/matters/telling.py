"""One matter as a record: what it is called, its start, its size, what it may be, what to do, and where it stands."""

import hashlib
import math
from dataclasses import fields, replace
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from analysis.studies.drift.entries import known
from analysis.studies.drift.limits import moved_baselines
from analysis.studies.drift.opened import PERSON
from analysis.studies.drift.signals import Signals
from analysis.studies.drift.streams import KEY, STREAM
from analysis.studies.drift.watching import AVERAGE
from analysis.studies.matters.asked import targets, to_target, tolerances
from analysis.studies.matters.chance import real, shown, weighed
from analysis.studies.matters.parts import APART, Measured, Part
from analysis.studies.matters.records import Matter, Member, MovesWith
from analysis.studies.matters.share_matters import of_shares, saying_when, share_main
from analysis.studies.matters.units import Signal
from ingest.store.snapshot import Snapshot

ENOUGH = 30  # readings, so few of which no single one makes the mean
BEFORE = timedelta(days=14)  # so long before the first likely start a chart may have opened for it
OPEN, ACTION, DONE, KNOWN, CLOSED = "open", "action", "done", "known", "closed"


def told(
    snapshot: Snapshot,
    judged: Signals,
    signals: list[Signal],
    parts: list[Part],
    entries: pl.DataFrame,
    *,
    lasts: bool = False,
    ended: bool = False,
) -> Matter:
    """The record of one matter; signals by opening, parts by stage or characteristic, the most telling first; entries :
    the lines of the book that were written about it (drift.entries.ENTRIES); lasts : its cause has not come back,
    though its signals have closed; ended : its cause has ended, though one has not.
    """
    tolerance = snapshot.once(tolerances)
    shares = judged.weekly if not parts and of_shares(signals) else None
    mine = signals if shares is None else saying_when(shares, signals, ended=ended)
    main = _main(judged, signals, parts, tolerance) if shares is None else share_main(shares, mine)
    opened_at, first = first_of(signals, parts)
    closed = [one.row["closed_at"] for one in mine]
    known = [when for when in closed if when is not None]
    over = ended or (len(known) == len(closed) and not lasts)
    ends = _ends(mine, parts) if over else []
    closed_at = _closed_at(signals, parts, known + (ends if ended else []), opened_at) if over else None
    state = _state(snapshot, signals, entries, closed_at, ended=ended)
    share = tolerance.get(tuple(str(main[name]) for name in KEY))
    record = Matter(
        key=key_of_signal(first),
        keys=tuple(dict.fromkeys(key_of_signal(one) for one in signals)),
        opened_at=opened_at,
        closed_at=closed_at,
        moves_with=parts[0].moves_with if parts else MovesWith(),
        characteristics=_order(
            [part.characteristic for part in parts] or [one.row["characteristic"] for one in signals]
        ),
        positions=_order(parts[0].positions if parts else (one.row["position"] for one in signals)),
        models=_models(signals, parts) if shares is None else _order(main["models"]),
        stages=_order([part.stage for part in parts] or [one.row["stage"] for one in signals]),
        techs=_order(one.row["tech"] for one in signals),
        signals=[Member(one.table, one.row_number) for one in signals],
        streams=len(
            {
                (*(one.row[name] for name in STREAM), one.row.get("over") or "", one.row.get("gauge") or "")
                for one in signals
            }
        ),
        only_some=all(one.row["tech"] for one in signals) and bool(parts),
        real=_real(judged, real(snapshot, judged, first.row), parts),
        check=_check(snapshot, str(main["characteristic"])),
        main=main,
        **_measured(main if shares is not None else signals[0].row, parts),
        **state,
        share_of_tolerance=None,
        tell_apart=parts[0].tell_apart if parts else [],
        planned=None,
        base_moved=_base_moved(snapshot, main, [one.row for one in signals if one.table == "found"]),
        back_since=max(ends, default=None) if ended else None,
        known_over=_known_over(parts, closed) if ends and ended else None,
        ended_at=max(ends, default=None),
        lines=tuple(entries["sequence"]),
        usual_at=parts[0].usual_at if parts and len({part.stage for part in parts}) == 1 else "",
    )
    size = record.size
    beside = [one.row for one in signals if one.table == "found" and one.row["tech"] == main["tech"]]
    beside = [row for row in beside if row["closed_at"] is None and _one_way(row, size)]
    of_some = size if record.over_all is not None else None
    nearer = not record.slow and _one_way(main, size)  # what drifts on will not stay there
    return replace(
        record,
        to_target=nearer and to_target(main, snapshot.once(targets), beside, of_some=of_some),
        share_of_tolerance=abs(size) / share if size is not None and share else None,
        planned=parts[0].planned if parts else None,
    )


def _real(judged: Signals, usual: float, parts: list[Part]) -> float:
    """What part is no chance, by its kind and its readings, where these are enough for their mean to be trusted."""
    each = [part.measured for part in parts if part.measured.touched >= ENOUGH]
    if not each:
        return usual
    ends = [(one.size, one.size_low, one.size_high) for one in each]
    return max(max(weighed(usual, *one), shown(judged, *one)) for one in ends)


def _ends(signals: list[Signal], parts: list[Part]) -> list[datetime]:
    """When what is over ended: by the readings of each part; where none says so, by the middle one of the charts that
    came back, since those of few readings show it late. Nothing while a chart is open, or where somebody closed it.
    """
    ends = [part.ended_at for part in parts if part.ended_at is not None]
    if ends or any(one.row["closed_at"] is None for one in signals):
        return ends
    returned: list[datetime] = sorted(one.row["back_at"] for one in signals if one.row["back_at"] is not None)
    return returned[len(returned) // 2 :][:1]


def _closed_at(signals: list[Signal], parts: list[Part], known: list[datetime], opened_at: datetime) -> datetime:
    """When what is over was known to be, by its charts; sooner where the readings of all its parts say so, for a chart
    of it may open again by chance as long as it lives. Not before it opened; what a person closed, when they did.
    """
    last, sure = max(known), None
    if all(part.ended_at is not None for part in parts) and not any(one.row["closed_by"] == PERSON for one in signals):
        sure = _known_over(parts, [])
    return last if sure is None else max(opened_at, min(last, sure))


def _known_over(parts: list[Part], closed: list[datetime | None]) -> datetime | None:
    """By when it was sure that it had ended: by its readings; where nothing is named, because all its charts had closed
    too, whose signals may else have been another cause's until then.
    """
    ends = [part.known_over for part in parts if part.ended_at is not None]
    ways = (ends, [] if any(part.named for part in parts) else closed)
    told = [max(one for one in each if one is not None) for each in ways if each and None not in each]
    return min(told, default=None)


def first_of(signals: list[Signal], parts: list[Part]) -> tuple[datetime, Signal]:
    """The signal that opened first for it, and when: one that had opened long before it began opened for another. Of
    what comes again, or creeps, so that its start is a guess, all count.
    """
    row = signals[0].row
    if not parts or parts[0].measured.earlier or parts[0].measured.creeping is not None:
        return row["opened_at"], signals[0]
    since = parts[0].measured.began_low - BEFORE
    each = [(time["opened_at"], one.number, one) for one in signals for time in one.row.get("each") or [one.row]]
    late = [time for time in each if time[0] >= since]
    opened_at, _, first = min(late) if late else max(each)  # where all had, the last of them
    return opened_at, first


def key_of_signal(one: Signal) -> str:
    """Of a signal, and of the matter that it opened first; a digest, since a key that names a tech would be a name."""
    row = one.row
    names = (*STREAM, "chart", "over", "gauge", "opened_at", "serial")
    text = "\n".join(str(row.get(name) or "") for name in names)
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def _order(words: Any) -> list[str]:
    return [word for word in dict.fromkeys(str(word or "") for word in words) if word]


def _models(signals: list[Signal], parts: list[Part]) -> list[str]:
    """Those whose signals opened, then those that the explanation touches; where it says which, no other."""
    found = [one.row["model"] for one in signals]
    told = [model for part in parts for model in part.models]
    return _order([model for model in found if model in told or not told] + told)


def _main(
    judged: Signals, signals: list[Signal], parts: list[Part], tolerance: dict[tuple[str, ...], float]
) -> dict[str, object]:
    """The signal that stands for it: of all techs where there is one, open still and moved the way of all its readings
    where one is, the largest share of tolerance; a pooled one wears a stream that it touches.
    """

    size = parts[0].measured.size if parts else None

    def rank(one: Signal) -> tuple[bool, bool, bool, bool, float, datetime]:
        room = tolerance.get(tuple(str(one.row[name]) for name in KEY), 0.0)
        share = abs(one.row["size"] or 0.0) / room if room else 0.0
        gone, other_way = one.row["closed_at"] is not None, not _one_way(one.row, size)
        return one.table != "found", bool(one.row["tech"]), gone, other_way, -share, one.row["opened_at"]

    best = min(signals, key=rank)
    main = dict(best.row)
    if best.table == "others" and parts:
        main |= {"model": parts[0].most, "stage": parts[0].stage}
        rows = judged.streams.rows.filter(
            *[pl.col(name) == main[name] for name in ("characteristic", "model", "stage")], pl.col("tech") == ""
        )
        main["position"] = str(rows["position"][0]) if len(rows) else ""
        main["tech"] = ""
    return main


def _one_way(signal: dict[str, Any], size: float | None) -> bool:
    """Did a signal of a matter move the way that all its readings did?"""
    own = signal.get("size")
    return size is None or not isinstance(own, float) or own * size >= 0


def _base_moved(snapshot: Snapshot, main: dict[str, object], rows: list[dict[str, Any]]) -> bool:
    """Is the signal that stands for it held against a stream's baseline that moved itself, and so are all others of its
    series? One among several says nothing against the others.
    """
    moved = snapshot.once(moved_baselines)

    def such(row: dict[str, Any]) -> bool:
        stream = row.get("stream")
        return row["chart"] == AVERAGE and isinstance(stream, int) and stream >= 0 and bool(moved[stream])

    return such(main) and all(such(row) for row in rows if row["tech"] == main["tech"] and row["closed_at"] is None)


def _measured(row: dict[str, Any], parts: list[Part]) -> dict[str, Any]:
    """Start and size of the whole matter; of weekly shares and of streams without a baseline those of a signal."""
    if parts:
        whole = _in_steps(parts)
        return {field.name: getattr(whole, field.name) for field in fields(Measured)}
    ends = [None, None]
    if row["expected"]:
        ends = [row["before"] * (row[times] - 1) for times in ("times_low", "times_high")]
    return {
        "size": row["size"], "size_low": ends[0], "size_high": ends[1], "sizes": None, "sigmas": None, "touched": 0,
        "began_at": row["began_at"], "began_low": row["began_low"], "began_high": row["began_high"],
    }  # fmt: skip


def _in_steps(parts: list[Part]) -> Measured:
    """The size of what moved further and further at one bench, nothing explaining it: all steps, since the first. Where
    some models took fewer of them, from theirs on.
    """
    first = parts[0]
    if first.measured.creeping is not None:
        return first.measured
    mine = [
        one
        for one in parts
        if one.stage == first.stage
        and one.characteristic == first.characteristic
        and (one is first or one.ended_at is None)  # what ended is no step of what goes on, nor of itself
        and 2 * len(set(one.models) & set(first.models)) >= len(first.models)  # one model more is no step of all
    ]
    steps = [one.measured for one in mine]
    if first.named or len(steps) < 2 or any(one.size * first.measured.size <= 0 for one in steps):
        return first.measured
    begun = min(steps, key=lambda one: one.began_at)
    size, half = sum(one.size for one in steps), math.hypot(*((one.size_high - one.size_low) / 2 for one in steps))
    each = [
        sum(one.measured.size for one in mine if model in one.models) for model in {m for p in mine for m in p.models}
    ]
    least = min(each, key=abs)
    return replace(
        begun,
        size=size,
        size_low=size - half,
        size_high=size + half,
        sizes=(least, size) if abs(size) > APART * abs(least) else None,
        sigmas=sum(one.sigmas for one in steps),
        touched=max(one.touched for one in steps),
    )


def _check(snapshot: Snapshot, characteristic: str) -> list[str]:
    """What the shop checks first when this characteristic moves ([[reaction]])."""
    for one in snapshot.shop.reactions:
        if one.characteristic == characteristic:
            return list(one.check)
    return []


def _state(
    snapshot: Snapshot, signals: list[Signal], entries: pl.DataFrame, closed_at: datetime | None, *, ended: bool
) -> dict[str, Any]:
    """Where it stands, and who does what about it by when; an action under way waits for somebody to say that it is
    done, though the readings have just come back.
    """
    acted = entries.filter((pl.col("kind") == ACTION) & (pl.col("text") != ""))
    last = acted.row(-1, named=True) if len(acted) else {"text": "", "owner": "", "due": None, "sequence": 0}
    done = not entries.filter((pl.col("kind") == DONE) & (pl.col("sequence") > last["sequence"])).is_empty()
    running = OPEN if not len(acted) else DONE if done else ACTION
    rows = {one.row_number for one in signals if one.table == "found"}
    marks = snapshot.once(known).filter(pl.col("holds") & pl.col("signal").is_in(list(rows)))
    # a mark holds for the matter while it holds for a signal of it and none came since that nobody has marked
    until = marks["until"].max() if len(marks) else None
    over = closed_at is not None and not (ended and running == ACTION)
    state = CLOSED if over else KNOWN if until is not None else running
    return {"state": state, "action": last["text"], "owner": last["owner"], "due": last["due"], "known_until": until}

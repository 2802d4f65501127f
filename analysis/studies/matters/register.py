"""The register of what was decided: every matter that is open or was written about, and every decision, each with its
life: open, action, done, checked, closed.

An action is written with an owner and a day; somebody says *done*, with the day; the readings after that day say
whether it moved; then it is closed, by the readings or by a person. Lines of the book hang on signals, so that a matter
carries those of all its signals; a decision carries the lines that name its own line (`about`).
"""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import polars as pl

from analysis.studies.drift import actions
from analysis.studies.drift.entries import entries_for
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.matters.groups import JUST_OVER
from analysis.studies.matters.matters import matters, matters_of, matters_told
from analysis.studies.matters.reached import KEPT
from analysis.studies.matters.records import Matter, Member
from analysis.studies.matters.units import every_signal
from ingest.store.snapshot import Snapshot

OPEN, ACTION, DONE, CHECKED, KNOWN, CLOSED = "open", "action", "done", "checked", "known", "closed"
LIFE = (OPEN, ACTION, DONE, CHECKED, CLOSED)
DECIDES = ("cause", "action", "close", "known", "reopen")
AT_ONCE = timedelta(minutes=10)  # two who decide within this time did not know of each other


@dataclass(frozen=True)
class Line:
    """One line of the book about it."""

    sequence: int
    at: datetime
    kind: str
    text: str
    who: str
    owner: str
    due: date | None
    done_on: date | None


@dataclass(frozen=True)
class Checked:
    """What the readings say since it was done."""

    verdict: str  # one of analysis.studies.drift.actions
    change: float | None  # unit of the characteristic
    low: float | None  # 95 %
    high: float | None
    n: int  # readings since


@dataclass(frozen=True)
class Entry:
    """One row of the register."""

    key: str  # of the matter, or `d` and the decision's line
    matter: Matter | None
    text: str  # of a decision
    since: date
    state: str  # one of LIFE, or known
    owner: str
    due: date | None
    over: int  # days past its day and not done; 0: none
    action: str
    done_on: date | None
    done_by: str
    checked: Checked | None
    closed_on: date | None
    lines: tuple[Line, ...]
    opened_on: date | None = None  # when what is told of it now opened first: no earlier than it began

    def goes_by(self, key: str) -> bool:
        """Is that its number, or that of a matter which has become a part of it?"""
        return key == self.key or (self.matter is not None and self.matter.goes_by(key))

    @property
    def reached(self) -> int:
        """How many steps of its life it has reached, 1 to 5."""
        if self.state == CLOSED:
            return len(LIFE)
        state = (ACTION if self.action else OPEN) if self.state == KNOWN else self.state
        return LIFE.index(state) + 1

    @property
    def steps(self) -> tuple[bool, ...]:
        """Which steps of LIFE it took: what its readings closed was neither acted on nor checked."""
        acted = self.state in (ACTION, DONE, CHECKED) or bool(self.action) or self.matter is None
        done = self.done_on is not None or self.state in (DONE, CHECKED)
        checked = self.checked is not None and self.checked.verdict != actions.TOO_EARLY
        return True, acted, done, checked, self.state == CLOSED

    @property
    def closed_by(self) -> str:
        """Who closed it; '' where nobody did: its readings."""
        told = [line for line in self.lines if line.kind in ("close", "reopen")]
        return told[-1].who if self.state == CLOSED and told and told[-1].kind == "close" else ""

    @property
    def apart(self) -> tuple[Line, Line] | None:
        """The last decision and the one of somebody else shortly before that says otherwise; None where there is none,
        or somebody has decided since.
        """
        told = [line for line in self.lines if line.kind in DECIDES]
        if not told:
            return None
        last = told[-1]
        before = [line for line in told if line.who != last.who and last.at - line.at <= AT_ONCE]
        return (before[-1], last) if before and _says(before[-1]) != _says(last) else None

    @property
    def watched(self) -> bool:
        """Is it beyond its limits while no reading shows that it moved, and nobody does anything about it?"""
        return self.state == OPEN and self.matter is not None and not self.matter.shown

    @property
    def waits(self) -> bool:
        """Does somebody have to do something about it, or is it watched?"""
        return self.state in (OPEN, ACTION, DONE, CHECKED)


def _says(line: Line) -> tuple[object, ...]:
    """What a decision comes to: reasons may differ, and whoever opens a matter again says no more than that."""
    of_words = line.text if line.kind in ("cause", "action") else ""
    return line.kind, of_words, line.owner, line.due


def register(snapshot: Snapshot) -> list[Entry]:
    """Every row: what waits for somebody first (open with nobody, over its day), then by day, then what is closed."""
    rows = _of_matters(snapshot, snapshot.once(matters_told))
    return sorted([*rows, *_decisions(snapshot, _today(snapshot))], key=_order)


def rows_of(snapshot: Snapshot, *, keys: tuple[str, ...]) -> dict[str, Entry]:
    """The rows of some matters that are open or were over not long ago, by the keys they are asked for under: as
    `register` has them, without working out what cannot belong to them.
    """
    rows = _of_matters(snapshot, matters_of(snapshot, frozenset(keys)))
    return {key: one for key in keys for one in rows if one.goes_by(key)}


def _of_matters(snapshot: Snapshot, every: list[Matter]) -> list[Entry]:
    today, judged, tied = _today(snapshot), snapshot.once(signals), snapshot.once(entries_for)
    found = []
    for matter in every if judged is not None else []:
        lines = _lines(tied.filter(pl.col("sequence").is_in(matter.lines)))
        gone = matter.closed_at is not None and matter.closed_at < snapshot.as_of - KEPT
        if judged is not None and (lines or not gone):
            found.append(_of_matter(snapshot, judged, matter, lines, today))
    return found


def due(snapshot: Snapshot, *, by: date) -> list[Entry]:
    """What is over or due up to a day and not done, over first."""
    asked = snapshot.lines(ACTION).filter((pl.col("text") != "") & (pl.col("due") <= by))
    every = snapshot.once(register) if len(asked) else _decisions(snapshot, _today(snapshot))
    rows = [one for one in every if one.waits and one.done_on is None and one.due is not None and one.due <= by]
    return sorted(rows, key=lambda one: (one.due or by, one.since))


def _today(snapshot: Snapshot) -> date:
    return _day(snapshot.as_of, snapshot)


def _order(one: Entry) -> tuple[int, int, date, int]:
    if one.watched or not one.waits:
        rank = 3 if one.watched else 4
    else:
        rank = 0 if one.over or one.state == OPEN else 1 if one.state == ACTION else 2
    return rank, -one.over, one.due or date.max, -one.since.toordinal()


def _lines(rows: pl.DataFrame) -> list[Line]:
    return [
        Line(
            row["sequence"],
            row["at"],
            row["kind"],
            row["text"] or "",
            row["who"] or "",
            row["owner"] or "",
            row["due"],
            row["done_on"],
        )
        for row in rows.sort("sequence").iter_rows(named=True)
    ]


def _last(lines: list[Line], kind: str) -> Line | None:
    return next((line for line in reversed(lines) if line.kind == kind and (kind != ACTION or line.text)), None)


def _of_matter(snapshot: Snapshot, judged: Signals, matter: Matter, lines: list[Line], today: date) -> Entry:
    acted, done = _last(lines, ACTION), _last(lines, DONE)
    done = done if acted is not None and done is not None and done.sequence > acted.sequence else None
    checked = _checked(snapshot, judged, matter, done.done_on) if done and done.done_on else None
    closed = matter.closed_at
    running = acted is not None and not _last(lines, "close")
    if closed is not None and running and closed >= snapshot.as_of - JUST_OVER:
        closed = None  # who has it says whether it is done, though its readings have just come back
    if closed is not None:
        state = CLOSED
    elif matter.known_until is not None:
        state = KNOWN
    elif done is not None:
        state = CHECKED if checked is not None and checked.verdict != actions.TOO_EARLY else DONE
    else:
        state = ACTION if acted is not None else OPEN
    life = _Life(state, acted, done, _day(closed, snapshot) if closed else None, checked)
    began = _day(matter.began_at or matter.opened_at, snapshot)
    made = _entry(life, lines, today, key=matter.key, matter=matter, text="", since=began)
    return replace(made, opened_on=_day(_opened(snapshot, matter), snapshot))


def _opened(snapshot: Snapshot, matter: Matter) -> datetime:
    """When the first of its signals that are open opened, of one that opened again its last time; one that opened
    before the matter began, by chance or for another reason, counts since then.
    """
    held = {(one.table, one.row) for one in matter.signals}
    mine = [one for one in snapshot.once(every_signal) if (one.table, one.row_number) in held]
    opened = min((one.lately.opened for one in mine if one.row["closed_at"] is None), default=matter.opened_at)
    return max(opened, matter.began_at or opened)


def _decisions(snapshot: Snapshot, today: date) -> list[Entry]:
    book = snapshot.lines("decision", DONE, "close", "reopen").sort("sequence")
    found = []
    for row in book.filter((pl.col("kind") == "decision") & (pl.col("text") != "")).iter_rows(named=True):
        lines = _lines(book.filter((pl.col("sequence") == row["sequence"]) | (pl.col("about") == row["sequence"])))
        done, closed, again = _last(lines, DONE), _last(lines, "close"), _last(lines, "reopen")
        shut = closed if closed is not None and (again is None or again.sequence < closed.sequence) else None
        state = CLOSED if shut else DONE if done else ACTION
        life = _Life(state, lines[0], done, _day(shut.at, snapshot) if shut else None, None)
        key = f"d{row['sequence']}"
        found.append(
            _entry(life, lines, today, key=key, matter=None, text=row["text"], since=_day(row["at"], snapshot))
        )
    return found


@dataclass(frozen=True)
class _Life:
    state: str
    acted: Line | None
    done: Line | None
    closed_on: date | None
    checked: Checked | None


def _entry(
    life: _Life, lines: list[Line], today: date, *, key: str, matter: Matter | None, text: str, since: date
) -> Entry:
    acted, done = life.acted, life.done
    day = acted.due if acted else None
    late = day is not None and done is None and life.state in (OPEN, ACTION) and day < today
    return Entry(
        key=key,
        matter=matter,
        text=text,
        since=since,
        state=life.state,
        owner=acted.owner if acted else "",
        due=day,
        over=(today - day).days if late and day else 0,
        action=acted.text if acted and matter else "",
        done_on=done.done_on if done else None,
        done_by=done.who if done else "",
        checked=life.checked,
        closed_on=life.closed_on,
        lines=tuple(lines),
    )


def _day(when: datetime, snapshot: Snapshot) -> date:
    return when.astimezone(snapshot.shop.zone).date()


def _checked(snapshot: Snapshot, judged: Signals, matter: Matter, done_on: date | None) -> Checked | None:
    """The mean of the stream that stands for the matter after the day it was done, against the mean from its start to
    then.
    """
    if done_on is None or matter.main.get("stream") is None or int(str(matter.main["stream"])) < 0:
        return None
    stream = int(str(matter.main["stream"]))
    midnight = datetime.combine(done_on + timedelta(days=1), datetime.min.time(), tzinfo=snapshot.shop.zone)
    held = judged.streams
    line = actions.line_of(held, stream)
    moved = actions.moved(held.values, held.readings, matter.main, midnight.astimezone(UTC), line)
    change, low, high = (
        None if moved.get(name) is None else float(str(moved[name])) for name in ("change", "low", "high")
    )
    return Checked(str(moved["verdict"]), change, low, high, int(str(moved["n_after"])))


def members(snapshot: Snapshot, *, key: str) -> list[dict[str, Any]]:
    """The signals of a matter, by its key: rows of Signals.found or .others; a closing is written for each."""
    judged = snapshot.once(signals)
    found = next((one for each in (matters_told, matters) for one in snapshot.once(each) if one.goes_by(key)), None)
    if judged is None or found is None:
        return []
    return _rows(judged, found)


def _rows(judged: Signals, matter: Matter) -> list[dict[str, Any]]:
    tables = {"found": judged.found, "others": judged.others}
    return [tables[one.table].row(one.row, named=True) for one in matter.signals]


def of_stream(
    snapshot: Snapshot, *, characteristic: str, position: str, model: str, stage: str, tech: str
) -> Entry | None:
    """The register's row of the matter that the newest signal of a stream belongs to; None without any."""
    judged = snapshot.once(signals)
    if judged is None:
        return None
    key = {"characteristic": characteristic, "position": position, "model": model, "stage": stage, "tech": tech}
    same = [pl.col(name) == value for name, value in key.items()]
    mine = judged.found.with_row_index("at").filter(*same).sort("opened_at")
    at = int(mine["at"][-1]) if len(mine) else -1
    rows = [one for one in snapshot.once(register) if one.matter is not None]
    return next((one for one in rows if any(m.table == "found" and m.row == at for m in _members(one))), None)


def _members(one: Entry) -> list[Member]:
    return one.matter.signals if one.matter is not None else []

"""One counter for pages, papers and exports: ask a study, get its answer for the shop as it stands now.

Answers are kept by what they hang on - store version, book sequence, shop files, as_of, options - and the oldest go
first when they fill more than their share of memory. No statistics, and no study by name.
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cached_property, partial
from pathlib import Path
from threading import RLock
from typing import Any, TypeVar

import polars as pl

from analysis.methods.problems import NotWorkedOut, UnusableData
from dashboard import faults, numbers
from dashboard.desk import signed
from dashboard.desk.ahead import Ahead, seen_ahead
from dashboard.desk.jobs import Jobs
from dashboard.desk.lately import Lately
from dashboard.desk.people_shown import Veil, of_nobody
from dashboard.desk.several import Together
from dashboard.desk.weights import frozen, weight
from ingest.access import people, tablets
from ingest.access.tablets import Tablet
from ingest.shopfiles.shop import fingerprint
from ingest.store import book
from ingest.store.snapshot import EVERY_KIND, REVIEWED, TARGET, Snapshot
from ingest.store.store import open_snapshot, stands
from ingest.terms import units
from ingest.terms.problems import Problem
from ingest.verbs import cards, load, unfinished

T = TypeVar("T")
EXPECTED = (UnusableData, Problem)  # told in one line that a person can act on
MOST_BYTES = 512_000_000
NEVER = datetime(1971, 1, 1, tzinfo=UTC)  # an empty shop's as_of lies before
SNAPSHOTS = 3  # of the shop as it stands: the present one, and two of past days that somebody looks back at
Question = tuple[str, str, tuple[Hashable, ...], tuple[tuple[str, Hashable], ...]]  # study, of which snapshot, options


class Desk:
    """The counter of one shop folder."""

    def __init__(self, folder: Path, *, as_of: datetime | None = None) -> None:
        self.folder = folder
        self.as_of = as_of
        self._lock = RLock()
        self._answers: OrderedDict[Question, tuple[Any, int, set[str]]] = OrderedDict()
        self._bytes = 0
        self._turns: dict[
            Hashable, tuple[Any, int]
        ] = {}  # of questions being answered: whose turn it is, and how many wait
        self._told: set[tuple[str, str, int]] = set()
        self._snapshots: OrderedDict[tuple[Any, ...], tuple[Snapshot, Veil]] = OrderedDict()
        self._ahead: Ahead | None = None
        self.lately = Lately()
        self.several: Together | None = None  # where several shops are read together, if this one knows a place

    @property
    def has_shop(self) -> bool:
        """Is there a shop.toml yet?"""
        return (self.folder / "shop.toml").exists()

    @cached_property
    def jobs(self) -> Jobs:
        """Long work on this shop: loads, corrections, answers to questions; one at a time."""
        return Jobs(self.folder, snapshot=self.snapshot)

    def snapshot(self, as_of: datetime | None = None) -> Snapshot:
        """The shop as it stands (or stood: `as_it_stood`): opened anew only when the store, the book or a shop file has
        changed.
        """
        return self._opened(as_of)[0]

    def veil(self) -> Veil:
        """How the shop wishes people shown, for what is shown of its logs as they were typed."""
        return self._opened(None)[1]

    def nobody_shown(self) -> Veil:
        """What takes everybody's name out of a text: techs, whoever signs in, whoever stands in the book."""
        bare = self._opened(None)[1].bare
        said = bare.readers["bench_book"](("who", "owner"))
        return of_nobody(bare, [*said["who"], *said["owner"], *(one.name for one in people.everybody(self.folder))])

    def work_ahead(self, *works: Callable[[Snapshot], Any]) -> None:
        """From now on, when logs came or went, `works` are worked out first; until then a page that can wait for them
        (`patient`) is given the shop as it stood before.
        """
        self._ahead = Ahead(works)

    @property
    def working_ahead(self) -> bool:
        """Is a newer version of the shop being worked out?"""
        return self._ahead is not None and self._ahead.busy

    def _opened(self, as_of: datetime | None) -> tuple[Snapshot, Veil]:
        as_of = as_of or _back.get() or self.as_of
        ahead = seen_ahead.get()
        if ahead is not None and as_of is None:
            return ahead
        key = (*self._stands(), fingerprint(self.folder), as_of)
        with self._lock:
            before = self._before(key) if as_of is None else None
            if before is not None and patient.get():
                return before
        opened = self._shared(key, as_of)
        with self._lock:
            if key in self._snapshots:
                self._snapshots.move_to_end(key)
            if self._ahead and as_of is None and before is None:
                self._ahead.shown = key, opened
        return opened

    def _before(self, key: tuple[Any, ...]) -> tuple[Snapshot, Veil] | None:
        """What may be shown until the shop as it stands at `key` is worked out, which is begun; None where nothing."""
        before = self._ahead.stands_in(key, self._only_logs_moved) if self._ahead else None
        if self._ahead and before is not None:
            self._ahead.begin(key, partial(self._shared, key, None))  # who cannot wait asks the same one
        return before

    def _shared(self, key: tuple[Any, ...], as_of: datetime | None) -> tuple[Snapshot, Veil]:
        with self._one_of(key):
            opened = self._snapshots.get(key)
            if opened is None:
                opened = self._open(as_of)
                self._keep(key, opened)
            return opened

    def _open(self, as_of: datetime | None) -> tuple[Snapshot, Veil]:
        veil = Veil(replace(open_snapshot(self.folder, as_of=as_of), on_fault=self.in_place))
        return veil.snapshot(), veil

    def _keep(self, key: tuple[Any, ...], opened: tuple[Snapshot, Veil]) -> None:
        """Keep a snapshot; those of how the shop stood before, and what was answered of them, nobody asks for again."""
        with self._lock:
            self._snapshots[key] = opened
            for other in [other for other in self._snapshots if (*other[:2], other[3]) != (*key[:2], key[3])]:
                del self._snapshots[other]
            while len(self._snapshots) > SNAPSHOTS:
                self._snapshots.popitem(last=False)
            shown = self._ahead.shown if self._ahead else None
            making = self._ahead.making if self._ahead else None
            opened_now = (*self._snapshots.values(), *([shown[1]] if shown else []), *([making] if making else []))
            standing = {snapshot.key[:-1] for snapshot, _ in opened_now}  # on whatever day they are looked at
            for question in [question for question in self._answers if question[2][:-1] not in standing]:
                self._bytes -= self._answers.pop(question)[1]

    def _only_logs_moved(self, before: tuple[Any, ...], now: tuple[Any, ...]) -> bool:
        """Do two standings differ by logs that came or went, and by nothing that a person decided?"""
        version, _, sequence, *rest = before
        same = now[0] > version and [*now[3:]] == rest
        return same and book.only_loads_since(self.folder, sequence)

    def _stands(self) -> tuple[int, str, int]:
        """Store version, when it was made, and book sequence. A store that is missing or older is made again first,
        whoever opens it: its shop would look empty; what was cut short is ended.
        """
        if unfinished.stands(self.folder):
            with self._lock:
                unfinished.end(self.folder, now=datetime.now(UTC))
        now = stands(self.folder)
        if now[0]:
            return now
        with self._lock:
            if load.ensure(self.folder, now=datetime.now(UTC)):
                self._snapshots.clear()  # they read files that are gone
        return stands(self.folder)

    def shop_words(self) -> tuple[str, str]:
        """The shop's name, and as of when it is shown."""
        if not self.has_shop:
            return "No shop yet", "begin on Logs"
        snapshot = self.snapshot()
        local = snapshot.as_of.astimezone(snapshot.shop.zone)
        told = f"as of {numbers.clock(local)}" if snapshot.as_of > NEVER else "no log loaded yet"
        return snapshot.shop.shop.name, f"{told}; newer logs are being worked out" if self.working_ahead else told

    def write_entry(self, kind: str, text: str, *, who: str, **about: Any) -> int:
        """One line into the bench book (ingest.store.book.write_entry), written now; the next question sees it.

        What was worked out before and read no line of this kind stands: it is handed on, so that a page shows the line
        at once.
        """
        before = self.snapshot()
        written = book.write_entry(self.folder, kind, text, signed.who(who), now=datetime.now(UTC), **about)
        self._hand_on(before, kind)
        return written

    def write_target(self, row: dict[str, object], *, who: str, why: str = "") -> int:
        """A target by hand (ingest.store.book.write_target), written now; what hangs on no such target stands."""
        before = self.snapshot()
        written = book.write_target(self.folder, row, signed.who(who), why, now=datetime.now(UTC))
        self._hand_on(before, TARGET)
        return written

    def keep_week(self, row: dict[str, object], *, who: str) -> int:
        """A week as it is shown now (ingest.store.book.write_week), kept in the book; `what` taken back: no longer."""
        before = self.snapshot()
        told = {"version": before.version, "as_of": before.as_of, **row}
        written = book.write_week(self.folder, told, signed.who(who), now=datetime.now(UTC))
        self._hand_on(before, REVIEWED)
        return written

    def tablets(self) -> list[Tablet]:
        """The tablets that are enrolled, with what they last told of themselves."""
        return tablets.enrolled(self.folder)

    def book_sequence(self) -> int:
        """The newest line of the book; 0 where there is none."""
        return book.last_sequence(self.folder) if self.has_shop else 0

    def kept_week(self, sequence: int) -> str:
        """The copy of a week that one line of the book keeps; '' where it keeps none."""
        return book.week_copy(self.folder, sequence)

    def gauge_checks(self) -> list[tuple[datetime, str, float]]:
        """Checks of gauges on their master pieces, as Card kept them: (when, gauge, value), oldest first."""
        return cards.gauge_checks(self.folder)

    def today(self) -> date:
        """The day by the shop's clock, of the newest reading where that is later: of what somebody writes down now."""
        snapshot = self.snapshot()
        return max(snapshot.as_of, datetime.now(UTC)).astimezone(snapshot.shop.zone).date()

    def amount(self, characteristic: str, text: str) -> float | None:
        """What somebody typed for a characteristic, with its unit, in canonical units; None of nothing. UnusableData
        where it is no amount.
        """
        if not text.strip():
            return None
        item = self.snapshot().shop.by_characteristic[characteristic]
        try:
            return units.amount(text, item.quantity)
        except ValueError as problem:
            raise UnusableData(str(problem)) from None

    def _hand_on(self, before: Snapshot, kind: str) -> None:
        after = self.snapshot()
        same = (before.version, before.shop_files, before.as_of) == (after.version, after.shop_files, after.as_of)
        if same and after.book_sequence == before.book_sequence + 1:
            after.hand_on(before, kind=kind)
            with self._lock:
                for question in [question for question in self._answers if question[2] == before.key]:
                    answer, size, read = self._answers.pop(question)
                    if read.isdisjoint((kind, EVERY_KIND)):
                        self._answers[(*question[:2], after.key, question[3])] = answer, size, read
                    else:
                        self._bytes -= size

    def write_limits(self, rows: pl.DataFrame, *, who: str, why: str) -> int:
        """Limits on file (ingest.store.book.write_limits: a row a stream), written now; the next question draws
        them.
        """
        return book.write_limits(self.folder, rows, signed.who(who), why, now=datetime.now(UTC))

    def ask(self, study: Callable[..., T], *, as_of: datetime | None = None, **options: Any) -> T:
        """What `study(snapshot, **options)` answers; worked out once for the same shop and options. Without options it
        is kept with the snapshot.
        """
        snapshot = self.snapshot(as_of)
        if not options:
            return snapshot.once(study)
        key = (
            study.__module__,
            study.__qualname__,
            snapshot.key,
            tuple(sorted((name, frozen(value)) for name, value in options.items())),
        )
        with self._one_of(key):  # many may ask at once; one of them works it out
            with self._lock:
                if key in self._answers:
                    self._answers.move_to_end(key)
                    kept: T = self._answers[key][0]
                    return kept
            answer, read = snapshot.told_by(lambda: study(snapshot, **options))
            size = weight(answer)
            with self._lock:
                self._answers[key] = answer, size, read
                self._bytes += size
                while self._bytes > MOST_BYTES and len(self._answers) > 1:
                    _, (_, gone, _) = self._answers.popitem(last=False)
                    self._bytes -= gone
            return answer

    @contextmanager
    def _one_of(self, key: Hashable) -> Iterator[None]:
        """One thread at a time for each question."""
        with self._lock:
            turn, waiting = self._turns.get(key, (RLock(), 0))
            self._turns[key] = turn, waiting + 1
        try:
            with turn:
                yield
        finally:
            with self._lock:
                turn, waiting = self._turns.pop(key)
                if waiting > 1:
                    self._turns[key] = turn, waiting - 1

    def in_place(self, fault: Exception) -> Exception:
        """What is raised for an error of a study: itself where a person can put it right, else one line in its place,
        with the traceback in store/program.log, once for each place that failed.
        """
        if faults.loud or isinstance(fault, (*EXPECTED, OSError, MemoryError)):
            return fault
        study, module, line = faults.place(fault)
        if (study, module, line) not in self._told:
            self._told.add((study, module, line))
            faults.keep_traceback(fault, self.folder, f"study: {study or 'unknown'}")
        return NotWorkedOut(f"{study or 'a figure'} could not be worked out: {faults.WRONG}")


patient: ContextVar[bool] = ContextVar("may be shown what stood before", default=False)
_back: ContextVar[datetime | None] = ContextVar("looking back", default=None)


@contextmanager
def as_it_stood(end: datetime | None) -> Iterator[None]:
    """Everything asked within is told as of `end` (UTC): nothing later is seen. None: as the shop stands."""
    token = _back.set(end)
    try:
        yield
    finally:
        _back.reset(token)


_open: list[Desk] = []


def use(counter: Desk) -> None:
    """The counter that pages of this process ask at: the one of the app made last."""
    _open[:] = [counter]


def here() -> Desk:
    """The counter in use."""
    if not _open:
        raise RuntimeError("no shop is open; make the app with a Desk first")
    return _open[0]


def ask(study: Callable[..., T], *, as_of: datetime | None = None, **options: Any) -> T:
    """`Desk.ask` of the counter in use."""
    return here().ask(study, as_of=as_of, **options)

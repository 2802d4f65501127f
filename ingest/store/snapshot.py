"""The shop at one store version, read-only: all that a study sees.

A snapshot is made by `ingest.store.store` from the tables at one version, or in a test from tables in memory
(`Snapshot.of`). Columns come on demand. Nothing after `as_of` is seen. Corrections, settled questions and conflicts are
already laid over the rows.
"""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from threading import RLock, local
from time import monotonic
from typing import Any, TypeVar

import polars as pl

from ingest.shopfiles.shop import Shop
from ingest.shopfiles.specs import Specs
from ingest.store.code import code_of as code_of
from ingest.store.editions import EDITIONS
from ingest.store.keeping import Carried as Carried
from ingest.store.keeping import Column as Column
from ingest.store.keeping import Given as Given
from ingest.store.keeping import Laid as Laid
from ingest.store.kept_columns import Damaged as Damaged
from ingest.store.kept_columns import Kept as Kept
from ingest.store.kept_states import KeptStates as KeptStates
from ingest.store.kept_tables import KeptTables as KeptTables
from ingest.store.kept_texts import KeptTexts
from ingest.store.memory import give_back
from ingest.store.numbers import Numbers as Numbers
from ingest.store.runs import Runs as Runs
from ingest.store.worked_out import WorkedOut
from ingest.terms import tables

T = TypeVar("T")
EVERY_KIND = "*"  # an answer that read the bench book whole
TARGET = "target"  # one that read the targets set by hand
REVIEWED = "reviewed"  # one that read which weeks were reviewed
LONG = 1.0  # seconds; what a work that took so long stood on is given back to the system when it ends
SINGLE = ("serial", "neck")  # texts that hardly two rows share, or that every table is joined by
Reader = Callable[[tuple[str, ...]], pl.DataFrame]  # columns wanted (() = all) -> table

SCHEMAS: dict[str, dict[str, pl.DataType]] = {
    "visits": tables.VISITS,
    "readings": tables.READINGS,
    "faults": tables.FAULTS,
    "logs": tables.LOGS,
    "set_aside": tables.SET_ASIDE,
    "gauge_trials": tables.GAUGE_TRIALS,
    "columns": tables.COLUMNS,
    "editions": EDITIONS,
    "lots": tables.LOTS,
    "changes": tables.CHANGES,
    "climate": tables.CLIMATE,
    "limits_on_file": tables.LIMITS_ON_FILE,
    "bench_book": tables.BENCH_BOOK,
    "targets_by_hand": tables.TARGETS_BY_HAND,
    "corrections": tables.CORRECTIONS,
    "settled": tables.SETTLED,
    "words": tables.WORDS,
    "weeks_reviewed": tables.WEEKS_REVIEWED,
}


@dataclass(frozen=True)
class Failed:
    """What stands in the place of an answer that could not be worked out."""

    by: Exception


class _Asking(local):
    """Of each thread the kinds of line that were read by the answers it is working out, the innermost last."""

    def __init__(self) -> None:
        self.stack: list[set[str]] = []


@dataclass(frozen=True, eq=False)
class Snapshot:
    """The shop at one version: every table, the shop files, and what was worked out of them."""

    shop: Shop
    specs: Specs
    readers: Mapping[str, Reader]
    as_of: datetime  # UTC; the last taken_at on file unless the caller says otherwise
    version: int = 0  # store version
    book_sequence: int = 0
    shop_files: str = ""  # fingerprint of the shop files
    made: str = ""  # when the version was made; tells versions of one number apart where a store was made again
    on_fault: Callable[[Exception], Exception] | None = (
        None  # what is raised for an error nobody expected; None: itself
    )
    worked_out: WorkedOut | None = None  # kept beside the store from one version to the next; None: of tables in memory
    kept_tables: KeptTables | None = None  # the same for tables; None too where not all that is on file is seen
    kept_texts: KeptTexts | None = None  # the same for answers in one text each
    kept_states: KeptStates | None = None  # the same for how charts stood; None too where not all on file is seen
    laid_over: str = ""  # what was put over the rows before anybody sees them, as a key; '' nothing
    _kept: dict[Hashable, Any] = field(default_factory=dict, repr=False)
    _book_kinds: dict[Hashable, set[str]] = field(default_factory=dict, repr=False)  # kinds of line each answer read
    _asking: "_Asking" = field(default_factory=lambda: _Asking(), repr=False)
    _turns: dict[Hashable, Any] = field(
        default_factory=dict, repr=False
    )  # a lock a work: works ask for others in one direction only

    @classmethod
    def of(
        cls, shop: Shop, specs: Specs | None = None, *, as_of: datetime | None = None, **frames: pl.DataFrame
    ) -> "Snapshot":
        """A snapshot from tables in memory (keys of SCHEMAS; absent columns are filled), as tests make them."""
        held = {
            name: tables.shaped(frames.get(name, pl.DataFrame()), schema) if name in frames else tables.empty(schema)
            for name, schema in SCHEMAS.items()
        }
        if as_of is None:
            times = held["visits"].select(pl.coalesce("finished_at", "started_at").max()).item()
            as_of = times or datetime(1970, 1, 1, tzinfo=UTC)

        def reader(frame: pl.DataFrame) -> Reader:
            return lambda columns: frame.select(columns) if columns else frame

        return cls(
            shop,
            specs or Specs(tables.empty(tables.SPECS)),
            {name: reader(frame) for name, frame in held.items()},
            as_of,
        )

    @property
    def key(self) -> tuple[Hashable, ...]:
        """What an answer worked out from this snapshot hangs on."""
        return (self.version, self.made, self.book_sequence, self.shop_files, self.as_of)

    def table(self, name: str, *columns: str) -> pl.DataFrame:
        """A table by its name (SCHEMAS), all columns or those named."""
        if name == "bench_book":
            self._read_kinds({EVERY_KIND})
        if name == "targets_by_hand":
            self._read_kinds({TARGET})
        if name == "weeks_reviewed":
            self._read_kinds({REVIEWED})
        return self.readers[name](columns)

    def coded(self, name: str, *columns: str) -> pl.DataFrame:
        """A large table (all columns or those named), its texts as categories but for SINGLE: a
        column at a time, so that no text stands in memory as often as it was said.
        """
        wanted = columns or tuple(SCHEMAS[name])
        return pl.DataFrame(
            [
                each if column in SINGLE else tables.coded(each)
                for column in wanted
                for each in (self.table(name, column)[column],)
            ]
        )

    def lines(self, *kinds: str) -> pl.DataFrame:
        """Lines of the bench book of some kinds; what asks so hangs on no line of another kind."""
        self._read_kinds(set(kinds))
        return self.readers["bench_book"](()).filter(pl.col("kind").is_in(kinds))

    def once(self, work: Callable[["Snapshot"], T]) -> T:
        """What `work` makes of this snapshot, worked out the first time it is asked for and kept with the snapshot; a
        work that failed is not tried again: what `on_fault` made of its error is raised each time.
        """
        if work not in self._kept:
            with self._turns.setdefault(work, RLock()):  # one works it out; who asks for another need not wait
                if work not in self._kept:
                    self._work_out(work)
        self._read_kinds(self._book_kinds[work])
        kept = self._kept[work]
        if isinstance(kept, Failed):
            raise kept.by  # not from the fault: its frames hold whole tables
        answer: T = kept
        return answer

    def _work_out(self, work: Callable[["Snapshot"], Any]) -> None:
        stack, begun = self._asking.stack, monotonic()
        stack.append(set())
        answer: Any
        try:
            answer = work(self)
        except Exception as fault:
            instead = self.on_fault(fault) if self.on_fault else fault
            if instead is fault:
                raise
            answer = Failed(instead)
        finally:
            read = stack.pop()
        self._book_kinds[work] = read
        self._kept[work] = answer
        if monotonic() - begun > LONG:
            give_back()

    def tried(self, work: Callable[[], T]) -> T:
        """What `work` gives; an error nobody expected is replaced by what `on_fault` makes of it."""
        try:
            return work()
        except Exception as fault:
            instead = self.on_fault(fault) if self.on_fault else fault
            if instead is fault:
                raise
        raise instead

    def told_by(self, work: Callable[[], T]) -> tuple[T, set[str]]:
        """What `tried` gives, and the kinds of line of the bench book that it read."""
        self._asking.stack.append(set())
        try:
            answer = self.tried(work)
        finally:
            read = self._asking.stack.pop()
        self._read_kinds(read)
        return answer, read

    def hand_on(self, before: "Snapshot", *, kind: str) -> None:
        """Take over what was worked out from an earlier snapshot of which this one differs by a line of `kind` in the
        bench book only: every answer that read no line of this kind.
        """
        for work, answer in list(before._kept.items()):
            read = before._book_kinds[work]
            if read.isdisjoint((kind, EVERY_KIND)) and work not in self._kept:
                self._book_kinds[work] = read
                self._kept[work] = answer

    def _read_kinds(self, kinds: set[str]) -> None:
        if self._asking.stack:
            self._asking.stack[-1] |= kinds

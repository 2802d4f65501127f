"""The shop at one store version, read-only: all that a study sees.

A snapshot is made by `ingest.store.store` from the tables at one version, or in a test from tables in memory
(`Snapshot.of`). Columns come on demand. Nothing after `as_of` is seen. Corrections, settled questions and conflicts are
already laid over the rows.
"""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from threading import RLock
from typing import Any, TypeVar

import polars as pl

from ingest.shopfiles.shop import Shop
from ingest.shopfiles.specs import Specs
from ingest.terms import tables

T = TypeVar("T")
Reader = Callable[[tuple[str, ...]], pl.DataFrame]  # columns wanted (() = all) -> table

SCHEMAS: dict[str, dict[str, pl.DataType]] = {
    "visits": tables.VISITS,
    "readings": tables.READINGS,
    "faults": tables.FAULTS,
    "logs": tables.LOGS,
    "set_aside": tables.SET_ASIDE,
    "gauge_trials": tables.GAUGE_TRIALS,
    "lots": tables.LOTS,
    "changes": tables.CHANGES,
    "climate": tables.CLIMATE,
    "limits_on_file": tables.LIMITS_ON_FILE,
    "bench_book": tables.BENCH_BOOK,
    "corrections": tables.CORRECTIONS,
    "settled": tables.SETTLED,
}


@dataclass(frozen=True)
class Failed:
    """What stands in the place of an answer that could not be worked out."""

    by: Exception


@dataclass(frozen=True, eq=False)
class Snapshot:
    shop: Shop
    specs: Specs
    readers: Mapping[str, Reader]
    as_of: datetime  # UTC; the last taken_at on file unless the caller says otherwise
    version: int = 0  # store version
    book_sequence: int = 0
    shop_files: str = ""  # fingerprint of the shop files
    on_fault: Callable[[Exception], Exception] | None = (
        None  # what is raised for an error nobody expected; None: itself
    )
    _kept: dict[Hashable, Any] = field(default_factory=dict, repr=False)
    _lock: RLock = field(default_factory=RLock, repr=False)

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
        return (self.version, self.book_sequence, self.shop_files, self.as_of)

    def table(self, name: str, *columns: str) -> pl.DataFrame:
        """A table by its name (SCHEMAS), all columns or those named."""
        return self.readers[name](columns)

    def once(self, work: Callable[["Snapshot"], T]) -> T:
        """What `work` makes of this snapshot, worked out the first time it is asked for and kept with the snapshot; a
        work that failed is not tried again: what `on_fault` made of its error is raised each time.
        """
        with self._lock:
            if work not in self._kept:
                try:
                    self._kept[work] = work(self)
                except Exception as fault:
                    instead = self.on_fault(fault) if self.on_fault else fault
                    if instead is fault:
                        raise
                    self._kept[work] = Failed(instead)
            kept = self._kept[work]
        if isinstance(kept, Failed):
            raise kept.by  # not from the fault: its frames hold whole tables
        answer: T = kept
        return answer

    def tried(self, work: Callable[[], T]) -> T:
        """What `work` gives; an error nobody expected is replaced by what `on_fault` makes of it."""
        try:
            return work()
        except Exception as fault:
            instead = self.on_fault(fault) if self.on_fault else fault
            if instead is fault:
                raise
        raise instead

    def hand_on(self, before: "Snapshot", *, but: tuple[str, ...]) -> None:
        """Take over what was worked out from an earlier snapshot, but for functions of some modules; the caller knows
        that it holds here too.
        """
        with before._lock:
            kept = {work: answer for work, answer in before._kept.items() if getattr(work, "__module__", "") not in but}
        with self._lock:
            self._kept.update({work: answer for work, answer in kept.items() if work not in self._kept})

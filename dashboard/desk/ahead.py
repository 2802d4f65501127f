"""Worked out ahead: after a load the next answers are made behind the pages, which show the last ones until they are
swapped in whole.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from contextvars import ContextVar
from typing import Any

from dashboard.desk.people_shown import Veil
from ingest.store.snapshot import Snapshot

Opened = tuple[Snapshot, Veil]
Standing = tuple[Any, ...]  # what a snapshot hangs on: store version, when made, book sequence, shop files, as of
seen_ahead: ContextVar[Opened | None] = ContextVar("what the works are asked of", default=None)


class Ahead:
    """One thread that works out what the next visitor of a page will ask."""

    def __init__(self, works: Sequence[Callable[[Snapshot], Any]]) -> None:
        self.works = works
        self.shown: tuple[Standing, Opened] | None = None  # what pages were given last
        self.making: Opened | None = None  # what is being worked out
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="truerun-ahead")
        self._doing: Future[None] | None = None

    @property
    def busy(self) -> bool:
        """Is something being worked out?"""
        return self._doing is not None and not self._doing.done()

    def stands_in(self, now: Standing, may: Callable[[Standing, Standing], bool]) -> Opened | None:
        """What was shown last, where it may stand in for the shop as it is `now`; None where it is that."""
        if self.shown is None or self.shown[0] == now or not may(self.shown[0], now):
            return None
        return self.shown[1]

    def begin(self, now: Standing, opening: Callable[[], Opened]) -> None:
        """Work out the works of what `opening` gives, then show it; nothing where one is busy."""
        if not self.busy:
            self._doing = self._thread.submit(self._work_out, now, opening)

    def wait(self, seconds: float | None = None) -> None:
        """Until what is being worked out is there."""
        if self._doing is not None:
            self._doing.result(seconds)

    def _work_out(self, now: Standing, opening: Callable[[], Opened]) -> None:
        """All works of one standing, even where a newer one comes meanwhile: what is shown then is whole."""
        with suppress(Exception):  # whoever asks next is told what is wrong
            opened = opening()
            self.making = opened
            token = seen_ahead.set(opened)
            try:
                for work in self.works:
                    with suppress(Exception):
                        work(opened[0])
            finally:
                seen_ahead.reset(token)
            self.shown, self.making = (now, opened), None

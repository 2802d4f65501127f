"""Pages laid out before somebody opens them: what they ask for first is then there."""

from __future__ import annotations

import importlib
from collections.abc import Hashable
from contextlib import suppress
from time import monotonic, thread_time

from dashboard.app import PAGES
from dashboard.desk.desk import Desk

REST = 4.0  # times the processor time of the last round: a fifth of one core at most, however often logs come


class PagesAhead:
    """The pages of the header, and those views of a page that are usually asked for next (its `USUAL` addresses), once
    for each standing of the shop.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._done: Hashable = None
        self._rests_until = 0.0

    def look(self) -> bool:
        """Lay all pages out where the shop has changed and the last round is long enough ago. Were they?"""
        now = self.desk.snapshot().key
        if now == self._done or monotonic() < self._rests_until:
            return False
        self._done, before = now, thread_time()
        for name in PAGES.values():
            page = importlib.import_module(f"dashboard.pages.{name}")
            usual: tuple[dict[str, str], ...] = getattr(page, "USUAL", ({},))
            for address in usual:
                with suppress(Exception):  # whoever opens it is told what is wrong
                    page.layout(**address)
        self._rests_until = monotonic() + REST * (thread_time() - before)
        return True

"""Pages laid out before somebody opens them: what they ask for first is then there."""

from __future__ import annotations

import importlib
from collections.abc import Hashable
from contextlib import suppress
from time import monotonic, thread_time

from dashboard.app import PAGES
from dashboard.desk.desk import Desk

SOON = 20.0  # seconds that pages may take before the shop as it stands now is shown: a new week is not held up for long
LATELY = 5.0  # seconds of them for the views that people opened lately
REST = 4.0  # times the processor time of the last round: a fifth of one core at most, however often logs come


class PagesAhead:
    """The pages of the header, those views of a page that are usually asked for next (its `USUAL` addresses), and what
    people opened lately, once for each standing of the shop.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._done: Hashable = None
        self._rests_until = 0.0

    def first_views(self, _snapshot: object) -> None:
        """The first view of each page and the views that people opened lately, of the shop as it stands, before anybody
        is shown it: who opens a page right after a load then need not wait for its answers.
        """
        begun = monotonic()
        for name in PAGES.values():
            if monotonic() - begun < SOON:
                self._lay_out(name, most=1)
        ends = min(begun + SOON, monotonic() + LATELY)
        for page, address in self.desk.lately.views():
            if monotonic() < ends:
                _lay_out(page, dict(address))

    def look(self) -> bool:
        """Lay all pages out where the shop has changed and the last round is long enough ago. Were they?"""
        now = self.desk.snapshot().key
        if now == self._done or monotonic() < self._rests_until:
            return False
        self._done, before = now, thread_time()
        for name in PAGES.values():
            self._lay_out(name)
        self._rests_until = monotonic() + REST * (thread_time() - before)
        return True

    def _lay_out(self, name: str, most: int | None = None) -> None:
        page = f"dashboard.pages.{name}"
        usual: tuple[dict[str, str], ...] = getattr(importlib.import_module(page), "USUAL", ({},))
        for address in usual[:most]:
            _lay_out(page, address)


def _lay_out(page: str, address: dict[str, str]) -> None:
    """A page (its module) by an address."""
    with suppress(Exception):  # whoever opens it is told what is wrong
        importlib.import_module(page).layout(**address)

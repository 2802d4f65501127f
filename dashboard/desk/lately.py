"""Which views of pages people opened lately: what they look at again after a load."""

from __future__ import annotations

from collections import OrderedDict
from threading import Lock
from time import monotonic

MOST = 24  # views that are remembered
WHILE = 900.0  # seconds after which a view is no longer looked at
View = tuple[str, tuple[tuple[str, str], ...]]  # module of the page, and its address


class Lately:
    """The views opened last."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._seen: OrderedDict[View, float] = OrderedDict()

    def opened(self, page: str, address: dict[str, str]) -> None:
        """Somebody opened a page (its module) by this address."""
        view = page, tuple(sorted(address.items()))
        with self._lock:
            self._seen[view] = monotonic()
            self._seen.move_to_end(view)
            if len(self._seen) > MOST:
                self._seen.popitem(last=False)

    def views(self) -> list[View]:
        """What was opened within the last while, the newest first."""
        since = monotonic() - WHILE
        with self._lock:
            return [view for view, at in reversed(self._seen.items()) if at >= since]

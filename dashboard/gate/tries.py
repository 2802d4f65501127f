"""Limits on tries: how often somebody may be wrong about a password or a code before they have to wait.

Source: OWASP Application Security Verification Standard 4.0.3, 2.2.1 (at most 100 an hour on one account).
"""

from __future__ import annotations

from collections import OrderedDict
from threading import Lock
from time import monotonic

WITHIN = 900.0  # seconds that a wrong try counts
MOST_KEPT = 10_000  # keys held at once; the oldest go


class Tries:
    """Wrong tries, by whatever they are counted for."""

    def __init__(self) -> None:
        self._wrong: OrderedDict[str, list[float]] = OrderedDict()
        self._lock = Lock()

    def wait(self, limits: dict[str, int]) -> int:
        """Seconds until any of these keys may try again, 0 where now. limits : key -> wrong tries allowed."""
        with self._lock:
            return max((self._left(key, most) for key, most in limits.items()), default=0)

    def wrong(self, *keys: str) -> None:
        """Count one wrong try for each key."""
        with self._lock:
            for key in keys:
                self._wrong.setdefault(key, []).append(monotonic())
                self._wrong.move_to_end(key)
            while len(self._wrong) > MOST_KEPT:
                self._wrong.popitem(last=False)

    def right(self, *keys: str) -> None:
        """Whoever was right begins anew."""
        with self._lock:
            for key in keys:
                self._wrong.pop(key, None)

    def _left(self, key: str, most: int) -> int:
        now = monotonic()
        held = [at for at in self._wrong.get(key, ()) if now - at < WITHIN]
        if key in self._wrong:
            self._wrong[key] = held
        return int(held[-most] + WITHIN - now) + 1 if len(held) >= most else 0

"""Who is behind what is asked and written now: nobody signs in on one machine alone, everybody does on the network.

Whoever is signed in writes under their own name, whatever a page sends. What they do and whose figures they look at
stands in the trail.
"""

from __future__ import annotations

from contextvars import ContextVar
from datetime import UTC, datetime
from pathlib import Path

from ingest.access import tablets, trail
from ingest.access.people import BENCH, GUEST, MANAGER, TRAINER
from ingest.access.sessions import Signed
from ingest.access.trail import EVERYBODY

__all__ = [
    "BENCH",
    "EVERYBODY",
    "GUEST",
    "MANAGER",
    "TRAINER",
    "Signed",
    "did",
    "here",
    "read_figures",
    "told_by_tablet",
    "use",
    "who",
]

_now: ContextVar[tuple[Signed, Path] | None] = ContextVar("who is signed in, and the shop's folder", default=None)


def use(signed: Signed | None, folder: Path) -> None:
    """From now on in this thread: who is signed in; None on one machine alone."""
    _now.set((signed, folder) if signed else None)


def here() -> Signed | None:
    """Who is signed in; None on one machine alone."""
    told = _now.get()
    return told[0] if told else None


def is_guest() -> bool:
    """May whoever asks be shown no person at all?"""
    signed = here()
    return signed is not None and signed.role == GUEST


def who(typed: str) -> str:
    """Under which name something is written: the one signed in, else the one typed."""
    signed = here()
    return signed.name if signed else typed


def did(what: str, about: str = "") -> None:
    """One line of the trail, where somebody is signed in."""
    told = _now.get()
    if told:
        trail.note(told[1], told[0].name, told[0].role, what, about, now=datetime.now(UTC))


def told_by_tablet(waiting: int, clock_off: float) -> None:
    """What a tablet says of itself: how many cards wait on it, how its clock stands."""
    told = _now.get()
    if told and told[0].tablet:
        tablets.tell(told[1], told[0].tablet, waiting, clock_off, now=datetime.now(UTC))


def read_figures(tech: str, where: str) -> None:
    """Somebody is about to see figures of a tech (or of all: trail.EVERYBODY); one's own make no line."""
    told = _now.get()
    if told and tech and tech != told[0].tech:
        trail.note_reading(told[1], told[0].name, told[0].role, tech, where, now=datetime.now(UTC))

"""A sheet by itself: where it cannot be worked out its name stands with the line that says why, and the page stands."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from analysis.methods.problems import UnusableData
from dashboard import parts
from dashboard.desk import desk


def held(name: str, make: Callable[..., Any], *told: Any, gaps: Iterable[str] = ()) -> Any:
    """The sheet `make(*told)`; or one of that name with the line that stands in its place.

    gaps : why what it would show could not be worked out; nothing where it could.
    """
    for why in gaps:
        return instead(name, why)
    try:
        return desk.here().snapshot().tried(lambda: make(*told))
    except UnusableData as why:
        return instead(name, str(why))


def instead(name: str, why: str) -> Any:
    """A sheet that says why it is empty."""
    return parts.sheet(name, "", parts.problem_state(f"{why[:1].upper()}{why[1:]}."))

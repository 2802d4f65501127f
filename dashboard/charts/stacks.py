"""Readings stacked as dots: where each stands so that all can be seen."""

from __future__ import annotations

from collections.abc import Sequence


def stacked(px: Sequence[float], *, high: float, dot: float = 6) -> tuple[list[float], list[float]]:
    """Px right of its own place and px above the ground for each of the places px along an axis.

    Equal readings stand one on the other, several abreast where the neighbours leave room, closer together where a
    stack would pass `high`.
    """
    columns: dict[int, list[int]] = {}
    for i, place in enumerate(px):
        columns.setdefault(round(place / (dot / 2)), []).append(i)
    places = sorted(columns)
    aside, above = [0.0] * len(px), [0.0] * len(px)
    rows = max(1, int(high / dot))
    for k, place in enumerate(places):
        members = columns[place]
        gaps = ([place - places[k - 1]] if k else []) + ([places[k + 1] - place] if k + 1 < len(places) else [])
        near = min(gaps, default=12) * dot / 2
        abreast = max(1, min(-(-len(members) // rows), int(near / dot)))
        rise = min(dot, high / -(-len(members) // abreast))
        for order, i in enumerate(members):
            aside[i] = dot * (order % abreast - (abreast - 1) / 2)
            above[i] = rise * (order // abreast)
    return aside, above

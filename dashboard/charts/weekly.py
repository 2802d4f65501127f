"""A stage's weeks: its share or count against what the twelve weeks before let expect, as a small drawing beside its
figures.

Inline SVG as data URIs, one a scheme, so that it can stand in a table and behind a fold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.charts.sparkline import Pair, pair

WIDTH, HEIGHT, END = 236, 58, 220
BESIDE = {"above": "M{x} {y}l10 0l0 -8z", "below": "M{x} {y}l10 0l0 8z"}  # the wedge of a signal, rising and falling


@dataclass(frozen=True)
class Week:
    """One week; `place` counts weeks from the oldest shown. Limits None: no weeks before it."""

    place: int
    value: float
    low: float | None
    high: float | None
    state: str  # above | below | within | no base


def weekly(weeks: Sequence[Week], usual: float | None, *, places: int = 13) -> Pair:
    """Weeks as dots from 0, this one (the last place) large; grey: what each week's own twelve before let expect; line:
    their share now.

    A week outside has a wedge: filled for this one, hollow for one gone by.
    """
    most = (
        max([week.value for week in weeks] + [week.high for week in weeks if week.high is not None] + [usual or 0]) or 1
    )
    step = END / places

    def x(place: float) -> float:
        return 6 + step * (place + 0.5)

    def y(value: float) -> float:
        return HEIGHT - 9 - (HEIGHT - 28) * value / most

    parts = []
    for week in weeks:
        if week.low is not None and week.high is not None:
            top, left = y(week.high), x(week.place - 0.5)
            parts.append(
                f'<rect x="{left:.1f}" y="{top:.1f}" width="{step + 0.3:.1f}" '
                f'height="{max(y(week.low) - top, 2):.1f}" fill="SUNK"/>'
            )
    parts.append(f'<path d="M6 {y(0) + 0.5:.1f}H{6 + END}" stroke="LINE"/>')
    if usual is not None:
        parts.append(f'<path d="M6 {y(usual):.1f}H{6 + END}" stroke="RULE"/>')
    for week in weeks:
        now, beyond = week.place == places - 1, week.state in BESIDE
        colour = "MOVED" if now and beyond else "INK" if now else "INK3"
        parts.append(
            f'<circle cx="{x(week.place):.1f}" cy="{y(week.value):.1f}" r="{5 if now else 2.5}" fill="{colour}"/>'
        )
        if beyond:
            wedge = BESIDE[week.state].format(
                x=f"{x(week.place) - 5:.1f}", y=f"{y(week.value) + (-7 if week.state == 'above' else 7):.1f}"
            )
            fill, edge = ("LIGHT", "MOVED") if now else ("CARD", "INK3")
            parts.append(f'<path d="{wedge}" fill="{fill}" stroke="{edge}"/>')
    return pair(parts, HEIGHT, WIDTH)

"""The sheets of the Bench page on practice: send-backs, spread and offset, and minutes, last."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import polars as pl
from dash import html

from analysis.studies.people import alone, set_spread
from analysis.studies.people.learning_curves import Learning, Practice
from analysis.studies.people.targets import Stand
from dashboard import numbers, parts
from dashboard.charts.learning import LearningView, learning
from dashboard.desk import desk
from dashboard.pages.bench import ways
from dashboard.sentences import alone as alone_words
from dashboard.sentences import bench as sentences_bench
from dashboard.sentences import practice as practice_words
from ingest.shopfiles.shop import Shop

Row = dict[str, Any]


def practice_view(
    found: Practice,
    *,
    unit: str,
    scale: float = 1.0,
    decimals: int = 0,
    serials: list[str] | None = None,
    qualified: tuple[float, float] | None = None,
    dots: bool = True,
    hands: str = "qualified",
) -> LearningView:
    """A curve of practice as it is drawn; `dots` off where single values are only 0 or 1."""
    low, high = (found.low, found.high) if len(found.low) else (found.curve, found.curve)
    now = ""
    if len(found.curve):
        end = numbers.with_unit(numbers.plain(scale * float(found.curve[-1]), 0 if scale > 1 else 1), unit)
        now = f"{end}<br>by no. {numbers.count(round(float(found.x[-1])))}"
    values = (scale * found.value).tolist() if dots else []
    return LearningView(
        values,
        serials or [f"instruments round {u}" for u in found.unit] if dots else [],
        found.x.tolist(),
        (scale * found.curve).tolist(),
        (scale * np.asarray(low)).tolist(),
        (scale * np.asarray(high)).tolist(),
        qualified,
        now,
        numbers.span(*qualified, 1) if qualified else "",
        unit,
        decimals=decimals,
        units=[int(u) for u in found.unit] if dots else [],
        hands=hands,
    )


def send_backs_sheet(found: Learning) -> html.Section:
    """Send-backs against instruments done."""
    say = practice_words.send_backs(found)
    chart = []
    if len(found.came_back.curve) and found.came_back.value.any():
        view = practice_view(found.came_back, unit="%", scale=100.0, dots=False)
        chart = [parts.graph(parts.both(learning, view), say, "bench-practice-send-backs")]
    return parts.sheet(
        "Send-backs with practice",
        "share of judged instruments that came back, 90 % band",
        [*chart, html.P(say, className="small")],
    )


def spread_sheet(
    stage: str, tech: str, shop: Shop, found: Learning | None, stands: Sequence[Stand] = ()
) -> html.Section:
    """Spread and offset of what is set here, and how the spread changed with practice; of the only person of a shop
    level and spread of each target (stands).
    """
    rows = desk.ask(set_spread.spreads).filter((pl.col("stage") == stage) & (pl.col("tech") == tech)).to_dicts()
    told: list[Any] = [
        html.P(
            [
                html.B(f"{shop.characteristic_name(row['characteristic'])}: "),
                sentences_bench.offset(shop, row),
                " ",
                parts.to_readings(
                    ways.of_characteristic(row, tech), f"{numbers.count(row['instruments'])} instruments"
                ),
            ]
        )
        for row in rows
    ]
    by_oneself = not told and desk.ask(alone.lone) == tech
    if by_oneself:
        told = [html.P(text) for stand in stands if (text := alone_words.spread(shop, stand))]
    if not told:
        told = [
            html.P(
                "Nothing set here can be held against the others: too few readings at final inspection on the same "
                "models and positions at the same time."
            )
        ]
    for key, (first, last) in (found.offsets if found else {}).items():
        since = found.reached.get(key) if found else None
        told.append(html.P(practice_words.offsets(shop, key, first, last, since), className="small"))
    for key, practice in (found.spreads if found else {}).items():
        say = f"{shop.characteristic_name(key)} with practice. {practice_words.spread(practice)}"
        if len(practice.value):
            view = practice_view(practice, unit="times", decimals=2)
            told.append(parts.graph(parts.both(learning, view), say, f"bench-practice-{key}"))
        told.append(html.P(say, className="small"))
    right = "offset and spread against the others, same models, positions and days, 95 %"
    return parts.sheet("What is set here", "level and spread, 95 %" if by_oneself else right, told)


def minutes_sheet(found: Learning | None, row: Row | None) -> html.Section:
    """Minutes, last."""
    if found is None:
        return parts.sheet("Minutes a visit", "last, after method and yield", html.P(sentences_bench.timed(row)))
    say = practice_words.minutes(found)
    if not len(found.minutes.value):
        return parts.sheet("Minutes a visit", "last, after method and yield", html.P(say))
    hands = "qualified" if found.signed else "old hands"
    view = practice_view(found.minutes, unit="min", serials=found.serials, qualified=found.minutes_hands, hands=hands)
    chart = parts.graph(parts.both(learning, view), say, "bench-minutes")
    return parts.sheet("Minutes a visit", "last, after method and yield", [chart, html.P(say, className="small")])

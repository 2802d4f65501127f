"""What the chart of one stream draws: in the unit and on the clock of the shop; who, lot or gauge by shape."""

from __future__ import annotations

from collections import Counter
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from analysis.studies.drift.stream_view import StreamSeen
from dashboard import numbers, parts
from dashboard.address import address
from dashboard.charts.stream.chart import Asked, Began, Change, Limits, Odd, Run, Signal, StreamView
from dashboard.pages.drift.seen import Seen
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

SHAPES = ("blue dot", "diamond", "triangle")  # the first three of charts.stream_ground.KIND_MARKS
SHOWN_ODD = 6  # odd instruments on the chart, the newest; all stand in the list


def has_average(view: StreamSeen) -> bool:
    """Does its chart carry an average?"""
    return bool(np.isfinite(view.average).any())


def to_instrument(serial: str) -> str:
    """Where a reading leads: its instrument's story."""
    return address("/logs/instrument", serial=serial) if serial else ""


def chart_view(seen: Seen, by: str, shop: Shop) -> StreamView:
    """What the stream chart is given."""
    view, row = seen.view, seen.row
    key = str(row["characteristic"])
    quantity, length = sentences.quantity(shop, key), shop.length_of(key)
    now = seen.now.date()

    def at(when: datetime) -> datetime:
        return sentences.local(shop, when).replace(tzinfo=None)

    def unit(value: float | None) -> float | None:
        return None if value is None else numbers.in_unit(value, quantity, shown=length)

    def units(values: Any) -> list[float]:
        return [numbers.in_unit(float(v), quantity, shown=length) for v in values]

    readings = view.readings
    taken = [at(when) for when in readings["taken_at"]]
    averaged = has_average(view)
    odd = [
        Odd(taken[k], units([readings["value"][k]])[0], _odd_words(readings.row(k, named=True), shop, key))
        for k in odd_places(seen)
    ]
    began = None
    if seen.signal is not None and seen.signal["began_at"] is not None:
        likeliest, low, high = (at(seen.signal[name]) for name in ("began_at", "began_low", "began_high"))
        began = Began(likeliest, low, high, sentences_drift.began_words(seen.signal, shop, now))
    levels = levels_of(seen, by) if by else []
    return StreamView(
        taken_at=taken,
        values=units(readings["value"]),
        serials=readings["serial"].to_list(),
        unit=numbers.unit_of(quantity, shown=length),
        decimals=numbers.decimals_of(quantity, shown=length),
        average=units(view.average) if averaged else None,
        gap_low=units(view.gap_low) if averaged else None,
        gap_high=units(view.gap_high) if averaged else None,
        limits=[
            Limits(at(r["from_at"]), at(r["to_at"]), unit(r["centre"]) or 0.0, unit(r["lower"]), unit(r["upper"]))
            for r in view.limits.iter_rows(named=True)
            if r["centre"] is not None and r["centre"] == r["centre"]
        ],
        asked=[
            Asked(at(r["from_at"]), at(r["to_at"]), unit(r["target"]), unit(r["lower"]), unit(r["upper"]))
            for r in view.asked.iter_rows(named=True)
        ],
        baseline=view.baseline,
        judged_from=at(view.judged_from) if view.judged_from else None,
        signals=[
            Signal(
                at(r["opened_at"]),
                at(r["closed_at"]) if r["closed_at"] else None,
                way_of(r),
                sentences_drift.signal_words(r, shop, _cause(seen, r), now),
                at(r["began_at"]) if r["began_at"] else None,
            )
            for r in view.signals.iter_rows(named=True)
        ],
        began=began,
        changes=[
            Change(
                datetime.combine(r["from_date"], datetime.min.time()),
                f"{r['what']}, {numbers.day(r['from_date'], now)}",
            )
            for r in view.changes.iter_rows(named=True)
        ],
        anew=[
            Change(
                at(r["from_at"]),
                f"{'limits set anew' if r['on_file'] else 'limits off file'}, {numbers.day(at(r['from_at']), now)}",
            )
            for k, r in enumerate(view.limits.iter_rows(named=True))
            if k or (r["on_file"] and at(r["from_at"]) > taken[0])
        ],
        runs=[Run(at(r["from_at"]), at(r["to_at"]), r["rule"]) for r in view.runs.iter_rows(named=True)],
        odd=odd,
        outside=np.flatnonzero(readings["outside"].fill_null(False).to_numpy()).tolist(),
        notes=[sentences.flag_words(flag) for flag in readings["flag"].fill_null("")],
        corrected=np.flatnonzero(_corrected(readings)).tolist(),
        kinds=[name if name in levels[:3] else "" for name in readings[by].fill_null("").to_list()] if by else (),
        kind_names=levels[:3],
    )


def _corrected(readings: pl.DataFrame) -> Any:
    """Which readings hold what a person laid over the log, (n,)."""
    return readings["flag"].fill_null("").str.split(";").list.contains("corrected").to_numpy()


def way_of(signal: dict[str, Any]) -> str:
    """Which way a signal points: up or down."""
    return "down" if signal["size"] is not None and signal["size"] < 0 else "up"


def odd_places(seen: Seen) -> list[int]:
    """Places of the newest odd instruments; from the beginning of an open signal on a far reading is part of its
    shift.
    """
    begun = seen.signal["began_at"] if seen.signal is not None else None
    taken = seen.view.readings["taken_at"]
    return [int(k) for k in seen.view.odd if begun is None or taken[int(k)] < begun][-SHOWN_ODD:]


def _odd_words(reading: dict[str, Any], shop: Shop, key: str) -> str:
    return f"odd instrument {reading['serial']}, {sentences.amount(shop, key, reading['value'])}"


def _cause(seen: Seen, signal: dict[str, Any]) -> str:
    """The last cause that the bench book holds for a signal."""
    found = seen.entries.filter(
        pl.col("kind").is_in(["cause", "close"]), pl.col("now_opened_at") == signal["opened_at"], pl.col("text") != ""
    )
    return str(found["text"][-1]) if len(found) else ""


BY_SHAPE = (
    ("", "Nothing"),
    ("lot", "Neck lot"),
    ("supplier", "Supplier"),
    ("gauge", "Gauge"),
    ("set_by", "Who set it"),
)


def shapes(shop: Shop) -> list[tuple[str, str]]:
    """What readings can be told apart by; people only where the shop shows their codes."""
    return [(key, name) for key, name in BY_SHAPE if key != "set_by" or shop.people.show != "none"]


def by_field(id: str, by: str, shop: Shop) -> Any:
    """The field that chooses by what a stream is split."""
    return parts.field("Show by shape", id, by, [{"value": key, "label": name} for key, name in shapes(shop)])


def named(levels: list[str], by: str, shop: Shop) -> list[str]:
    """Levels as people call them."""
    gauges = {gauge.key: gauge.name or gauge.key for gauge in shop.gauges}
    return [gauges.get(level, level) for level in levels] if by == "gauge" else levels


def levels_of(seen: Seen, by: str) -> list[str]:
    """The commonest lots, gauges ... of the readings in sight since the shift began, the commonest first."""
    readings = seen.view.readings
    if seen.signal is not None and seen.signal["began_at"] is not None:
        since = readings.filter(pl.col("taken_at") >= seen.signal["began_at"])
        readings = since if len(since) else readings
    return [name for name, _ in Counter(name for name in readings[by].to_list() if name).most_common(4)]

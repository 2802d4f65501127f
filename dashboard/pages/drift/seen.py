"""The stream that is looked at on page Drift, and what belongs to it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import polars as pl

from analysis.studies.drift.entries import entries_for
from analysis.studies.drift.shift import Shift, shift
from analysis.studies.drift.signals import SHORT_RUN, signals
from analysis.studies.drift.stream_view import StreamSeen, stream_view
from analysis.studies.matters.records import Matter
from analysis.studies.matters.rows import open_matter_of
from dashboard.desk import desk

KEY = ("characteristic", "position", "model", "stage", "tech")


@dataclass(frozen=True)
class Seen:
    """The stream that is looked at, and what belongs to it."""

    row: dict[str, Any]
    view: StreamSeen
    signal: dict[str, Any] | None  # its open signal, the newest
    found: Shift | None
    matter: Matter | None  # the one of its signal, open or ended
    entries: (
        pl.DataFrame
    )  # lines of the bench book about it, oldest first, with `gone` where the signal is no longer there
    now: datetime  # as of, on the shop's clock

    @property
    def key(self) -> dict[str, Any]:
        """The stream's key as options of a study."""
        return {name: str(self.row[name]) for name in KEY}


def look(row: dict[str, Any], tech: str, weeks: int | None, now: datetime) -> Seen:
    """Everything about one stream; UnusableData where it is not there."""
    key: dict[str, Any] = {name: str(row[name]) for name in KEY if name != "tech"} | {"tech": tech}
    view = desk.ask(stream_view, weeks=weeks, **key)
    if (
        not view.young
    ):  # what the short-run chart left open while the stream was young is settled by the stream's own chart
        view = replace(
            view, signals=view.signals.filter((pl.col("chart") != SHORT_RUN) | pl.col("closed_at").is_not_null())
        )
    still = view.signals.filter(pl.col("closed_at").is_null())
    signal = still.sort("opened_at").row(-1, named=True) if len(still) else None
    found = matter = None
    if signal is not None:
        named = {name: signal[name] for name in KEY}
        found = desk.ask(shift, opened_at=signal["opened_at"], **named)
        matter = _matter(signal)
    book = desk.here().snapshot().table("bench_book")
    lines = book.filter(*[pl.col(name) == value for name, value in key.items()]).sort("sequence")
    tied = desk.ask(entries_for).select("sequence", "gone", "now_opened_at")
    return Seen(
        {**row, "tech": tech},
        view,
        signal,
        found,
        matter,
        lines.join(tied, on="sequence", how="left", maintain_order="left"),
        now,
    )


def _matter(signal: dict[str, Any]) -> Matter | None:
    """The matter of an open signal; it may have ended before its charts have closed."""
    judged = desk.ask(signals)
    if judged is None:
        return None
    same = [pl.col(name) == signal[name] for name in (*KEY, "chart", "opened_at")]
    at = judged.found.with_row_index("at").filter(*same)["at"]
    return desk.ask(open_matter_of).get(("found", int(at[0]))) if len(at) else None

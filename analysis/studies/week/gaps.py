"""What stands in the place of a part of the weekly review that could not be worked out: a line, and nothing to show."""

from collections.abc import Callable
from typing import TypeVar

import polars as pl

from analysis.methods.problems import UnusableData
from analysis.studies.drift.actions import ACTIONS
from analysis.studies.drift.states import STREAMS
from analysis.studies.week.slips import SLIPS
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

T = TypeVar("T")
TEXT, COUNT, NUMBER = pl.String(), pl.Int64(), pl.Float64()
NOTHING: dict[str, dict[str, pl.DataType]] = {  # a part of the review -> the columns of its table
    "arrived": {"stage": TEXT, "expected": COUNT, "there": COUNT, "usual": NUMBER, "question": pl.Boolean()},
    "weeks": {
        "week": pl.Date(),
        **dict.fromkeys(("finished", "judged"), COUNT),
        **dict.fromkeys(("rolled_yield", "never_sent_back", "loop_minutes", "loop_cost"), NUMBER),
        **dict.fromkeys(("signals_opened", "set_aside"), COUNT),
    },
    "slips": SLIPS,
    "streams": STREAMS,
    "flows": {
        **dict.fromkeys(("caused_at", "caught_at"), TEXT),
        **{f"{name}{sure}": NUMBER for sure in ("", "_confirmed") for name in ("minutes", "hours", "cost")},
        **dict.fromkeys(("count", "count_confirmed", "stages_back"), COUNT),
    },
    "outside": {
        **dict.fromkeys(("characteristic", "position"), TEXT),
        **dict.fromkeys(("outside", "n"), COUNT),
        **dict.fromkeys(("share", "low", "high"), NUMBER),
    },
    "shipped": {
        **dict.fromkeys(("serial", "model", "why", "characteristic", "position"), TEXT),
        **dict.fromkeys(("value", "lower", "upper"), NUMBER),
        "packed_at": TIME,
    },
    "actions": ACTIONS,
    "bench": {
        **dict.fromkeys(("serial", "model", "standing"), TEXT),
        **dict.fromkeys(("first_seen", "last_seen"), TIME),
        "last_stage": TEXT,
        "days": NUMBER,
    },
}


class Parts:
    """The parts of one review, each worked out by itself: one that fails leaves its line in `gaps`."""

    def __init__(self, snapshot: Snapshot) -> None:
        self.snapshot = snapshot
        self.gaps: dict[str, str] = {}

    def table(
        self, name: str, work: Callable[[], pl.DataFrame], schema: dict[str, pl.DataType] | None = None
    ) -> pl.DataFrame:
        """What `work` gives, or no rows of `schema` (default NOTHING[name])."""
        return self.of(name, work, pl.DataFrame(schema=schema or NOTHING[name]))

    def of(self, name: str, work: Callable[[], T], instead: T) -> T:
        """What `work` gives, or `instead`."""
        try:
            return self.snapshot.tried(work)
        except UnusableData as why:
            self.gaps[name] = str(why)
            return instead

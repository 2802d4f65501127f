"""Where an instrument stands when its card is opened: what it passed, what is due first, what was said of it last.

What is on file comes from the small index of the benches, what was kept since from the cards themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

from dashboard.desk.kept_cards import Kept
from dashboard.sentences import card
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Model, Stage
from ingest.store.at_bench import Seen

BACK = "send back"
NOT_ON_A_ROUTE = ("repair", "rest")  # roles of stages that no instrument has to pass at a bench


@dataclass(frozen=True)
class Last:
    """The last visit of an instrument, wherever it was."""

    stage: str
    at: datetime
    outcome: str
    sent_to: str
    why: str  # faults in words, with where they are
    where: str


@dataclass(frozen=True)
class Whereabouts:
    """One instrument at one bench."""

    shop: Shop
    stage: Stage
    model: Model | None
    seen: Seen | None
    since: list[Kept]  # its cards kept since the index was made, oldest first

    @cached_property
    def passed(self) -> list[str]:
        """The stages with a visit."""
        return [*(self.seen.passed if self.seen else ()), *(one.row["stage"] for one in self.since)]

    @property
    def came_back(self) -> int:
        """How often it was sent back."""
        return (self.seen.came_back if self.seen else 0) + sum(one.row["outcome"] == BACK for one in self.since)

    def route(self) -> list[dict[str, Any]]:
        """The stages of its family in the order of the bench."""
        return [
            {
                "key": one.key,
                "name": self.shop.stage_name(one.key),
                "passed": one.key in self.passed,
                "here": one.key == self.stage.key,
            }
            for one in self._way()
        ]

    def due(self) -> list[str]:
        """What should have happened before this stage: a check that sent it back and has not looked again, and what is
        not on file.
        """
        if self.model is None:
            return []
        order = self.shop.bench_order
        before = [one.key for one in self._way() if order[one.key] < order[self.stage.key]]
        first = next((n for n, key in enumerate(before) if key in self.passed), len(before))
        missing = [key for key in before[first:] if key not in self.passed]
        waits = [key for key in before if key in self._waits()]
        return [card.not_again(self.shop, key) for key in waits] + card.not_on_file(self.shop, missing)

    def sent(self, now: datetime) -> str:
        """Why it is here, or that it was sent elsewhere or goes no further, in one line; '' where nothing is."""
        last = self.last
        if last is None:
            return ""
        if last.outcome == BACK:
            return card.sent(self.shop, last, self.stage.key, now)
        return card.stopped(self.shop, last, now) if last.outcome in card.STANDS else ""

    def further_on(self, now: datetime) -> str:
        """That it stands at a later stage already; '' where it comes as it should, or passes benches again after it
        was sent back.
        """
        last, here, order = self.last, self.stage.key, self.shop.bench_order
        if last is None or self.sent(now) or self._waits() or last.stage not in {one.key for one in self._way()}:
            return ""
        if order[last.stage] <= order[here]:
            return ""
        return card.further_on(self.shop, last, now, again=here in self.passed)

    @cached_property
    def last(self) -> Last | None:
        """Its last visit: of a card kept since, else on file."""
        if self.since:
            one = self.since[-1]
            told = {name: one.row.get(name, "") for name in ("stage", "outcome", "sent_back_to", "fault", "fault_at")}
            return Last(told["stage"], one.at, told["outcome"], told["sent_back_to"], told["fault"], told["fault_at"])
        seen = self.seen
        return (
            Last(seen.last_stage, seen.last_at, seen.last_outcome, seen.sent_to, seen.why, seen.where) if seen else None
        )

    def _waits(self) -> set[str]:
        """Stages that sent it back and have not had it since."""
        waits = set(self.seen.waits if self.seen else ())
        for one in self.since:
            (waits.add if one.row["outcome"] == BACK else waits.discard)(one.row["stage"])
        return waits

    def _way(self) -> list[Stage]:
        family = self.model.family if self.model else ""
        return [one for one in self.shop.stages if one.holds_for(family) and one.role not in NOT_ON_A_ROUTE]

"""Cards that were kept in the last days, read from the sheets they stand in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

from ingest.reading.card_sheet import CARD
from ingest.verbs import cards as sheets

DAYS = 4  # of cards looked at beside the index: a weekend and a day


@dataclass(frozen=True)
class Kept:
    """A card that was kept, as it stands in its sheet."""

    sheet: str
    row: dict[str, str]
    at: datetime

    @property
    def card(self) -> str:
        """Its own number."""
        return self.row.get(CARD, "")


def last_days(folder: Path, zone: tzinfo, clock: Callable[[], datetime]) -> list[Kept]:
    """Cards kept in the last days, oldest first. zone : the shop's; clock : what time it is."""
    first = clock().astimezone(zone).date() - timedelta(days=DAYS)
    found = [Kept(sheet, row, time_of(row["finished_at"], clock())) for sheet, row in sheets.rows_since(folder, first)]
    return sorted(found, key=lambda one: one.at)


def time_of(text: str, otherwise: datetime) -> datetime:
    """A time as a card writes it, in UTC where it says no zone; `otherwise` where it cannot be read."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return otherwise
    return at if at.tzinfo else at.replace(tzinfo=UTC)

"""Cards that were kept in the last days, read from the sheets they stand in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

from ingest.reading.card_sheet import CARD
from ingest.verbs import cards as sheets

MONTH = 31 * 86_400.0  # seconds that a card may have waited on a tablet
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


def when(given: dict[str, Any], now: datetime) -> tuple[datetime, datetime | None]:
    """When a card was kept, and begun where its tablet alone knows: by how long ago that is, which a clock that is
    wrong tells as well as one that is right.
    """
    finished = now - timedelta(seconds=_seconds(given.get("waited")))
    took = given.get("took")
    return finished, None if took is None else finished - timedelta(seconds=_seconds(took))


def clock_off(given: dict[str, Any], now: datetime) -> float:
    """Seconds that a tablet's clock stands ahead of this machine's; 0 under a minute, or where it does not say."""
    told: Any = given.get("clock")
    sound = isinstance(told, int | float) and not isinstance(told, bool) and abs(told) < 1e11
    off = float(told or 0) - now.timestamp() if sound else 0.0
    return round(off) if abs(off) >= 60 else 0


def whole_number(value: Any) -> int:
    """A count as a page sends it; 0 of anything else."""
    return value if isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 100_000 else 0


def _seconds(value: Any) -> float:
    """A time that has passed; 0 of what cannot be one, a month at most."""
    sound = isinstance(value, int | float) and not isinstance(value, bool) and value == value
    return min(max(float(value), 0.0), MONTH) if sound else 0.0

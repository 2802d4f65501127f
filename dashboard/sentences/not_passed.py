"""What was put right on the spot, or refused for good, more often than before, as findings of a week."""

from __future__ import annotations

from typing import Any

from analysis.review import Review
from analysis.studies.week.not_passed import FIXED, REFUSED
from dashboard import numbers
from dashboard.address import address
from dashboard.sentences.shared import Sentence
from ingest.shopfiles.shop import Shop

MOST = 2  # findings of a week
FIRST = 0.05  # of those tried were refused: nothing else of a week costs as much


def not_passed(found: Review, shop: Shop) -> tuple[list[Sentence], list[Sentence]]:
    """Findings that come before all else of a week, where many were refused, and those that do not."""
    rows = found.not_passed.head(MOST).rows(named=True)
    first = [row for row in rows if row["kind"] == REFUSED and row["count"] >= FIRST * row["of"]]
    lots = [_lot(row, shop, found) for row in found.refused_lots.head(MOST).iter_rows(named=True)]
    then = [_said(row, shop, found) for row in rows if row not in first]
    return [_said(row, shop, found) for row in first], lots + then


def in_short(found: Review) -> str:
    """`at one stage more did not pass than before`."""
    n = found.not_passed["stage"].n_unique()
    return f"at {numbers.in_words(n)} {'stage' if n == 1 else 'stages'} more did not pass than before"


def _said(row: dict[str, Any], shop: Shop, found: Review) -> Sentence:
    stage = shop.stage_name(row["stage"])
    here = numbers.of(row["count"], row["of"])
    fixed = row["kind"] == FIXED
    lead = f"{stage}: {here} instruments {'put right on the spot' if fixed else 'did not pass'}"
    since = numbers.day(row["since"], found.last_day)
    whole = row["later"] > row["count"]
    now = f"since the week of {since} {_many(row['later'], row['of_later'])}, " if whole else ""
    rest = f"; {now}before {_many(row['earlier'], row['of_earlier'])}."
    why = [
        "" if fixed else "Rejects and seconds, which no send-back counts.",
        f"Most with {row['fault']}." if row["fault"] else "",
        f"{numbers.hours_of(row['minutes'])} more than if they had passed."
        if row["minutes"] and row["minutes"] > 0
        else "",
    ]
    link = address("/rework", weeks=1, week=found.week)
    word = "put right" if fixed else "refused"
    return Sentence("came-back", word, lead, rest, " ".join(part for part in why if part), link, "Rework")


def _lot(row: dict[str, Any], shop: Shop, found: Review) -> Sentence:
    whose = f" of {row['supplier']}" if row["supplier"] else ""
    here = numbers.of(row["count"], row["of"])
    lead = f"Lot {row['lot']}{whose}: {here} did not pass {shop.stage_name(row['stage']).lower()}"
    rest = f"; of all other lots {_many(row['others'], row['of_others'])}."
    why = f"Most with {row['fault']}." if row["fault"] else ""
    link = address("/rework", weeks=1, week=found.week)
    return Sentence("in-doubt", "refused", lead, rest, why, link, "Rework")


def _many(count: int, size: int) -> str:
    return f"{numbers.of(count, size)} ({numbers.share(count / size, 100) if size else numbers.NONE})"

"""What a card says to whoever stands at a bench, in one quiet line each: what moved, what lies outside or far from what
is usual, and what to do about it. Outside what is one's own nobody is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any, Protocol

from analysis.studies.matters.records import Matter
from dashboard import numbers
from dashboard.sentences import matters, shared
from ingest.shopfiles.shop import Shop

FIRST = "First look at: "
MOST_NAMED = 3  # stages named of those that are not on file
STANDS = {  # outcomes after which an instrument goes no further, in words
    "hold": "put it on hold",
    "reject": "rejected it",
    "second": "made it a second",
    "pulled": "pulled it",
    "return": "took it in as a return",
}


class Visit(Protocol):
    """What is told of an instrument's last visit."""

    @property
    def stage(self) -> str: ...  # noqa: D102
    @property
    def at(self) -> datetime: ...  # noqa: D102
    @property
    def sent_to(self) -> str: ...  # noqa: D102
    @property
    def outcome(self) -> str: ...  # noqa: D102
    @property
    def why(self) -> str: ...  # noqa: D102
    @property
    def where(self) -> str: ...  # noqa: D102


def moved(matter: Matter, shop: Shop, now: date) -> str:
    """`Action treble on HERON-OM has stood about 0.3 mm higher since 11 Nov. First look at: saddle blank.`"""
    key = matter.characteristics[0]
    size = shared.amount(shop, key, abs(matter.size or 0.0), mean=True)
    way = "higher" if (matter.size or 0.0) >= 0 else "lower"
    since = numbers.day(shared.local(shop, matter.began_at or matter.opened_at), now)
    whose = "Of your own: " if matter.only_some else ""
    what = matters.name(matter, shop)
    what = what[:1].lower() + what[1:] if whose and not what[1:2].isupper() else what
    return f"{whose}{what} has stood about {size} {way} since {since}. {to_do(matter)}"


def to_do(matter: Matter) -> str:
    """What to look at first; without anything in shop.toml, the gauge before the work."""
    return f"{FIRST}{matter.check[0]}." if matter.check else "Look at the gauge first, then at what changed that day."


def outside(shop: Shop, row: dict[str, Any]) -> str:
    """`Action bass was outside at bridge fitting: 2.90 mm, asked 2.10 to 2.70 mm.`"""
    what = shared.characteristic(shop, row["characteristic"], row["position"])
    value = shared.amount(shop, row["characteristic"], row["value"])
    ends = [None if row[name] is None else shared.amount(shop, row["characteristic"], row[name])
            for name in ("lower", "upper")]  # fmt: skip
    asked = f"at most {ends[1]}" if ends[0] is None else f"at least {ends[0]}" if ends[1] is None else " to ".join(
        end for end in ends if end
    )  # fmt: skip
    where = shop.stage_name(row["stage"]).lower()
    return f"{what} was outside at {where}: {value}, asked {asked}. Measure it before you pass it on."


def odd(shop: Shop, row: dict[str, Any]) -> str:
    """`Action bass was far from what is usual at bridge fitting: 3.10 mm. Measure it again.`"""
    what = shared.characteristic(shop, row["characteristic"], row["position"])
    value = shared.amount(shop, row["characteristic"], row["value"])
    return f"{what} was far from what is usual at {shop.stage_name(row['stage']).lower()}: {value}. Measure it again."


def not_on_file(shop: Shop, stages: Sequence[str]) -> list[str]:
    """`Not on file: Head re-tension, planned`; of many the first ones and a count."""
    if not stages:
        return []
    more = f" and {len(stages) - MOST_NAMED} more" if len(stages) > MOST_NAMED else ""
    return [f"Not on file: {'; '.join(shop.stage_name(key) for key in stages[:MOST_NAMED])}{more}"]


def not_again(shop: Shop, stage: str) -> str:
    """`Play test sent it back and has not had it since`."""
    return f"{shop.stage_name(stage)} sent it back and has not had it since"


def sent(shop: Shop, last: Visit, here: str, now: datetime) -> str:
    """`Play test sent it here on 23 Nov: open-string buzz, 2 fret 3.`, or where it was sent."""
    why = ", ".join(part for part in (last.why, last.where) if part)
    who, day = shop.stage_name(last.stage), _day(shop, last, now)
    told = f": {why}" if why else ""
    if last.sent_to == here:
        return f"{who} sent it here on {day}{told}."
    if last.stage == here:
        return f"It was sent back from here on {day}{told}; no other bench has had it since."
    to = shop.stage_name(last.sent_to) if last.sent_to in shop.by_stage else ""
    if to:
        return f"{who} sent it to {to} on {day}{told}. {to} has not had it yet."
    return f"{who} sent it back on {day}{told}."


def stopped(shop: Shop, last: Visit, now: datetime) -> str:
    """`Play test put it on hold on 23 Nov.`"""
    return f"{shop.stage_name(last.stage)} {STANDS[last.outcome]} on {_day(shop, last, now)}."


def further_on(shop: Shop, last: Visit, now: datetime, *, again: bool) -> str:
    """`It stands further on: Packing had it on 24 Nov. It was at this bench before.`"""
    before = " It was at this bench before; this is another visit." if again else ""
    return f"It stands further on: {shop.stage_name(last.stage)} had it on {_day(shop, last, now)}.{before}"


def _day(shop: Shop, last: Visit, now: datetime) -> str:
    return numbers.day(last.at.astimezone(shop.zone), now)

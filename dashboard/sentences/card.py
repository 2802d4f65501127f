"""What a card says to whoever stands at a bench, in one quiet line each: what moved, what lies outside or far from what
is usual, and what to do about it. Outside what is one's own nobody is named.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from analysis.studies.matters.records import Matter
from dashboard import numbers
from dashboard.sentences import matters, shared
from ingest.shopfiles.shop import Shop

FIRST = "First look at: "


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

"""One instrument's story in words: its way over the bench, and each send-back."""

from collections.abc import Sequence
from typing import Any

import polars as pl

from analysis.studies.story.lookup import Life
from dashboard import numbers
from dashboard.sentences import rework, shared
from ingest.shopfiles.shop import Shop

VALUES = 5  # values of one reading in words; of more the first and the last two
STANDING = {
    "finished": "finished",
    "reject": "rejected",
    "second": "sold as a second",
    "pulled": "pulled",
    "hold": "on hold",
    "lost": "not seen for 30 days",
    "bench": "on the bench",
}


def headline(found: Life, shop: Shop, *, untold: bool = False) -> str:
    """Where it stands, and what it was shipped with: `HO-24343: finished, shipped outside its limits at intonation
    string 2 and string 5.` untold: it was sent back, and no log tells whether it came back.
    """
    row = found.instrument
    if untold:
        return f"{row['serial']}: sent back; no log tells whether it came back."
    said = f"{row['serial']}: {STANDING.get(str(row['standing']), str(row['standing']))}"
    if row["standing"] != "finished":
        return f"{said}."
    if row["first_final_visit"] is None:
        return f"{said}, no final inspection on file."
    places = shared.places(shop, found.outside.rows())
    return f"{said}, shipped outside its limits at {numbers.listed(places)}." if places else f"{said}."


def values(shop: Shop, key: str, read: Sequence[float], limit: float | None) -> str:
    """One reading's values in time order, the last with its unit: `−6.0, 7.0, then 7.0 cents, limit 5.0`. limit: the
    one that the last lies beyond; None where it lies within.
    """
    *before, last = (shared.amount(shop, key, value) for value in read)
    beyond = ""
    if limit is not None:
        last, asked = shared.apart(shop, key, read[-1], limit)
        beyond = f", limit {asked.partition(numbers.NBSP)[0]}"
    bare = [one.partition(numbers.NBSP)[0] for one in before]
    first = f"{bare[0]} .. {bare[-1]}" if len(bare) >= VALUES else ", ".join(bare)
    said = f"{first}, then {last}" if first else last
    return f"{said}{beyond}"


def walk(found: Life) -> str:
    """One instrument's way in a sentence: benches, days, send-backs, and what is outside at last."""
    visits = found.visits
    days = (visits["day"].max() - visits["day"].min()).days + 1  # type: ignore[operator, union-attr]
    stages = visits["stage"].n_unique()
    back, work = len(found.loops), float(found.loops["minutes"].sum() or 0.0)
    sent = "never sent back"
    if back:
        times = "once" if back == 1 else "twice" if back == 2 else f"{numbers.in_words(back)} times"
        sent = f"sent back {times}, {numbers.hours_of(work)} of work"
    read = found.readings.filter(pl.col("value").is_not_null())
    latest = read.unique(["characteristic", "position"], keep="last", maintain_order=True)
    out = int(latest["outside"].fill_null(False).sum())
    left = f"; {numbers.of(out, len(latest))} readings outside at last" if len(latest) else "; no reading on file"
    over = "in one day" if days == 1 else f"in {numbers.count(days)} days"
    return f"{numbers.count(stages)} {'bench' if stages == 1 else 'benches'} {over}, {sent}{left}."


def loop(row: dict[str, Any], shop: Shop) -> str:
    """One send-back: from where to where, the work it took, how long it was away."""
    to = rework.named(shop, row["caused_at"]).lower()
    sure = "" if row["confirmed"] else ", not confirmed"
    if row["open"] and not row["minutes"]:
        away = numbers.plain(row["hours"] / 24, 1)
        return f"{rework.named(shop, row['caught_at'])} back to {to}{sure}: there since {away} days, no work on it yet"
    still = ", still open" if row["open"] else ""
    return (
        f"{rework.named(shop, row['caught_at'])} back to {to}{sure}: {numbers.hours_of(row['minutes'])} of work, "
        f"{numbers.plain(row['hours'] / 24, 1)} days away{still}"
    )

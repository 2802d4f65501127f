"""One instrument's story in words: its way over the bench, and each send-back."""

from typing import Any

import polars as pl

from analysis.studies.story.lookup import Life
from dashboard import numbers
from dashboard.sentences import rework
from ingest.shopfiles.shop import Shop


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
    still = ", still open" if row["open"] else ""
    return (
        f"{rework.named(shop, row['caught_at'])} back to {to}{sure}: {numbers.hours_of(row['minutes'])} of work, "
        f"{numbers.plain(row['hours'] / 24, 1)} days away{still}"
    )

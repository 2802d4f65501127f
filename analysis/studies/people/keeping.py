"""How long figures of one person are shown: [people] keep_months after their last visit, then nothing of theirs stands
by itself.

Their work goes on counting where no person is told apart (limits, yields, what the others would give), until `forget`
takes the name out.
"""

from datetime import date

import polars as pl

from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot


def past_keeping(snapshot: Snapshot) -> dict[str, date]:
    """Techs of shop.toml whose last visit lies more than keep_months before as_of, with its local day, in the order of
    shop.toml.
    """
    shop = snapshot.shop
    zone = shop.shop.timezone
    last = (
        snapshot.once(story)
        .visits.group_by("tech")
        .agg(pl.col("taken_at").max().dt.convert_time_zone(zone).alias("last"))
    )
    until = pl.lit(snapshot.as_of).dt.convert_time_zone(zone).dt.offset_by(f"-{shop.people.keep_months}mo")
    gone = dict(last.filter(pl.col("last") < until).select("tech", pl.col("last").dt.date()).iter_rows())
    return {person.key: gone[person.key] for person in shop.techs if person.key in gone}

"""Who works here now and stands in no list: their work is on nobody's Bench until shop.toml names them."""

from datetime import timedelta

import polars as pl

from analysis.studies.story.of_visits import SEVERAL
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

OF_LATE = timedelta(weeks=8)  # who wrote no row since then works here no more
UNLISTED: dict[str, pl.DataType] = {
    "tech": pl.String(),  # as typed
    "visits": pl.Int64(),  # all of theirs
    "first_day": pl.Date(),
}


def unlisted(snapshot: Snapshot) -> pl.DataFrame:
    """UNLISTED: names of the logs that shop.toml does not list and that stand in a visit of the last eight weeks, those
    of most visits first; none where shop.toml lists nobody, and none of a cell with several names.
    """
    if not snapshot.shop.techs:
        return pl.DataFrame(schema=UNLISTED)
    listed = [person.key for person in snapshot.shop.techs]
    visits = snapshot.once(story).visits
    here = visits.select("tech", late=pl.col("taken_at") >= snapshot.as_of - OF_LATE).filter("late")["tech"].unique()
    word = here.cast(pl.String)
    names = here.filter((word != "") & ~word.is_in(listed) & ~word.str.contains(SEVERAL))
    rows = (
        visits.select("tech", "day")
        .filter(pl.col("tech").is_in(names.implode()))
        .group_by("tech")
        .agg(visits=pl.len(), first_day=pl.col("day").min())
    )
    return (
        tables.plain(rows)
        .sort("visits", "tech", descending=[True, False])
        .select(pl.col(name).cast(kind) for name, kind in UNLISTED.items())
    )

"""Slips among the readings as set are nobody's spread and nobody's mean, until somebody corrects them: they are left
out and counted.
"""

import polars as pl

from analysis.studies.people.alone import all_theirs
from analysis.studies.story.conformity import SET, as_set_at_bench, judged_where_read
from analysis.studies.story.slips import slips
from ingest.store.snapshot import Snapshot


def set_by_people(snapshot: Snapshot) -> pl.DataFrame:
    """What people are held against: the rows of `as_set`, and of what no final inspection reads those of the bench
    that sets it; in a shop of one all of it is theirs.
    """
    return all_theirs(snapshot, judged_where_read(snapshot, SET))


def at_bench_alone(snapshot: Snapshot) -> frozenset[str]:
    """Characteristics that no final inspection reads: people are held by what was read at the bench that sets them."""
    return frozenset(as_set_at_bench(snapshot)["characteristic"].cast(pl.String).unique())


def near_and_far(snapshot: Snapshot) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The rows of `set_by_people` without those left out, in its order; and those left out."""
    readings = set_by_people(snapshot)
    odd = pl.Series(slips(snapshot.shop, readings), dtype=pl.Boolean)
    return readings.filter(~odd), readings.filter(odd)


def near(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `set_by_people` without those left out."""
    return snapshot.once(near_and_far)[0]


def far(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `set_by_people` that are left out."""
    return snapshot.once(near_and_far)[1]

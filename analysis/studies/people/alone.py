"""A shop of one pair of hands: whatever is read there one person set, and whatever comes back is theirs to look at."""

from dataclasses import dataclass

import polars as pl

from analysis.studies.story.of_visits import ELSEWHERE
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot

*NOT_OURS, UNKNOWN = ELSEWHERE


@dataclass(frozen=True)
class Back:
    """What came back in a shop of one."""

    judged: int  # instruments
    came_back: int  # of these, at least once, but for what a supplier or handling caused
    by_cause: list[tuple[str, int]]  # stage, or unknown, and send-backs; most first


def lone(snapshot: Snapshot) -> str:
    """The only tech of the shop, where nobody else signed a visit; '' elsewhere."""
    people = [person.key for person in snapshot.shop.techs]
    if len(people) != 1:
        return ""
    signed = {name for name in snapshot.once(story).visits["tech"].cast(pl.String).unique().to_list() if name}
    return people[0] if signed == {people[0]} else ""


def all_theirs(snapshot: Snapshot, readings: pl.DataFrame) -> pl.DataFrame:
    """Readings of a shop of one with `set_by` and `set_stage` where the shop says no bench that sets them, or no visit
    there is on file: set by the only tech, where they are read. The same rows in any other shop.
    """
    tech = snapshot.once(lone)
    if not tech:
        return readings
    by, at = readings["set_by"].dtype, readings["set_stage"].dtype
    here = pl.when(pl.col("set_stage").cast(pl.String) == "").then(pl.col("stage").cast(pl.String))
    return readings.with_columns(
        set_by=pl.lit(tech).cast(by), set_stage=here.otherwise(pl.col("set_stage").cast(pl.String)).cast(at)
    )


def came_back(snapshot: Snapshot) -> Back:
    """What came back in round 1 of judged instruments, whoever it is charged to."""
    told = snapshot.once(story)
    judged = told.instruments.filter("judged")["serial"]
    loops = told.loops.filter(
        (pl.col("round") == 1) & pl.col("serial").is_in(judged.implode()) & ~pl.col("caused_at").is_in(NOT_OURS)
    )
    causes = (
        loops.group_by(pl.col("caused_at").cast(pl.String)).len().sort("len", "caused_at", descending=[True, False])
    )
    return Back(len(judged), loops["serial"].n_unique(), causes.rows())

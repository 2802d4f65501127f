"""Who tried each instrument at the stage that catches most of what comes back: the tester is part of the mix.

Whoever judged the instrument in the end need not be the one who sends back: where a play test catches what the nut did,
the play tester counts, and one who takes over or grows stricter is no fault of whoever's work they get.
"""

import polars as pl

from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

NEARLY_ALL = 0.98  # of the instruments never sent back


def who_tried(snapshot: Snapshot) -> pl.DataFrame:
    """A row a judged instrument and stage at which something was caused in round 1: serial, stage, tester, caught_at.

    tester : who first tried it, in round 1, at the stage that sent most instruments back to this one; where nobody
    stands there, or only what came back is written down there, who judged it, and caught_at, that stage, is ''.
    """
    told = snapshot.once(story)
    judged = told.instruments.filter("judged")
    who = pl.Series("_judge", told.visits["tech"].gather(judged["judged_visit"]).cast(pl.String).fill_null(""))
    whole = tables.plain(judged.select("serial", who))
    loops = told.loops.filter(pl.col("round") == 1)
    catches = (
        tables.plain(loops.select("serial", pl.col("caused_at").alias("stage"), "caught_at"))
        .filter(pl.col("caught_at") != "")
        .group_by("stage", "caught_at")
        .agg(pl.col("serial").n_unique().alias("n"))
        .sort("stage", "n", "caught_at", descending=[False, True, False])
        .unique("stage", keep="first", maintain_order=True)
    )
    visits = told.visits.filter((pl.col("round") == 1) & pl.col("first_pass"))
    first = tables.plain(visits.select("serial", pl.col("stage").alias("caught_at"), "tech")).unique(
        ["serial", "caught_at"], keep="first", maintain_order=True
    )
    first = first.join(_written(whole, loops, first), on="caught_at", how="semi", maintain_order="left")
    pairs = whole.join(catches.select("stage", "caught_at"), how="cross", maintain_order="left_right")
    found = pairs.join(first, on=["serial", "caught_at"], how="left", maintain_order="left")
    tried = pl.when(pl.col("tech").fill_null("") != "")
    where = tried.then("caught_at").otherwise(pl.lit(""))
    return found.select("serial", "stage", tester=tried.then("tech").otherwise("_judge"), caught_at=where)


def _written(whole: pl.DataFrame, loops: pl.DataFrame, first: pl.DataFrame) -> pl.DataFrame:
    """`caught_at` of the stages at which instruments never sent back stand too, nearly all of them: where only what
    came back is written down, a tester's name says no more than that it did.
    """
    through = whole.filter(~pl.col("serial").is_in(tables.plain(loops.select("serial"))["serial"].implode()))
    seen = first.filter(pl.col("tech") != "").join(through, on="serial", how="semi")
    many = seen.group_by("caught_at").len()
    return many.filter(pl.col("len") >= NEARLY_ALL * len(through), pl.col("len") > 0).select("caught_at")

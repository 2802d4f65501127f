"""Did the data arrive: rows of each stage against the instruments that should have passed it, and which week can be
reviewed.
"""

from datetime import date, timedelta

import numpy as np
import polars as pl
from scipy.special import bdtr

from analysis.studies.story.calendar import closed_days, first_day, working_weekdays
from analysis.studies.story.scope import visits_judged
from analysis.studies.story.story import story
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

USUAL_WEEKS = 13
RARE = 0.001  # fewer rows than the usual share gives so rarely
MISSING = 0.1  # and at least so much below the usual share: a question


def review_week(snapshot: Snapshot) -> date | None:
    """First day of the week under review: the last that is over, by its readings. A week is over once its final working
    day has some, or a later week has: who measures a few a week has none on many a Friday. Else the only one; None
    without any.
    """
    days, shop = snapshot.once(story).days, snapshot.shop
    visited, with_readings = days.filter("visited"), set(days.filter("read")["day"])
    if not with_readings:
        return None if visited.is_empty() else visited["week"].max()  # type: ignore[return-value]
    worked = working_weekdays(visited)
    weeks = sorted({first_day(day, shop) for day in with_readings}, reverse=True)
    last = final_working_day(weeks[0], worked, shop)
    return weeks[0] if last in with_readings or len(weeks) == 1 else weeks[1]


def final_working_day(week: date, weekdays: set[int], shop: Shop) -> date | None:
    """The last day of a week on which the shop works; None where it is closed all week."""
    closed = set(closed_days(shop.calendar).tolist())
    for back in range(6, -1, -1):
        day = week + timedelta(days=back)
        if day.weekday() in weekdays and (day - date(1970, 1, 1)).days not in closed:
            return day
    return None


def arrived(snapshot: Snapshot, *, week: date) -> pl.DataFrame:
    """A row a stage: of the instruments judged in `week` whose family passes it, how many have a visit there.

    stage, expected, there, usual (share over the thirteen weeks before, null where there are none), question Bool
    (fewer than usual by more than chance: a sheet may be missing).
    """
    told, shop = snapshot.once(story), snapshot.shop
    judged = told.instruments.filter(
        pl.col("judged") & (pl.col("week") <= week) & (pl.col("week") >= week - timedelta(weeks=USUAL_WEEKS))
    )
    route = pl.DataFrame(
        [
            (family, stage.key, place)
            for place, stage in enumerate(shop.stages)
            if stage.role not in ("repair", "rest")
            for family in sorted({*shop.families.values(), ""})
            if stage.holds_for(family)
        ],
        schema={"family": pl.String(), "stage": pl.String(), "place": pl.Int64()},
        orient="row",
    )
    seen = tables.plain(visits_judged(snapshot, judged, "stage").unique()).with_columns(there=pl.lit(True))
    rows = (
        judged.select("serial", "family", "week")
        .join(route, on="family")
        .join(seen, on=["serial", "stage"], how="left")
        .with_columns(pl.col("there").fill_null(False), now=pl.col("week") == week)
        .group_by("place", "stage")
        .agg(
            pl.col("now").sum().cast(pl.Int64).alias("expected"),
            (pl.col("there") & pl.col("now")).sum().cast(pl.Int64).alias("there"),
            pl.col("there").filter(~pl.col("now")).mean().alias("usual"),
        )
        .sort("place")
    )
    usual = rows["usual"].fill_null(0.0).to_numpy()
    few = bdtr(rows["there"].to_numpy(), rows["expected"].to_numpy().clip(1), np.clip(usual, 0, 1)) < RARE
    share = rows["there"].to_numpy() / rows["expected"].to_numpy().clip(1)
    return rows.with_columns(
        question=pl.Series((rows["expected"].to_numpy() > 0) & few & (share < usual - MISSING))
    ).drop("place")

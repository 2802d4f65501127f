"""First work held against first work: of the instruments that a tech set first how many came back, against those that
would have by the others on the same mix. And the latter half of it alone.

`charged` of the figures counts send-backs, an instrument's second and third too, and those of whoever repaired it;
beside what is expected of first work all who repair would stand out. So a page tells first work, and repairs apart.
Whoever is found to have more come back than chance and mix explain is no yardstick for the others there, as in
`set_spread`; in the table `techs` of the figures neither, so that file and page expect the same.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from analysis.methods.funnel import LEVEL, chance_limits
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats
from analysis.studies.people.same_mix import expected
from analysis.studies.people.techs import TECHS, charged, counted, exposure, flag_level, held_against, named, unrest
from analysis.studies.story.outcomes import causes_read, outcome_read
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

REPLACED = ("expected", "expected_sd", "low", "high")


@dataclass(frozen=True)
class Late:
    """First work of a tech in the latter half of what they did at a stage."""

    since: date
    judged: int
    came_back: int
    expected: float
    over: bool  # not more than chance and mix explain, and less beyond doubt than over all of it


def first_work(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `techs.people` where ratio and all that goes with it are of judged instruments that came back,
    against those expected from the others who are not found to have more come back (from all, where there are none).

    more and p_more : by everybody's visits, as in `techs.people`. not_held : how many others are left out of the
    comparison. repairs : visits to put right what had come to the stage before, of judged instruments, round 1;
    repairs_back : send-backs charged to one of these.
    """
    held = held_against(snapshot.once(_expected), "came_back")
    return _repairs(snapshot, held.with_columns(held_against(snapshot.once(counted), "came_back")["more"]))


def tech_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`techs` of the figures: a row a stage and tech, in bench order.

    visits : round-1 visits of the tech at the stage; judged : the exposure; minutes_median : of first-pass visits.
    expected : as in `first_work`; ratio and its bounds : charged over it; outside_funnel : of first work, as on Bench.
    charged and all that follows are null where no log tells of outcomes or causes; expected, ratio and its bounds where
    nobody else does this work (`same_mix`); ratio and what follows also where nothing is expected.
    """
    rows = held_against(snapshot.once(_expected), "charged")
    rows = rows.with_columns(snapshot.once(first_work)["outside_funnel"]).select(TECHS.keys())
    if causes_read(snapshot) and (rows.is_empty() or snapshot.once(outcome_read).any()):
        return rows
    unknown = ("charged", "expected", "ratio", "ratio_low", "ratio_high", "outside_funnel")
    return rows.with_columns(pl.lit(None, dtype=TECHS[name]).alias(name) for name in unknown)


def _expected(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `counted` with what is expected by those who are not found to have more come back."""
    rows = snapshot.once(counted)
    plain = held_against(rows, "came_back")
    found = plain.filter(pl.col("more").fill_null(False) & (pl.col("ratio_low") >= 1)).select("stage", "tech")
    return _without(rows, found, snapshot.once(exposure))


def _without(rows: pl.DataFrame, found: pl.DataFrame, work: pl.DataFrame) -> pl.DataFrame:
    """Rows of `counted` with REPLACED by what the others give who are not among those found; and not_held."""
    told_of = {"stage": pl.String(), "tech": pl.String(), **dict.fromkeys(REPLACED, pl.Float64())}
    parts = [pl.DataFrame(schema=told_of | {"not_held": pl.Int64()})]
    for (stage,), away in found.partition_by("stage", as_dict=True, maintain_order=True).items():
        off = away["tech"].to_list()
        here = work.filter(pl.col("stage") == stage)
        good = here.filter(~pl.col("tech").is_in(off))
        if good.is_empty():
            continue
        asked = [(good, sorted(good["tech"].unique().to_list()), len(off))]
        asked += [(pl.concat([good, here.filter(pl.col("tech") == tech)]), [tech], len(off) - 1) for tech in off]
        for some, people, not_held in asked:
            told = expected(some, people)
            columns = (told.count, np.sqrt(told.variance), told.low, told.high)
            parts.append(
                pl.DataFrame(
                    {"stage": [stage] * len(people), "tech": people, **dict(zip(REPLACED, columns, strict=True))}
                ).with_columns(pl.col(REPLACED).fill_nan(None), not_held=pl.lit(not_held, dtype=pl.Int64))
            )
    new = pl.concat(parts).filter(pl.col("expected") > 0)
    both = rows.join(new, on=["stage", "tech"], how="left", suffix="_new", maintain_order="left")
    known = pl.col("expected_new").is_not_null()
    return both.with_columns(
        *(pl.when(known).then(pl.col(f"{name}_new")).otherwise(pl.col(name)).alias(name) for name in REPLACED),
        pl.col("not_held").fill_null(0),
    ).drop([f"{name}_new" for name in REPLACED])


def _repairs(snapshot: Snapshot, rows: pl.DataFrame) -> pl.DataFrame:
    told = snapshot.once(story)
    judged = told.instruments.filter("judged").select("serial")
    again = named(told.visits.filter((pl.col("round") == 1) & ~pl.col("first_pass")))
    done = tables.plain(again.join(judged, on="serial", how="semi").select("stage", "tech"))
    sent = charged(snapshot)
    first = told.visits["first_pass"].gather(sent["charged_visit"]).fill_null(True)
    back = sent.filter(~first).select(pl.col("caused_at").alias("stage"), pl.col("charged").alias("tech"))
    for name, some in (("repairs", done), ("repairs_back", back)):
        many = some.group_by("stage", "tech").agg(pl.len().cast(pl.Int64).alias(name))
        rows = rows.join(many, on=["stage", "tech"], how="left", maintain_order="left")
    return rows.with_columns(pl.col("repairs", "repairs_back").fill_null(0))


def of_late(snapshot: Snapshot, *, stage: str, tech: str) -> Late | None:
    """The latter half of a tech's first work at a stage against the others' on the same mix; None where nothing is
    expected of it.
    """
    row = next(snapshot.once(first_work).filter(stage=stage, tech=tech).iter_rows(named=True), None)
    days = snapshot.once(story).visits["day"]
    here = snapshot.once(exposure).filter(pl.col("stage") == stage)
    here = here.with_columns(day=days.gather(here["visit"]))
    own = here.filter(pl.col("tech") == tech)
    since = own["day"].sort().item(own.height // 2) if own.height else None
    if row is None or row["ratio"] is None or since is None:
        return None
    found = expected(here.filter((pl.col("tech") != tech) | (pl.col("day") >= since)), [tech])
    if not found.count[0] > 0:
        return None
    late = own.filter(pl.col("day") >= since)
    level = pl.select(flag_level(pl.lit(found.count[0]), pl.lit(found.variance[0]))).item()
    over = bool(found.p_more[0] >= level and found.high[0] < row["ratio"])
    return Late(since, late.height, int(late["came_back"].sum()), float(found.count[0]), over)


def funnel_curve(snapshot: Snapshot, *, stage: str, tech: str, points: int = 60) -> tuple[Floats, Floats, Floats]:
    """The funnel that one tech's ratio of first work at a stage is judged by: expected counts (points,) up to the
    stage's largest, and its limits there.

    The expectation is taken as known as well as it is for this tech, so that the curve passes through their own limits.
    UnusableData where nothing is expected of them.
    """
    rows = snapshot.once(first_work).filter(pl.col("expected").fill_null(0.0) > 0)
    own = rows.filter((pl.col("stage") == stage) & (pl.col("tech") == tech))
    if own.is_empty():
        raise UnusableData(
            f"nothing came back to the others at {snapshot.shop.stage_name(stage)}, or nobody else worked there; "
            "there is no funnel"
        )
    wanted, variance = rows["expected"].to_numpy(), rows["expected_sd"].to_numpy() ** 2
    at = rows.filter(pl.col("stage") == stage)["expected"].max()
    grid = np.linspace(0.25, max(float(at) * 1.2, 1.0), points)  # type: ignore[arg-type]
    low, high = chance_limits(grid, LEVEL)
    doubt = 1 + float(own["expected_sd"][0]) ** 2 / float(own["expected"][0])
    spread = float(np.sqrt(doubt * unrest(rows["came_back"].to_numpy().astype(np.float64), wanted, variance)))
    return grid, np.maximum(1 - (1 - low) * spread, 0.0), 1 + (high - 1) * spread

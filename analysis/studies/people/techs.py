"""Work charged to a tech, stage by stage, against what the others would give on the same mix of models, lots, weeks and
inspectors.

Exposure: a tech's first-pass visits of judged instruments, round 1. Charged: send-backs caused at that stage whose last
visit there before them was the tech's. Not charged: what came from a supplier or from nobody known, relief on an
instrument without a rod, and visits that bear two names.
"""

from datetime import date

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.funnel import LEAST_UNITS, LEVEL, chance_limits, shrunk, winsorized
from analysis.methods.segments import Floats
from analysis.methods.uncertain_ratio import ratio_mid_p
from analysis.studies.people.same_mix import MIX, expected
from analysis.studies.people.who_tried import who_tried
from analysis.studies.story.of_visits import SEVERAL
from analysis.studies.story.story import story
from analysis.studies.story.unlisted import OF_LATE
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

RELIEF = "relief"  # the characteristic that a rod sets
# p_more below which work came back more than chance and mix explain; in trials 5 % of equals or fewer
# (tests/trials/fair_techs.md)
FLAG = 0.045
FLAG_UNSURE = 0.035  # the same where the expectation is known worse than chance leaves the count (ratio_bounds.md)
NO_ROD, TWO_NAMES, NOBODY, NOT_JUDGED = "no rod", "two names", "nobody named", "not judged yet"

TIMED = (pl.col("minutes_from") != "planned") & (pl.col("minutes") > 0)  # visits whose minutes were typed or clocked

TECHS: dict[str, pl.DataType] = {
    "stage": pl.String(),
    "tech": pl.String(),
    "visits": pl.Int64(),
    "judged": pl.Int64(),
    "charged": pl.Int64(),
    **{name: pl.Float64() for name in ("expected", "ratio", "ratio_low", "ratio_high")},
    "outside_funnel": pl.Boolean(),
    "minutes_median": pl.Float64(),
}

EXPECTED: dict[str, pl.DataType] = {
    "stage": pl.String(),
    "tech": pl.String(),
    "came_back": pl.Int64(),
    "expected": pl.Float64(),
    "expected_sd": pl.Float64(),
    "p_more": pl.Float64(),
    "known_share": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
}


def people(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `first_work.tech_rows`, each against all others, with more beside them.

    last_day : of their last visit there; came_back : judged instruments that came back at least once; expected_sd : how
    well the expectation is known, as a standard deviation; known_share : share of the exposure that the others did at
    least 30 times, under a half of which nothing is expected; funnel_low, funnel_high : its limits; shrunk,
    shrunk_low, shrunk_high : the ratio drawn towards 1 by how little it is known (95 %);
    timed, timed_median : first visits whose minutes somebody typed or a clock told, and their median: planned minutes
    are nobody's;
    p_more : chance of as many instruments coming back or more, half of the tie counted, were this tech as the others,
    from everybody's visits (`same_mix`); more : p_more is under `flag_level`: more than chance and mix explain. 5 % of
    people equal to the others or fewer are flagged so, however uneven their mix; of those twice as bad as many as any
    fair test could: with 12 expected 90 % where the others did 16 or 30 times as much between them, 87 % at 8 or 10
    times, 63 % where a single other did as much (tests/trials/fair_techs.md).
    """
    return held_against(snapshot.once(counted), "charged")


def counted(snapshot: Snapshot) -> pl.DataFrame:
    """The counts of `people` with EXPECTED beside them, before one is held against the other; in bench order."""
    visits = named(snapshot.once(story).visits.filter(pl.col("round") == 1))
    timed = pl.col("first_pass") & TIMED
    rows = tables.plain(
        visits.group_by("stage", "tech").agg(
            pl.len().alias("visits"),
            pl.col("minutes").filter("first_pass").median().alias("minutes_median"),
            pl.col("minutes").filter(timed).median().alias("timed_median"),
            timed.sum().alias("timed"),
            pl.col("bench_order").first(),
            pl.col("day").max().alias("last_day"),
        )
    )
    work = snapshot.once(exposure)
    judged = work.group_by("stage", "tech").agg(pl.len().alias("judged"))
    sent = (
        charged(snapshot)
        .group_by(pl.col("caused_at").alias("stage"), pl.col("charged").alias("tech"))
        .agg(pl.len().alias("charged"))
    )
    rows = (
        rows.join(judged, on=["stage", "tech"], how="left")
        .join(sent, on=["stage", "tech"], how="left")
        .with_columns(pl.col("judged", "charged").fill_null(0))
        .sort("bench_order", "tech")
    )
    return rows.join(expectations(rows, work), on=["stage", "tech"], how="left", maintain_order="left")


def at_work(rows: pl.DataFrame, day: date) -> pl.DataFrame:
    """Of the rows of `people` those who have worked at the stage within OF_LATE before a day."""
    return rows.filter(pl.col("last_day") >= day - OF_LATE)


def exposure(snapshot: Snapshot) -> pl.DataFrame:
    """A row a first-pass visit of a judged instrument that bears one name: visit, serial, stage, tech, model, lot,
    week, inspector (`who_tried`), came_back.
    """
    told = snapshot.once(story)
    judged = told.instruments.filter("judged")
    inspector = pl.Series("inspector", told.visits["tech"].gather(judged["judged_visit"]).cast(pl.String))
    back = (
        charged(snapshot).select("serial", pl.col("caused_at").alias("stage"), pl.col("charged").alias("tech")).unique()
    )
    return (
        tables.plain(
            named(told.visits.filter("first_pass")).select("visit", "serial", "stage", "tech", "model", "lot", "week")
        )
        .join(judged.select("serial", inspector), on="serial", maintain_order="left")
        .join(snapshot.once(who_tried), on=["serial", "stage"], how="left", maintain_order="left")
        .with_columns(inspector=pl.coalesce("tester", "inspector"))
        .join(
            back.with_columns(came_back=pl.lit(True)), on=["serial", "stage", "tech"], how="left", maintain_order="left"
        )
        .select("visit", "serial", "stage", "tech", *MIX, pl.col("came_back").fill_null(False))
    )


def charged(snapshot: Snapshot) -> pl.DataFrame:
    """Send-backs of judged instruments, round 1, that are charged to somebody (story.Story.loops)."""
    return _sorted_out(snapshot).filter(pl.col("why") == "").drop("why")


def not_charged(snapshot: Snapshot) -> pl.DataFrame:
    """Why how many send-backs of round 1 are charged to nobody: why (supplier, handling, unknown, no rod, two names,
    nobody named, not judged yet), count.
    """
    left = _sorted_out(snapshot).filter(pl.col("why") != "").group_by("why").agg(pl.len().cast(pl.Int64).alias("count"))
    return left.sort("count", "why", descending=[True, False])


def _sorted_out(snapshot: Snapshot) -> pl.DataFrame:
    """Loops of round 1 with `why` they are not charged ('' = they are)."""
    told = snapshot.once(story)
    loops = told.loops.filter(pl.col("round") == 1)
    named = told.visits["tech"].gather(loops["charged_visit"]).fill_null("").cast(pl.String)
    judged = told.instruments.filter("judged")["serial"].to_list()
    why = (
        pl.when(~pl.col("caused_at").is_in(list(snapshot.shop.bench_order)))
        .then("caused_at")
        .when(~pl.col("serial").is_in(judged))
        .then(pl.lit(NOT_JUDGED))
        .when(
            pl.col("caused_at").is_in(snapshot.shop.rod_stages(RELIEF))
            & pl.col("model").is_in(_without_rod(snapshot.shop))
        )
        .then(pl.lit(NO_ROD))
        .when(pl.Series("_named", named).str.contains(SEVERAL))
        .then(pl.lit(TWO_NAMES))
        .when(pl.col("charged") == "")
        .then(pl.lit(NOBODY))
        .otherwise(pl.lit(""))
    )
    return loops.with_columns(why=why)


def expectations(rows: pl.DataFrame, work: pl.DataFrame) -> pl.DataFrame:
    """EXPECTED for each stage and tech with exposure; where nothing of the others' came back nothing is expected."""
    parts = [pl.DataFrame(schema=EXPECTED)]
    for stage in rows["stage"].unique(maintain_order=True).to_list():
        here = work.filter(pl.col("stage") == stage)
        own = here.group_by("tech", maintain_order=True).agg(pl.col("came_back").sum().cast(pl.Int64))
        found = expected(here, own["tech"].to_list())
        told = [
            pl.Series(name, values)
            for name, values in (
                ("expected", found.count),
                ("expected_sd", np.sqrt(found.variance)),
                ("p_more", found.p_more),
                ("known_share", found.known),
                ("low", found.low),
                ("high", found.high),
            )
        ]
        parts.append(own.with_columns(pl.lit(stage).alias("stage"), *told).select(EXPECTED.keys()))
    return pl.concat(parts).with_columns(
        pl.col("expected", "expected_sd", "p_more", "known_share", "low", "high").fill_nan(None)
    )


def held_against(rows: pl.DataFrame, count: str) -> pl.DataFrame:
    """Rows of `counted` with what the counts of column `count` say against what was expected; null where nothing is."""
    names = ("ratio", "ratio_low", "ratio_high", "funnel_low", "funnel_high", "shrunk", "shrunk_low", "shrunk_high")
    known = np.flatnonzero((rows["expected"].fill_null(0.0) > 0).to_numpy())
    columns = {name: np.full(rows.height, np.nan) for name in names}
    if len(known):
        heard = rows[known]
        k, e = heard[count].to_numpy().astype(np.float64), heard["expected"].to_numpy()
        v = heard["expected_sd"].to_numpy() ** 2
        values = [k / e, *ratio_limits(heard, k, e, v), *funnel_limits(k, e, v)]
        for name, value in zip(names, values, strict=False):
            columns[name][known] = value
        stage = heard["stage"].to_numpy()
        for name in np.unique(stage):
            here = stage == name
            pulled = shrunk(k[here], e[here], v[here])
            for column, value in zip(names[-3:], (pulled.ratio, pulled.low, pulled.high), strict=True):
                columns[column][known[here]] = value
    told = [pl.Series(name, values).fill_nan(None) for name, values in columns.items()]
    beyond = (pl.col("ratio") < pl.col("funnel_low")) | (pl.col("ratio") > pl.col("funnel_high"))
    told_apart = rows.with_columns(*told).with_columns(
        outside_funnel=beyond, more=pl.col("p_more") < flag_level(pl.col("expected"), pl.col("expected_sd") ** 2)
    )
    return told_apart.cast({"visits": pl.Int64, "judged": pl.Int64, "charged": pl.Int64}).drop("low", "high")


def ratio_limits(heard: pl.DataFrame, count: Floats, wanted: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """95 % bounds of each ratio, (u,): those of everybody's visits where there are any, else by the counts alone.

    heard : a row a unit: came_back, and low, high as `same_mix.expected` has them.

    An instrument sent back twice is two send-backs and one piece of evidence: the lower bound is that of instruments,
    the upper one is that times send-backs for each. The prior may put the ratio beyond a bound; then the counts decide.
    """
    back = heard["came_back"].to_numpy().astype(np.float64)
    low, high = (heard[name].fill_null(np.nan).to_numpy() for name in ("low", "high"))
    high = high * np.divide(count, back, out=np.ones(len(back)), where=back > 0)
    plain_low = ratio_mid_p(np.minimum(back, count), wanted, variance)[0]
    plain_high = ratio_mid_p(np.maximum(back, count), wanted, variance)[1]
    ratio = count / wanted
    return np.where(low <= ratio, low, plain_low), np.where(high >= ratio, high, plain_high)


def flag_level(wanted: pl.Expr, variance: pl.Expr) -> pl.Expr:
    """The chance under which a tech is told of more: lower where what is expected of them is hardly known."""
    return pl.when(variance > wanted).then(FLAG_UNSURE).otherwise(FLAG)


def funnel_limits(count: Floats, wanted: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """99.8 % limits of the ratio of each unit, shape (u,): chance, times how well the expectation is known, times the
    unrest of all units.

    The unrest is judged over the shop's units of which one send-back or more is expected, since a stage alone has too
    few of them; names mistyped on a few cards would only water it down.
    """
    low, high = chance_limits(wanted, LEVEL)
    spread = np.sqrt((1 + variance / wanted) * unrest(count, wanted, variance))
    return np.maximum(1 - (1 - low) * spread, 0.0), 1 + (high - 1) * spread


def unrest(count: Floats, wanted: Floats, variance: Floats) -> float:
    """How much more than chance all units of one expected send-back or more vary, as a ratio of variances; 1 where that
    is not shown.
    """
    doubt = 1 + variance / wanted
    z = winsorized((2 * (np.sqrt(count) - np.sqrt(wanted)) / np.sqrt(doubt))[wanted >= 1])
    total = float(z @ z)
    return total / len(z) if len(z) >= LEAST_UNITS and total > float(stats.chi2.ppf(0.95, len(z))) else 1.0


def named(visits: pl.DataFrame) -> pl.DataFrame:
    """Visits that bear one name."""
    return visits.filter((pl.col("tech") != "") & ~pl.col("tech").cast(pl.String).str.contains(SEVERAL))


def _without_rod(shop: Shop) -> list[str]:
    return [model.key for model in shop.models if model.rod is False]

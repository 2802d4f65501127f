"""One model in several shops: do they set it to the same level, spread it as widely, have as much room; where each of
them lies once all of them are used, and which stand out.

Three questions about every characteristic, position, model and stage that two shops or more have read: the level, the
spread and the room (Ppk by each shop's own limits). Nobody is told apart unless the shops differ beyond chance among
all that was asked, so that of shops which are equal in everything somebody is told in at most one report in fifty.
"""

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.partial_pooling import among_many, equal, pooled_rows, standing_out
from analysis.methods.segments import lengths
from analysis.studies.drift.streams import KEY
from analysis.studies.room.capability import ANY
from analysis.studies.room.levels import LEVELS
from ingest.terms import tables

LEVEL, SPREAD, ROOM = "level", "spread", "room"
FEWEST = 6.0  # independent readings, of which a shop is held against others
# of a report of shops that are alike: the most at which of twenty such reports nineteen or more say nothing with a
# chance of .95 (at 5 % it is .74)
REPORT = 0.018
# of each of seven lists: models, lots, pairs on the same lots, one shop against all on them, changes, matters, rework
ALPHA = REPORT / 7
TWO_SIDED = 1.959963984540054
SAME_MODEL: dict[str, pl.DataType] = {
    **{name: pl.String() for name in KEY},
    "question": pl.String(),  # level | spread | room
    "shop": pl.String(),
    "shops": pl.Int64(),
    "n": pl.Int64(),
    "far": pl.Int64(),  # readings left out of level and spread, so far from all others
    # the shop's own figure; the same once all shops are used; how far from the mean of all; that mean; how far shops
    # lie apart (a standard deviation). Level in the unit of the characteristic; spread as a standard deviation, its
    # distances as ratios; room as Ppk. 95 % intervals. Of two shops nothing but their own figures
    **{name: pl.Float64() for name in ("own", "own_low", "own_high", "value", "low", "high")},
    **{name: pl.Float64() for name in ("off", "off_low", "off_high", "all", "all_low", "all_high")},
    **{name: pl.Float64() for name in ("between", "between_low", "between_high")},
    "chance": pl.Float64(),  # that equal shops lie so far apart
    "among_all": pl.Float64(),  # the same, paid for all that was asked
    "apart": pl.Boolean(),  # does this shop stand out: set aside, farthest first, for the others to be alike
}
_ASKED = {"question": pl.String(), **{name: LEVELS[name] for name in KEY}, "shop": pl.String(), "n": pl.Int64()} | {
    "far": pl.Int64(),
    **dict.fromkeys(("value", "error", "freedom"), pl.Float64()),
}
_CAPABILITY = {
    **dict.fromkeys(("shop", *KEY, "tech"), pl.String()),
    "last_at": tables.TIME,
    "n": pl.Int64(),
    **dict.fromkeys(("n_effective", "ppk", "ppk_low", "ppk_high"), pl.Float64()),
}


def asked(levels: pl.DataFrame, capability: pl.DataFrame) -> pl.DataFrame:
    """A row a question, stream and shop, with its figure (a spread as its logarithm), standard error and degrees of
    freedom, in order; only what two shops or more have of FEWEST independent readings. Room only where no reading
    lies so far from all others that it makes the spread by itself.

    levels, capability : rows of many shops, with the column `shop`.
    """
    told = tables.shaped(levels, {"shop": pl.String(), **LEVELS}).with_columns(pl.col("far").fill_null(0))
    level = told.with_columns(question=pl.lit(LEVEL), value="mean", error="mean_error")
    spread = told.with_columns(
        question=pl.lit(SPREAD), value=pl.col("sd").log(), error="log_sd_error", freedom=pl.lit(np.inf)
    )
    room = (
        tables.shaped(capability, _CAPABILITY)
        .filter((pl.col("tech") == "") & (pl.col("position") != ANY) & pl.col("ppk_high").is_not_null())
        .sort("last_at")
        .unique(["shop", *KEY], keep="last")
        .with_columns(
            question=pl.lit(ROOM),
            value="ppk",
            error=(pl.col("ppk_high") - pl.col("ppk_low")) / (2 * TWO_SIDED),
            freedom=pl.lit(np.inf),
        )
        .filter(pl.col("n_effective") >= FEWEST)
        .join(told.filter(pl.col("far") > 0).select("shop", *KEY), on=["shop", *KEY], how="anti", maintain_order="left")
        .with_columns(far=pl.lit(0))
    )
    rows = pl.concat([tables.shaped(part, _ASKED) for part in (level, spread, room)])
    rows = rows.filter((pl.col("freedom") >= FEWEST - 1) & (pl.col("error") > 0) & pl.col("value").is_finite())
    key = ["question", *KEY]
    once = rows.filter(pl.len().over([*key, "shop"]) == 1)  # two models of a shop under one name are no answer
    return once.filter(pl.len().over(key) >= 2).sort([*key, "shop"])


def same_model(levels: pl.DataFrame, capability: pl.DataFrame) -> pl.DataFrame:
    """SAME_MODEL of all that `asked` gives."""
    rows = asked(levels, capability)
    if rows.is_empty():
        return pl.DataFrame(schema=SAME_MODEL)
    key = ["question", *KEY]
    starts = np.flatnonzero(rows.select(pl.struct(key).rle_id().diff().fill_null(1) != 0).to_series().to_numpy())
    value, error, freedom = (rows[name].to_numpy() for name in ("value", "error", "freedom"))
    size = lengths(starts, len(rows))
    chance = equal(value, error, starts, freedom=freedom)
    among_all = among_many(chance)
    reach = error * _t(freedom)
    columns = {"own": value, "own_low": value - reach, "own_high": value + reach}
    columns["shops"] = np.repeat(size, size)
    columns["chance"], columns["among_all"] = np.repeat(chance, size), np.repeat(among_all, size)
    found = pooled_rows(value, error, starts, freedom=freedom)
    columns |= {name.replace("mean", "all"): column for name, column in found.items()}
    each = standing_out(value, error, starts, freedom=freedom, level=ALPHA / len(starts))
    columns["apart"] = each & (columns["among_all"] < ALPHA)
    answered = rows.select(*key, "shop", "n", "far").with_columns(
        pl.Series(name, told) for name, told in columns.items()
    )
    logs = (
        "own",
        "own_low",
        "own_high",
        "value",
        "low",
        "high",
        "off",
        "off_low",
        "off_high",
        "all",
        "all_low",
        "all_high",
    )
    return (
        answered.with_columns(
            pl.when(pl.col("question") == SPREAD).then(pl.col(name).exp()).otherwise(name).fill_nan(None).alias(name)
            for name in logs
        )
        .with_columns(pl.col("between", "between_low", "between_high").fill_nan(None))
        .select(SAME_MODEL.keys())
        .cast(
            dict(SAME_MODEL)  # type: ignore[arg-type]
        )
    )


def _t(freedom: np.ndarray) -> np.ndarray:
    """Student's t of a two-sided 95 % interval; the normal quantile where the error is known."""
    return np.where(np.isinf(freedom), TWO_SIDED, stats.t.ppf(0.975, np.where(np.isinf(freedom), 1.0, freedom)))

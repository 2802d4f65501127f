"""One change in several shops: a part or a target that changed, on each shop's own day - did the readings move, how
far, and do they name that day themselves?

Changes are one where shops call them by the same words (capitals and spaces aside), on the same stream; a new target
where it is the same number. From three shops on each one's size is drawn towards all.
"""

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.partial_pooling import among_many, equal, pooled_rows
from analysis.methods.segments import lengths
from analysis.studies.drift.streams import KEY
from analysis.studies.room.dated import DATED, TARGET
from analysis.studies.shops.same_model import ALPHA, FEWEST
from ingest.terms import tables

TEXT, COUNT, NUMBER, DAY = pl.String(), pl.Int64(), pl.Float64(), pl.Date()
SAME_CHANGE: dict[str, pl.DataType] = {
    **dict.fromkeys(("kind", "what", *KEY, "shop"), TEXT),
    "shops": COUNT,
    **dict.fromkeys(("said_on", "read_on", "read_from", "read_to"), DAY),
    "target": NUMBER,
    **dict.fromkeys(("n_before", "n_after"), COUNT),
    # after less before: the shop's own, 95 %; the same once all shops are used, and the mean of all (from three shops)
    **dict.fromkeys(("size", "size_low", "size_high", "value", "low", "high", "all", "all_low", "all_high"), NUMBER),
    "chance": NUMBER,  # of such a size where nothing moved
    "among_all": NUMBER,  # the same, paid for all that was asked
    "unlike_chance": NUMBER,  # that shops which all moved as far lie so far apart
    "moved": pl.Boolean(),  # beyond chance among all
    "on_its_day": pl.Boolean(),  # do the readings leave the day that was said likely? null where nothing moved
}
FAMILY = ["kind", "_what", "_target", *KEY]


def same_change(dated: pl.DataFrame) -> pl.DataFrame:
    """SAME_CHANGE of the rows of `dated` of many shops (with the column `shop`); only what two shops or more have."""
    told = tables.shaped(dated, {"shop": TEXT, **DATED}).filter(
        (pl.col("freedom") >= FEWEST - 1) & (pl.col("size_error") > 0)
    )
    target = pl.when(pl.col("kind") == TARGET).then(pl.col("target").round(6)).otherwise(None)
    rows = (
        told.with_columns(
            _what=pl.col("what").str.to_lowercase().str.replace_all(r"\s+", " ").str.strip_chars(), _target=target
        )
        .sort("said_on")
        .unique([*FAMILY, "shop"], keep="last")
        .filter(pl.len().over(FAMILY) >= 2)
        .sort([*FAMILY, "shop"])
    )
    if rows.is_empty():
        return pl.DataFrame(schema=SAME_CHANGE)
    starts = np.flatnonzero(rows.select(pl.struct(FAMILY).rle_id().diff().fill_null(1) != 0).to_series().to_numpy())
    size, error, freedom = (rows[name].to_numpy() for name in ("size", "size_error", "freedom"))
    count = lengths(starts, len(rows))
    chance = 2 * stats.t.sf(np.abs(size) / error, freedom)
    reach = stats.t.ppf(0.975, freedom) * error
    found = {
        name.replace("mean", "all"): one for name, one in pooled_rows(size, error, starts, freedom=freedom).items()
    }
    among = among_many(chance)
    first = rows["what"].gather(np.repeat(starts, count))  # as the first of them writes it
    return (
        rows.with_columns(
            what=first,
            shops=pl.Series(np.repeat(count, count)),
            size_low=pl.Series(size - reach),
            size_high=pl.Series(size + reach),
            chance=pl.Series(chance),
            among_all=pl.Series(among),
            unlike_chance=pl.Series(np.repeat(equal(size, error, starts, freedom=freedom), count)),
            moved=pl.Series(among < ALPHA),
            **{name: pl.Series(column).fill_nan(None) for name, column in found.items() if name in SAME_CHANGE},
        )
        .with_columns(
            on_its_day=pl.when("moved").then(
                (pl.col("read_from") <= pl.col("said_on")) & (pl.col("said_on") <= pl.col("read_to"))
            )
        )
        .select(SAME_CHANGE.keys())
        .cast(dict(SAME_CHANGE))  # type: ignore[arg-type]
    )

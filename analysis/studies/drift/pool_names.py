"""Who and what pooled charts are of, and of how many models: what they ask of all readings ever, and what later ones
hang on.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Ints, Rows
from analysis.studies.drift.streams import Streams
from ingest.terms import tables


@dataclass(frozen=True)
class Hangs:
    """What pooled charts ask of the readings before a moment that only these can tell, so that they can be left out."""

    names: pl.DataFrame  # NAMES: who and what charts may be of
    models: pl.DataFrame  # NAMES, model: whose readings of which model count
    rows: Ints  # (k,) rows of Streams.readings: the last point of each chart, and the first readings of newcomers


NAMES = ("over", "characteristic", "stage", "set_by", "gauge")  # '' where a kind of chart does not ask


def named(over: str, names: pl.DataFrame) -> pl.DataFrame:
    """Rows that say who or what charts are of, as NAMES."""
    texts = [pl.col(name) if name in names.columns else pl.lit("").alias(name) for name in NAMES[1:]]
    return names.select(pl.lit(over).alias("over"), *texts)


def pairs(held: Streams, code: Ints | Rows, era: Ints | Rows) -> pl.DataFrame:
    """Charts and the models of their readings, each once: group, model. code, era (n,): of each reading."""
    model = tables.rank(held.rows["model"]).astype(np.int32)
    seen = np.zeros((int(code.max(initial=-1)) + 1, int(model.max(initial=0)) + 1), dtype=np.bool_)
    seen[code, model[held.eras.stream][era]] = True
    chart, which = np.nonzero(seen)
    words = pl.DataFrame({"which": model, "model": held.rows["model"]}).unique("which").sort("which")["model"]
    return pl.DataFrame({"group": pl.Series(chart, dtype=pl.Int64), "model": words.gather(which)})


def of_kind(over: str, names: pl.DataFrame, before: pl.DataFrame) -> pl.DataFrame:
    """Hangs.models of one kind of chart, by the charts' numbers: group, model."""
    on = [name for name in names.columns if name in NAMES]
    return before.filter(over=over).join(names, on=on).select("group", "model")


def several(names: pl.DataFrame, pairs: pl.DataFrame) -> Flags:
    """Which charts hold readings of two models or more."""
    many = pairs.group_by("group").agg(pl.col("model").n_unique() > 1)
    found = np.zeros(len(names), dtype=np.bool_)
    found[many["group"].to_numpy()] = many["model"].to_numpy()
    return found

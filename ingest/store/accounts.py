"""The account of a log: every row that was read is in one of four places, and every row set aside is one question.

In a sheet with a row an instrument one line holds several visits. A line counts as accepted while one of its visits
does; what it lost at single stages are then cells. A line none of whose visits counts is set aside whole, or already
held.
"""

import polars as pl

from ingest.terms import tables

CONFLICT = "another row tells of the same visit with other values"
PLACES = ("accepted", "changed", "set_aside", "already_held")


def line_places(lines: pl.Series, counting: pl.DataFrame, contested: pl.DataFrame) -> pl.DataFrame:
    """Where each line stands: `line` and `place`, a word of PLACES.

    counting : line, stage of the visits of these lines that count.  contested : line, stage, status ('set aside' or
    'changed').
    """
    changed = contested.filter(pl.col("status") == "changed").select("line", "stage", changed=pl.lit(True))
    alive = (
        counting.join(changed.unique(), on=["line", "stage"], how="left")
        .group_by("line")
        .agg(pl.col("changed").fill_null(False).any())
    )
    asked = contested.filter(pl.col("status") == "set aside").select("line", asked=pl.lit(True)).unique()
    every = (
        lines.unique().rename("line").to_frame().join(alive, on="line", how="left").join(asked, on="line", how="left")
    )
    place = (
        pl.when("changed")
        .then(pl.lit("changed"))
        .when(pl.col("changed").is_not_null())
        .then(pl.lit("accepted"))
        .when("asked")
        .then(pl.lit("set_aside"))
        .otherwise(pl.lit("already_held"))
    )
    return every.select("line", place.alias("place"))


def counts(places: pl.DataFrame) -> dict[str, int]:
    """Lines in each of PLACES."""
    found = dict(places["place"].value_counts().iter_rows())
    return {place: int(found.get(place, 0)) for place in PLACES}


def questions(contested: pl.DataFrame, counting: pl.DataFrame, log_id: str, name: str) -> pl.DataFrame:
    """The conflicts of a log as rows of tables.SET_ASIDE: a question a stage on lines that still count, else one for
    the whole line.

    contested : line, stage, status, raw, wanted.  counting : line, stage of the visits of these lines that count.
    """
    asked = contested.filter(pl.col("status") == "set aside").sort("line", "stage")
    alive = counting["line"].unique()
    single = asked.join(alive.to_frame(), on="line", how="semi").with_columns(column=pl.col("stage"))
    whole = asked.join(alive.to_frame(), on="line", how="anti").with_columns(many=pl.len().over("line") > 1)
    told = pl.when("many").then(pl.format("{}: {}", "stage", "raw")).otherwise("raw")
    whole = whole.group_by("line", maintain_order=True).agg(
        told.str.join("; ").alias("raw"), pl.col("wanted").first(), column=pl.lit("").first()
    )
    both = pl.concat([part.select("line", "column", "raw", "wanted") for part in (whole, single)]).sort(
        "line", "column"
    )
    return tables.shaped(
        both.with_columns(log_id=pl.lit(log_id), name=pl.lit(name), reason=pl.lit(CONFLICT)), tables.SET_ASIDE
    )

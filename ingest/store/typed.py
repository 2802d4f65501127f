"""A row as its values were typed, in one line: what a question about two rows of one visit shows of each."""

import polars as pl

ROW = ["log_id", "line", "stage"]


def typed_rows(rows: pl.DataFrame, visits: pl.DataFrame, readings: pl.DataFrame) -> pl.Series:
    """'outcome pass, minutes 12, relief .012, action bass 5/64' for each row, shape (n,).

    rows : log_id, line, stage.  visits, readings : where they are to be found, as in `tables`.
    """
    mine = visits.join(rows.select(ROW).unique(), on=ROW, how="semi")
    plain = mine.select(
        *ROW,
        pl.concat_str(
            pl.format("outcome {}", "outcome"),
            pl.when(pl.col("minutes").is_not_null()).then(pl.format("minutes {}", "minutes")),
            pl.when(pl.col("sent_back_to") != "").then(pl.format("sent back to {}", "sent_back_to")),
            separator=", ",
            ignore_nulls=True,
        ).alias("plain"),
    )
    measured = (
        readings.join(rows.select(ROW).unique(), on=ROW, how="semi")
        .select(
            *ROW,
            pl.concat_str(
                "characteristic",
                pl.when(pl.col("position") != "").then("position"),
                pl.when(pl.col("moment") != "found").then("moment"),
                "raw",
                separator=" ",
                ignore_nulls=True,
            ).alias("measured"),
        )
        .group_by(ROW)
        .agg(pl.col("measured").sort().str.join(", "))
    )
    both = (
        rows.select(ROW)
        .join(plain.unique(ROW), on=ROW, how="left", maintain_order="left")
        .join(measured, on=ROW, how="left", maintain_order="left")
    )
    return both.select(
        pl.concat_str("plain", "measured", separator=", ", ignore_nulls=True).fill_null("").alias("raw")
    ).to_series()

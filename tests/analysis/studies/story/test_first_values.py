"""The value that a first pass is judged by, beside one rule said plainly over random rows."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.story.columns import Columns
from analysis.studies.story.first_values import KEY, first_values


def rows_of(rng, parts):
    """Readings of visits and, where asked for, of parts that have none, in any order."""
    visits = pl.DataFrame(
        {
            "visit": np.arange(60),
            "part": rng.choice(["A1", "A2", "A3"], 60),
            "log_id": rng.choice(["d1", "d2"], 60),
            "line": np.arange(60),
            "stage": rng.choice(["bench", "final"], 60),
            "setup": rng.choice(["", "LARK"], 60),
            "round": rng.choice([1, 2], 60, p=[0.8, 0.2]),
            "first_pass": rng.random(60) < 0.8,
        }
    ).with_columns(visit=pl.when(pl.lit(parts) & (pl.col("line") % 3 == 0)).then(None).otherwise("visit"))
    n = 900
    said = pl.DataFrame(
        {
            "characteristic": rng.choice(["relief", "action"], n),
            "position": rng.choice(["", "bass"], n),
            "moment": rng.choice(["found", "left"], n, p=[0.7, 0.3]),
            "set_stage": pl.Series(rng.choice(["bench", "final", ""], n)).replace("", None),
            "only_left": rng.random(n) < 0.1,
            "value": pl.Series(rng.normal(size=n)).set(pl.Series(rng.random(n) < 0.1), None),
        }
    )
    return pl.concat([visits[rng.integers(0, 60, n)], said], how="horizontal")


def plainly(told):
    """Row after row: judged, and received."""
    rows = told.with_row_index("at").rows(named=True)
    first = [
        row
        for row in rows
        if row["round"] == 1 and row["first_pass"] and row["value"] is not None and row["setup"] != ""
    ]
    at_set = {row["at"] for row in first if row["stage"] == row["set_stage"]}
    left = [row for row in first if row["moment"] == "left" and (row["at"] in at_set or row["only_left"])]
    beside = {tuple(row[name] for name in KEY) for row in left}
    found = [row for row in first if row["moment"] == "found"]
    received = [row["at"] for row in found if row["at"] in at_set and tuple(row[name] for name in KEY) in beside]
    judged = {row["at"] for row in (*found, *left)} - set(received)
    return sorted(judged), received


@pytest.mark.parametrize("parts", [False, True])
def test_what_a_first_pass_is_judged_by_is_what_one_row_after_another_says(parts):
    rng, taken = np.random.default_rng(20261201), 0
    for _ in range(20):
        told = rows_of(rng, parts)
        judged, received = plainly(told)
        for table in (told, Columns.of(told)):
            found = first_values(table, "setup")
            assert [each.tolist() for each in found] == [judged, received]
        taken += len(received)
    assert taken > 200

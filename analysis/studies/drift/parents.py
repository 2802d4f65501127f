"""Of each stream that of all techs which its readings stand in too."""

import numpy as np
import polars as pl

from analysis.methods.segments import Ints

KEY = ["characteristic", "position", "model", "stage"]


def parents(rows: pl.DataFrame) -> Ints:
    """Its number (s,); of one of all techs its own. rows : of Streams."""
    everyone = rows.with_row_index("parent").filter(pl.col("tech") == "").select(*KEY, pl.col("parent").cast(pl.Int64))
    found = rows.join(everyone, on=KEY, how="left", maintain_order="left")["parent"]
    return np.asarray(found.to_numpy(), dtype=np.int64)

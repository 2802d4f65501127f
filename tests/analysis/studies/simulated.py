"""A bench that makes its own rework, so that a change can be made for real and what it saved be counted.

Every visit at a causing stage leaves a fault of each kind with its chance; the stage that catches it sends back to the causing one; from
there the instrument goes along the bench again, or (as often as `skips` says) straight to the stage that caught it. A dictionary holds
the chance of each (caused, caught); `caught_at` moves the catching of some to another stage.
"""

from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np
import polars as pl

from ingest.snapshot import Snapshot
from tests.analysis.studies.benches import shop

ROUTE = ["receiving", "neck", "frets", "nut", "bridge", "play", "rest", "final", "packing"]
CHANCES = {("nut", "play"): 0.09, ("frets", "play"): 0.05, ("bridge", "play"): 0.04, ("neck", "final"): 0.03, ("nut", "final"): 0.02,
           ("bridge", "final"): 0.03, ("frets", "nut"): 0.02}  # fmt: skip
MINUTES = {"receiving": 4, "neck": 5, "frets": 10, "nut": 8, "bridge": 6, "play": 4, "rest": 0, "final": 5, "packing": 5}


def visits(instruments: int, rng: np.random.Generator, chances: dict[tuple[str, str], float] = CHANCES, *, skips: float = 0.3,
           moved: dict[tuple[str, str], str] | None = None) -> list[tuple[int, str, str, str, float]]:
    """(instrument, stage, outcome, sent back to, minutes) in order of time."""
    moved = moved or {}
    chance_of = {stage: [(pair, chance) for pair, chance in chances.items() if pair[0] == stage] for stage in ROUTE}
    catches = {stage: {pair for pair in chances if moved.get(pair, pair[1]) == stage} for stage in ROUTE}
    draws = _draws(rng)
    rows = []
    for instrument in range(instruments):
        at, target = 0, -1
        faults: set[tuple[str, str]] = set()
        while at < len(ROUTE):
            stage = ROUTE[at]
            for pair, chance in chance_of[stage]:
                faults.discard(pair)
                if next(draws) < chance:
                    faults.add(pair)
            caught = faults & catches[stage]
            minutes = MINUTES[stage] * (0.7 + 0.6 * next(draws))
            if caught:
                pair = min(caught, key=lambda pair: ROUTE.index(pair[0]))
                rows.append((instrument, stage, "send back", pair[0], minutes))
                target = at if next(draws) < skips else -1
                at = ROUTE.index(pair[0])
            else:
                rows.append((instrument, stage, "pass", "", minutes))
                if target > at:
                    at, target = target, -1
                else:
                    at += 1
    return rows


def _draws(rng: np.random.Generator) -> Iterator[float]:
    while True:
        yield from rng.random(1 << 14).tolist()


def snapshot(rows: list[tuple[int, str, str, str, float]]) -> Snapshot:
    start = datetime(2026, 3, 2, tzinfo=UTC)
    frame = pl.DataFrame(rows, schema=["serial", "stage", "outcome", "sent_back_to", "minutes"], orient="row").with_row_index("line")
    return Snapshot.of(shop(), visits=frame.with_columns(
        pl.format("S{}", pl.col("serial").cast(pl.String).str.zfill(6)).alias("serial"), pl.lit("log").alias("log_id"), pl.lit("LARK").alias("model"),
        pl.lit(True).alias("time_known"), (pl.lit(start) + pl.duration(hours=pl.col("line") + 1)).alias("finished_at"),
    ))  # fmt: skip

"""Relief, action and intonation of one instrument on one chart: each number may pass and the pattern still be wrong.

A point is an instrument of one setup with all these readings at final inspection (first pass, as found; at the play
test where a setup has no complete instrument at final). The first complete ones are the baseline; later ones are judged
one by one by T2 with limits that allow for the estimated mean and covariance, at the shop's budget. What is read too
coarsely to judge one instrument stays out.

Source: Tracy, Young & Mason (1992), J. Quality Technology 24; what drives a point: Mason, Tracy & Young (1995), J.
Quality Technology 27.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from analysis.methods.multivariate import Model, drivers, individual_model, phase_two
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Flags, Floats, spans
from analysis.studies.drift.streams import Streams
from ingest.shopfiles.shop import Shop

CHARACTERISTICS = ("relief", "action", "intonation")
OFTEN = 0.8  # of the setup's instruments must have been read at a position for it to count


@dataclass(frozen=True)
class Pattern:
    """The chart of one setup at one stage; points oldest first, the baseline included."""

    model: str
    stage: str
    variables: list[tuple[str, str]]  # (characteristic, position), p of them
    points: pl.DataFrame  # serial, taken_at, day, reading (a row of Streams.readings): n rows
    values: Floats  # (n, p)
    t2: Floats  # (n,)
    baseline: int
    steady: Model

    def limit(self, rate: float) -> float:
        """T2 that a steady instrument exceeds at this rate."""
        return float(phase_two(self.values[:1], model=self.steady, false_rate=rate).limit[0])

    def drivers(self, place: int, *, false_rate: float = 0.01) -> pl.DataFrame:
        """What drives one point, largest first.

        characteristic, position, value, usual, alone and given_others (shares of their limits), odd_alone,
        odd_given_others
        """
        found = drivers(self.values[place : place + 1], model=self.steady, false_rate=false_rate)
        return pl.DataFrame(
            {
                "characteristic": [name for name, _ in self.variables],
                "position": [position for _, position in self.variables],
                "value": self.values[place],
                "usual": self.steady.mean[0],
                "alone": found.alone[0] / found.alone_limit[0],
                "given_others": found.given_others[0] / found.given_others_limit[0],
                "odd_alone": found.odd_alone[0],
                "odd_given_others": found.odd_given_others[0],
            }
        ).sort(pl.max_horizontal("alone", "given_others"), descending=True)


def patterns(held: Streams, shop: Shop, coarse: Flags) -> list[Pattern]:
    """A chart for each setup with more complete instruments than a baseline."""
    inside = (
        (held.rows["tech"] == "").to_numpy() & ~coarse & held.rows["characteristic"].is_in(CHARACTERISTICS).to_numpy()
    )
    inside &= ~held.rows["position"].str.contains("fret").to_numpy() & (held.eras.sigma[held.last_era] > 0)
    streams = (
        held.rows.with_row_index("stream")
        .filter(pl.Series(inside))
        .with_columns(
            pl.col("stream").cast(pl.Int64),
            role=pl.col("stage").replace_strict(shop.roles, default="", return_dtype=pl.String),
        )
    )
    these = streams["stream"].to_numpy()
    some = spans(held.starts[these], held.ends[these] + 1)
    readings = held.readings.at(some, "stream", "serial", "taken_at", "day")
    readings = readings.with_columns(reading=pl.Series(some, dtype=pl.Int64), value=pl.Series(held.values[some]))
    found = []
    for (setup,), rows in streams.group_by("model", maintain_order=True):  # a handful of setups
        for role in ("final", "test"):
            made = [
                one
                for (stage,), part in rows.filter(pl.col("role") == role).group_by("stage", maintain_order=True)
                if (one := _pattern(str(setup), str(stage), part, readings, shop.judging.baseline_readings)) is not None
            ]
            found += made
            if made:
                break
    return found


def _pattern(setup: str, stage: str, streams: pl.DataFrame, readings: pl.DataFrame, baseline: int) -> Pattern | None:
    often = streams.filter(pl.col("n") >= OFTEN * pl.col("n").max())
    if often["characteristic"].n_unique() < 2:
        return None
    mine = readings.filter(pl.col("stream").is_in(often["stream"].to_list()))
    wide = mine.pivot("stream", index="serial", values="value", aggregate_function="first")
    columns = [str(number) for number in often["stream"]]
    first = readings.filter(pl.col("stream") == often["stream"][0]).select("serial", "taken_at", "day", "reading")
    complete = wide.drop_nulls(columns).join(first, on="serial").sort("taken_at", "serial")
    if len(complete) <= baseline or baseline < len(columns) + 2:
        return None
    values = complete.select(columns).to_numpy().astype(np.float64)
    try:
        steady = individual_model(values[:baseline])
    except UnusableData:  # one that never moved, or follows from the others
        return None
    t2 = phase_two(values, model=steady).t2
    variables = list(zip(often["characteristic"], often["position"], strict=True))
    return Pattern(
        setup, stage, variables, complete.select("serial", "taken_at", "day", "reading"), values, t2, baseline, steady
    )


def beyond(pattern: Pattern, rate: float) -> Flags:
    """Which points after the baseline lie so far out as steady instruments do at this rate, shape (n,)."""
    later = np.arange(len(pattern.t2)) >= pattern.baseline
    return np.asarray(later & (pattern.t2 > pattern.limit(rate) * (1 + 1e-9)))

"""The state of every stream in a word: thin, moved or steady; and of its gauge: unfit, coarse, fit or untested."""

import numpy as np
import polars as pl

from analysis.methods.segments import Flags, Floats, lengths
from analysis.studies.drift.apart import UNJUDGED
from analysis.studies.drift.signals import ODD, Signals, signals
from analysis.studies.drift.streams import STREAM, WIDTH_DRAWN
from analysis.studies.drift.watching import SHORT_RUN
from analysis.studies.gauges.rr import rr_share
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from ingest.terms.tables import TIME

THIN, MOVED, STEADY = "thin", "moved", "steady"
NOT_JUDGED = "not judged"  # the stream broke the pass over all: `signals.unjudged` says why
UNFIT, COARSE, FIT, UNTESTED = "unfit", "coarse", "fit", "untested"

STREAMS: dict[str, pl.DataType] = {
    **{name: pl.String() for name in STREAM},
    "n": pl.Int64(),
    "centre": pl.Float64(),
    "sigma": pl.Float64(),
    "lower_limit": pl.Float64(),
    "upper_limit": pl.Float64(),
    "state": pl.String(),
    "gauge": pl.String(),
    "first_at": TIME,
    "last_at": TIME,
}

ODD_ONES: dict[str, pl.DataType] = {
    "serial": pl.String(),
    "characteristic": pl.String(),
    "position": pl.String(),
    "model": pl.String(),
    "stage": pl.String(),
    "taken_at": TIME,
    "value": pl.Float64(),
    "sigmas": pl.Float64(),
}

USUAL: dict[str, pl.DataType] = {
    **{name: pl.String() for name in ("characteristic", "position", "model", "stage")},
    "centre": pl.Float64(),
    "sigma": pl.Float64(),
    "reach": pl.Float64(),
}


def stream_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`streams` of the figures: a row a stream, all techs and each tech's own."""
    judged = snapshot.once(signals)
    if judged is None:
        return pl.DataFrame(schema=STREAMS)
    held, last = judged.streams, judged.streams.last_era
    centre, sigma, n = held.eras.centre[last], held.eras.sigma[last], held.rows["n"].to_numpy()
    thin = _thin(snapshot, judged)
    reach = (snapshot.shop.judging.width or WIDTH_DRAWN) * sigma
    alone = (n < 2) & ~held.eras.on_file[last]
    moved = _moved(judged, snapshot.shop.judging.baseline_readings)
    state = np.where(thin, THIN, np.where(moved, MOVED, STEADY))
    rows = held.rows.select(*STREAM, "n", "first_at", "last_at").with_columns(
        centre=_number(centre, alone),
        sigma=_number(sigma, alone),
        lower_limit=_number(centre - reach, thin),
        upper_limit=_number(centre + reach, thin),
        state=pl.Series(state),
        gauge=gauge_words(snapshot, judged),
    )
    apart = judged.unjudged.select(*STREAM, "n", state=pl.lit(NOT_JUDGED), gauge=pl.lit(UNTESTED))
    return pl.concat([tables.shaped(rows, STREAMS), tables.shaped(apart, STREAMS)])


def judged_rows(snapshot: Snapshot) -> pl.DataFrame:
    """The same without streams that could not be judged: a row a stream of `signals.streams`, in its order."""
    return snapshot.once(stream_rows).filter(pl.col("state") != NOT_JUDGED)


def unjudged_streams(snapshot: Snapshot) -> pl.DataFrame:
    """Streams that could not be judged, and why: `signals.unjudged`."""
    judged = snapshot.once(signals)
    return pl.DataFrame(schema=UNJUDGED) if judged is None else judged.unjudged


def odd(snapshot: Snapshot) -> pl.DataFrame:
    """`odd` of the figures: single readings beyond four sigma of their stream, newest last; a coarse gauge judges no
    one instrument.
    """
    judged = snapshot.once(signals)
    if judged is None:
        return pl.DataFrame(schema=ODD_ONES)
    held, usable = judged.streams, _judges_one(snapshot, judged)
    sigma = held.per_reading(held.eras.sigma)
    off = held.values - held.per_reading(held.eras.centre)
    safe = np.where(sigma > 0, sigma, 1.0)
    far = (np.abs(off) > ODD * sigma + 1e-9 * np.maximum(np.abs(held.values), sigma)) & (sigma > 0)
    at = np.flatnonzero(far & np.repeat(usable, lengths(held.starts, len(held.values))))
    rows = held.readings.at(at).with_columns(
        pl.col("setup").alias("model"), sigmas=pl.Series((off / safe)[at], dtype=pl.Float64())
    )
    return tables.shaped(rows, ODD_ONES).sort("taken_at", "serial", "characteristic", "position")


def usual(snapshot: Snapshot) -> pl.DataFrame:
    """What is usual in each stream that judges a single reading (`odd`), all techs: characteristic, position, model,
    stage, centre, sigma, reach (a reading further than that from the centre is odd).
    """
    judged = snapshot.once(signals)
    if judged is None:
        return pl.DataFrame(schema=USUAL)
    held, last = judged.streams, judged.streams.last_era
    rows = held.rows.with_columns(centre=pl.Series(held.eras.centre[last]), sigma=pl.Series(held.eras.sigma[last]))
    rows = rows.with_columns(reach=ODD * pl.col("sigma"))
    return tables.shaped(rows.filter(pl.Series(_judges_one(snapshot, judged))), USUAL)


def _judges_one(snapshot: Snapshot, judged: Signals) -> Flags:
    """Streams, shape (s,), that judge one instrument: of all techs, not thin, on a gauge fine enough."""
    of_all: Flags = (judged.streams.rows["tech"] == "").to_numpy()
    return ~_thin(snapshot, judged) & ~judged.coarse & of_all


def gauge_words(snapshot: Snapshot, judged: Signals) -> pl.Series:
    """The gauge of each stream in a word, shape (s,): the first that holds of unfit, coarse, fit, untested."""
    share = rr_share(snapshot)
    of_stream = judged.streams.rows["characteristic"].replace_strict(share, default=None, return_dtype=pl.Float64())
    word = (
        pl.when(of_stream > 0.30)
        .then(pl.lit(UNFIT))
        .when(pl.Series(judged.coarse))
        .then(pl.lit(COARSE))
        .when(of_stream.is_not_null())
        .then(pl.lit(FIT))
        .otherwise(pl.lit(UNTESTED))
    )
    return pl.select(word.alias("gauge")).to_series()


def _thin(snapshot: Snapshot, judged: Signals) -> Flags:
    held = judged.streams
    return (held.rows["n"].to_numpy() < snapshot.shop.judging.least_readings) | (held.eras.sigma[held.last_era] <= 0)


def _moved(judged: Signals, baseline: int) -> Flags:
    """Streams with a signal open: on their own chart, or while they are young on the short-run chart."""
    moved = np.zeros(len(judged.streams.starts), dtype=bool)
    still = judged.open.filter((pl.col("chart") != SHORT_RUN) | (pl.col("stream") >= 0))
    if len(still):
        own = still.filter(pl.col("chart") != SHORT_RUN)["stream"].to_numpy()
        moved[own[own >= 0]] = True
        young = still.filter(pl.col("chart") == SHORT_RUN)["stream"].to_numpy()
        moved[young[judged.streams.rows["n"].to_numpy()[young] < baseline]] = True
    return moved


def _number(values: Floats, missing: Flags) -> pl.Series:
    return pl.select(
        pl.when(pl.Series(missing)).then(None).otherwise(pl.Series(values, dtype=pl.Float64()))
    ).to_series()

"""The notes of first play tests, each less what is usual for its model: frets from the string's own nut, zero from
accepted instruments and from specs.
"""

import numpy as np
import polars as pl

from analysis.methods.intonation import gamma
from analysis.methods.segments import Floats
from analysis.studies.story.story import story
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Model
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

LEAST = 30  # accepted instruments behind a baseline
MOST_FRETS = 24  # no model of the trade has more
LOW, HIGH = 4, 7  # a target at a fret up to LOW tells the nut, from HIGH on the bridge
PLAYED = r"^(\d+) fret (\d+)$"
STRING = ["serial", "characteristic", "string"]
OF_A_KIND = ["characteristic", "model", "string", "string_set", "fret"]


def played(snapshot: Snapshot) -> pl.DataFrame:
    """A row a note of a first play test at several frets: serial, characteristic, string, fret (of the board), own
    (counted from the string's own nut), value, model, setup, string_set, accepted, visit, taken_at, and `off`: cents
    less what is usual (null where nothing says so). Frets that the string does not have are left out.
    """
    notes = _notes(snapshot)
    middle = (
        notes.filter("accepted")
        .group_by(OF_A_KIND)
        .agg(pl.len().alias("_n"), pl.col("value").median().alias("_middle"))
        .filter(pl.col("_n") >= LEAST)
        .drop("_n")
    )
    joined = notes.join(middle, on=OF_A_KIND, how="left", maintain_order="left")
    zeroes = _bent(joined, snapshot)
    if zeroes.height:
        joined = joined.join(zeroes, on=OF_A_KIND, how="left", maintain_order="left").with_columns(
            pl.coalesce("_zero", "_middle").alias("_middle")
        )
    return joined.with_columns(off=pl.col("value") - pl.col("_middle")).drop("_zero", "_middle", strict=False)


def own_fret(model: Model | None, string: str, fret: int) -> int | None:
    """A fret of the board counted from the string's own nut, 0 = open; None where that string has no such fret."""
    short = model.short_string if model else None
    if fret > MOST_FRETS:
        return None
    if fret == 0 or short is None or str(short.string) != string:
        return fret
    return fret - short.starts_at if fret > short.starts_at else None


def _notes(snapshot: Snapshot) -> pl.DataFrame:
    told = snapshot.once(story)
    pitch = [item.key for item in snapshot.shop.characteristics if item.quantity == "pitch"]
    place = pl.col("position").str.extract_groups(PLAYED)
    readings = told.readings.select(
        *("serial", "characteristic", "position", "value", "model", "setup", "outcome", "visit", "taken_at"),
        *("role", "first_pass", "moment"),
    ).filter(
        (pl.col("role") == "test")
        & pl.col("first_pass")
        & (pl.col("moment") == "found")
        & pl.col("value").is_not_null(),
        pl.col("characteristic").is_in(pitch) & (pl.col("serial") != ""),
    )
    readings = tables.plain(readings).filter(pl.col("position").str.contains(PLAYED))
    sets = told.visits["string_set"].gather(readings["visit"]).cast(pl.String)
    notes = readings.select(
        "serial",
        "characteristic",
        place.struct["1"].alias("string"),
        place.struct["2"].cast(pl.Int64).alias("fret"),
        "value",
        "model",
        "setup",
        sets,
        (pl.col("outcome") == "pass").alias("accepted"),
        "visit",
        "taken_at",
    )
    places = notes.select("model", "string", "fret").unique(maintain_order=True)
    by_model = snapshot.shop.by_model
    own = [own_fret(by_model.get(model), string, fret) for model, string, fret in places.iter_rows()]
    places = places.with_columns(own=pl.Series(own, dtype=pl.Int64))
    return (
        notes.join(places, on=["model", "string", "fret"], how="left", maintain_order="left")
        .filter(pl.col("own").is_not_null())
        .sort("visit")
        .unique([*STRING, "fret"], keep="first", maintain_order=True)
        .sort(*STRING, "fret")
    )


def _bent(notes: pl.DataFrame, snapshot: Snapshot) -> pl.DataFrame:
    """Zero of each kind of note (OF_A_KIND, _zero) where specs say what a fret of its string is to be: what is usual,
    bent by the shapes of nut and bridge so that it goes through those targets.
    """
    kinds = notes.group_by([*OF_A_KIND, "own"], maintain_order=True).agg(
        pl.col("_middle").first(), pl.col("taken_at").max().alias("_at")
    )
    if kinds.is_empty() or snapshot.specs.rows.is_empty():
        return pl.DataFrame()
    kinds = kinds.with_columns(_target=_targets(kinds, snapshot))
    if kinds["_target"].null_count() == kinds.height:
        return pl.DataFrame()
    by = [name for name in OF_A_KIND if name != "fret"]
    parts = []
    for _, group in kinds.group_by(by, maintain_order=True):
        zero = _through(
            group["own"].to_numpy(),
            group["_middle"].cast(pl.Float64).fill_null(np.nan).to_numpy(),
            group["_target"].fill_null(np.nan).to_numpy(),
        )
        if zero is not None:
            parts.append(group.select(OF_A_KIND).with_columns(_zero=pl.Series(zero).fill_nan(None)))
    return pl.concat(parts) if parts else pl.DataFrame()


def _targets(kinds: pl.DataFrame, snapshot: Snapshot) -> pl.Series:
    """The target in cents that specs give each kind of note: of a row that names the fret, or of the twelfth."""
    shop: Shop = snapshot.shop
    test = next((stage.key for stage in shop.stages if stage.role == "test"), "")
    keys = kinds.select(
        "characteristic",
        pl.format("{} fret {}", "string", "fret").alias("position"),
        pl.col("model").replace_strict(shop.families, default="", return_dtype=pl.String).alias("family"),
        "model",
        pl.lit(test).alias("stage"),
        pl.lit("").alias("supplier"),
        pl.col("_at").dt.convert_time_zone(shop.shop.timezone).dt.date().alias("date"),
    )
    rows = snapshot.specs.rows.select("position", "target", "lower", "upper")
    held = rows.select(pl.all().gather(snapshot.specs.match(keys)))
    named = held["position"].str.contains(" fret ").fill_null(False) | (kinds["own"] == 12)
    aim = held.select(pl.coalesce("target", (pl.col("lower") + pl.col("upper")) / 2)).to_series()
    return pl.select(pl.when(named).then(aim)).to_series().cast(pl.Float64)


def _through(own: np.ndarray, middle: Floats, target: Floats) -> Floats | None:
    """The usual of one string (n,) bent through its targets; without a usual the curve through them, if a low and a
    high fret have one; None where there is nothing to bend.
    """
    fretted = own > 0
    over = np.where(fretted, gamma(own) - 1, 1.0)
    tilt, hook = np.where(fretted, over, 0.0), np.where(fretted, (float(gamma(1)) - 1) / over, 0.0)
    said = np.isfinite(target) & fretted
    low, high = said & (own <= LOW), said & (own >= HIGH)
    known = np.isfinite(middle)
    if not known.any():
        if not (low.any() and high.any()):
            return None
        middle = np.zeros(len(own))
        known = np.ones(len(own), dtype=bool)
    shapes = [shape for shape, there in ((tilt, high.any()), (hook, low.any())) if there]
    use = said & known & (low | high)
    if not shapes or not use.any():
        return None
    columns = np.column_stack(shapes)
    opened = middle[(own == 0) & known]
    gap = target[use] + (float(opened[0]) if len(opened) else 0.0) - middle[use]
    bend, *_ = np.linalg.lstsq(columns[use], gap, rcond=None)
    return np.asarray(middle + columns @ bend)

"""What the play test says: tuning, bridge, nut or one fret, string by string, from first play tests at several frets.

Every string is held against the middle of accepted instruments of the same model, string and string set (30 or more),
so that what all of them share by design is no fault.
"""

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.intonation import CENTS
from analysis.methods.intonation_inverse import DOUBT, TERMS, choked, fit_strings
from analysis.methods.segments import Floats, Ints
from analysis.studies.story.story import story
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Model
from ingest.store.snapshot import Snapshot

LEAST = 30  # accepted instruments behind a baseline
LEAST_FRETS = 3  # fretted notes beside the open string
SURE = 3.0  # standard errors from which on a term is worth a visit
ALARM = 5.0  # cents: for less nobody is sent back
ONE_NOTE = 2.0  # cents, standard deviation of one plucked note: Mottola 2018; where a string has no note to spare
PLAYED = r"^(\d+) fret (\d+)$"
COLUMN = dict(zip(TERMS, ("tuning", "nut", "bridge", "hook"), strict=True))
STRING = ["serial", "characteristic", "string"]

INTONATION: dict[str, pl.DataType] = {
    "serial": pl.String(),
    "string": pl.String(),
    **{name: pl.Float64() for name in ("tuning", "bridge", "nut", "hook")},
    "fret": pl.Int64(),
    "fret_cents": pl.Float64(),
    "bridge_mm": pl.Float64(),
    "send_to": pl.String(),
}


def intonation_rows(snapshot: Snapshot) -> pl.DataFrame:
    """`intonation` of the figures: a row a serial and string played at several frets in its first play test; cents,
    bridge_mm back.

    bridge = cents at fret 12 that grow up the neck, nut = cents common to all fretted notes, hook = cents at fret 1 of
    a high nut. fret is named where it is out by itself (deletion t, 5 % a string over its frets), with its cents in
    fret_cents. All null without a baseline, an open string and three frets. send_to: the stage to look at first, ''
    where nothing is out by five cents and three standard errors.
    """
    return snapshot.once(strings).select(INTONATION.keys())


def strings(snapshot: Snapshot) -> pl.DataFrame:
    """The rows of `table` with characteristic, model, setup, notes (those used) and the standard errors tuning_error,
    bridge_error, nut_error, hook_error, fret_error, from the noise of one note over all strings played at the same
    frets.
    """
    notes = snapshot.once(played)
    rows = notes.select(*STRING, "model", "setup").unique(STRING, maintain_order=True)
    usable = notes.filter(pl.col("off").is_not_null())
    usable = usable.filter(pl.Series(_choked(usable), dtype=pl.Boolean).not_()) if usable.height else usable
    frets = usable.group_by(STRING, maintain_order=True).agg(pl.col("fret").alias("frets"), pl.col("off"))
    frets = frets.filter(pl.col("frets").list.contains(0) & (pl.col("frets").list.n_unique() > LEAST_FRETS))
    found = [_fitted(group, tuple(pattern[0])) for pattern, group in frets.group_by("frets", maintain_order=True)]
    columns = {
        **INTONATION,
        "notes": pl.Int64(),
        **{f"{name}_error": pl.Float64() for name in COLUMN.values()},
        "fret_error": pl.Float64(),
    }
    told = pl.concat(found) if found else pl.DataFrame(schema={name: pl.String() for name in STRING})
    joined = rows.join(told, on=STRING, how="left", maintain_order="left")
    joined = joined.with_columns(
        [pl.lit(None, dtype=dtype).alias(name) for name, dtype in columns.items() if name not in joined.columns]
    )
    scale = pl.Series(
        [
            _scale(snapshot.shop.by_model.get(model), string)
            for model, string in joined.select("model", "string").iter_rows()
        ],
        dtype=pl.Float64,
    )
    return (
        joined.with_columns(bridge_mm=pl.col("bridge") * scale / CENTS)
        .with_columns(send_to=_sent_to(snapshot.shop))
        .select(*STRING, "model", "setup", *(name for name in columns if name not in STRING))
    )


def played(snapshot: Snapshot) -> pl.DataFrame:
    """A row a note of a first play test at several frets: serial, characteristic, string, fret, value, model, setup,
    string_set, accepted, and `off`: cents less the baseline (null without one).
    """
    told = snapshot.once(story)
    pitch = [item.key for item in snapshot.shop.characteristics if item.quantity == "pitch"]
    place = pl.col("position").str.extract_groups(PLAYED)
    readings = told.readings.filter(
        (pl.col("role") == "test")
        & pl.col("first_pass")
        & (pl.col("moment") == "found")
        & pl.col("value").is_not_null(),
        pl.col("characteristic").is_in(pitch) & pl.col("position").str.contains(PLAYED) & (pl.col("serial") != ""),
    )
    sets = told.visits["string_set"].gather(readings["visit"])
    notes = (
        readings.select(
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
        )
        .sort("visit")
        .unique([*STRING, "fret"], keep="first", maintain_order=True)
        .sort(*STRING, "fret")
    )
    by = ["characteristic", "model", "string", "string_set", "fret"]
    middle = (
        notes.filter("accepted")
        .group_by(by)
        .agg(pl.len().alias("_n"), pl.col("value").median().alias("_middle"))
        .filter(pl.col("_n") >= LEAST)
    )
    return (
        notes.join(middle, on=by, how="left", maintain_order="left")
        .with_columns(off=pl.col("value") - pl.col("_middle"))
        .drop("_n", "_middle")
    )


def _choked(notes: pl.DataFrame) -> np.ndarray:
    """Notes too far from the middle of their string to be intonation (methods.intonation_inverse.choked, for strings of
    any length).
    """
    centre = notes.select(pl.col("off") - pl.col("off").median().over(STRING))["off"].to_numpy()
    return choked(np.column_stack([centre, np.zeros(len(centre)), np.zeros(len(centre))]))[:, 0]


def _fitted(group: pl.DataFrame, frets: tuple[int, ...]) -> pl.DataFrame:
    """Terms of all strings played at these frets."""
    n, e = np.array(frets, dtype=np.float64), np.array(group["off"].to_list(), dtype=np.float64)
    plain = fit_strings(n, e)
    spare = len(n) - len(TERMS)
    noise = ONE_NOTE
    if (
        plain.residual_sd is not None
    ):  # the middle of all strings, so that those with a bad fret do not speak for the others
        noise = float(np.sqrt(np.median(plain.residual_sd**2) * spare / stats.chi2.median(spare)))
    terms, errors = dict(plain.terms), fit_strings(n, e, noise=noise).errors
    fret, cents = _fret(n, e, spare)
    named, own_error = np.flatnonzero(fret > 0), np.full(len(e), np.nan)
    for k in np.unique(fret[named]):
        here = named[fret[named] == k]
        again = fit_strings(n, e[here], fret=int(k), noise=noise)
        for name in TERMS:
            terms[name][here], errors[name][here] = again.terms[name], again.errors[name]
        own_error[here] = again.errors["fret"]
    return group.select(STRING).with_columns(
        pl.lit(len(n), dtype=pl.Int64).alias("notes"),
        *(pl.Series(COLUMN[name], terms[name]) for name in TERMS),
        *(pl.Series(f"{COLUMN[name]}_error", errors[name]) for name in TERMS),
        pl.Series("fret", fret).replace(0, None),
        pl.Series("fret_cents", cents).fill_nan(None),
        pl.Series("fret_error", own_error).fill_nan(None),
    )


def _fret(n: Floats, e: Floats, spare: int) -> tuple[Ints, Floats]:
    """The fret that is out by itself on each string (0: none) and its cents; Bonferroni over the frets that can be
    tested.
    """
    m = len(e)
    fret, cents = np.zeros(m, dtype=np.int64), np.full(m, np.nan)
    tested = [int(k) for k in np.unique(n[n > 0])]
    if spare < 2:
        return fret, cents
    each = [fit_strings(n, e, fret=k) for k in tested]
    out = np.stack([found.terms["fret"] for found in each])
    t = out / np.maximum(np.stack([found.errors["fret"] for found in each]), 1e-9)
    worst, at = np.abs(t).argmax(axis=0), np.arange(m)
    named = np.abs(t[worst, at]) > float(stats.t.isf(DOUBT / (2 * len(tested)), spare - 1))
    fret[named] = np.array(tested)[worst[named]]
    cents[named] = out[worst, at][named]
    return fret, cents


def _sent_to(shop: Shop) -> pl.Expr:
    """The stage to look at: of the fret out by itself, else of the term that is surest to be out."""
    bridge = pl.format("{}\n{}", "characteristic", "model").replace_strict(
        {
            f"{item.key}\n{model.key}": item.set_stage(model.family)
            for item in shop.characteristics
            for model in shop.models
        },
        default="",
        return_dtype=pl.String,
    )
    nut = next(
        (stage for item in shop.characteristics if "nut" in item.key.lower() for stage in item.set_stages),
        _like(shop, "nut"),
    )
    crowning = _like(shop, "crown") or _like(shop, "level")
    z = {
        name: (pl.col(name).abs() / pl.col(f"{name}_error")).fill_null(0.0).fill_nan(0.0)
        for name in ("bridge", "nut", "hook")
    }
    out = {name: (pl.col(name).abs() >= ALARM) & (z[name] >= SURE) for name in z}
    at_nut = pl.max_horizontal(*(pl.when(out[name]).then(z[name]).otherwise(0.0) for name in ("nut", "hook")))
    at_bridge = pl.when(out["bridge"]).then(z["bridge"]).otherwise(0.0)
    return (
        pl.when(pl.col("fret_cents").abs() >= pl.max_horizontal(pl.lit(ALARM), SURE * pl.col("fret_error")))
        .then(pl.lit(crowning))
        .when((at_bridge > 0) & (at_bridge >= at_nut))
        .then(bridge)
        .when(at_nut > 0)
        .then(pl.lit(nut))
        .otherwise(pl.lit(""))
    )


def _like(shop: Shop, word: str) -> str:
    """The first stage whose key speaks of `word`; '' where none does."""
    return next((stage.key for stage in shop.stages if word in stage.key.lower()), "")


def _scale(model: Model | None, string: str) -> float | None:
    """Length of that open string in mm; a short string begins at a fret further up."""
    if model is None or model.scale_mm is None:
        return None
    short = model.short_string
    return (
        float(model.scale_mm * 2 ** (-short.starts_at / 12))
        if short and str(short.string) == string
        else model.scale_mm
    )

"""What the play test says string by string: tuning, bridge, nut or one fret, from first play tests at several frets.

Every string is held against what is usual for its model, string and string set (`notes`), so that what all of them
share by design is no fault. Where to look first is said by all strings together (`play_test`).
"""

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.intonation import CENTS
from analysis.methods.intonation_inverse import DOUBT, TERMS, choked, fit_strings
from analysis.methods.segments import Floats, Ints
from analysis.studies.room.notes import STRING, played
from analysis.studies.room.play_test import Advice, advice
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Model
from ingest.store.snapshot import Snapshot

LEAST_FRETS = 3  # fretted notes beside the open string
ONE_NOTE = 2.0  # cents, standard deviation of one plucked note: Mottola 2018; where a string has no note to spare
COLUMN = dict(zip(TERMS, ("tuning", "nut", "bridge", "hook"), strict=True))

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
    fret_cents. All null without a baseline, an open string and three frets. send_to: the stage to look at first, the
    earliest along the bench of those that all strings of the instrument together speak for; '' where they name none.
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
    frets = usable.group_by(STRING, maintain_order=True).agg(pl.col("fret").alias("frets"), "own", "off")
    frets = frets.filter(pl.col("frets").list.contains(0) & (pl.col("frets").list.n_unique() > LEAST_FRETS))
    found = [
        _fitted(group, tuple(pattern[1]), dict(zip(pattern[1], pattern[0], strict=True)))
        for pattern, group in frets.group_by("frets", "own", maintain_order=True)
    ]
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
        .with_columns(send_to=_sent_to(joined, snapshot.once(advice), snapshot.shop))
        .select(*STRING, "model", "setup", *(name for name in columns if name not in STRING))
    )


def _choked(notes: pl.DataFrame) -> np.ndarray:
    """Notes too far from the middle of their string to be intonation (methods.intonation_inverse.choked, for strings of
    any length).
    """
    centre = notes.select(pl.col("off") - pl.col("off").median().over(STRING))["off"].to_numpy()
    return choked(np.column_stack([centre, np.zeros(len(centre)), np.zeros(len(centre))]))[:, 0]


def _fitted(group: pl.DataFrame, frets: tuple[int, ...], board: dict[int, int]) -> pl.DataFrame:
    """Terms of all strings played at these frets, counted from their own nut; `board`: the frets of the board."""
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
        pl.Series("fret", [board[int(k)] if k else None for k in fret], dtype=pl.Int64),
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


def _sent_to(rows: pl.DataFrame, said: tuple[Advice, ...], shop: Shop) -> pl.Series:
    """The stage to look at first, row for row of serial, characteristic and string."""
    order = shop.bench_order
    first: dict[tuple[str, str, str], str] = {}
    for one in sorted(said, key=lambda each: order.get(each.stage, len(order))):
        if one.stage:
            first.setdefault((one.serial, one.characteristic, one.string), one.stage)
    out = []
    for serial, characteristic, string in rows.select(STRING).iter_rows():
        mine = [first.get((serial, characteristic, at), "") for at in (string, "")]
        out.append(min((one for one in mine if one), key=lambda each: order.get(each, len(order)), default=""))
    return pl.Series(out, dtype=pl.String)


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

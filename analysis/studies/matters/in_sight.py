"""Which streams each open matter moved, how far every stream stands from its edge in shares of its tolerance, and what
a shift costs if it is left.
"""

from dataclasses import dataclass, field
from datetime import timedelta

import numpy as np
import polars as pl

from analysis.methods.capability import normal_ppm
from analysis.studies.drift.rack import SHARE_OF_TOLERANCE, SIGMAS, rack
from analysis.studies.drift.signals import Signals, signals
from analysis.studies.drift.states import MOVED
from analysis.studies.matters.matters import ended_matters, open_matters
from analysis.studies.matters.records import Matter
from ingest.store.snapshot import Snapshot
from ingest.terms.tables import TIME

KEY = ["characteristic", "position", "model", "stage"]
WITHOUT_LIMITS = 6.0  # sigma that stand for a tolerance where nothing is asked
LATELY = 4  # weeks whose readings say how many a week pass


@dataclass(frozen=True)
class InSight:
    """streams: rows of the rack with `moved_share` (of the tolerance, or of six sigma where nothing is asked: of an
    open signal its shift, else where its average stands; null: no average) and `stands` (off its centre line
    by now: its shift, of what creeps where it has come to) and `matter` (key of the open matter that moved it, null
    where none did) and `more_outside` (readings a week that its shift puts outside the limits
    beyond those that its centre line would, by a normal curve of its usual spread; negative where it puts fewer;
    null without limits, without a shift, or where it went as planned) and `matter_began` (since when that matter lasts)
    and `ended`, `back_since` (of a stream whose chart is open while all readings of its matter say that it has ended:
    the key of that matter, and since when; else null). matters: the open ones by their keys; ended: those that have
    ended.
    """

    streams: pl.DataFrame
    matters: dict[str, Matter]
    ended: dict[str, Matter] = field(default_factory=dict)


def in_sight(snapshot: Snapshot, *, weeks: int = 13, tech: str = "") -> InSight:
    """Every stream of the rack beside the matter it belongs to."""
    rows = rack(snapshot, weeks=weeks, tech=tech).streams
    matters = snapshot.once(open_matters)
    judged = snapshot.once(signals)
    if judged is None or rows.is_empty():
        number, word = pl.lit(None, pl.Float64), pl.lit(None, pl.String)
        none = {"moved_share": number, "stands": number, "more_outside": number, "matter": word, "ended": word}
        return InSight(rows.with_columns(**none, back_since=pl.lit(None, TIME), matter_began=pl.lit(None, TIME)), {})
    limited = pl.col("tolerance").is_not_null() & (pl.col("tolerance") > 0)
    whole = pl.when(limited).then("tolerance").otherwise(WITHOUT_LIMITS * pl.col("sigma"))
    step = pl.when(limited).then(SHARE_OF_TOLERANCE).otherwise(SIGMAS / WITHOUT_LIMITS)
    now = pl.col("line").list.drop_nulls().list.last() * step
    rows = rows.with_columns(
        moved_share=pl.when(pl.col("shift").is_not_null() & (whole > 0)).then(pl.col("shift") / whole).otherwise(now)
    )
    rows = rows.with_columns(stands=_stands(rows, matters))
    rows = rows.with_columns(more_outside=_more_outside(snapshot, judged, rows))
    ended = snapshot.once(ended_matters)
    of = _touched(judged, matters, "matter")
    rows = rows.join(of.unique(KEY, keep="first", maintain_order=True).drop("tech", "back_since"), on=KEY, how="left",
                     maintain_order="left")  # fmt: skip
    over = _touched(judged, ended, "ended").join(of, on=[*KEY, "tech"], how="anti", maintain_order="left")
    over = over.unique([*KEY, "tech"], keep="last", maintain_order=True)
    rows = rows.join(over, on=[*KEY, "tech"], how="left", maintain_order="left")
    open_still = (pl.col("state") == MOVED) & pl.col("ended").is_not_null()
    rows = rows.with_columns(pl.when(open_still).then(name).alias(name) for name in ("ended", "back_since"))
    rows = rows.with_columns(matter=pl.when(pl.col("ended").is_null()).then("matter"))
    began = {one.key: one.began_at or one.opened_at for one in matters}
    rows = rows.with_columns(matter_began=pl.col("matter").replace_strict(began, default=None, return_dtype=TIME))
    meant = [one.key for one in matters if one.planned is not None and one.planned.followed]
    left = pl.when(~pl.col("matter").is_in(meant).fill_null(False)).then("more_outside")
    rows = rows.with_columns(more_outside=left)
    return InSight(rows, {one.key: one for one in matters}, {one.key: one for one in ended})


def _stands(rows: pl.DataFrame, matters: list[Matter]) -> pl.Series:
    """How far each stream stands off its centre line by now: its shift; of what creeps where its model stands, though
    no chart of the stream itself is open.
    """
    told = [
        {"characteristic": one.characteristics[0], "stage": stage, "model": model, "now": now, "where": one.positions}
        for one in matters
        if one.creeping is not None and one.characteristics and one.over_all is None
        for stage in one.stages[:1]
        for model, now in one.creeping.models
    ]
    schema = {**dict.fromkeys(("characteristic", "stage", "model"), pl.String), "now": pl.Float64}
    known = pl.DataFrame(told, schema={**schema, "where": pl.List(pl.String)})
    own = rows.with_row_index("row").select("row", "characteristic", "stage", "model", "position", "tech", "shift")
    met = own.join(known, on=["characteristic", "stage", "model"], how="inner", maintain_order="left").filter(
        pl.col("tech") == "", (pl.col("where").list.len() == 0) | pl.col("where").list.contains(pl.col("position"))
    )
    creeps = met.unique("row", keep="first", maintain_order=True).select("row", "now")
    return own.join(creeps, on="row", how="left", maintain_order="left").select(pl.coalesce("now", "shift"))["now"]


def _touched(judged: Signals, matters: list[Matter], name: str) -> pl.DataFrame:
    """The streams whose signals belong to matters: KEY, tech, the key of the matter (`name`), back_since; by matter."""
    told = [
        {**{each: judged.found[each][member.row] for each in (*KEY, "tech")}, name: one.key,
         "back_since": one.back_since}
        for one in matters
        for member in one.signals
        if member.table == "found"
    ]  # fmt: skip
    return pl.DataFrame(told, schema={**dict.fromkeys([*KEY, "tech", name], pl.String), "back_since": TIME})


def _more_outside(snapshot: Snapshot, judged: Signals, rows: pl.DataFrame) -> pl.Series:
    """Readings a week outside the limits after the shift less those before it. A normal curve: NIST/SEMATECH e-Handbook
    of Statistical Methods, 6.1.6.
    """
    since = snapshot.as_of - timedelta(weeks=LATELY)
    held = judged.streams.readings
    lately = (held.taken_at > since).to_numpy()
    stream = rows["stream"].to_numpy()
    passed = np.bincount(held.stream[lately], minlength=len(judged.streams.starts))[stream] / LATELY
    number = ("centre", "sigma", "stands", "lower", "upper")
    centre, sigma, shift, lower, upper = (rows[name].cast(pl.Float64).fill_null(np.nan).to_numpy() for name in number)
    half = judged.streams.rows["step"].fill_null(0.0).to_numpy()[stream] / 2  # outside is what a whole step lies beyond
    before, now = (normal_ppm(mean, sigma, lower - half, upper + half) for mean in (centre, centre + shift))
    more = (now - before) / 1e6 * passed
    told = np.isfinite(more) & (sigma > 0) & ~(np.isnan(lower) & np.isnan(upper))
    return pl.Series(np.where(told, more, np.nan)).fill_nan(None)


def cost_if_left(streams: pl.DataFrame) -> float | None:
    """Instruments a week that a matter puts outside if it is left, of the rows of `InSight.streams` that it moved: at
    each stage the worst position of each model, over the models; of the stages the largest, since one instrument passes
    all of them. None where none has limits.
    """
    known = streams.filter(pl.col("more_outside").is_not_null())
    if known.is_empty():
        return None
    worst = known.group_by("stage", "model").agg(pl.col("more_outside").max())
    stages = worst.group_by("stage").agg(pl.col("more_outside").sum())
    return max(float(more) for more in stages["more_outside"])

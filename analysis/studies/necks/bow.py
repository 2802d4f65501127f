"""What goes with bow at receiving: minutes, send-backs and rejects of the same instrument, model by model and
straightener by straightener.

Bow is the larger edge as an absolute value: a hump costs work as a hollow does. Every comparison is within model and
within who straightened the neck; lots, not necks, are taken as independent, since what else came with a lot came with
all its necks. What goes with bow need not come of it; money is minutes at the shop's labour rate.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints
from analysis.methods.spline_by_lot import Bent, bent
from analysis.studies.necks import lots
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

TENTH = 0.1  # mm
CURVE_POINTS = 25
STEP = 0.05  # mm, width of a step of the stepped means
LEAST_NECKS, LEAST_LOTS = 30, 5
LEAST_IN_STEP = 10
LEAST_TO_PAY = 3  # lots
MEASURES = ("minutes", "straightening", "send_backs", "rejected")


@dataclass(frozen=True)
class Level:
    """What necks of some bow stand at beyond straight ones."""

    bow: float  # mm
    more: float
    low: float
    high: float


@dataclass(frozen=True)
class Goes:
    """One measure against bow: per tenth of a mm, in steps, and along a curve; minutes, or instruments (0 to 1), or
    send-backs.
    """

    # minutes (all paid minutes of round 1) | straightening (minutes there) | send_backs (count) | rejected (reject or
    # second)
    measure: str
    n: int
    lots: int
    slope: float  # a tenth of a millimetre
    slope_low: float
    slope_high: float
    bends: float  # p that a straight line would do
    step_from: Floats  # (k,) mm, lower end of each step
    step_mean: Floats  # (k,) mean at each step, brought to the middle mix
    step_low: Floats
    step_high: Floats
    step_n: Ints
    line_x: Floats  # (25,) along the curve, mm
    line: Floats
    line_low: Floats
    line_high: Floats
    levels: list[Level]  # at round tenths, against straight necks


@dataclass(frozen=True)
class LotCost:
    """What went with the bow of one lot's judged necks beyond straight ones, all of them together."""

    necks: int
    total: float  # minutes, or send-backs, or rejects
    low: float
    high: float


@dataclass(frozen=True)
class Limit:
    """A purchase limit and what the next tenth below it would save."""

    limit: float  # mm
    necks: int  # with bow in the tenth below the limit
    lots: int  # that they came with; from under three nothing is said to pay
    minutes: float  # more than a straight neck (bow under a tenth), a neck
    low: float
    high: float
    pays: bool  # the low end is above what a return costs


def instruments(snapshot: Snapshot, characteristic: str | None = None) -> pl.DataFrame:
    """A row a judged instrument with a bow reading: serial, model, lot_key, straightener, bow (mm, not negative), and
    MEASURES.
    """
    told, shop = snapshot.once(story), snapshot.shop
    name = characteristic or neck_bow(snapshot)
    rods = pl.col("stage").is_in(shop.straightening)
    bow = snapshot.once(lots.necks).filter((pl.col("characteristic") == name) & (pl.col("serial") != ""))
    first = told.visits.filter(pl.col("round") == 1)
    spent = first.group_by("serial").agg(
        pl.col("minutes").sum(),
        pl.col("minutes").filter(rods).sum().alias("straightening"),
        (pl.col("outcome") == "send back").sum().cast(pl.Float64).alias("send_backs"),
        pl.col("tech").filter(rods & pl.col("first_pass")).first().fill_null("").alias("straightener"),
    )
    judged = told.instruments.filter("judged").select(
        "serial", pl.col("end").is_in(["reject", "second"]).cast(pl.Float64).alias("rejected")
    )
    return (
        bow.select(
            "serial",
            "model",
            pl.format("{}\n{}", "supplier", "lot").alias("lot_key"),
            pl.col("value").abs().alias("bow"),
        )
        .unique("serial", keep="first", maintain_order=True)
        .join(judged, on="serial", maintain_order="left")
        .join(tables.plain(spent), on="serial", maintain_order="left")
    )


def neck_bow(snapshot: Snapshot) -> str:
    """The characteristic that is measured on incoming necks: the one with most receiving readings."""
    necks = snapshot.once(lots.necks)
    if necks.is_empty():
        raise UnusableData("no neck has been measured at receiving yet; load the receiving logs, with supplier and lot")
    return str(
        necks.group_by("characteristic")
        .len()
        .sort("len", "characteristic", descending=[True, False])["characteristic"][0]
    )


def goes_with(
    snapshot: Snapshot, measure: str = "minutes", characteristic: str | None = None, supplier: str | None = None
) -> Goes:
    """What goes with bow in one of MEASURES, of all necks or of one supplier's; raises UnusableData from under 30 necks
    or five lots.
    """
    if measure not in MEASURES:
        raise UnusableData(f"{measure!r} is no measure; wanted one of {', '.join(MEASURES)}")
    rows = instruments(snapshot, characteristic)
    if supplier is not None:
        rows = rows.filter(pl.col("lot_key").str.starts_with(f"{supplier}\n"))
    if measure == "straightening":  # models that are straightened only
        rows = rows.filter(pl.col("straightener") != "")
    timed(snapshot, rows, measure)
    return against(rows, measure)


def timed(snapshot: Snapshot, rows: pl.DataFrame, measure: str) -> None:
    """UnusableData where minutes are asked for and none of these instruments' is typed or clocked."""
    if measure not in ("minutes", "straightening") or rows.is_empty():
        return
    visits = snapshot.once(story).visits.filter((pl.col("minutes_from") != "planned") & (pl.col("role") != "rest"))
    if measure == "straightening":
        visits = visits.filter(pl.col("stage").is_in(snapshot.shop.straightening))
    if visits.join(rows.select("serial"), on="serial", how="semi").is_empty():
        at = " at neck straightening" if measure == "straightening" else ""
        raise UnusableData(
            f"no minutes are on file{at}: none was typed or clocked, and planned ones are the same for every neck; "
            "load logs with minutes, or with a start and a finish"
        )


def against(rows: pl.DataFrame, measure: str) -> Goes:
    """`goes_with` of the rows of `instruments`."""
    _enough(rows)
    lots_seen = rows["lot_key"].n_unique()
    y, bow, lot = rows[measure].to_numpy().astype(np.float64), rows["bow"].to_numpy(), _codes(rows, ["lot_key"])
    mix = _codes(rows, ["model", "straightener"])
    if float(_within(bow, mix).std()) < 1e-9:
        raise UnusableData("all necks of a model are equally straight; there is nothing for minutes to go with")
    slope, covariance = _fit(y, bow[:, None], mix, lot)
    reach = float(stats.t.isf(0.025, lots_seen - 1))
    half = reach * float(np.sqrt(covariance[0, 0]))
    curve = bent(y, bow, mix, lot)
    x = np.linspace(0.0, float(bow.max()), CURVE_POINTS)
    line, low, high = (float(y.mean()) + part for part in curve.more(x, bow))
    levels = _levels(curve, bow)
    steps = _steps(y, bow, mix, lot, reach)
    return Goes(
        measure,
        rows.height,
        lots_seen,
        float(slope[0]) * TENTH,
        (float(slope[0]) - half) * TENTH,
        (float(slope[0]) + half) * TENTH,
        curve.bends,
        *steps,
        x,
        line,
        low,
        high,
        levels,
    )


def _levels(curve: Bent, bow: Floats) -> list[Level]:
    """What goes with bow at round tenths that necks reach, against straight ones."""
    reach = [k for k in range(2, 100) if (bow >= k * TENTH - 1e-9).sum() >= LEAST_IN_STEP]
    if not reach:
        return []
    at = np.round(np.array(reach) * TENTH, 9)
    more, low, high = curve.more(at, straight(bow))
    return [Level(*map(float, row)) for row in zip(at, more, low, high, strict=True)]


def straight(bow: Floats) -> Floats:
    """Bow of the straight necks that others are held against: under a tenth; none such: the straightest fifth."""
    under = bow[bow < TENTH - 1e-9]
    return under if len(under) >= LEAST_IN_STEP else np.sort(bow)[: max(len(bow) // 5, 1)]


def cost_of_lots(
    snapshot: Snapshot, measure: str = "minutes", characteristic: str | None = None
) -> dict[tuple[str, str], LotCost]:
    """What went with the bow of each lot's necks beyond straight ones, by supplier and lot; raises UnusableData as
    `goes_with`.
    """
    rows = instruments(snapshot, characteristic)
    if measure == "straightening":
        rows = rows.filter(pl.col("straightener") != "")
    timed(snapshot, rows, measure)
    return costs(rows, measure)


def costs(rows: pl.DataFrame, measure: str) -> dict[tuple[str, str], LotCost]:
    """`cost_of_lots` of the rows of `instruments`: one curve through all of them, summed over the necks of each lot."""
    _enough(rows)
    y, bow = rows[measure].to_numpy().astype(np.float64), rows["bow"].to_numpy()
    curve = bent(y, bow, _codes(rows, ["model", "straightener"]), _codes(rows, ["lot_key"]))
    told = {}
    for (key,), own in rows.group_by("lot_key", maintain_order=True):
        supplier, _, lot = str(key).partition("\n")
        total, low, high = curve.total(own["bow"].to_numpy(), straight(bow))
        told[supplier, lot] = LotCost(own.height, total, low, high)
    return told


def _enough(rows: pl.DataFrame) -> None:
    lots_seen = rows["lot_key"].n_unique()
    if rows.height < LEAST_NECKS or lots_seen < LEAST_LOTS:
        wanted = f"{LEAST_NECKS} of {LEAST_LOTS} lots"
        raise UnusableData(
            f"{rows.height} judged necks of {lots_seen} lots; what goes with bow needs {wanted}: load more logs"
        )


def limits(
    snapshot: Snapshot, *, return_minutes: float | None = None, characteristic: str | None = None
) -> list[Limit]:
    """Tenth by tenth, what a tighter purchase limit would save on each neck it would return, and whether that pays.

    return_minutes : what sending a neck back and receiving another costs; None: twice the planned minutes of receiving.
    The limit at which the next tenth stops paying is the lowest `limit` of a row that pays.
    """
    rows = instruments(snapshot, characteristic)
    timed(snapshot, rows, "minutes")
    receiving = [stage for stage in snapshot.shop.stages if stage.role == "receiving"]
    families = rows["model"].replace_strict(snapshot.shop.families, default="", return_dtype=pl.String)
    planned = (
        float(np.mean([sum(stage.planned_minutes(family) for stage in receiving) for family in families.to_list()]))
        if rows.height
        else 0.0
    )
    return limits_of(rows, 2 * planned if return_minutes is None else return_minutes)


def limits_of(rows: pl.DataFrame, return_minutes: float) -> list[Limit]:
    """`limits` of the rows of `instruments`."""
    y, bow = rows["minutes"].to_numpy().astype(np.float64), rows["bow"].to_numpy()
    band = np.floor(bow / TENTH + 1e-9).astype(np.int64)
    used = [k for k in range(1, int(band.max(initial=0)) + 1) if (band == k).sum() >= LEAST_IN_STEP]
    if not used or (band == 0).sum() < LEAST_IN_STEP:
        wanted = f"{LEAST_IN_STEP} straight ones and {LEAST_IN_STEP} bowed ones"
        raise UnusableData(f"too few necks to say what a tenth of a millimetre costs; wanted {wanted}: load more logs")
    kept = np.isin(band, [0, *used])
    rows, y, band = rows.filter(pl.Series(kept)), y[kept], band[kept]
    lot, mix = _codes(rows, ["lot_key"]), _codes(rows, ["model", "straightener"])
    mark = (band[:, None] == np.array(used)[None, :]).astype(np.float64)
    more, covariance = _fit(y, mark, mix, lot)
    half = float(stats.t.isf(0.025, max(int(lot.max()), 1))) * np.sqrt(np.diag(covariance))
    return [
        Limit(
            round((k + 1) * TENTH, 9),
            int((band == k).sum()),
            int(many),
            float(m),
            float(m - h),
            float(m + h),
            bool(many >= LEAST_TO_PAY and m - h > return_minutes),
        )
        for k, m, h, many in zip(used, more, half, (len(np.unique(lot[band == k])) for k in used), strict=True)
    ]


def _steps(y: Floats, bow: Floats, mix: Ints, lot: Ints, reach: float) -> tuple[Floats, Floats, Floats, Floats, Ints]:
    """Mean of each step of bow brought to the middle mix, with its interval; steps of under ten necks go with the one
    below.
    """
    step = np.floor(bow / STEP + 1e-9).astype(np.int64)
    for k in range(int(step.max()), 0, -1):
        if 0 < (step == k).sum() < LEAST_IN_STEP:
            step[step == k] = k - 1
    names, which, count = np.unique(step, return_inverse=True, return_counts=True)
    if len(names) == 1:
        half = reach * float(np.std(y, ddof=1) / np.sqrt(len(y)))
        one = np.array([y.mean()])
        return np.zeros(1), one, one - half, one + half, count.astype(np.int64)
    # each step against all others in the same mix, round the mean of all
    mark = (which[:, None] == np.arange(1, len(names))[None, :]).astype(np.float64)
    effect, covariance = _fit(y, mark, mix, lot)
    share = count / count.sum()
    full = np.append(0.0, effect)
    turn = np.vstack([np.zeros(len(effect)), np.eye(len(effect))]) - share[None, 1:]
    error = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", turn, covariance, turn), 0.0))
    mean: Floats = y.mean() + full - float(share @ full)
    return (names * STEP).astype(np.float64), mean, mean - reach * error, mean + reach * error, count.astype(np.int64)


def _fit(y: Floats, x: Floats, mix: Ints, lot: Ints) -> tuple[Floats, Floats]:
    """Effects of the columns of x (n, k) within mix, by least squares, and their covariance with lots as independent.

    Where an effect rests on so few lots that these seem to agree better than their necks do, necks are taken as
    independent instead.
    Source of both: Liang & Zeger 1986, Biometrika 73, with the small-sample factor lots / (lots - 1); White 1980,
    Econometrica 48.
    """
    inside, off = np.column_stack([_within(column, mix) for column in x.T]), _within(y, mix)
    inverse = np.linalg.pinv(inside.T @ inside)
    effect = inverse @ inside.T @ off
    push = inside * (off - inside @ effect)[:, None]
    groups = int(lot.max()) + 1
    sums = np.column_stack([np.bincount(lot, column, minlength=groups) for column in push.T])
    by_lot = inverse @ sums.T @ sums @ inverse * groups / max(groups - 1, 1)
    by_neck = inverse @ push.T @ push @ inverse
    wider = np.sqrt(np.maximum(1.0, np.diag(by_neck) / np.maximum(np.diag(by_lot), 1e-300)))
    return effect, by_lot * np.outer(wider, wider)


def _within(values: Floats, mix: Ints) -> Floats:
    """Values less the mean of their model and straightener, shape (n,)."""
    return np.asarray(values - (np.bincount(mix, values) / np.maximum(np.bincount(mix), 1))[mix], dtype=np.float64)


def _codes(rows: pl.DataFrame, names: list[str]) -> Ints:
    return rows.select(pl.struct(names).rank("dense").alias("code"))["code"].to_numpy().astype(np.int64) - 1

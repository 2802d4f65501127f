"""How work gets better with practice at one stage: minutes, send-backs and spread of a new tech against instruments
done.

Somebody is new at a stage until shop.toml says that they are qualified for it; at a stage for which it says so of
nobody, who began of late by their first rows. Instruments are counted from the first
one in the logs: what was done before is not known, and `begins_in_logs` says whether that may be so.
"""

from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np
import polars as pl

from analysis.methods import learning
from analysis.methods.problems import UnusableData
from analysis.methods.segments import Floats, Ints
from analysis.methods.settling_practice import FURTHEST, LEAST, fit_settling
from analysis.studies.people.far_off import near
from analysis.studies.people.level_reached import Since, in_minutes, in_what_is_set
from analysis.studies.people.set_spread import offset_of, spreads
from analysis.studies.people.techs import TIMED, exposure
from analysis.studies.story.of_visits import SEVERAL
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

BLOCK = 20  # instruments behind one spread
LEAST_IN_BLOCK = 10
AHEAD = FURTHEST  # how far ahead the projection is shown, times what was seen
BAND_POINTS = 40
NOT_THERE = timedelta(weeks=4)  # without a row at a stage whose logs have begun: who comes then is new
OF_LATE = timedelta(weeks=26)
MINUTES = "minutes"
NOT_AHEAD = f"a spread stands for {BLOCK} instruments in a row and is not carried forward"


@dataclass(frozen=True)
class Practice:
    """One measure of practice: units (n,), its values (n,), the fitted curve over `x` with a 90 % band, or why there is
    none.
    """

    unit: Ints
    value: Floats
    x: Floats
    curve: Floats
    low: Floats
    high: Floats
    says: str  # '' or why nothing may be said of tomorrow yet


@dataclass(frozen=True)
class Offset:
    """How far what a tech set in some instruments lies from what others set at the same times; canonical unit."""

    offset: float
    low: float  # 95 %
    high: float
    instruments: int  # that could be held against the others
    of: int  # so many in a row


@dataclass(frozen=True)
class Learning:
    """All that is known of one tech's practice at one stage."""

    stage: str
    tech: str
    instruments: int
    begins_in_logs: bool  # started within the logs, by shop.toml or first rows: the first in them is the first one done
    serials: list[str]  # of the visits behind `minutes`
    signed: bool  # the hands it is held against are those qualified; of none such, all others who are not new here
    minutes: Practice  # of first-pass visits, model by model brought to this tech's mix by those hands' minutes
    minutes_hands: tuple[float, float] | None  # quartiles of those hands, brought to it likewise
    came_back: Practice  # 0 or 1 for each judged instrument: a send-back was charged to it
    came_back_hands: float | None  # share of those hands, on this tech's mix of models
    spreads: dict[
        str, Practice
    ]  # by characteristic set here: standard deviation of each 20 instruments in a row, in others' standard deviations
    offsets: dict[
        str, tuple[Offset, Offset]
    ]  # by characteristic set here: of the first and the last 20 instruments or more
    reached: dict[str, Since]  # by characteristic set here and MINUTES: since when they are with the others


def new_techs(snapshot: Snapshot) -> pl.DataFrame:
    """Who is new at which stage: stage, tech, instruments (first-pass visits), first_at, last_at, began (of late, by
    their first rows; else they are not signed off); in bench order.
    """
    qualified = {(stage, tech.key) for tech in snapshot.shop.techs for stage in tech.qualified}
    known = [tech.key for tech in snapshot.shop.techs]
    visits = snapshot.once(story).visits.filter(pl.col("first_pass") & pl.col("tech").is_in(known))
    rows = (
        tables.plain(visits.select("stage", "tech", "taken_at", "bench_order"))
        .group_by("stage", "tech")
        .agg(
            pl.len().cast(pl.Int64).alias("instruments"),
            pl.col("taken_at").min().alias("first_at"),
            pl.col("taken_at").max().alias("last_at"),
            pl.col("bench_order").first(),
        )
    )
    first, begun, last = (pl.col("first_at"), pl.col("first_at").min(), pl.col("last_at").max())
    rows = rows.with_columns(began=(first - begun.over("stage") >= NOT_THERE) & (last.over("stage") - first <= OF_LATE))
    signed = {stage for stage, _ in qualified}
    new = [
        (stage, tech) not in qualified and (stage in signed or began)
        for stage, tech, began in rows.select("stage", "tech", "began").iter_rows()
    ]
    return rows.filter(pl.Series(new, dtype=pl.Boolean)).sort("bench_order", "tech").drop("bench_order")


def learning_curve(snapshot: Snapshot, stage: str, tech: str) -> Learning:
    """Practice of one tech at one stage; raises UnusableData where no first-pass visit of theirs is on file."""
    visits = snapshot.once(story).visits.filter(
        pl.col("first_pass") & (pl.col("stage") == stage) & (pl.col("tech") != "")
    )
    visits = visits.filter(~pl.col("tech").cast(pl.String).str.contains(SEVERAL)).sort("taken_at", "serial")
    mine = visits.filter(pl.col("tech") == tech).with_columns(done=pl.int_range(1, pl.len() + 1, dtype=pl.Int64))
    if mine.is_empty():
        raise UnusableData(
            f"{tech} has no visit at {snapshot.shop.stage_name(stage)} in the logs; choose another stage"
        )
    qualified = [person.key for person in snapshot.shop.techs if stage in person.qualified and person.key != tech]
    hands = qualified or _old_hands(visits, tech)
    timed, usual = _minutes(visits, mine, hands)
    work = snapshot.once(exposure).filter(pl.col("stage") == stage)
    judged = mine.select("visit", "done").join(work.select("visit", "came_back"), on="visit", maintain_order="left")
    theirs = work.filter(pl.col("tech").is_in(hands)).group_by("model").agg(pl.col("came_back").mean())
    share = work.filter(pl.col("tech") == tech).select("model").join(theirs, on="model")["came_back"].mean()
    started = next((person.started for person in snapshot.shop.techs if person.key == tech), None)
    here = [item.key for item in snapshot.shop.characteristics if stage in item.set_stages]
    before = snapshot.once(story).visits.select((pl.col("day") < started).any()).item() if started else False
    reached = {key: in_what_is_set(snapshot, characteristic=key, stage=stage, tech=tech) for key in here}
    reached[MINUTES] = in_minutes(timed["day"], timed["even"], usual) if usual else None
    return Learning(
        stage,
        tech,
        mine.height,
        bool(before) or mine["taken_at"][0] - visits["taken_at"][0] >= NOT_THERE,
        timed["serial"].to_list(),
        bool(qualified),
        practice(timed["done"].to_numpy(), timed["even"].to_numpy(), settles=True),
        usual,
        practice(judged["done"].to_numpy(), judged["came_back"].cast(pl.Float64).to_numpy(), share=True),
        None if share is None else float(share),  # type: ignore[arg-type]
        {key: _spread(snapshot, key, mine) for key in here},
        {key: both for key in here if (both := _offsets(snapshot, key, mine)) is not None},
        {key: since for key, since in reached.items() if since is not None},
    )


def _old_hands(visits: pl.DataFrame, tech: str) -> list[str]:
    """Whoever else worked at a stage from the first weeks of its logs on; visits : its first-pass visits."""
    first = tables.plain(visits.select("tech", "taken_at")).group_by("tech").agg(pl.col("taken_at").min())
    old = first.filter((pl.col("tech") != tech) & (pl.col("taken_at") - pl.col("taken_at").min() < NOT_THERE))
    return sorted(old["tech"].to_list())


def practice(unit: Ints, value: Floats, *, share: bool = False, settles: bool = False) -> Practice:
    """The curve through `value` (n,) at `unit` (n,); with under four values, or under 40 for what lies ahead, its words
    instead. `settles`: amounts whose floor is looked for.
    """
    nothing = np.empty(0)
    try:
        fit = learning.fit_share if share else fit_settling if settles and len(value) >= LEAST else learning.fit
        curve = fit(unit, value)
    except UnusableData as problem:
        return Practice(unit, value, nothing, nothing, nothing, nothing, str(problem))
    x, says = np.unique(np.geomspace(float(np.min(unit)), curve.last * AHEAD, BAND_POINTS)), ""
    try:
        band = [curve.project(float(at)) for at in x]
    except UnusableData as problem:
        x, band, says = x[x <= curve.last], [], str(problem)
    low, high = (np.array([getattr(point, side) for point in band]) for side in ("low", "high"))
    if share and not value.any():  # nothing came back: no curve to speak of, only how high it may lie
        return Practice(unit, value, x, np.zeros(len(x)), np.zeros(len(low)), high, says)
    return Practice(unit, value, x, curve.at(x), low, high, says)


def _minutes(
    visits: pl.DataFrame, mine: pl.DataFrame, hands: list[str]
) -> tuple[pl.DataFrame, tuple[float, float] | None]:
    """The tech's timed visits with `even`: minutes brought to one model, as long as those of this tech's mix are on
    average; and the quartiles of the hands they are held against on that footing.
    """
    theirs = visits.filter(TIMED & pl.col("tech").is_in(hands))
    own = mine.filter(TIMED)
    middle = theirs.group_by("model").agg(pl.col("minutes").median().alias("middle"))
    mix = own.join(middle, on="model", how="inner")["middle"].mean()
    overall = theirs["minutes"].median() if mix is None else mix
    if overall is None:
        return own.with_columns(even="minutes"), None

    def even(rows: pl.DataFrame) -> pl.DataFrame:
        joined = rows.join(middle, on="model", how="left", maintain_order="left")
        return joined.with_columns(even=pl.col("minutes") * overall / pl.col("middle").fill_null(overall))

    level = even(theirs)["even"]
    return even(own), (float(level.quantile(0.25) or 0.0), float(level.quantile(0.75) or 0.0))


def _offsets(snapshot: Snapshot, characteristic: str, mine: pl.DataFrame) -> tuple[Offset, Offset] | None:
    """Of the first and the last BLOCK instruments, or twice or four times as many where the others set too few beside
    them; None of a tech with fewer than two such blocks.
    """
    for many in (BLOCK, 2 * BLOCK, 4 * BLOCK, 8 * BLOCK):
        if mine.height < 2 * many:
            break
        ends = [_offset(snapshot, characteristic, mine, some["serial"]) for some in (mine.head(many), mine.tail(many))]
        if ends[0] is not None and ends[1] is not None:
            return ends[0], ends[1]
    return None


def _offset(snapshot: Snapshot, characteristic: str, mine: pl.DataFrame, serials: pl.Series) -> Offset | None:
    """Of some instruments; None where under half of them can be held against the others."""
    stage, tech = mine["stage"][0], mine["tech"][0]
    row = offset_of(snapshot, characteristic=characteristic, stage=stage, tech=tech, serials=serials)
    if row is None:
        return None
    offset, low, high = (float(str(row[name])) for name in ("offset", "offset_low", "offset_high"))
    held = int(str(row["instruments"]))
    return Offset(offset, low, high, held, len(serials)) if 2 * held >= len(serials) else None


def _spread(snapshot: Snapshot, characteristic: str, mine: pl.DataFrame) -> Practice:
    """Spread of each block of instruments in a row, each reading in standard deviations of the others in its cell."""
    cell = ["setup", "position"]
    readings = near(snapshot).filter(
        (pl.col("characteristic") == characteristic)
        & (pl.col("set_by") != "")
        & (pl.col("set_stage") == mine["stage"][0])
    )
    readings = readings.with_columns(off=pl.col("value") - pl.col("target").fill_null(0.0))
    tech, stage = mine["tech"][0], mine["stage"][0]
    away = snapshot.once(spreads).filter("apart", characteristic=characteristic, stage=stage)["tech"].to_list()
    beside = readings.filter(pl.col("set_by") != tech)
    held = beside.filter(~pl.col("set_by").is_in(away))  # who stands apart is nobody's yardstick
    others = (
        (held if held.height else beside)
        .group_by(cell)
        .agg(pl.col("off").mean().alias("middle"), pl.col("off").std().alias("sd"), pl.len().alias("n"))
        .filter((pl.col("n") >= LEAST_IN_BLOCK) & (pl.col("sd") > 0))
    )
    own = (
        readings.filter(pl.col("set_by") == tech).join(others, on=cell).join(mine.select("serial", "done"), on="serial")
    )
    z = own.with_columns(z=(pl.col("off") - pl.col("middle")) / pl.col("sd"), block=(pl.col("done") - 1) // BLOCK)
    within = z.with_columns(
        away=pl.col("z") - pl.col("z").mean().over("block", *cell)
    )  # an offset of one position is no spread
    free = pl.len() - pl.struct(cell).n_unique()
    blocks = (
        within.group_by("block")
        .agg(
            ((pl.col("away") ** 2).sum() / free).sqrt().alias("z"),
            free.alias("free"),
            pl.col("serial").n_unique().alias("n"),
        )
        .filter((pl.col("n") >= LEAST_IN_BLOCK) & (pl.col("free") > 0))
        .sort("block")
    )
    middle = (blocks["block"] * BLOCK + (BLOCK + 1) // 2).to_numpy().astype(np.int64)
    spread = blocks["z"].to_numpy().astype(np.float64)
    found = practice(middle, spread)
    return replace(found, low=np.empty(0), high=np.empty(0), says=found.says if not found.curve.size else NOT_AHEAD)

"""What is known of the instruments whose readings moved: deviations of one characteristic at one stage, an instrument a
row, with everything they may move with.

Deviations are in sigma from the baseline in force, averaged over the positions that are looked at; a neighbour that
resembles its neighbour counts for less. Only streams with enough readings to have a baseline, provisional ones
included, and only readings since that baseline began.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl

from analysis.methods.constants import d2
from analysis.methods.hypotheses import Column, Factor
from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.drift.setters import deviations
from analysis.studies.drift.signals import Signals
from analysis.studies.matters.air import Air, airs
from analysis.studies.matters.records import (
    CHANGE,
    GAUGE,
    LOT,
    SET_BY,
    SET_WITH,
    SHEET,
    STRING_SET,
    SUPPLIER,
    TECH_AT,
    WEEKDAY,
)
from analysis.studies.matters.set_with import set_with
from analysis.studies.matters.sheets_kept import sheets
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

EPOCH = date(1970, 1, 1)
SAME_HANDS = 0.98  # of the instruments passed through the hands that set them at another bench too
RESEMBLES = 0.03  # lag-1 correlation under which neighbours are taken as independent
OF_READINGS = ("serial", "taken_at", "day", "set_on", "setup", "set_by", "lot", "supplier", "gauge", "visit")
OF_FACTOR = {
    SET_BY: pl.col("set_by"),
    LOT: pl.col("lot"),
    SUPPLIER: pl.col("supplier"),
    GAUGE: pl.col("gauge"),
    STRING_SET: pl.col("string_set"),
    SHEET: pl.col("sheet"),
    SET_WITH: pl.col("set_with"),
    WEEKDAY: pl.col("day").dt.strftime("%A"),
}
WEIGHTS = {
    WEEKDAY: 0.3,
    CHANGE: 2.0,
}  # prior weights beside 1: a weekday seldom moves anything, who dates a change has a reason


@dataclass(frozen=True, eq=False)
class Evidence:
    """One characteristic at one stage, a row an instrument, oldest first."""

    characteristic: str
    stage: str
    rows: (
        pl.DataFrame
    )  # serial, taken_at, day, model (the setup), set_by, lot, supplier, gauge, string_set, visit, reading
    values: Floats  # (n,) sigma of one such mean
    scale: Floats  # (n,) what one unit of `values` is in the unit of the readings
    sigma: float  # what one unit of `values` is in sigma of a single reading
    day: Ints  # (n,) number of the working day
    days: list[date]
    stream: Ints  # (n,) number of the model
    models: list[str]
    judged: Flags  # (n,) after the readings from which on some chart judges
    factors: list[Factor]
    words: dict[str, list[str]]  # of each factor, the level of each code
    columns: list[Column]
    airs: dict[str, Air]  # by name of column
    changes: dict[str, dict[str, object]]  # by name of column: the row of tables.CHANGES


def evidence(
    snapshot: Snapshot, judged: Signals, characteristic: str, stage: str, at: Ints, positions: list[str] | None = None
) -> Evidence | None:
    """Of some readings of a bench (rows of Streams.readings, rising); None where there is none at these positions."""
    held = judged.streams
    era = held.last_era
    _, sigma, _ = deviations(held)
    ids = held.readings.stream
    if positions is not None:
        at = at[held.rows["position"].is_in(positions).to_numpy()[ids[at]]]
    if len(at) == 0:
        return None
    mine = ids[at]
    sd = np.where(sigma[era] > 0, sigma[era], 1.0)[mine]
    z = (held.values[at] - held.eras.centre[era][mine]) / sd
    least = snapshot.shop.judging.least_readings  # from here on the short-run chart judges
    first_judged = held.eras.starts[era] + np.minimum(held.eras.judged_from[era], least)
    each = (
        tables.plain(held.readings.at(at, *OF_READINGS))
        .rename({"setup": "model"})
        .with_columns(
            z=pl.Series(z), sd=pl.Series(sd), reading=pl.Series(at), judged=pl.Series(at >= first_judged[mine])
        )
    )
    rows = (
        each.group_by("serial", "visit", maintain_order=True)
        .agg(
            pl.col("taken_at", "day", "set_on", "model", "set_by", "lot", "supplier", "reading").first(),
            pl.col("gauge").filter(pl.col("gauge") != "").first().fill_null(""),
            pl.col("z").mean(),
            pl.col("sd").mean(),
            pl.col("judged").all(),
        )
        .sort("taken_at", "serial")
    )
    visits = snapshot.once(story).visits
    rows = rows.with_columns(
        string_set=visits["string_set"].gather(rows["visit"]).fill_null("").cast(pl.String),
        sheet=snapshot.once(sheets).gather(rows["visit"]),
    )
    item = snapshot.shop.by_characteristic.get(characteristic)
    set_at = item.set_stages if item else ()
    later = () if stage in set_at else set_at
    rows = rows.with_columns(set_with(snapshot, characteristic, later, rows))
    models, stream = _coded(rows["model"])
    z = rows["z"].to_numpy()
    one, resembles = _spread(z, stream)
    scale = one * resembles
    days = rows["day"].unique().sort()
    day = rows["day"].rank("dense").cast(pl.Int64).to_numpy() - 1
    factors, words = _factors(snapshot, rows, stage, set_at)
    air = airs(snapshot, rows, visits)
    changes = _changes(snapshot, rows, characteristic, stage, set_at)
    columns = [
        Column(name, found.value, scanned=found.scanned, weight=found.weight, kin=found.factor)
        for name, found in air.items()
    ]
    columns += [
        Column(name, touched.astype(np.float64), weight=WEIGHTS[CHANGE] / len(changes))
        for name, (_, touched) in changes.items()
    ]
    return Evidence(
        characteristic,
        stage,
        rows,
        z / scale,
        rows["sd"].to_numpy() * scale,
        float(scale),
        day,
        days.to_list(),
        stream,
        models,
        rows["judged"].to_numpy(),
        factors,
        words,
        columns,
        air,
        {name: row for name, (row, _) in changes.items()},
    )


def _coded(column: pl.Series) -> tuple[list[str], Ints]:
    words = column.unique().sort()
    code = column.rank("dense").cast(pl.Int64).to_numpy() - 1
    return words.to_list(), np.asarray(code, dtype=np.int64)


def _levels(table: pl.DataFrame) -> dict[str, tuple[list[str], Ints]]:
    """Of each column of texts: its words but '' and null, sorted, and the number of each row's, -1 for none."""
    codes = table.select(pl.all().cast(pl.Categorical).to_physical().cast(pl.Int64).fill_null(-1))
    found = {}
    for name in table.columns:
        _, first, place = np.unique(codes[name].to_numpy(), return_index=True, return_inverse=True)
        said = table[name].gather(first).to_list()
        words = sorted(word for word in said if word)
        number = {word: k for k, word in enumerate(words)}
        found[name] = (words, np.array([number.get(word or "", -1) for word in said], dtype=np.int64)[place])
    return found


def _spread(z: Floats, stream: Ints) -> tuple[float, float]:
    """Sigma of one such mean, from neighbour to neighbour in its stream; and how much wider sums of them are than if
    neighbours did not resemble each other.
    """
    order = np.argsort(stream, kind="stable")
    off, of = z[order], stream[order]
    same = of[1:] == of[:-1]
    if same.sum() < 2:
        return 1.0, 1.0
    moves = np.abs(np.diff(off))[same]
    short = float(np.minimum(moves, 4 * moves.mean()).mean()) / d2(2)
    mean = np.bincount(of, off) / np.maximum(np.bincount(of), 1)
    centred = np.clip(off - mean[of], -4 * max(short, 1e-9), 4 * max(short, 1e-9))
    # second differences do not see a shift that stays: correlation at lag 1 against lag 2
    moves1, two = np.diff(centred)[same], (of[2:] == of[:-2])
    apart = (centred[2:] - centred[:-2])[two]
    if len(apart) < 200 or (moves1**2).mean() <= 0:
        return (short or 1.0), 1.0
    # var(x1 - x0) = 2 s (1 - r), var(x2 - x0) = 2 s (1 - r^2) for a first-order series
    r = float((apart**2).mean() / (moves1**2).mean()) - 1.0
    r = r if r >= max(RESEMBLES, 3.0 / np.sqrt(len(apart))) else 0.0
    r = min(r, 0.8)
    return (short or 1.0) / np.sqrt(1 - r), float(np.sqrt((1 + r) / (1 - r)))


def _factors(
    snapshot: Snapshot, rows: pl.DataFrame, stage: str, set_at: tuple[str, ...]
) -> tuple[list[Factor], dict[str, list[str]]]:
    """What each reading may move with. Where nobody says at which stage it is set, whoever worked where it was read
    stands in the place of who set it.
    """
    shared = [name for name in OF_FACTOR if set_at or name != SET_BY]
    factors, words = [], {}
    for name, (levels, code) in _levels(rows.select(OF_FACTOR[name].alias(name) for name in shared)).items():
        if len(levels) > 1 or (len(levels) == 1 and (code < 0).any()):
            words[name] = levels
            factors.append(
                Factor(
                    name,
                    code,
                    own_start=name == LOT,
                    nested=name in (SET_BY, GAUGE, SET_WITH, SHEET),
                    weight=WEIGHTS.get(name, 1.0),
                )
            )
    early = [(one, code) for one, code in _earlier(snapshot, rows, "" if set_at else stage) if one not in set_at]
    people = snapshot.once(hands).people
    if set_at:  # the same hands all along are one person, whatever the bench
        number = {tech: k for k, tech in enumerate(people)}
        setter = rows["set_by"].replace_strict(number, default=-2, return_dtype=pl.Int64).to_numpy()
        early = [(one, code) for one, code in early if float((code == setter).mean()) < SAME_HANDS]
    several = [(one, code) for one, code in early if len(np.unique(code[code >= 0])) > 1]
    before = sum(one != stage for one, _ in several)
    for one, code in several:
        words[f"{TECH_AT} {one}"] = people
        here = one == stage
        factors.append(Factor(f"{TECH_AT} {one}", code, nested=here, weight=1.0 if here else 1.0 / before))
    return factors, words


@dataclass(frozen=True, eq=False)
class Hands:
    """Who worked on each instrument at each stage in its first pass, and in which visit."""

    serials: pl.DataFrame  # serial, and its number
    stages: list[str]
    people: list[str]
    tech: Ints  # (serials, stages) number of people; -1: nobody
    visit: Ints  # (serials, stages)


def hands(snapshot: Snapshot) -> Hands:
    """The same as `first_hands`, in numbers."""
    found = snapshot.once(first_hands).sort("serial")
    stages = [name.removeprefix("tech ") for name in found.columns if name.startswith("tech ")]
    names = found.select(f"tech {stage}" for stage in stages)
    people = sorted({tech for column in names for tech in column.drop_nulls().unique()})
    number = {tech: k for k, tech in enumerate(people)}
    coded = names.select(pl.all().replace_strict(number, default=-1, return_dtype=pl.Int64)) if people else names
    visit = found.select(pl.col(f"at {stage}").cast(pl.Int64).fill_null(np.iinfo(np.int64).max) for stage in stages)
    return Hands(
        found.select("serial").with_row_index("number"),
        stages,
        people,
        coded.fill_null(-1).to_numpy().astype(np.int64),
        visit.to_numpy(),
    )


def first_hands(snapshot: Snapshot) -> pl.DataFrame:
    """A row a serial: for each stage who worked on it in its first pass (`tech STAGE`) and in which visit (`at
    STAGE`).
    """
    visits = snapshot.once(story).visits.select("serial", "stage", "tech", "visit", "first_pass")
    first = visits.filter(pl.col("first_pass") & (pl.col("tech") != ""))
    one_each = first.unique(["serial", "stage"], keep="first", maintain_order=True)
    stages = one_each["stage"].unique().sort().to_list()
    cells = [
        pl.col(column).filter(pl.col("stage") == stage).first().alias(f"{name} {stage}")
        for stage in stages
        for name, column in (("tech", "tech"), ("at", "visit"))
    ]
    return tables.plain(one_each.group_by("serial").agg(cells))


def _earlier(snapshot: Snapshot, rows: pl.DataFrame, here: str) -> list[tuple[str, Ints]]:
    """Who worked on the instrument at each stage before it was read, by first-pass visits: a number of people, -1 for
    nobody; of stage `here` also in the visit in which it was read.
    """
    every = snapshot.once(hands)
    if not every.people:
        return []
    joined = rows.select("serial").join(every.serials, on="serial", how="left", maintain_order="left")
    at = joined["number"].fill_null(len(every.serials)).to_numpy().astype(np.int64)
    none = np.full((1, len(every.stages)), -1)
    tech, visit = np.concatenate([every.tech, none])[at], np.concatenate([every.visit, none])[at]
    until = rows["visit"].cast(pl.Int64).to_numpy()[:, None] + np.array([one == here for one in every.stages])
    before = np.where(visit < until, tech, -1)
    return [(stage, before[:, k].astype(np.int64)) for k, stage in enumerate(every.stages)]


def _changes(
    snapshot: Snapshot, rows: pl.DataFrame, characteristic: str, stage: str, set_at: tuple[str, ...]
) -> dict[str, tuple[dict[str, object], Flags]]:
    """Dated changes that may touch these readings, and which they touch."""
    shop = snapshot.shop
    last = snapshot.as_of.astimezone(shop.zone).date()
    found: dict[str, tuple[dict[str, object], Flags]] = {}
    known = snapshot.table("changes").filter(
        pl.col("stage").is_in(["", stage, *set_at]) & (pl.col("from_date") <= last)
    )
    for number, row in enumerate(known.sort("from_date", maintain_order=True).iter_rows(named=True)):  # a few a year
        if row.get("characteristic") not in (None, "", characteristic):
            continue
        model = shop.setups.get(row["model"], row["model"])
        day = rows["set_on"] if row["stage"] in set_at else rows["day"]
        touched = day >= row["from_date"]
        if row["to_date"] is not None:
            touched &= day <= row["to_date"]
        if model:
            touched &= rows["model"] == model
        flags = touched.fill_null(False).to_numpy()
        if flags.any() and not flags.all():
            found[f"{CHANGE} {number}"] = (row, np.asarray(flags))
    return found


def day_number(found: Evidence, day: date) -> int:
    """Number of the first working day on or after a day."""
    return int(np.searchsorted(np.array([(one - EPOCH).days for one in found.days]), (day - EPOCH) / timedelta(days=1)))

"""What is no person's: readings that a lot, a dated change, a matter of everybody's or one somebody knows of has moved
are left out of a target's test.

A dated change (changes.csv, but for those of people), a matter of the stream that names no person (open, or over of
late) and a lot are left out where the *other* setters' readings moved
with it: the difference within each of them, put together, is beyond chance at 1 % over all that was looked at, and half
of their spread or more; and so person by person: in over half of those who can be compared, and, without the one who
moved most, still beyond chance at 1 % and by half of their spread. What a newcomer set in their first weeks is neither
the lot's nor everybody's. A lot is judged by the days in which it was in work: one that came back to the bench after
two weeks and more is left out in the stretch that moved, and not in the other. In a shop of one, dated changes are
looked at in one's own readings. A matter marked known until a day is left out without a test. So a part's fault is
nobody's, and what only this tech's readings did stays in.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl
from scipy import stats

from analysis.methods.problems import NotWorkedOut
from analysis.methods.segments import Flags, Floats, Ints
from analysis.studies.matters.matters import ended_matters, open_matters
from analysis.studies.matters.records import CHANGE as DATED
from analysis.studies.matters.records import Matter
from ingest.shopfiles.shop import Shop
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

RISK = 0.01  # of leaving out anything by chance, over all looked at
RISK_WITHOUT = 0.01  # of saying so of those who are left without the one who moved most, if they did not move
LEAST_SHIFT = 0.5  # standard deviations within setters
APART = 14  # days without a reading of a lot between two stretches of its work
STRETCH = 12  # readings of a lot from which on a stretch is judged by itself
LEAST_IN, LEAST_OUT = 3, 5  # readings of a setter with and without, from which on they are compared
NOT_PARTS = ("people", "model")  # changes that are no cause of a shift
CHANGE, LOT, KNOWN, FAR, MATTER = "change", "lot", "known", "far", "matter"


@dataclass(frozen=True)
class LeftOut:
    """Some of a tech's readings of one band, not counted, and why."""

    kind: str  # change | lot | known | matter | far (so far from all others that it is a slip)
    what: str  # the change as written, the lot, the words of the mark, '' of a matter; of slips their instruments
    first: date | None  # day from which on; of a lot its first, for what lay off may be of these days
    last: date | None  # day up to which; None: still
    n: int  # of this tech's readings
    shift: float | None  # how far the others' readings moved, canonical unit; None: nobody asked


def left_out(
    snapshot: Snapshot, band: dict[str, object], readings: pl.DataFrame, tech: str
) -> list[tuple[LeftOut, Flags]]:
    """What is left out of one band for one tech, each with the rows of `readings` it touches, shape (n,).

    What moved most clearly is taken out first and the rest looked at without it, so that one lot that is off does not
    make the others look off the other way.

    readings : as-set readings of the band by everybody: set_by, set_on, lot, value.
    """
    own = (readings["set_by"] == tech).to_numpy()
    asked = _changes(snapshot, band, readings) + _lots(readings) + _matters(snapshot, band, readings)
    level = float(stats.norm.isf(RISK / 2 / max(len(asked), 1)))
    found: list[tuple[LeftOut, Flags]] = []
    still = np.ones(readings.height, dtype=bool)
    while asked:  # the clearest first, and the rest without it
        looked = [
            _moved(readings, touched, compared & still & _others(kind, own)) for (kind, *_), touched, compared in asked
        ]
        clear = [abs(z) if abs(z) > level else 0.0 for _, z in looked]
        at = max(range(len(asked)), key=lambda k: (round(clear[k], 6), _away(band, readings, asked[k][1])))
        if clear[at] == 0.0:
            break
        (kind, what, first, last), touched, _ = asked.pop(at)
        if (touched & own).any():
            found.append((LeftOut(kind, what, first, last, int((touched & own).sum()), looked[at][0]), touched))
        still &= ~touched
    for (kind, what, first, last), touched in _known(snapshot, band, readings):
        if (touched & own).any():
            found.append((LeftOut(kind, what, first, last, int((touched & own).sum()), None), touched))
    return found


_What = tuple[str, str, date | None, date | None]


def _changes(snapshot: Snapshot, band: dict[str, object], readings: pl.DataFrame) -> list[tuple[_What, Flags, Flags]]:
    """Dated changes that may touch a band: what, readings set within, readings to compare (within and before)."""
    shop = snapshot.shop
    order = shop.bench_order
    stage = order.get(str(band["stage"]), -1)
    asked = []
    for row in snapshot.table("changes").iter_rows(named=True):
        here = row["model"] in ("", band["model"]) or shop.setups.get(row["model"]) == band["model"]
        earlier = row["stage"] == "" or 0 <= order.get(row["stage"], -1) <= stage
        if not here or not earlier or row["what"].strip().lower() in NOT_PARTS or row["from_date"] is None:
            continue
        if row.get("characteristic") not in (None, "", band["characteristic"]):
            continue
        on = readings["set_on"]
        within = (on >= row["from_date"]) & (on <= (row["to_date"] or date.max))
        what = (CHANGE, row["what"], row["from_date"], row["to_date"])
        asked.append((what, within.to_numpy(), (within | (on < row["from_date"])).to_numpy()))
    return asked


def of_everybody(snapshot: Snapshot) -> list[Matter]:
    """Matters that name nobody, open or over of late (those of a dated change stand with the changes); none where they
    could not be worked out, which their own page says.
    """
    try:
        found = [*snapshot.once(open_matters), *snapshot.once(ended_matters)]
    except NotWorkedOut:
        return []
    return [
        one
        for one in found
        if not one.only_some and not any(each.of_people or each.factor == DATED for each in one.moves_with.named)
    ]


def _matters(snapshot: Snapshot, band: dict[str, object], readings: pl.DataFrame) -> list[tuple[_What, Flags, Flags]]:
    """Matters of everybody's that hold a band: readings set while they lasted, and those to compare (before too)."""
    asked: list[tuple[_What, Flags, Flags]] = []
    days: set[tuple[date, date | None]] = set()
    for one in snapshot.once(of_everybody):
        held = (one.characteristics, ["", *one.positions], one.models)
        if not all(
            band[name] in some for name, some in zip(("characteristic", "position", "model"), held, strict=True)
        ):
            continue
        over = one.ended_at or one.closed_at
        first = _day(one.began_at or one.opened_at, snapshot.shop)
        last = _day(over, snapshot.shop) - timedelta(days=1) if over else None
        if (first, last) in days:
            continue
        days.add((first, last))
        on = readings["set_on"]
        within = (on >= first) & (on <= (last or date.max))
        asked.append(((MATTER, "", first, last), within.to_numpy(), (within | (on < first)).to_numpy()))
    return asked


def _lots(readings: pl.DataFrame) -> list[tuple[_What, Flags, Flags]]:
    """Lots of a band's readings, each stretch of days in which a lot was in work against all other readings."""
    lot, everything = readings["lot"], np.ones(readings.height, dtype=bool)
    names = tables.plain(readings.filter(lot != "").select("lot").unique(maintain_order=True))["lot"].to_list()
    number = readings["set_on"].cast(pl.Int32).fill_null(-1).to_numpy().astype(np.int64)
    asked: list[tuple[_What, Flags, Flags]] = []
    for name in names:
        rows = np.flatnonzero((lot == name).to_numpy())
        for part in _stretches(rows, number[rows]):
            touched = np.zeros(readings.height, dtype=bool)
            touched[part] = True
            days = readings["set_on"].gather(part).sort().to_list()
            asked.append(((LOT, name, days[0], days[-1]), touched, everything))
    return asked if len(names) > 1 else []


def _stretches(rows: Ints, days: Ints) -> list[Ints]:
    """Rows of a lot (r,) by the stretches of days in which it was in work (days since 1970, (r,)), oldest first; a few
    readings alone stand with the stretch next to them.
    """
    order = np.argsort(days, kind="stable")
    cuts = np.flatnonzero(np.diff(days[order]) > APART) + 1
    parts = [order[piece] for piece in np.split(np.arange(len(order)), cuts)]
    while len(parts) > 1 and min(map(len, parts)) < STRETCH:
        k = min(range(len(parts)), key=lambda at: len(parts[at]))
        gaps = [abs(int(days[parts[at]].mean()) - int(days[parts[k]].mean())) for at in range(len(parts))]
        near = min((at for at in (k - 1, k + 1) if 0 <= at < len(parts)), key=lambda at: gaps[at])
        first, then = sorted((k, near))
        parts[first : then + 1] = [np.concatenate((parts[first], parts[then]))]
    return [np.sort(rows[part]) for part in parts]


def _known(snapshot: Snapshot, band: dict[str, object], readings: pl.DataFrame) -> list[tuple[_What, Flags]]:
    """Marks `known until` of a band's characteristic and model: readings set from its opening to that day."""
    marks = snapshot.lines("known").filter(
        (pl.col("characteristic") == band["characteristic"])
        & (pl.col("model") == band["model"])
        & pl.col("position").is_in(["", band["position"]])
        & pl.col("until").is_not_null()
        & pl.col("opened_at").is_not_null()
    )
    found: list[tuple[_What, Flags]] = []
    for row in marks.iter_rows(named=True):
        first = _day(row["opened_at"], snapshot.shop)
        within = (readings["set_on"] >= first) & (readings["set_on"] <= row["until"])
        found.append(((KNOWN, row["text"], first, row["until"]), within.to_numpy()))
    return found


def _day(when: object, shop: Shop) -> date:
    return when.astimezone(shop.zone).date()  # type: ignore[attr-defined, no-any-return]


def _others(kind: str, own: Flags) -> Flags:
    """Whose readings say whether something moved: the others', and one's own of a dated change in a shop of one."""
    others = ~own
    return own if kind == CHANGE and not others.any() else others


def _away(band: dict[str, object], readings: pl.DataFrame, touched: Flags) -> float:
    """How far the readings touched lie from the band's aim: of two lots that differ the one further off is left out."""
    ends = [float(str(band[end])) for end in ("lower", "upper") if band[end] is not None]
    aim = float(str(band["target"])) if band["target"] is not None else sum(ends) / max(len(ends), 1)
    values = readings["value"].to_numpy().astype(np.float64)[touched]
    return abs(float(values.mean()) - aim) if len(values) else 0.0


def _moved(readings: pl.DataFrame, touched: Flags, compared: Flags) -> tuple[float, float]:
    """How far readings moved within their setters, touched against not (of three or more the middle person's), and in
    standard errors; 0 errors where that cannot be told, is less than half of their spread, or is one person's alone.
    """
    setter = readings["set_by"].rank("dense").to_numpy().astype(np.int64)[compared] - 1
    value, inside = readings["value"].to_numpy().astype(np.float64)[compared], touched[compared]
    if not len(value):
        return 0.0, 0.0
    cell = 2 * setter + inside
    cells = 2 * (int(setter.max()) + 1)
    n = np.bincount(cell, minlength=cells).astype(np.float64)
    mean = np.bincount(cell, value, cells) / np.maximum(n, 1)
    off = value - mean[cell]
    without, within = n[0::2], n[1::2]
    held = (within >= LEAST_IN) & (without >= LEAST_OUT)
    free = len(value) - int((n > 0).sum())
    spread = float(np.sqrt(off @ off / free)) if free >= LEAST_OUT else 0.0
    if not held.any() or spread <= 0:
        return 0.0, 0.0
    weight = 1 / (1 / without[held] + 1 / within[held])
    each = (mean[1::2] - mean[0::2])[held]
    shift, errors = _together(each, weight, spread)
    if not errors or not _one_by_one(each * np.sign(shift), weight, spread):
        return shift, 0.0
    return (float(np.median(each)) if len(each) > 2 else shift), errors


def _together(each: Floats, weight: Floats, spread: float) -> tuple[float, float]:
    """The mean of each person's shift by how well it is known, and in standard errors; 0 errors where it is less than
    half of their spread.
    """
    shift = float(weight @ each / weight.sum())
    return shift, float(shift * np.sqrt(weight.sum()) / spread) if abs(shift) >= LEAST_SHIFT * spread else 0.0


def _one_by_one(each: Floats, weight: Floats, spread: float) -> bool:
    """Whether more than half of the people moved, upwards, and the others did without the one who pulls the most."""
    if len(each) < 2:
        return True
    rest = np.arange(len(each)) != int((weight * each).argmax())
    without = _together(each[rest], weight[rest], spread)[1]
    return bool(2 * (each >= LEAST_SHIFT * spread).sum() > len(each) and without > stats.norm.isf(RISK_WITHOUT))

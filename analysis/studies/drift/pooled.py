"""Charts that pool over models, so that one cause that moves many streams a little is seen in days and not in weeks.

Three kinds: each setter at each stage, each gauge of each characteristic, each characteristic of the shop. A point is
an instrument at a stage: the mean over positions of (reading - baseline mean of that setter, gauge or stream in the
stream) / the stream's sigma. Only streams with a full baseline give points, and only after it; a setter or gauge with
fewer than ten readings in it has a mean from the first 25 of its own later ones. What pools nothing makes no chart: of
one model, or of the only setter at a stage or the only gauge of a characteristic.

The spread of a chart's points, and whether neighbours resemble each other, is that of the same means over the
baselines.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from analysis.methods.pooling import InstrumentMeans, Points, instrument_means, points
from analysis.methods.segments import Flags, Floats, Ints, Rows, dense, in_order, lengths, spans
from analysis.methods.variables import spread
from analysis.studies.drift.independence import point_stretches
from analysis.studies.drift.offsets import CHARACTERISTIC, GAUGE, SETTER, Judged, Offsets, offsets
from analysis.studies.drift.pool_names import NAMES, Hangs, named, of_kind, pairs, several
from analysis.studies.drift.reckoned import PLAIN, Reckoned
from analysis.studies.drift.setters import deviations
from analysis.studies.drift.streams import Streams
from analysis.studies.drift.watching import POOLED, Charts
from ingest.terms import tables
from ingest.terms.tables import TIME

Narrow = npt.NDArray[np.int32]
STEADY = 25  # points over the baselines from which on a chart knows its spread


@dataclass(frozen=True)
class Pooled:
    """The pooled charts, and the steady points that their limits come from."""

    charts: Charts
    """Their readings are those points that are judged; `reading` is a row of Streams.readings of the instrument."""
    steady: Floats
    """(k,) points over the baselines, chart after chart, in the unit of the charts' points."""
    steady_starts: Ints  # (c,)
    steady_reading: Ints  # (k,) a reading of the instrument
    steady_complete: Ints  # (k,) the last reading of the baseline that a point hangs on
    beyond: Floats  # (c,) what `charts.sigma` is widened by beyond the points' own spread: neighbours are alike
    hangs: Hangs | None = None  # what those of before a moment hang on, where it was asked for


@dataclass(frozen=True)
class Pools:
    """What pooled charts are made of, before it is known which readings another signal already tells."""

    held: Streams
    judged: Judged
    instrument: Narrow  # (r,) of the story's readings a number for each instrument at a stage, rising with time
    groups: dict[str, tuple[Narrow, pl.DataFrame]]  # by kind: the chart of each of these (r,), and what each is called
    _points: dict[str, Points] = field(default_factory=dict, repr=False)

    def offsets(self, over: str) -> Offsets:
        """The baseline means that charts of this kind take off."""
        return offsets(self.judged, over, self.groups[over][0])

    def points(self, over: str) -> Points:
        """The points of charts of this kind that judged readings make; those of nobody known are on chart -1."""
        if over not in self._points:
            code = self.groups[over][0][self.judged.row].astype(np.int64) + 1
            if over == CHARACTERISTIC:
                found = points(code, self.instrument[self.judged.row].astype(np.int64))
            else:  # nearly always an instrument has one setter at a stage, and one gauge of a characteristic
                found = self.points(CHARACTERISTIC).parted(code)
            self._points[over] = replace(found, chart=found.chart - 1)
        return self._points[over]


def pools(held: Streams, *, coarse: Flags, baseline_readings: int, before: pl.DataFrame | None = None) -> Pools:
    """What the pooled charts of the shop are made of. before : Hangs.names of readings that were left out."""
    columns = {SETTER: ("stage", "set_by"), GAUGE: ("gauge",), CHARACTERISTIC: ()}
    read = np.zeros(len(held.readings.source), dtype=bool)  # the story's readings that streams hold
    read[held.readings.row] = True
    some = np.flatnonzero(read)
    words = {
        name: (held.readings.ranks_told(name)[some], held.readings.told(name)[some])
        for name in ("characteristic", "stage", "set_by", "gauge")
    }
    groups = {
        over: _group(held, over, ("characteristic", *names), some, words, before) for over, names in columns.items()
    }
    return Pools(held, _judged(held, coarse, baseline_readings), _instruments(held, some), groups)


def pooled(
    made: Pools,
    *,
    weight: float,
    arl: float,
    told: Flags | None = None,
    until: Flags | None = None,
    before: pl.DataFrame | None = None,
    reckoned: Reckoned = PLAIN,
) -> Pooled | None:
    """All pooled charts of the shop; None where there is none.

    arl : about how many readings lie between false signals: by how much limits widen where neighbours resemble each
    other hangs on it a little. told (n,) : readings that an open signal of their own stream, or of who set them there,
    already tells: they are left out, or one model that moved would open and close the charts of all, batch by batch.
    until (n,) : readings before a moment, of which `hangs` is told. before : Hangs.models of readings that were left
    out.
    """
    kept = np.ones(len(made.judged.at), dtype=np.bool_) if told is None else ~told[made.judged.at]
    if not kept.any():
        return None
    judged = made.judged if told is None else made.judged.only(kept)
    parts = [_kind(made, judged, over, kept, until, before) for over in made.groups]
    some = [part for part in parts if part is not None]
    found = _joined(made.held, some, weight, arl, reckoned) if some else None
    if found is None or until is None:
        return found
    return replace(found, hangs=_hangs(made, [part.hangs for part in some if part.hangs is not None]))


def _hangs(made: Pools, parts: list[Hangs]) -> Hangs:
    every = [named(over, names) for over, (_, names) in made.groups.items()]
    rows = np.unique(np.concatenate([part.rows for part in parts])) if parts else np.zeros(0, dtype=np.int64)
    models = [part.models for part in parts] or [pl.DataFrame(schema=dict.fromkeys((*NAMES, "model"), pl.String()))]
    return Hangs(pl.concat(every), pl.concat(models), rows)


def _judged(held: Streams, coarse: Flags, baseline_readings: int) -> Judged:
    eras, n = held.eras, len(held.values)
    plotted, sigma, worked = deviations(held)
    step = held.rows["step"].fill_null(0.0).to_numpy()
    sigma = np.where(coarse[eras.stream], np.sqrt(sigma**2 + step[eras.stream] ** 2 / 12), sigma)
    everyone = (held.rows["tech"] == "").to_numpy()[eras.stream]
    full = eras.on_file | (held.own.n[eras.stream] >= baseline_readings)
    kept = everyone & full & (sigma > 0)
    centre = np.where(worked, 0.0, eras.centre)
    size = lengths(eras.starts, n)
    which = np.flatnonzero(kept)
    before = np.minimum(eras.judged_from[which], size[which])
    at = spans(eras.starts[which] + before, eras.starts[which] + size[which])
    era = np.repeat(which.astype(np.int32), size[which] - before)
    ends = np.append(held.starts[1:], n)[eras.stream[which]]
    count = np.maximum(np.minimum(eras.window[which] + eras.baseline[which], ends) - eras.window[which], 0)
    base_era = np.repeat(which, count)
    base_at = spans(eras.window[which], eras.window[which] + count)

    def sigmas(rows: Ints, of: Ints | Rows) -> Floats:
        value = np.where(eras.on_file[of], held.values[rows], plotted[rows])
        return np.asarray((value - centre[of]) / sigma[of])

    row = held.readings.row
    return Judged(
        at.astype(np.int32), row[at], era, sigmas(at, era), base_at, row[base_at], base_era, sigmas(base_at, base_era)
    )


def _instruments(held: Streams, some: Ints) -> Narrow:
    """A number for each instrument at a stage, rising with the time it was read, of the story's readings (r,); some :
    those that streams hold.
    """
    source = held.readings.source
    visit = source["visit"].gather(some).fill_null(-1).to_numpy()
    stage = held.readings.ranks_told("stage")[some]
    # a visit is of one instrument at one stage; what hangs on no visit has no serial, and its stage alone
    parts = int(stage.max(initial=0)) + 1
    found = dense(np.where(visit < 0, stage, visit + parts))
    taken = source["taken_at"].gather(some).cast(pl.Int64).to_numpy()
    first = np.full(len(found.first), np.iinfo(np.int64).max)
    np.minimum.at(first, found.code, taken)
    # visits are numbered serial by serial in the order of texts, and stand here in the order of their numbers
    serial = source["serial"].gather(some[found.first]).rle_id().to_numpy()
    order = in_order(serial, stage[found.first])
    first -= first.min(initial=np.iinfo(np.int64).max)
    first //= max(int(np.gcd.reduce(first)), 1)  # most clocks tell whole seconds or minutes
    order = order[in_order(first[order])]
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.arange(len(order))
    place = np.zeros(len(source), dtype=np.int32)
    place[some] = number[found.code]
    return place


def _group(
    held: Streams,
    over: str,
    names: tuple[str, ...],
    some: Ints,
    words: dict[str, tuple[Ints, Flags]],
    before: pl.DataFrame | None,
) -> tuple[Narrow, pl.DataFrame]:
    """The chart of each of the story's readings (r,), -1 where it is unknown who or what or no stream holds it; and the
    charts' names by number, in the order of texts.

    some : those that streams hold; words : of each column the place of the word of these, and where there is one.
    before : names of those that were left out.
    """
    key, known = np.zeros(len(some), dtype=np.int64), np.ones(len(some), dtype=bool)
    for name in names:
        place, said = words[name]
        known &= said
        key *= int(place.max(initial=0)) + 1
        key += place
    at = np.flatnonzero(known)
    found = dense(key[at])
    group = np.full(len(held.readings.source), -1, dtype=np.int32)  # held for long, of many
    group[some[at]] = found.code
    rows = tables.plain(held.readings.source.at(some[at[found.first]], *names))
    if before is not None:
        every = pl.concat([rows, before.filter(over=over).select(names)]).unique().sort(names)
        number = rows.join(every.with_row_index("group"), on=names, how="left", maintain_order="left")["group"]
        group[some[at]] = number.to_numpy().astype(np.int32)[found.code]
        rows = every
    return group, rows.with_columns(group=pl.Series(np.arange(len(rows)), dtype=pl.Int64))


@dataclass(frozen=True)
class _Points:
    """Charts of one kind: their names by number; then, chart after chart and oldest first, points judged and steady."""

    names: pl.DataFrame
    judged: InstrumentMeans
    reading: Rows  # row of Streams.readings of each judged point
    steady: InstrumentMeans
    calm: Ints  # a row of Streams.readings of each steady point
    complete: Ints  # the reading that completed the baseline a steady point comes from
    hangs: Hangs | None = None


def _kind(
    made: Pools, judged: Judged, over: str, kept: Flags, until: Flags | None, before: pl.DataFrame | None
) -> _Points | None:
    """Points of one kind of chart; None where there is none. kept : which of all judged readings these are."""
    held, (code, names) = made.held, made.groups[over]
    if names.is_empty():
        return None
    off = offsets(judged, over, code)
    chart, base_chart = code[judged.row], code[judged.base_row].astype(np.int64)
    counted = off.known
    counted_pairs = pairs(held, chart[counted], judged.era[counted])
    models = several(
        names, counted_pairs if before is None else pl.concat([counted_pairs, of_kind(over, names, before)])
    )
    rivals = names.select(
        pl.len().over([n for n in names.columns if n not in ("set_by", "gauge", "group")]) > 1
    ).to_series()
    allowed = models & (rivals.to_numpy() if over != CHARACTERISTIC else True)
    counted &= allowed[np.maximum(chart, 0)]
    these = np.flatnonzero(kept).astype(np.int32)[counted]
    found = made.points(over).means((judged.z - off.mean)[counted], these)
    steady = off.base_known & allowed[np.maximum(base_chart, 0)]
    count = np.maximum(off.base_count[steady], 2)
    # the mean taken off is an estimate, within the baseline and after it; and so is the sigma divided by, which came
    # from these very readings and not from the later ones: their mean square is 2 / n larger for normal readings
    behind = np.maximum(held.eras.baseline[judged.base_era[steady]], 2)
    shrunk = np.sqrt(count / (count - 1) * (1 + 1 / count) * (1 + 2 / behind))
    rest = (judged.base_z - off.base_mean)[steady] * shrunk
    calm = instrument_means(rest, base_chart[steady], made.instrument[judged.base_row[steady]].astype(np.int64))
    if len(found.mean) == 0 or len(calm.mean) == 0:
        return None
    ends = held.eras.window + held.eras.baseline - 1
    last = np.minimum(ends, len(held.values) - 1)[judged.base_era[steady]]
    hangs = None
    if until is not None:
        early = judged.at[off.newcomers]
        rows = np.concatenate([early[until[early]], _last_points(made, judged, chart, counted, until)])
        past = off.known & until[judged.at]
        mine = pairs(held, chart[past], judged.era[past]).join(names, on="group").drop("group")
        hangs = Hangs(named(over, names), named(over, mine).with_columns(mine["model"]), rows)
    return _Points(
        names.with_columns(over=pl.lit(over)),
        found,
        judged.at[counted][found.reading],
        calm,
        judged.base_at[steady][calm.reading],
        last[calm.reading],
        hangs,
    )


def _last_points(made: Pools, judged: Judged, chart: Rows, counted: Flags, until: Flags) -> Ints:
    """Rows of Streams.readings of the last point of each chart before a moment."""
    some = np.flatnonzero(counted & until[judged.at])
    instrument = made.instrument[judged.row[some]].astype(np.int64)
    last = np.full(int(chart.max(initial=-1)) + 1, -1)
    np.maximum.at(last, chart[some], instrument)
    return np.asarray(judged.at[some[instrument == last[chart[some]]]], dtype=np.int64)


def _joined(held: Streams, parts: list[_Points], weight: float, arl: float, reckoned: Reckoned) -> Pooled | None:
    """All kinds in one row; charts that know their spread and have something to judge."""
    shift = np.cumsum([0, *(len(part.names) for part in parts[:-1])])
    names = pl.concat([part.names for part in parts], how="diagonal")
    judged = np.concatenate([part.judged.chart + by for part, by in zip(parts, shift, strict=True)])
    steady = np.concatenate([part.steady.chart + by for part, by in zip(parts, shift, strict=True)])
    points, calm = (np.concatenate([getattr(part, name).mean for part in parts]) for name in ("judged", "steady"))
    reading, row, complete = (
        np.concatenate([getattr(part, name) for part in parts]) for name in ("reading", "calm", "complete")
    )
    enough = (np.bincount(steady, minlength=len(names)) >= STEADY) & (np.bincount(judged, minlength=len(names)) > 0)
    kept = enough[steady]
    calm, row, complete, steady = calm[kept], row[kept], complete[kept], steady[kept]
    points, reading, judged = points[enough[judged]], reading[enough[judged]], judged[enough[judged]]
    if len(points) == 0:
        return None
    calm_starts = np.flatnonzero(np.diff(steady, prepend=-1))
    found = spread(calm, calm_starts)
    moves = found.sigma > 0
    names = names.filter(pl.Series(enough)).filter(pl.Series(moves))
    if names.is_empty():
        return None
    kept, keep = (
        np.repeat(moves, lengths(calm_starts, len(calm))),
        moves[np.searchsorted(np.flatnonzero(enough), judged)],
    )
    calm, row, complete, steady = calm[kept], row[kept], complete[kept], steady[kept]
    points, reading, judged = points[keep], reading[keep], judged[keep]
    calm_starts, starts = (np.flatnonzero(np.diff(chart, prepend=-1)) for chart in (steady, judged))
    kind = names.select(pl.struct("over", "characteristic").rank("dense").cast(pl.Int64) - 1).to_series().to_numpy()
    stretch, beyond = point_stretches(calm, calm_starts, kind, weight=weight, arl=arl, reckoned=reckoned)
    c = len(names)
    texts = {name: pl.col(name).fill_null("") if name in names.columns else pl.lit("") for name in ("stage", "gauge")}
    tech = pl.col("set_by").fill_null("") if "set_by" in names.columns else pl.lit("")
    rows = names.select(
        pl.lit(POOLED).alias("chart"),
        "characteristic",
        pl.lit("").alias("position"),
        pl.lit("").alias("model"),
        texts["stage"].alias("stage"),
        tech.alias("tech"),
        pl.lit(-1, dtype=pl.Int64).alias("stream"),
        texts["gauge"].alias("gauge"),
        "over",
    )
    charts = Charts(
        rows=rows,
        starts=starts,
        reading=reading,
        plotted=points,
        centre=np.zeros(c),
        sigma=found.sigma[moves] * stretch,
        baseline=lengths(calm_starts, len(calm)),
        begin=np.zeros(c, dtype=np.int64),
        adjusted=pl.Series(["not independent" if one > 1 else "" for one in stretch]),
        ends_at=pl.Series([None] * c, dtype=TIME),
        window=reading[starts],
        on_file=np.zeros(c, dtype=bool),
    )
    return Pooled(charts, calm, calm_starts, row, complete, beyond)

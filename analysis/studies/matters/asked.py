"""What is asked of the streams of a matter: their tolerances and targets, and whether one moved to its target."""

from collections.abc import Iterable

import polars as pl

from analysis.studies.drift.streams import KEY, streams
from analysis.studies.story.conformity import with_specs
from ingest.store.snapshot import Snapshot

OF_SPECS = ("characteristic", "position", "family", "model", "setup", "stage", "supplier", "set_on", "value", "gauge")
CLOSER = 0.5  # of how far off its target it was, from which on a stream is said to have moved to it


def tolerances(snapshot: Snapshot) -> dict[tuple[str, ...], float]:
    """Tolerance in force at the last reading of each stream, by KEY; only where both limits are asked."""
    rows = snapshot.once(_asked)
    rows = rows.filter((pl.col("upper") > pl.col("lower")).fill_null(False))
    key = rows.select("characteristic", "position", "setup", "stage", pl.col("upper") - pl.col("lower"))
    return {tuple(row[:4]): float(row[4]) for row in key.iter_rows()}


def targets(snapshot: Snapshot) -> dict[tuple[str, ...], float]:
    """Target in force at the last reading of each stream, by KEY."""
    rows = snapshot.once(_asked).filter(pl.col("target").is_not_null())
    key = rows.select("characteristic", "position", "setup", "stage", "target")
    return {tuple(row[:4]): float(row[4]) for row in key.iter_rows()}


def _asked(snapshot: Snapshot) -> pl.DataFrame:
    """The last reading of each stream of all techs, with what is asked of it."""
    held = snapshot.once(streams)
    if held is None:
        columns = dict.fromkeys(("characteristic", "position", "setup", "stage"), pl.String())
        return pl.DataFrame(schema={**columns, **dict.fromkeys(("upper", "lower", "target"), pl.Float64())})
    last = held.ends[(held.rows["tech"] == "").to_numpy()]
    return with_specs(snapshot, held.readings.at(last, *OF_SPECS))


def to_target(
    main: dict[str, object],
    asked: dict[tuple[str, ...], float],
    others: Iterable[dict[str, object]] = (),
    *,
    of_some: float | None = None,
) -> bool:
    """Does the stream that stands for a matter lie at most half as far off its target as before, and none of the others
    that it moved further off?

    of_some : its size where it touches only some of a stream's readings (one who sets, a lot): these, and not the mean
    of all, must lie nearer.
    """
    told = _off(main, asked)
    if told is None or main.get("over"):
        return False
    before, after = told
    if abs(after) > CLOSER * abs(before) or (of_some is not None and abs(before + of_some) > CLOSER * abs(before)):
        return False
    return all(abs(now) <= abs(then) for then, now in (_off(one, asked) or (0.0, 0.0) for one in others))


def _off(signal: dict[str, object], asked: dict[tuple[str, ...], float]) -> tuple[float, float] | None:
    """How far off its target the stream of a signal lay before and after; None where nobody can say."""
    target = asked.get(tuple(str(signal[name]) for name in KEY))
    before, after = signal.get("before"), signal.get("after")
    if target is None or not isinstance(before, float) or not isinstance(after, float):
        return None
    return before - target, after - target

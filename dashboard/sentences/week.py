"""The smaller sections of the weekly review in words, for page and paper: what arrived, what was shipped, what was
done, what stands on the bench.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from collections.abc import Set as AbstractSet
from datetime import datetime
from typing import Any

import polars as pl

from analysis.review import Review
from analysis.studies.matters.records import Matter
from analysis.studies.story import unread
from dashboard import numbers
from dashboard.charts.shares import ShareRow
from dashboard.sentences import shared as sentences
from dashboard.sentences import unread as unread_sentences
from dashboard.sentences.matters import name
from dashboard.sentences.silent import asked_of
from dashboard.sentences.unread import NOT_READ, outcomes_missing
from ingest.shopfiles.shop import Shop

FEW = 30  # instruments: below it a sample is called few
LATE = "Without a final inspection on file: ask first, a sheet may be late."
DAMPER = 10  # % RH more, for which a slope is told


def under(found: Review) -> str:
    """Which week, and how many instruments it judges."""
    if "weeks" in found.gaps:
        return f"Week of {numbers.long_day(found.week)}. How many instruments it judges could not be worked out."
    judged = int(found.weeks.filter(pl.col("week") == found.week)["judged"].sum())
    many = "instrument" if judged == 1 else "instruments"
    few = " Few instruments so far." if judged < FEW else ""
    return (
        f"Week of {numbers.long_day(found.week)}. {numbers.count(judged)} {many} reached final inspection or ended "
        f"before it.{few}"
    )


def stood(found: Review) -> str:
    """That a past week is told as it stood."""
    return (
        f"Readings as they stood at the end of {numbers.weekday(found.last_day)}: what was read later is not seen. "
        "What the book says of them (causes, actions, closings) is in today's words, since nobody said that this week "
        "was reviewed."
    )


def reviewed(who: str, at: datetime, shop: Shop) -> str:
    """That a week was reviewed, by whom and when."""
    return f"Reviewed by {who} on {numbers.weekday(sentences.local(shop, at))}; shown as it stood then."


def changed(then: Review, now: Review) -> list[str]:
    """What has changed of a reviewed week since it was kept: its figures, and the matters told of."""

    def row(found: Review) -> dict[str, Any]:
        mine = found.weeks.filter(pl.col("week") == found.week)
        return mine.row(0, named=True) if len(mine) else {}

    before, after, said = row(then), row(now), []
    for column, (words, write) in COMPARED.items():
        old, new = before.get(column), after.get(column)
        told = (numbers.NONE if old is None else write(old), numbers.NONE if new is None else write(new))
        if told[0] != told[1]:
            said.append(f"{words} {told[0]}, now {told[1]}")
    were, are = (_told(found) for found in (then, now))
    for some, others, words in ((are, were, "more"), (were, are, "no longer told")):
        many = sum(not any(a.goes_by(b.key) or b.goes_by(a.key) for b in others) for a in some)
        if many:
            said.append(f"{numbers.in_words(many)} {'matter' if many == 1 else 'matters'} {words}")
    return said


def _told(found: Review) -> list[Matter]:
    """Every matter that a week tells, and what came back more of one of them."""
    every = (*found.matters, *found.known)
    return [one.matter for one in every] + [one.brought.matter for one in every if one.brought is not None]


def since(then: Review, now: Review) -> str:
    """What has changed since a week was reviewed, in one line."""
    told = changed(then, now)
    return f"Since it was reviewed: {'; '.join(told)}." if told else "Nothing of it has changed since the review."


COMPARED: dict[str, tuple[str, Callable[[Any], str]]] = {
    "finished": ("finished", numbers.count),
    "judged": ("judged", numbers.count),
    "never_sent_back": ("never sent back", lambda x: numbers.share(x, 100)),
    "loop_minutes": ("work that came back", numbers.hours_of),
    "signals_opened": ("new signals", numbers.count),
}


def lead(say: str) -> str:
    """The first words of a sentence, to stand behind a colon."""
    said = say.rstrip(".")
    return said[:1].lower() + said[1:]


def missing(found: Review, shop: Shop) -> list[tuple[str, str]]:
    """Stages with fewer rows than usual: what is there, and what usually is."""
    rows = found.arrived.filter("question").iter_rows(named=True)
    return [
        (
            f"{shop.stage_name(row['stage'])} has {numbers.of(row['there'], row['expected'])} rows",
            f": usually {numbers.share(row['usual'], 100)} have one. A sheet may be missing.",
        )
        for row in rows
    ]


def data_arrived(found: Review, shop: Shop) -> str:
    """In one line whether the week's data is all there."""
    gone, may = missing(found, shop), f" {mistyped(found)}." if len(found.slips) else ""
    if gone:
        more = f" and {numbers.in_words(len(gone) - 1)} more" if len(gone) > 1 else ""
        return f"{gone[0][0]}{more}: a sheet may be missing.{may}"
    if not len(found.arrived.filter(pl.col("expected") > 0)):
        return f"No instrument of this week was judged yet.{may}"
    asks = waiting(found)
    if none := asked_of(found.silent):
        return f"{none[-1][0]}{may}{f' {asks}.' if asks else ''}"
    return f"Every stage has written.{may}{f' {asks}.' if asks else ''}"


def mistyped(found: Review) -> str:
    """`1 reading may be mistyped`, or nothing."""
    many = len(found.slips)
    return f"{numbers.count(many)} {'reading' if many == 1 else 'readings'} may be mistyped" if many else ""


def slips(found: Review, shop: Shop) -> list[tuple[str, str]]:
    """Readings of the week that may be mistyped: the serial, and what was written beside what the others say."""
    told = []
    for row in found.slips.iter_rows(named=True):
        what = sentences.characteristic(shop, row["characteristic"], row["position"])
        value, low, high = (
            sentences.amount(shop, row["characteristic"], row[name]) for name in ("value", "low", "high")
        )
        told.append(
            (
                row["serial"],
                f"{what} {value} at {shop.stage_name(row['stage']).lower()}; {numbers.count(row['others'])} others lie "
                f"from {low} to {high}.",
            )
        )
    return told


def written_since(lines: int) -> str:
    """How much was written into the book since a review."""
    many = "line was" if lines == 1 else "lines were"
    return f"{numbers.in_words(lines, capital=True)} {many} written into the book since:"


def waiting(found: Review) -> str:
    """`3 rows or cells wait for an answer`, or nothing."""
    many = "row or cell waits" if found.questions == 1 else "rows or cells wait"
    return f"{numbers.count(found.questions)} {many} for an answer" if found.questions else ""


def answer(found: Review) -> str:
    """What to do with what waits."""
    return "Look" if not found.questions else "Answer it" if found.questions == 1 else "Answer them"


def no_lot(found: Review, shop: Shop) -> str:
    """Why no lot of the week is in doubt; without a plan none is judged, and the one with most outside is told."""
    if found.unjudged_lots.is_empty():
        return "None of those measured is in doubt." if shop.plans else "No plan is agreed, so that no lot is judged."
    row = found.unjudged_lots.sort("outside_low", descending=True, nulls_last=True).row(0, named=True)
    n = row["n"]
    return (
        f"No plan is agreed for {sentences.characteristic(shop, row['characteristic']).lower()}, so that no lot is "
        f"judged. Most outside its limits: lot {row['lot']}, {numbers.of(round(row['outside'] * n), n)} "
        f"({numbers.share_range(row['outside_low'], row['outside_high'], n)})."
    )


def nothing_shipped(found: Review, shop: Shop) -> str:
    """Why no serial is listed as shipped outside or without a final inspection; in a shop that packs nowhere an
    instrument is finished.
    """
    left = "packed" if any(stage.role == "packing" for stage in shop.stages) else "finished"
    packed = found.finished
    if packed is None or outcomes_missing(found.unread):
        return "Not read: no log says what passed its last stage."
    if not packed:
        return f"Nothing was {left} this week."
    unheld = found.unread.filter(pl.col("what").is_in([unread.LIMITS, unread.CHARACTERISTIC]))["key"].to_list()
    but = (
        f" Not held against limits, or not read: {', '.join(key.replace('_', ' ') for key in unheld)}."
        if unheld
        else ""
    )
    if found.outside.is_empty():
        return f"All that was {left} had a final inspection; no reading of it has limits.{but}"
    return f"None: all that was {left} had a final inspection, and its last readings lie within their limits.{but}"


def outside(found: Review) -> str:
    """Instruments with at least one reading outside as set, n of N with its interval."""
    row = found.outside.filter(pl.col("characteristic") == "any").row(0, named=True)
    many = "instrument has" if row["n"] == 1 else "instruments has" if row["outside"] == 1 else "instruments have"
    interval = numbers.share_range(row["low"], row["high"], row["n"])
    few = " Few instruments so far." if row["n"] < FEW else ""
    return f"{numbers.of(row['outside'], row['n'])} {many} at least one reading outside ({interval}).{few}"


def shipped(found: Review, shop: Shop) -> list[tuple[str, str]]:
    """Serial by serial: packed with a last reading outside, or without a final inspection on file."""
    said = []
    for row in found.shipped.group_by("serial", maintain_order=True).agg(pl.all()).iter_rows(named=True):
        if row["why"][0] == "no final":
            what = f"packed {numbers.day(sentences.local(shop, row['packed_at'][0]))}, no final inspection on file"
        else:
            readings = zip(*(row[k] for k in ("characteristic", "position", "value", "lower", "upper")), strict=True)
            what = "; ".join(_beyond(shop, *each) for each in readings)
        said.append((row["serial"], what))
    return said


def _beyond(
    shop: Shop, characteristic: str, position: str, value: float, lower: float | None, upper: float | None
) -> str:
    limit = upper if upper is not None and value > upper else lower
    what = sentences.characteristic(shop, characteristic, position).lower()
    if limit is None:
        return f"{what}: {sentences.amount(shop, characteristic, value)}, limit {numbers.NONE}"
    read, asked = sentences.apart(shop, characteristic, value, limit)
    return f"{what}: {read}, limit {asked}"


def settled(row: Mapping[str, Any], shop: Shop) -> dict[str, str]:
    """What the rest does to one reading: mean change with its interval, pairs and left out."""
    few = ", few" if row["n"] < FEW else ""
    return _change(row, shop, "mean", 1.0) | {
        "pairs": f"{numbers.count(row['n'])} pairs{few}",
        "left_out": numbers.count(row["left_out"]),
    }


def with_the_air(row: Mapping[str, Any], shop: Shop) -> dict[str, str]:
    """What goes with the humidity: the change for so many % RH more, with its interval, and how many hours before."""
    few = ", few" if row["n"] < FEW else ""
    return _change(row, shop, "slope", DAMPER) | {
        "lag": f"{numbers.count(row['lag_hours'])}{numbers.NBSP}h before{few}",
        "share": numbers.share(row["share_explained"], 100),
    }


def _change(row: Mapping[str, Any], shop: Shop, name: str, times: float) -> dict[str, str]:
    key = row["characteristic"]
    low, high, mean = (
        sentences.amount(shop, key, times * row[each], sign=True, mean=True) for each in ("low", "high", name)
    )
    return {
        "what": f"{sentences.characteristic(shop, key, row['position'])} on",
        "model": str(row["model"]),
        "mean": mean,
        "range": f"{low.partition(numbers.NBSP)[0]} to {high.partition(numbers.NBSP)[0]}",
    }


def on_the_bench(found: Review) -> list[tuple[str, str]]:
    """Figures of the bench with their words: finished, on the bench, on hold."""
    count = {word: int((found.bench["standing"] == word).sum()) for word in ("bench", "hold")}
    return [
        (NOT_READ if found.finished is None else numbers.count(found.finished), "finished this week"),
        (numbers.count(count["bench"]), "on the bench"),
        (numbers.count(count["hold"]), "on hold"),
    ]


def oldest(found: Review, shop: Shop) -> tuple[str, str, str] | None:
    """The oldest on the bench: days, serial, and the stage it was seen at last."""
    rows = found.bench.filter(pl.col("standing") == "bench").sort("first_seen")
    if rows.is_empty():
        return None
    row = rows.row(0, named=True)
    days = int(row["days"])
    return (
        f"{numbers.count(days)} {'day' if days == 1 else 'days'}",
        row["serial"],
        shop.stage_name(row["last_stage"]).lower(),
    )


def lost(found: Review, untold: AbstractSet[str] = frozenset()) -> tuple[str, list[str]]:
    """Not seen for thirty days, in words, and the serials; without those of which no log tells (`untold`)."""
    gone = found.bench.filter(pl.col("standing") == "lost")["serial"].to_list()
    serials = [serial for serial in gone if serial not in untold]
    many = "instrument has" if len(serials) == 1 else "instruments have"
    return (
        f"{numbers.in_words(len(serials), capital=True)} {many} not been seen for 30 days" if serials else ""
    ), serials


def came_back_untold(found: Review, untold: AbstractSet[str]) -> str:
    """Of how many that were sent back no log tells whether they came back; '' for none."""
    gone = found.bench.filter(pl.col("standing") == "lost", pl.col("serial").is_in(list(untold)))
    return unread_sentences.came_back(gone.height)


def known(found: Review, shop: Shop) -> str:
    """Matters that a person marked known."""
    names = ", ".join(name(seen.matter, shop) for seen in found.known)
    return f"Marked known, not shown until its date or until it grows: {names}." if names else ""


def outside_rows(found: Review, shop: Shop, most: int) -> list[ShareRow]:
    """As set outside limits: the largest shares of the week as rows of their chart, in the order of the bench."""
    each = found.outside.filter(pl.col("characteristic") != "any").with_row_index("place")
    return [
        ShareRow(
            sentences.characteristic(shop, row["characteristic"], row["position"]),
            row["share"],
            row["low"],
            row["high"],
            numbers.of(row["outside"], row["n"]),
            key=f"{row['characteristic']}|{row['position']}",
        )
        for row in each.sort(-pl.col("share"), "place").head(most).sort("place").iter_rows(named=True)
    ]

"""One stream in full: its chart, its figures, its finding, and what its shift moves together with."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl
from dash import dcc, html

from analysis.studies.drift.could_have_seen import could_have_seen
from analysis.studies.drift.entries import entries_for
from analysis.studies.drift.shift import Shift, outside, shift
from analysis.studies.drift.signals import SHORT_RUN, signals
from analysis.studies.drift.states import STEADY
from analysis.studies.drift.stream_view import StreamSeen, stream_view
from analysis.studies.matters.records import MovesWith
from analysis.studies.matters.rows import open_matter_of
from dashboard import numbers, parts
from dashboard.address import address
from dashboard.charts.moves_with import Candidate, moves_with
from dashboard.charts.stream.chart import Asked, Began, Change, Limits, Odd, Run, Signal, StreamView, stream
from dashboard.desk import desk
from dashboard.pages import planning
from dashboard.pages.logs import correct
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import matters
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

CHART, MOVES, ID = "drift-stream", "drift-moves", "drift-one"
KEY = ("characteristic", "position", "model", "stage", "tech")
SHAPES = ("blue dot", "diamond", "triangle")  # the first three of charts.stream_ground.KIND_MARKS
SHOWN_CANDIDATES = 8
SHOWN_ODD = 6  # odd instruments on the chart, the newest; all stand in the list


@dataclass(frozen=True)
class Seen:
    """The stream that is looked at, and what belongs to it."""

    row: dict[str, Any]
    view: StreamSeen
    signal: dict[str, Any] | None  # its open signal, the newest
    found: Shift | None
    moves: MovesWith | None
    entries: (
        pl.DataFrame
    )  # lines of the bench book about it, oldest first, with `gone` where the signal is no longer there
    now: datetime  # as of, on the shop's clock

    @property
    def key(self) -> dict[str, Any]:
        """The stream's key as options of a study."""
        return {name: str(self.row[name]) for name in KEY}


def look(row: dict[str, Any], tech: str, weeks: int | None, now: datetime) -> Seen:
    """Everything about one stream; UnusableData where it is not there."""
    key: dict[str, Any] = {name: str(row[name]) for name in KEY if name != "tech"} | {"tech": tech}
    view = desk.ask(stream_view, weeks=weeks, **key)
    if (
        not view.young
    ):  # what the short-run chart left open while the stream was young is settled by the stream's own chart
        view = replace(
            view, signals=view.signals.filter((pl.col("chart") != SHORT_RUN) | pl.col("closed_at").is_not_null())
        )
    still = view.signals.filter(pl.col("closed_at").is_null())
    signal = still.sort("opened_at").row(-1, named=True) if len(still) else None
    found = moves = None
    if signal is not None:
        named = {name: signal[name] for name in KEY}
        found = desk.ask(shift, opened_at=signal["opened_at"], **named)
        moves = _moves(signal)
    book = desk.here().snapshot().table("bench_book")
    lines = book.filter(*[pl.col(name) == value for name, value in key.items()]).sort("sequence")
    tied = desk.ask(entries_for).select("sequence", "gone", "now_opened_at")
    return Seen(
        {**row, "tech": tech},
        view,
        signal,
        found,
        moves,
        lines.join(tied, on="sequence", how="left", maintain_order="left"),
        now,
    )


def _moves(signal: dict[str, Any]) -> MovesWith | None:
    """What the matter of a signal moves together with."""
    judged = desk.ask(signals)
    if judged is None:
        return None
    same = [pl.col(name) == signal[name] for name in (*KEY, "chart", "opened_at")]
    at = judged.found.with_row_index("at").filter(*same)["at"]
    mine = desk.ask(open_matter_of).get(("found", int(at[0]))) if len(at) else None
    return mine.moves_with if mine else None


# The sheet


def _could_have_seen(seen: Seen, shop: Shop) -> str:
    found = desk.ask(could_have_seen).filter(*[pl.col(name) == value for name, value in seen.key.items()])
    return sentences_drift.could_have_seen(found.row(0, named=True) if len(found) else None, shop, seen.now.date())


def sheet(seen: Seen, by: str, by_field: Any, shop: Shop, *, below: Sequence[Any] = ()) -> html.Section:
    """The chart of the stream with its figures above and its words below; `below` stands at its foot."""
    row, view = seen.row, seen.view
    state, words = sentences_drift.state_words(row, shop, seen.found.size if seen.found else None)
    gauge = str(view.row["gauge"])
    marks = [parts.mark(state, words), parts.mark(gauge, sentences_drift.gauge(gauge), light=True)]
    telling = sentences_drift.finding(view, seen.found, seen.signal, seen.moves, shop, seen.now.date())
    chart = parts.graph(parts.both(stream, chart_view(seen, by, shop)), telling, CHART, leads=to_instrument)
    young = sentences_drift.young(shop, int(row["n"])) if view.young else ""
    quiet = _could_have_seen(seen, shop) if view.row["state"] == STEADY else ""
    more = [young, quiet, sentences_drift.adjusted(view.adjusted), sentences_drift.spread(view.sd_ratio, int(row["n"]))]
    notes = [html.P(text, className="small") for text in more if text]
    told = (
        sentences_drift.by_shape(_named(_levels(seen, by)[:3], by, shop), SHAPES, dict(BY_SHAPE)[by].lower())
        if by
        else ""
    )
    shapes = [html.P(told, className="small")] if told else []
    return parts.sheet(
        sentences_drift.stream_name(shop, row, stage=True),
        _right(seen, shop),
        [
            parts.facts(*_facts(seen, shop)),
            chart,
            _key(seen),
            *shapes,
            html.P(telling, className="finding-words"),
            *notes,
            *planning.shift(shop, str(row["characteristic"]), row["sigma"]),
            html.Div(
                [
                    by_field,
                    parts.to_readings(_readings(seen, shop), "Its readings, each with file and line"),
                    dcc.Link("Hold a period, lot or gauge of it against another", href=_against(seen)),
                ],
                className="beside",
            ),
            parts.behind(_table(seen, shop), "The newest readings as a table"),
            *below,
        ],
        marks=marks,
        id=ID,
    )


def _right(seen: Seen, shop: Shop) -> str:
    gauges = [gauge for gauge, _ in Counter(seen.view.readings["gauge"].to_list()).most_common(1) if gauge]
    named = {gauge.key: gauge for gauge in shop.gauges}
    step = ""
    if gauges and gauges[0] in named:
        found = named[gauges[0]]
        step = f", {found.name or found.key}" + (f" {found.resolution}" if found.resolution else "")
    n = len(seen.view.readings)
    return f"{numbers.count(n)} {'reading' if n == 1 else 'readings'}{step}"


def _facts(seen: Seen, shop: Shop) -> list[tuple[Any, Any]]:
    row, now = seen.row, seen.now.date()
    key = str(row["characteristic"])
    if seen.found and seen.signal and seen.signal["began_at"]:
        found, signal = seen.found, seen.signal
        share = f"; {numbers.share(found.share, 100)} of the tolerance" if found.share is not None else ""
        began, low, high = (sentences.local(shop, signal[name]) for name in ("began_at", "began_low", "began_high"))
        since, before = sentences_drift.outside(found.since), sentences_drift.outside(found.before)
        first, last = found.before.first_at, found.before.last_at
        span = (
            f", {numbers.days(sentences.local(shop, first), sentences.local(shop, last), now)}"
            if first and last
            else ""
        )
        way = "up" if found.size >= 0 else "down"
        on = (
            "began that day, by the readings"
            if low.date() == high.date()
            else f"began; {numbers.days(low, high, now)} by the readings"
        )
        return [
            (
                f"{sentences.amount(shop, key, abs(found.size))} {way}",
                f"{sentences_drift.span(shop, key, found)}{share}",
            ),
            (numbers.day(began, now), on),
            (since[0], f"outside since then ({since[1]})" if found.since.n else since[1]),
            (before[0], f"outside{span} ({before[1]})" if found.before.n else before[1]),
        ]
    part = outside(seen.view.readings)
    figure, note = sentences_drift.outside(part)
    facts: list[tuple[Any, Any]] = [(numbers.count(len(seen.view.readings)), "readings in these weeks")]
    if row["centre"] is not None:
        facts.append((sentences.amount(shop, key, row["centre"]), "centre line: mean of the baseline"))
    if row["sigma"] is not None:
        facts.append((sentences.amount(shop, key, row["sigma"]), "sigma, from one reading to the next"))
    return [*facts, (figure, f"outside in these weeks ({note})" if part.n else note)]


def _key(seen: Seen) -> html.Div:
    view = seen.view
    entries: list[tuple[str, str]] = [("board", "asked: limits and target")] if len(view.asked) else []
    if view.limits["centre"].drop_nulls().len():
        entries.append(("edge", "centre line: mean of the baseline"))
    if np.isfinite(view.gap_low).any():
        entries += [("light", "light: the running average left its gap"), ("gap", "gap: where the average may stray")]
    elif len(view.signals) and not _averaged(view):
        entries.append(("light", "light: between the centre line and a run that fired"))
    if view.limits["lower"].drop_nulls().len():
        entries.append(("limits", "limits of one reading"))
    if view.readings["outside"].fill_null(False).any():
        entries.append(("outside", "outside as set"))
    if _odd(seen):
        entries.append(("odd", "odd instrument"))
    if _corrected(view.readings).any():
        entries.append(("corrected", "corrected by a person"))
    if len(view.runs):
        entries.append(("run", "a run rule; opens nothing" if _averaged(view) else "a run rule"))
    return parts.key(*entries)


def _against(seen: Seen) -> str:
    key = seen.key
    what = "|".join(str(key[name]) for name in ("characteristic", "position", "stage"))
    return address("/against", what=what, a_model=key["model"], a_tech=key["tech"])


def _readings(seen: Seen, shop: Shop) -> str:
    taken = seen.view.readings["taken_at"]
    first, last = (sentences.local(shop, taken[k]).date() for k in (0, -1))
    return address("/logs/readings", **seen.key, **{"from": first, "to": last})


def _table(seen: Seen, shop: Shop) -> Any:
    """The newest readings as a table behind the chart, each with its file's line."""
    newest = seen.view.readings.tail(25).reverse()
    key = str(seen.row["characteristic"])
    headings = correct.Headings(desk.here().snapshot().table("columns"))
    rows = [
        {
            "serial": dcc.Link(
                row["serial"], href=address("/logs/instrument", serial=row["serial"]), className="serial"
            ),
            "at": numbers.clock(sentences.local(shop, row["taken_at"])),
            "value": sentences.amount(shop, key, row["value"]),
            "outside": ", ".join(
                filter(None, ("outside" if row["outside"] else "", sentences.flag_words(row["flag"] or "")))
            ),
            "line": [numbers.count(row["line"]), " ", correct.way({**seen.row, **row}, headings)],
        }
        for row in newest.iter_rows(named=True)
    ]
    columns = [
        ("serial", "Serial"),
        ("at", "Taken"),
        ("value", "Reading", "n"),
        ("outside", ""),
        ("line", "Line in its file", "n wide-only"),
    ]
    return parts.plain_table(rows, columns, caption="The newest 25 readings")


# The chart: from what the study saw to what is drawn, in the unit and on the clock of the shop


def _averaged(view: StreamSeen) -> bool:
    return bool(np.isfinite(view.average).any())


def to_instrument(serial: str) -> str:
    """Where a reading leads: its instrument's story."""
    return address("/logs/instrument", serial=serial) if serial else ""


def chart_view(seen: Seen, by: str, shop: Shop) -> StreamView:
    """What the stream chart is given."""
    view, row = seen.view, seen.row
    key = str(row["characteristic"])
    quantity, length = sentences.quantity(shop, key), shop.shop.length
    now = seen.now.date()

    def at(when: datetime) -> datetime:
        return sentences.local(shop, when).replace(tzinfo=None)

    def unit(value: float | None) -> float | None:
        return None if value is None else numbers.in_unit(value, quantity, shown=length)

    def units(values: Any) -> list[float]:
        return [numbers.in_unit(float(v), quantity, shown=length) for v in values]

    readings = view.readings
    taken = [at(when) for when in readings["taken_at"]]
    averaged = _averaged(view)
    odd = [
        Odd(taken[k], units([readings["value"][k]])[0], _odd_words(readings.row(k, named=True), shop, key))
        for k in _odd(seen)
    ]
    began = None
    if seen.signal is not None and seen.signal["began_at"] is not None:
        likeliest, low, high = (at(seen.signal[name]) for name in ("began_at", "began_low", "began_high"))
        began = Began(likeliest, low, high, sentences_drift.began_words(seen.signal, shop, now))
    levels = _levels(seen, by) if by else []
    return StreamView(
        taken_at=taken,
        values=units(readings["value"]),
        serials=readings["serial"].to_list(),
        unit=numbers.unit_of(quantity, shown=length),
        decimals=numbers.decimals_of(quantity, shown=length),
        average=units(view.average) if averaged else None,
        gap_low=units(view.gap_low) if averaged else None,
        gap_high=units(view.gap_high) if averaged else None,
        limits=[
            Limits(at(r["from_at"]), at(r["to_at"]), unit(r["centre"]) or 0.0, unit(r["lower"]), unit(r["upper"]))
            for r in view.limits.iter_rows(named=True)
            if r["centre"] is not None and r["centre"] == r["centre"]
        ],
        asked=[
            Asked(at(r["from_at"]), at(r["to_at"]), unit(r["target"]), unit(r["lower"]), unit(r["upper"]))
            for r in view.asked.iter_rows(named=True)
        ],
        baseline=view.baseline,
        judged_from=at(view.judged_from) if view.judged_from else None,
        signals=[
            Signal(
                at(r["opened_at"]),
                at(r["closed_at"]) if r["closed_at"] else None,
                _way(r),
                sentences_drift.signal_words(r, shop, _cause(seen, r), now),
                at(r["began_at"]) if r["began_at"] else None,
            )
            for r in view.signals.iter_rows(named=True)
        ],
        began=began,
        changes=[
            Change(
                datetime.combine(r["from_date"], datetime.min.time()),
                f"{r['what']}, {numbers.day(r['from_date'], now)}",
            )
            for r in view.changes.iter_rows(named=True)
        ],
        anew=[
            Change(
                at(r["from_at"]),
                f"{'limits set anew' if r['on_file'] else 'limits off file'}, {numbers.day(at(r['from_at']), now)}",
            )
            for k, r in enumerate(view.limits.iter_rows(named=True))
            if k or (r["on_file"] and at(r["from_at"]) > taken[0])
        ],
        runs=[Run(at(r["from_at"]), at(r["to_at"]), r["rule"]) for r in view.runs.iter_rows(named=True)],
        odd=odd,
        outside=np.flatnonzero(readings["outside"].fill_null(False).to_numpy()).tolist(),
        notes=[sentences.flag_words(flag) for flag in readings["flag"].fill_null("")],
        corrected=np.flatnonzero(_corrected(readings)).tolist(),
        kinds=[name if name in levels[:3] else "" for name in readings[by].fill_null("").to_list()] if by else (),
        kind_names=levels[:3],
    )


def _corrected(readings: pl.DataFrame) -> Any:
    """Which readings hold what a person laid over the log, (n,)."""
    return readings["flag"].fill_null("").str.split(";").list.contains("corrected").to_numpy()


def _way(signal: dict[str, Any]) -> str:
    return "down" if signal["size"] is not None and signal["size"] < 0 else "up"


def _odd(seen: Seen) -> list[int]:
    """Places of the newest odd instruments; from the beginning of an open signal on a far reading is part of its
    shift.
    """
    begun = seen.signal["began_at"] if seen.signal is not None else None
    taken = seen.view.readings["taken_at"]
    return [int(k) for k in seen.view.odd if begun is None or taken[int(k)] < begun][-SHOWN_ODD:]


def _odd_words(reading: dict[str, Any], shop: Shop, key: str) -> str:
    return f"odd instrument {reading['serial']}, {sentences.amount(shop, key, reading['value'])}"


def _cause(seen: Seen, signal: dict[str, Any]) -> str:
    """The last cause that the bench book holds for a signal."""
    found = seen.entries.filter(
        pl.col("kind").is_in(["cause", "close"]), pl.col("now_opened_at") == signal["opened_at"], pl.col("text") != ""
    )
    return str(found["text"][-1]) if len(found) else ""


# Who, lot or gauge by shape, when somebody asks

BY_SHAPE = (
    ("", "Nothing"),
    ("lot", "Neck lot"),
    ("supplier", "Supplier"),
    ("gauge", "Gauge"),
    ("set_by", "Who set it"),
)


def shapes(shop: Shop) -> list[tuple[str, str]]:
    """What readings can be told apart by; people only where the shop shows their codes."""
    return [(key, name) for key, name in BY_SHAPE if key != "set_by" or shop.people.show != "none"]


def by_field(id: str, by: str, shop: Shop) -> Any:
    """The field that chooses by what a stream is split."""
    return parts.field("Show by shape", id, by, [{"value": key, "label": name} for key, name in shapes(shop)])


def _named(levels: list[str], by: str, shop: Shop) -> list[str]:
    gauges = {gauge.key: gauge.name or gauge.key for gauge in shop.gauges}
    return [gauges.get(level, level) for level in levels] if by == "gauge" else levels


def _levels(seen: Seen, by: str) -> list[str]:
    """The commonest lots, gauges ... of the readings in sight since the shift began, the commonest first."""
    readings = seen.view.readings
    if seen.signal is not None and seen.signal["began_at"] is not None:
        since = readings.filter(pl.col("taken_at") >= seen.signal["began_at"])
        readings = since if len(since) else readings
    return [name for name, _ in Counter(name for name in readings[by].to_list() if name).most_common(4)]


# What it moves together with


def moves(seen: Seen, shop: Shop) -> html.Section:
    """The things looked at for the stream's open signal, as dots with intervals, and what stands out in words."""
    name = "What it moves together with"
    found = seen.moves
    if found is None or not found.candidates:
        return parts.sheet(
            name, "", parts.empty_state("Too few readings since it began to see what it moves together with.")
        )
    key = str(seen.row["characteristic"])
    quantity, shown = sentences.quantity(shop, key), shop.shop.length
    unit = numbers.unit_of(quantity, shown=shown)

    def size(value: float | None) -> float | None:
        return None if value is None else numbers.in_unit(value, quantity, shown=shown)

    unique: dict[str, Any] = {}
    for one in found.candidates:
        unique.setdefault(sentences_drift.candidate(one, shop), one)
    listed = list(unique.items())
    rows = [
        Candidate(words, size(one.effect), size(one.low), size(one.high), one.named)
        for words, one in listed[:SHOWN_CANDIDATES]
    ]
    decimals = numbers.decimals_of(quantity, shown=shown, mean=True)
    say = matters.together(found, shop)
    table = parts.plain_table(
        [
            {
                "name": words,
                "size": numbers.signed(size(one.effect), decimals),
                "range": numbers.span(size(one.low), size(one.high), decimals),
                "named": "stands out" if one.named else "",
            }
            for words, one in listed
        ],
        [
            ("name", "Looked at"),
            ("size", f"Explains, {unit}" if unit else "Explains", "n"),
            ("range", "95 %", "n"),
            ("named", ""),
        ],
    )
    right = f"{unit + ' ' if unit else ''}explained, 95 %, {numbers.in_words(len(listed))} looked at"
    people = any(one.of_people for one in found.named)
    bench = dcc.Link("Bench", href=address("/bench", stage=shop.set_stage(key, str(seen.row["model"]))))
    more = [html.P(["Who is a matter for ", bench, "."], className="small")] if people else []
    together = html.P(
        [say, " ", html.Span("Moving together is not the cause; look before you act.", className="small")]
    )
    return parts.sheet(
        name, right, [parts.graph(parts.both(moves_with, rows, decimals=decimals), say, MOVES, table), together, *more]
    )

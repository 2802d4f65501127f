"""One stream in full: its chart, its figures, its finding, and what its shift moves together with."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
from dash import dcc, html

from analysis.studies.drift.could_have_seen import could_have_seen
from analysis.studies.drift.shift import outside
from analysis.studies.drift.states import STEADY
from dashboard import numbers, parts
from dashboard.address import address
from dashboard.charts.moves_with import Candidate, moves_with
from dashboard.charts.stream.chart import stream
from dashboard.desk import desk, gauges_now
from dashboard.pages import planning
from dashboard.pages.drift.on_chart import (
    BY_SHAPE,
    SHAPES,
    _corrected,
    chart_view,
    has_average,
    levels_of,
    named,
    odd_places,
    to_instrument,
)
from dashboard.pages.drift.seen import Seen
from dashboard.pages.logs import correct
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import ended as sentences_ended
from dashboard.sentences import gauges as sentences_gauges
from dashboard.sentences import going_with
from dashboard.sentences import shared as sentences
from ingest.shopfiles.shop import Shop

CHART, MOVES, ID = "drift-stream", "drift-moves", "drift-one"
SHOWN_CANDIDATES = 8
FOUR_WEEKS = timedelta(days=27)  # before the last reading


def _could_have_seen(seen: Seen, shop: Shop) -> str:
    found = desk.ask(could_have_seen).filter(*[pl.col(name) == value for name, value in seen.key.items()])
    return sentences_drift.could_have_seen(found.row(0, named=True) if len(found) else None, shop, seen.now.date())


def sheet(seen: Seen, by: str, by_field: Any, shop: Shop, *, below: Sequence[Any] = ()) -> html.Section:
    """The chart of the stream with its figures above and its words below; `below` stands at its foot."""
    row, view = seen.row, seen.view
    state, words = sentences_drift.state_words(row, shop, seen.found.size if seen.found else None)
    if seen.matter is not None and not seen.matter.shown:
        state, words = "steady", "no move shown"
    if seen.matter is not None and seen.matter.back_since is not None:
        state, words = "steady", sentences_ended.since(seen.matter, shop, seen.now.date())
    gauge = str(view.row["gauge"])
    marks = [parts.mark(state, words), parts.mark(gauge, sentences_drift.gauge(gauge), light=True)]
    telling = sentences_drift.finding(view, seen.found, seen.signal, seen.matter, shop, seen.now.date())
    chart = parts.graph(parts.both(stream, chart_view(seen, by, shop)), telling, CHART, leads=to_instrument)
    young = sentences_drift.young(shop, int(row["n"])) if view.young else ""
    quiet = _could_have_seen(seen, shop) if view.row["state"] == STEADY else ""
    read_on = {name for name in view.readings["gauge"].to_list() if name}
    resting = sentences_gauges.beside(gauges_now.out_of_order(), shop, str(row["characteristic"]), read_on)
    more = [
        resting,
        young,
        quiet,
        sentences_drift.adjusted(view.adjusted),
        sentences_drift.spread(view.sd_ratio, int(row["n"])),
    ]
    notes = [html.P(text, className="small") for text in more if text]
    told = (
        sentences_drift.by_shape(named(levels_of(seen, by)[:3], by, shop), SHAPES, dict(BY_SHAPE)[by].lower())
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
                    dcc.Link("Hold a period, lot or gauge of it against another", href=_against(seen, shop)),
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
    return f"{numbers.count(n)} {'reading' if n == 1 else 'readings'} in these weeks{step}"


def _facts(seen: Seen, shop: Shop) -> list[tuple[Any, Any]]:
    row, now = seen.row, seen.now.date()
    key = str(row["characteristic"])
    shows = seen.matter is None or (seen.matter.shown and seen.matter.back_since is None)
    if shows and seen.found and seen.signal and seen.signal["began_at"]:
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
        by = "the readings"
        if seen.matter is not None:
            start = seen.matter.began_at or seen.matter.opened_at
            apart = sentences_drift.differs(signal["began_at"], start, shop)
            said = f"this series alone; its matter on {numbers.day(sentences.local(shop, start), now)}"
            by = said if apart else by
        on = (
            f"began that day, by {by}"
            if low.date() == high.date()
            else f"began; {numbers.days(low, high, now)} by {by}"
        )
        return [
            (
                f"{sentences.amount(shop, key, abs(found.size))} {way}",
                f"{sentences_drift.span(shop, key, found)}{share}; this series alone",
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
        facts.append((sentences.amount(shop, key, row["sigma"]), "usual spread, from one reading to the next"))
    return [*facts, (figure, f"outside in these weeks ({note})" if part.n else note)]


def _key(seen: Seen) -> html.Div:
    view = seen.view
    entries: list[tuple[str, str]] = [("board", "asked: limits and target")] if len(view.asked) else []
    if view.limits["centre"].drop_nulls().len():
        entries.append(("edge", "centre line: mean of the baseline"))
    if np.isfinite(view.gap_low).any():
        entries += [("light", "light: the running average left its gap"), ("gap", "gap: where the average may stray")]
    elif len(view.signals) and not has_average(view):
        entries.append(("light", "light: between the centre line and a run that fired"))
    if view.limits["lower"].drop_nulls().len():
        entries.append(("limits", "limits of one reading"))
    if view.readings["outside"].fill_null(False).any():
        entries.append(("outside", "outside as set"))
    if odd_places(seen):
        entries.append(("odd", "odd instrument"))
    if _corrected(view.readings).any():
        entries.append(("corrected", "corrected by a person"))
    if len(view.runs):
        entries.append(("run", "a run rule; opens nothing" if has_average(view) else "a run rule"))
    return parts.key(*entries)


def _against(seen: Seen, shop: Shop) -> str:
    key = seen.key
    what = "|".join(str(key[name]) for name in ("characteristic", "position", "stage"))
    own = {"model": key["model"], "tech": key["tech"]}
    if seen.signal is not None and seen.signal["began_at"]:  # since it began, against before
        began = sentences.local(shop, seen.signal["began_at"]).date()
    else:
        taken = seen.view.readings["taken_at"]
        began = sentences.local(shop, taken[-1]).date() - FOUR_WEEKS
    held = {"a_from": began, "b_to": began - timedelta(days=1)}
    return address("/against", what=what, **{f"{side}_{name}": it for side in "ab" for name, it in own.items()}, **held)


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


def moves(seen: Seen, shop: Shop) -> html.Section:
    """The things looked at for the stream's open signal, as dots with intervals, and what stands out in words."""
    name = "What it moves together with"
    found = seen.matter.moves_with if seen.matter else None
    if found is None or not found.candidates:
        return parts.sheet(
            name, "", parts.empty_state("Too few readings since it began to see what it moves together with.")
        )
    key = str(seen.row["characteristic"])
    quantity, shown = sentences.quantity(shop, key), shop.length_of(key)
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
    say = going_with.together(found, shop)
    table = parts.plain_table(
        [
            {
                "name": [words, *([parts.on_a_phone("stands out")] if one.named else [])],
                "size": numbers.signed(size(one.effect), decimals),
                "range": numbers.span(size(one.low), size(one.high), decimals),
                "named": "stands out" if one.named else "",
            }
            for words, one in listed
        ],
        [
            ("name", "Looked at"),
            ("size", f"Explains, {unit}" if unit else "Explains", "n"),
            ("range", "95 %", "n whole"),
            ("named", "", "wide-only"),
        ],
    )
    drawn = f", {numbers.in_words(len(rows))} drawn" if len(rows) < len(listed) else ""
    right = f"{unit + ' ' if unit else ''}explained, 95 %, {numbers.in_words(len(listed))} looked at{drawn}"
    people = any(one.of_people for one in found.named)
    bench = dcc.Link(
        "Bench", href=address("/bench", stage=shop.set_stage(key, str(seen.row["model"])), characteristic=key)
    )
    more = [html.P(["Who is a matter for ", bench, "."], className="small")] if people else []
    together = html.P([say, " ", html.Span(sentences_drift.not_the_cause(named=bool(found.named)), className="small")])
    return parts.sheet(
        name, right, [parts.graph(parts.both(moves_with, rows, decimals=decimals), say, MOVES, table), together, *more]
    )

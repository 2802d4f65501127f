"""All streams of page Drift at a glance: the rack of each stage, and what moved, most of its tolerance first."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from functools import partial
from typing import Any

import polars as pl
from dash import dcc, html

from analysis.studies.drift import states
from dashboard import numbers, parts
from dashboard.charts.rack import RackCell, RackColumn, RackRow, RackView
from dashboard.charts.rack import rack as rack_chart
from dashboard.pages.drift import stream as drift_stream
from dashboard.pages.drift.asked import ALL_STAGES, KEY, PATH, Asked
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import shared as sentences
from dashboard.tables import leaf_at
from ingest.shopfiles.shop import Shop

RACK = "drift-rack"
SHOWN_MOVED = 7
ABREAST = 12  # models side by side in the rack
LINES = 36  # of racks on a page


def glance(
    rows: pl.DataFrame, stages: list[str], asked: Asked, *, stream: dict[str, Any] | None, shop: Shop, now: datetime
) -> html.Section:
    """The rack of each stage, twelve models abreast, and what moved, most of its tolerance first."""
    racks: list[tuple[str, int, pl.DataFrame]] = []  # stage, which of its racks, its streams
    for stage in stages:
        part = rows.filter(pl.col("stage") == stage)
        models = [setup for setup in dict.fromkeys(shop.setups.values()) if setup in set(part["model"])]
        for k in range(0, len(models), ABREAST):
            racks.append((stage, k, part.filter(pl.col("model").is_in(models[k : k + ABREAST]))))
    kept = {name: value for name, value in asked.__dict__.items() if name not in ("since", "until")}
    kept |= {"from": asked.since, "to": asked.until, "weeks": asked.weeks if asked.weeks != 13 else None}
    first, end, ways = leaf_at(_leaves_begin(racks), len(racks), RACK, PATH, kept)
    drawn: list[Any] = []
    for stage, k, some in racks[first:end]:
        drawn += [html.H3(shop.stage_name(stage))] if len(stages) > 1 and (not k or not drawn) else []
        view = rack_view(some, shop, cell_key(stream) if stream else "", now.date())
        told = f"{shop.stage_name(stage)}: {_counts_in_words(some)}"
        name = f"{RACK}-{stage}-{k}" if k else f"{RACK}-{stage}"
        drawn.append(parts.graph(parts.both(rack_chart, view), told, name, leads=partial(leads, asked)))
    drawn += ways
    if not drawn:
        which = f" that is {asked.state}" if asked.state else ""
        text = f"No series{which} here. The filters above widen the view."
        drawn = [parts.empty_state(text, "All stages", f"{PATH}?stage={ALL_STAGES}")]
    right = (
        "a straightedge each: flat runs true, light has moved. One scale: a fifth of the tolerance, or twice the "
        "usual spread where nothing is asked"
    )
    return parts.sheet("All series at a glance", right, [*drawn, *_moved_list(rows, asked, shop, now.date())])


def _leaves_begin(racks: list[tuple[str, int, pl.DataFrame]]) -> list[int]:
    """Where each page of racks begins: so many lines on one, and one rack at least."""
    starts, lines = [0], 0
    for place, (_, _, some) in enumerate(racks):
        more = some.select("characteristic", "position").n_unique()
        if lines and lines + more > LINES:
            starts, lines = [*starts, place], 0
        lines += more
    return starts


def _counts_in_words(rows: pl.DataFrame) -> str:
    return ", ".join(
        f"{numbers.count(int((rows['state'] == word).sum()))} {word}"
        for word in (states.MOVED, states.STEADY, states.THIN)
    )


def counts(counted: dict[str, int], shop: Shop, watched: int = 0, back: int = 0) -> html.Div:
    """How many moved, ran true and are thin, each with its mark. watched : of those that left their limits so many that
    show no move; back : so many whose matter has ended.
    """
    told: list[Any] = []
    if moved := max(counted[states.MOVED] - watched - back, 0):
        told.append(parts.mark("moved-up", f"{numbers.count(moved)} moved"))
    if back:
        told.append(html.Span(f"{numbers.count(back)} back, the chart open still", className="small"))
    if watched:
        told.append(html.Span(f"{numbers.count(watched)} beyond their limits, no move shown", className="small"))
    told.append(parts.mark("steady", f"{numbers.count(counted[states.STEADY])} steady"))
    if counted[states.THIN]:
        few = html.Span(f"fewer than {shop.judging.least_readings} readings, or no spread", className="small")
        told += [parts.mark("thin", f"{numbers.count(counted[states.THIN])} thin"), few]
    return html.Div(told, className="key")


def _moved_list(rows: pl.DataFrame, asked: Asked, shop: Shop, now: date) -> list[Any]:
    """What moved as a list, largest share of its tolerance first; each line leads to its stream."""
    moved = rows.filter(pl.col("state") == states.MOVED)
    lines = []
    for row in moved.iter_rows(named=True):
        state = "moved-down" if (row["shift"] or 0) < 0 else "moved-up"
        state = "steady" if row.get("back_since") is not None else state
        link = dcc.Link(
            sentences_drift.stream_name(shop, row, stage=asked.stage == ALL_STAGES),
            href=PATH + to_stream(asked, row).search,
        )
        lines.append(html.Li([parts.picture(state), " ", link, f", {sentences_drift.moved_line(row, shop, now)}"]))
    if not lines:
        return []
    rest = html.Ul(lines[SHOWN_MOVED:], className="moved-list")
    more = [parts.behind(rest, f"{numbers.count(len(rest.children))} more moved")] if rest.children else []
    return [html.Ul(lines[:SHOWN_MOVED], className="moved-list"), *more]


def cell_key(row: dict[str, Any]) -> str:
    """What a click on a cell hands back."""
    return "|".join(str(row[name]) for name in KEY)


def leads(asked: Asked, key: str) -> str:
    """Where a cell of the rack leads: its stream, on this page."""
    told = key.split("|")
    found = len(told) == len(KEY)
    return PATH + to_stream(asked, dict(zip(KEY, told, strict=True))).search + f"#{drift_stream.ID}" if found else ""


def to_stream(asked: Asked, row: dict[str, Any]) -> Asked:
    """The same address, at one stream: its sheets stand where no fold is open."""
    return replace(asked, open="", page="", **{name: row[name] for name in KEY})


def rack_view(rows: pl.DataFrame, shop: Shop, picked: str, now: date) -> RackView:
    """One stage's streams: characteristics and positions in the shop's order by models in the shop's order."""
    order = {item.key: k for k, item in enumerate(shop.characteristics)}
    there = {(row["characteristic"], row["position"]) for row in rows.iter_rows(named=True)}
    keys = sorted(there, key=lambda key: (order.get(key[0], len(order)), _natural(shop, *key)))
    names, before = [], ""
    for key, position in keys:
        whole, head = sentences.characteristic(shop, key, position), shop.characteristic_name(key)
        place, within = whole.removeprefix(head).strip(), key == before and bool(position)
        names.append(RackRow(place if within else f"{head}, {place}" if place else head, within))
        before = key
    models = set(rows["model"])
    setups = [setup for setup in dict.fromkeys(shop.setups.values()) if setup in models]
    notes = {setup: shop.families[model] for model, setup in shop.setups.items()}
    column = {setup: k for k, setup in enumerate(setups)}
    line_of = {key: k for k, key in enumerate(keys)}
    cells = [
        RackCell(
            line_of[row["characteristic"], row["position"]],
            column[row["model"]],
            row["state"],
            row["line"] or (),
            row["light_from"],
            cell_key(row),
            f"{sentences_drift.stream_name(shop, row)}: {_cell_words(row, shop, now)}",
        )
        for row in rows.iter_rows(named=True)
    ]
    return RackView(
        names, [RackColumn(setup, _short(notes.get(setup, ""), len(setups))) for setup in setups], cells, picked
    )


def _short(family: str, columns: int) -> str:
    """A family's name under its model; where many models stand side by side a long one is its last word."""
    return family.split()[-1] if columns > 7 and len(family) > 15 else family


def _cell_words(row: dict[str, Any], shop: Shop, now: date) -> str:
    return (
        sentences_drift.moved_line(row, shop, now)
        if row["state"] == states.MOVED
        else f"{row['state']}, {numbers.count(row['n'])} readings"
    )


def _natural(shop: Shop, key: str, position: str) -> tuple[Any, ...]:
    item = shop.by_characteristic.get(key)
    head, _, rest = position.partition(" ")
    places = item.positions if item else ()
    fret = rest.removeprefix("fret ")
    return (
        places.index(head) if head in places else len(places),
        int(head) if head.isdigit() else 0,
        int(fret) if fret.isdigit() else -1,
        position,
    )

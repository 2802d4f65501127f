"""What moved, on Drift: matters with their streams, largest first; all that ran true as one heap."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl
from dash import dcc, html

from analysis.studies.drift import states
from analysis.studies.matters.in_sight import InSight, cost_if_left
from analysis.studies.matters.records import Matter
from dashboard import numbers, parts
from dashboard.address import address
from dashboard.charts.moved import MatterRow, Moved, MovedView, moved
from dashboard.pages.drift.asked import PATH
from dashboard.sentences import drift as sentences_drift
from dashboard.sentences import matters as sentences
from dashboard.sentences import shared
from ingest.shopfiles.shop import Shop

NAME, MOST = "What moved", 7
KEY = ("characteristic", "position", "model", "stage")


@dataclass(frozen=True, eq=False)
class Thing:
    """What one cause moved of the series in sight; matter: None where a series moved by itself, or what one person set
    is looked at; cost: instruments a week that it puts outside if it is left.
    """

    matter: Matter | None
    rows: pl.DataFrame
    cost: float | None

    @property
    def farthest(self) -> dict[str, Any]:
        """The series that moved the largest share."""
        return self.rows.sort(pl.col("moved_share").abs(), descending=True).row(0, named=True)


@dataclass(frozen=True)
class Sight:
    """rows: the series in sight; things: what moved of them, dearest first; watched: the same of matters whose readings
    do not show a move; elsewhere: open matters of readings that touch none of them; back: matters that have ended,
    though a chart of the series is open still.
    """

    rows: pl.DataFrame
    things: list[Thing]
    watched: list[Thing]
    elsewhere: list[Matter]
    back: list[Matter]


def in_view(found: InSight, here: pl.DataFrame, *, of_one: bool = False) -> Sight:
    """What moved of some series of the rack; of_one: they are what one person set, whose shifts are their own."""
    rows = found.streams.join(here.select(KEY), on=list(KEY), how="semi", maintain_order="left")
    over = rows.filter(pl.col("state") == states.MOVED)["ended"].drop_nulls().unique(maintain_order=True).to_list()
    out = rows.filter(
        (pl.col("state") == states.MOVED) & pl.col("moved_share").is_not_null() & pl.col("ended").is_null()
    )
    things = []
    for (key,), part in out.group_by(pl.col("matter").fill_null(""), maintain_order=True):
        matter = None if of_one else found.matters.get(str(key))
        things += [Thing(matter, own, cost_if_left(own)) for own in ([part] if matter else part.iter_slices(1))]
    told = {one.matter.key for one in things if one.matter}
    left = [one for key, one in found.matters.items() if key not in told and one.characteristics and not of_one]
    elsewhere = []
    for one in left:  # seen by all its readings together, though no series opened by itself
        own = rows.filter(_touched(one), pl.col("moved_share").is_not_null())
        if one.shown and len(own):
            things.append(Thing(one, own, cost_if_left(own)))
        else:
            elsewhere.append(one)
    things.sort(
        key=lambda one: (_to_target(one), -round(max(one.cost or 0.0, 0.0), 1), -abs(one.farthest["moved_share"]))
    )
    drawn = [one.matter is None or one.matter.shown for one in things]
    shown = [one for one, is_drawn in zip(things, drawn, strict=True) if is_drawn]
    return Sight(rows, shown, [one for one, is_drawn in zip(things, drawn, strict=True) if not is_drawn], elsewhere,
                 [found.ended[key] for key in over])  # fmt: skip


def _touched(one: Matter) -> pl.Expr:
    """The series whose readings a matter is about."""
    here = pl.col("characteristic").is_in(one.characteristics) & pl.col("stage").is_in(one.stages)
    here &= pl.col("model").is_in(one.models)
    return here & pl.col("position").is_in(one.positions) if one.positions else here


def names(seen: Sight, shop: Shop) -> tuple[list[str], list[str], list[str], int]:
    """For the headline: each thing with its size, what moved elsewhere with its own, both as they stand inside a
    sentence; the names of what is watched: its readings together do not show a move; and how many of the things, the
    last, came nearer to their target.
    """
    moved = sorted(seen.things, key=_to_target)
    elsewhere = [one for one in seen.elsewhere if one.shown]
    watched = [one.matter for one in seen.watched if one.matter]
    watched += [one for one in seen.elsewhere if not one.shown]
    return (
        [f"{_name(one, shop, inside=True)}, {_by(one, shop)}" for one in moved],
        [f"{sentences_drift.small(sentences.name(one, shop))}, {sentences.by(one, shop)}" for one in elsewhere],
        [sentences.name(one, shop) for one in watched],
        sum(_to_target(one) for one in moved),
    )


def _to_target(one: Thing) -> bool:
    return one.matter is not None and one.matter.to_target


def sheet(seen: Sight, chosen: str, leads: Callable[[str], str], *, shop: Shop, now: date) -> html.Section:
    """The sheet. chosen : key of the series looked at."""
    view, left = moved_view(seen, chosen, shop=shop, now=now)
    say = finding(view)
    chart = parts.graph(parts.both(moved, view), say, "drift-moved", _table(seen.rows, shop, now), leads=leads)
    more: list[Any] = []
    if left:
        more = [html.P(f"and {numbers.count(left)} more matters; a stage or model chosen above shows them.")]
    right = "a dot for each series; light: how far the matter reaches; a matter is what one cause moved"
    return parts.sheet(NAME, right, [chart, *more, *_elsewhere(seen, shop)])


def _elsewhere(seen: Sight, shop: Shop) -> list[Any]:
    """Matters that touch no series in sight, each a link to where it is seen: what moved, then what is not shown to
    have.
    """
    here = [one.matter for one in seen.watched if one.matter]
    told = [
        ("Left its limits, and no move is shown", here),
        ("Moved, but in no series of this view", [one for one in seen.elsewhere if one.shown]),
        ("Left its limits in no series of this view, and no move is shown", [e for e in seen.elsewhere if not e.shown]),
        ("Had moved and came back, a chart of it open still", seen.back),
    ]
    return [
        html.P([f"{words}: ", *_links(several, shop), "."], className="small") for words, several in told if several
    ]


def _links(several: list[Matter], shop: Shop) -> list[Any]:
    told: list[Any] = []
    for k, one in enumerate(several[:MOST]):
        page = "/bench" if one.only_some else PATH
        asked = {name: one.main[name] for name in KEY}
        if page != PATH:
            key = str(one.main["characteristic"])
            bench = shop.set_stage(key, str(one.main["model"])) or one.main["stage"]
            asked = {"stage": bench, "characteristic": key}
        where = f" ({shop.stage_name(str(one.main['stage'])).lower()})" if one.main["stage"] else ""
        link = dcc.Link(sentences.name(one, shop), href=address(page, **asked))
        told += ["; " if k else "", link, f" {sentences.by(one, shop)}{where}"]
    return told


def finding(view: MovedView) -> str:
    """The chart in a sentence."""
    if not view.rows:
        return f"Nothing moved; {view.steady_words}."
    first = view.rows[0]
    return f"{first.name}: {first.under} {numbers.in_words(len(view.rows), capital=True)} in all. {view.steady_words}."


def moved_view(seen: Sight, chosen: str, *, shop: Shop, now: date) -> tuple[MovedView, int]:
    """What the chart is given, and how many matters are left over."""
    rows = seen.rows
    told = [_row(one, chosen, shop, now) for one in seen.things[:MOST]]
    steady = [100 * share for share in rows.filter(pl.col("state") == states.STEADY)["moved_share"].drop_nulls()]
    thin = int((rows["state"] == states.THIN).sum())
    words = f"{numbers.count(len(steady))} series ran true"
    if steady:
        low, high = (numbers.plain(abs(end), 0) for end in (min(*steady, 0), max(*steady, 0)))
        words += f", between {low} % below and {high} % above their centre line"
    few = f"{numbers.count(thin)} thin: fewer than {shop.judging.least_readings} readings, or no spread" if thin else ""
    return MovedView(told, steady, words, few), len(seen.things) - len(told)


def _name(one: Thing, shop: Shop, *, inside: bool = False) -> str:
    """inside : a sentence; a series is led by its model, which is written as it is everywhere."""
    if one.matter is None:
        return sentences_drift.stream_name(shop, one.farthest)
    name = sentences.whose(one.matter, shop)
    return sentences_drift.small(name) if inside else name


def _by(one: Thing, shop: Shop) -> str:
    """By how much: of all readings of a matter, as every page tells it; else of the series itself."""
    sized = one.matter is not None and one.matter.characteristics and one.matter.size is not None
    return sentences.by(one.matter, shop) if one.matter and sized else sentences_drift.moved_by(one.farthest, shop)


def _row(one: Thing, chosen: str, shop: Shop, now: date) -> MatterRow:
    far = one.farthest
    streams = [
        Moved(
            100 * row["moved_share"],
            f"{sentences_drift.stream_name(shop, row)}: {sentences_drift.moved_line(row, shop, now)}",
            _key(row),
            row["tolerance"] is not None,
        )
        for row in one.rows.iter_rows(named=True)
    ]
    way = "up" if far["moved_share"] >= 0 else "down"
    place = shared.characteristic(shop, far["characteristic"], far["position"])
    place = place.removeprefix(shop.characteristic_name(far["characteristic"])).strip()
    short = f"{far['model']} {place}".strip()
    line = _by(one, shop)  # since when stands at the right
    many = f"; {numbers.count(len(streams))} series here" if len(streams) > 1 else ""
    under = f"{line}{many}. {sentences_drift.cost(one.cost)}".strip()
    keys = {stream.key for stream in streams}
    right = _right(one.matter, shop, now)
    return MatterRow(
        f"{_name(one, shop)} {_moved(one, way)}",
        under[:1].upper() + under[1:],
        right,
        streams,
        short,
        _key(far),
        chosen in keys,
        _to_target(one),
    )


def _moved(one: Thing, way: str) -> str:
    word = sentences.moved_word(one.matter) if one.matter else "moved"
    return f"{word} {way} to target" if _to_target(one) else f"{word} {way}"


def _key(row: dict[str, Any]) -> str:
    return "|".join(str(row[name]) for name in KEY)


def _right(matter: Matter | None, shop: Shop, now: date) -> list[str]:
    """Since when, together with what, and how far its action is; four short lines."""
    from dashboard.charts import style

    if matter is None:
        return []
    began = matter.began_at or matter.opened_at
    since = f"since {numbers.day(shared.local(shop, began), now)}"
    told = style.wrap_to(sentences.why(matter, shop), 250, 3, 6.2)
    return [since, *told, _state(matter, now)]


def _state(matter: Matter, now: date) -> str:
    """`open, with nobody`, `action: Mara by 25 Nov`, `done: Mara`, `known until 30 Nov`."""
    if matter.state == "known" and matter.known_until:
        return f"known until {numbers.day(matter.known_until, now)}"
    if matter.state == "done":
        return f"done: {matter.owner}" if matter.owner else "done"
    if matter.action and matter.owner and matter.due:
        return f"{matter.state}: {matter.owner} by {numbers.day(matter.due, now)}"
    return "open, with nobody" if matter.state == "open" else matter.state


def _table(rows: pl.DataFrame, shop: Shop, now: date) -> html.Div:
    out = rows.filter(pl.col("state") == states.MOVED)
    told = [
        {"what": sentences_drift.stream_name(shop, row, stage=True), "how": sentences_drift.moved_line(row, shop, now)}
        for row in out.iter_rows(named=True)
    ]
    table = parts.plain_table(told, [("what", "Series"), ("how", "Moved")])
    apart = any("by itself since" in line["how"] for line in told)
    return html.Div([table, html.P(sentences_drift.APART, className="small")]) if apart else table

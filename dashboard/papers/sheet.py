"""Sheets to write on: the traveller that goes with an instrument, a bench's day sheet, and an empty CSV to fill.

All are made from shop.toml and the specs of the day. The serial stands as Code 128, made by python-barcode; its bars
are drawn here, so that they are as wide as a common scanner wants (narrow bar .4 mm, 10 modules free at each side).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

import polars as pl
from markupsafe import Markup

from analysis.methods.problems import UnusableData
from analysis.studies.story.conformity import with_specs
from analysis.studies.story.lookup import instrument
from dashboard.desk import desk
from dashboard.desk.gauge_in_hand import gauges
from dashboard.papers.paper import Paper, computed_from
from dashboard.sentences.cautions import LOCAL, cautions
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Characteristic, Stage

NARROW, HIGH, QUIET = 0.4, 14.0, 10  # mm, mm, modules
MOST_TRAVELLERS = 60  # a day's instruments
RETURNS = 3  # lines of a traveller for coming back; Letter is shorter by one
LINES = 12  # to fill on a day sheet, either size
FIELDS = ("serial", "model", "stage", "tech", "date", "started_at", "finished_at", "outcome", "fault", "fault_at",
          "sent_back_to", "note")  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """One measurement on a sheet."""

    characteristic: str
    position: str
    name: str
    unit: str  # as the gauge says it
    limits: dict[str, str]  # by family, in words


def travellers(serials: Sequence[str], *, letter: bool = False) -> tuple[str, str]:
    """The travellers of instruments, a page each, as a name for their file and its HTML. UnusableData for none, too
    many, or a serial that cannot stand as a code.
    """
    wanted = list(dict.fromkeys(one.strip() for one in serials if one.strip()))
    if not wanted:
        raise UnusableData("no serial was given; type one, or several with a comma between")
    if len(wanted) > MOST_TRAVELLERS:
        raise UnusableData(f"{len(wanted)} travellers at once; print {MOST_TRAVELLERS} at most")
    snapshot = desk.here().snapshot()
    name = f"Traveller {wanted[0]}" if len(wanted) == 1 else f"{len(wanted)} travellers"
    made = Paper(name, snapshot.shop.shop.name, computed_from(snapshot), letter=letter)
    pages = [_traveller(one, snapshot.shop) for one in wanted]
    return f"traveller-{_plain(wanted[0])}", made.html(
        "traveller.html", pages=pages, made_on=_today(), local=LOCAL, returns=RETURNS - letter
    )


def _traveller(serial: str, shop: Shop) -> dict[str, Any]:
    if not serial.isascii() or not serial.isprintable():
        raise UnusableData(f"{serial!r} cannot be printed as a code; wanted letters, figures and signs of ASCII")
    model = _model(serial)
    family = shop.families.get(model, "")
    stages = [
        one for one in shop.stages if one.role not in ("repair", "rest") and (not family or one.holds_for(family))
    ]
    rows = [{"stage": shop.stage_name(one.key), "asks": _in_words(shop, one, model)} for one in stages]
    about = f"{model}, {family}" if family else ""
    new = not model  # a slip of the pen, or an instrument that has just come
    return {
        "serial": serial,
        "code": code(serial),
        "about": about,
        "new": new,
        "rows": rows,
        "cautions": cautions(stages, shop),
    }


def day_sheet(stage: str, *, letter: bool = False) -> tuple[str, str]:
    """The day sheet of one bench as a name for its file and its HTML. UnusableData for a stage that is none."""
    snapshot = desk.here().snapshot()
    shop = snapshot.shop
    one = _stage(shop, stage)
    asked = measured(shop, one)
    families = sorted(set(shop.families.values()))
    limits = [(family, _limits_in_words(shop, asked, family)) for family in families if one.holds_for(family)]
    made = Paper(f"Day sheet, {shop.stage_name(one.key)}", shop.shop.name, computed_from(snapshot), letter=letter)
    return f"day-sheet-{_plain(one.key)}", made.html(
        "day_sheet.html", stage=shop.stage_name(one.key), made_on=_today(), asked=asked, lines=LINES,
        limits=[row for row in limits if row[1]], cautions=cautions([one], shop), local=LOCAL,
    )  # fmt: skip


def empty_csv(stage: str) -> tuple[str, str]:
    """A CSV to fill at one bench: a name by which it is read as it is, and its first line, units in the headings."""
    shop = desk.here().snapshot().shop
    one = _stage(shop, stage)
    measures = [
        " ".join(word for word in (each.characteristic, each.position, f"({each.unit})" if each.unit else "") if word)
        for each in measured(shop, one)
    ]
    return f"card_{_today()}_{_plain(one.key)}-by-hand.csv", ",".join([*FIELDS, *measures]) + "\n"


def measured(shop: Shop, stage: Stage) -> list[Asked]:
    """What is asked at a stage: what is set there for some family; at final inspection everything that is set."""
    families = sorted(set(shop.families.values()))
    out = []
    for item in shop.characteristics:
        here = stage.key in item.set_stages or (stage.role == "final" and bool(item.set_stages))
        if not (here or (stage.role == "receiving" and not item.set_stages)):
            continue
        hand = gauges(shop, item)[0]
        for position in item.positions or ("",):
            limits = {family: _limits(shop, item, position, family, stage) for family in families}
            name = f"{shop.characteristic_name(item.key)}{f' {position}' if position else ''}"
            out.append(Asked(item.key, position, name, hand.unit, limits))
    return out


def code(text: str) -> Markup:
    """A text as Code 128 bars, an SVG in mm; the text stands under them."""
    import barcode

    modules = barcode.get("code128", text).build()[0]
    bars, at = [], 0
    while at < len(modules):
        wide = 1
        while at + wide < len(modules) and modules[at + wide] == modules[at]:
            wide += 1
        if modules[at] == "1":
            bars.append(f'<rect x="{(at + QUIET) * NARROW:.2f}" y="0" width="{wide * NARROW:.2f}" height="{HIGH}"/>')
        at += wide
    width = (len(modules) + 2 * QUIET) * NARROW
    size = f'width="{width:.2f}mm" height="{HIGH}mm" viewBox="0 0 {width:.2f} {HIGH}"'
    whole = f'<svg class="bars" {size} role="img" shape-rendering="crispEdges">{"".join(bars)}</svg>'
    return Markup(whole)


def _limits(shop: Shop, item: Characteristic, position: str, family: str, stage: Stage) -> str:
    """The limits that hold today in the unit of the gauge, `5.5 to 6.5`; '' where none does."""
    snapshot = desk.here().snapshot()
    row = pl.DataFrame(
        {"characteristic": [item.key], "position": [position], "family": [family], "model": [""], "stage": [stage.key],
         "supplier": [""], "set_on": [desk.here().today()], "value": [0.0], "gauge": [""]}
    )  # fmt: skip
    found = with_specs(snapshot, row).row(0, named=True)
    hand = gauges(shop, item)[0]
    return hand.limits(found["lower"], found["upper"])


def _limits_in_words(shop: Shop, asked: Sequence[Asked], family: str) -> list[str]:
    """`Action bass 5.5 to 6.5 64ths`; positions between the same limits together: `Intonation 1 to 6 -5 to 5 cents`."""
    out = []
    mine = [each for each in asked if each.limits.get(family)]
    for (key, limits), alike in groupby(mine, key=lambda each: (each.characteristic, each.limits[family])):
        every = list(alike)
        places = [each.position for each in every if each.position]
        where = f" {places[0]} to {places[-1]}" if len(places) > 2 else f" {' and '.join(places)}" if places else ""
        out.append(f"{shop.characteristic_name(key)}{where} {limits} {every[0].unit}".strip())
    return out


def _in_words(shop: Shop, stage: Stage, model: str) -> list[dict[str, Any]]:
    """What a traveller asks at a stage, a line a characteristic with a box a position; of a known model only what it
    has.
    """
    family, strings = shop.families.get(model, ""), shop.by_model[model].strings if model in shop.by_model else None
    every = [one for one in measured(shop, stage) if not family or _is_on(shop, one, family, strings)]
    out = []
    for (key, limits, unit), alike in groupby(
        every, key=lambda one: (one.characteristic, one.limits.get(family, ""), one.unit)
    ):
        places = [one.position for one in alike]
        where = f" {places[0]} to {places[-1]}" if len(places) > 2 else f" {', '.join(places)}" if places[0] else ""
        asks = f"{limits} {unit}".strip() if limits else unit
        name = f"{shop.characteristic_name(key)}{where}{f' ({asks})' if asks else ''}"
        out.append({"name": name, "boxes": len(places)})
    return out


def _is_on(shop: Shop, one: Asked, family: str, strings: int | None) -> bool:
    """Has an instrument of that family what is asked: the bench that sets it, the string?"""
    item = shop.by_characteristic[one.characteristic]
    at = item.set_stage(family)
    if item.set_stages and not at:
        return bool(one.limits.get(family))  # no bench of that family sets it; it may be asked all the same
    if item.set_stages and (at not in shop.by_stage or not shop.by_stage[at].holds_for(family)):
        return False
    return not (strings and one.position.isdigit() and int(one.position) > strings)


def _model(serial: str) -> str:
    """The model of a serial that is on file; '' of a new one."""
    seen = desk.ask(instrument, serial=serial)
    return str(seen.instrument["model"]) if seen else ""


def _stage(shop: Shop, key: str) -> Stage:
    stage = shop.by_stage.get(key)
    if stage is None:
        raise UnusableData(f"no stage {key!r} in shop.toml; wanted one of {', '.join(shop.by_stage)}")
    return stage


def _today() -> date:
    return desk.here().today()


def _plain(text: str) -> str:
    return "".join(sign if sign.isalnum() else "-" for sign in text.lower()).strip("-")

"""Stages, measurements, models, techs and faults of a first shop, each put in its place as a sheet names it."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from ingest.beginning.answers import Said, meaning_of, measure_of
from ingest.beginning.first_shop import Draft, Entry, with_said
from ingest.beginning.new_text import starting_stage
from ingest.beginning.stage_words import guess_stage
from ingest.beginning.starting_values import MEASURES, STAGES
from ingest.beginning.steps_seen import columns_measured, usual_unit, written_unit
from ingest.beginning.where_set import stage_named, where_set
from ingest.reading.encodings import MARK
from ingest.reading.headings import plain
from ingest.reading.notation import no_reading
from ingest.shopfiles.shop import Shop
from ingest.terms.units import quantity_of

MEASURE = {item.key: item for item in MEASURES}
USUAL = {stage.key: place for place, stage in enumerate(STAGES)}
ROLES = {stage.key: stage.role for stage in STAGES}
SHOWN = {  # a unit of lengths -> the unit it is shown in
    "in": "in",
    "thou": "thou",
    **dict.fromkeys(("mm", "cm", "um", "hundredths of mm", "tenths of mm"), "mm"),
    **dict.fromkeys(("8ths", "16ths", "32nds", "64ths", "128ths"), "64ths"),
}


def begin(draft: Draft, said: Said, shop: Shop | None) -> None:
    """What is there before any sheet is looked at: what somebody said, and how the shop calls the trade's things."""
    table = said.table
    draft.rest = {
        key: value
        for key, value in table.items()
        if key not in ("shop", "stage", "characteristic", "model", "fault", "tech", "log")
    }
    for stage in shop.stages if shop else ():
        draft.stage_keys.setdefault(guess_stage(stage.key) or guess_stage(stage.name) or stage.key, stage.key)
    for item in shop.characteristics if shop else ():
        draft.measure_keys.setdefault(measure_of(item.key) or measure_of(item.name) or item.key, item.key)
    for entry in said.tables("characteristic"):
        key = str(entry.get("key", ""))
        trade = measure_of(key) or measure_of(str(entry.get("name", ""))) or key
        draft.measure_keys[trade] = key
        _remember(draft, "characteristic", entry)
        draft.measures[key] = _starting_measure(key, trade, entry)
    for log in said.logs():
        for target in (*log.get("headings", {}).values(), *log.get("words", {}).get("what", {}).values()):
            name = meaning_of(str(target)).measure
            if name and (trade := measure_of(name)):
                draft.measure_keys.setdefault(trade, name)
    for entry in said.tables("stage"):
        key = str(entry.get("key", ""))
        trade = guess_stage(key) or guess_stage(str(entry.get("name", "")))
        draft.stage_keys.setdefault(trade or key, key)
        _remember(draft, "stage", entry)
        role = str(entry.get("role", ROLES.get(trade, "bench")))
        base = {"key": key, "role": role} if "name" in entry or "minutes" in entry else starting_stage(key, trade, role)
        draft.stages[key] = with_said(base, entry)
    for kind, held in (("model", draft.models), ("fault", draft.faults), ("tech", draft.techs)):
        for entry in said.tables(kind):
            _remember(draft, kind, entry)
            held[str(entry.get("key", ""))] = dict(entry)


def _remember(draft: Draft, kind: str, entry: Mapping[str, Any]) -> None:
    name = f"{kind} {entry.get('key', '')}"
    draft.said |= {name, *(f"{name} {key}" for key in entry)}


def place_stage(draft: Draft, trade: str, route: Sequence[str] = ()) -> str:
    """Put a stage at its place along the bench and say its key: the trade's order, and behind its forerunner on the
    route for a stage that the trade does not name.
    """
    key = draft.stage_key(trade)
    if key in draft.stages:
        return key
    usual = {draft.stage_key(stage): place for stage, place in USUAL.items()}
    keys = list(draft.stages)
    if key in usual:
        at = next((place for place, other in enumerate(keys) if usual.get(other, -1) > usual[key]), len(keys))
    else:
        before = [other for other in route[: route.index(key)] if other in keys] if key in route else []
        at = keys.index(before[-1]) + 1 if before else len(keys)
    entry = starting_stage(key, trade, ROLES.get(trade, "bench"))
    draft.stages = {name: draft.stages.get(name, entry) for name in [*keys[:at], key, *keys[at:]]}
    return key


def add_measure(draft: Draft, key: str, trade: str, positions: Sequence[str], unit: str = "") -> None:
    """A measurement with its positions, those it has and those found now."""
    held = draft.measures.get(key)
    if held is None:
        held = draft.measures[key] = _starting_measure(key, trade, {}, unit)
    if f"characteristic {key} positions" in draft.said:
        return
    known = list(held.get("positions", []))
    wider = [*known, *(place for place in dict.fromkeys(positions) if place and place not in known)]
    if all(place.isdecimal() for place in wider):
        wider.sort(key=int)
    if wider:
        held["positions"] = wider


def _starting_measure(key: str, trade: str, said: Mapping[str, Any], unit: str = "") -> Entry:
    item = MEASURE.get(trade)
    if item is None:
        quantity = quantity_of(unit) if unit else "plain"
        quantity = quantity if quantity in ("length", "pitch", "angle", "count", "class") else "plain"
        return with_said({"key": key, "quantity": quantity}, said)
    entry: Entry = {"key": key, "name": item.name, "quantity": item.quantity}
    if item.set_at:
        entry["set_at"] = item.set_at
    if item.at_pitch:
        entry["at_pitch_from"] = "stringing"
    entry["positions"] = []
    if item.plausible and said.get("quantity", item.quantity) == item.quantity:
        entry["plausible"] = list(item.plausible)
    return with_said(entry, said)


def finish_measures(draft: Draft, shop: Shop | None) -> None:
    """Say where each measurement is set, take what names a stage that this shop does not have out of it, and empty
    positions.
    """
    families = [*draft.families(), *(model.family for model in (shop.models if shop else ()))]

    told_of = _stages_told_of(draft)

    def here(trade: str) -> str:
        stage = draft.stage_key(trade)
        return stage if stage in told_of or (shop and stage in shop.by_stage) else ""

    for key, entry in draft.measures.items():
        for field in ("set_at", "at_pitch_from"):
            if field in entry and f"characteristic {key} {field}" not in draft.said:
                item = MEASURE.get(draft.trade_measure(key)) if field == "set_at" else None
                told = where_set(draft, key, item, entry[field], families, here) if item else here(entry[field])
                if told:
                    entry[field] = told
                else:
                    del entry[field]
        if not entry.get("positions", True):
            del entry["positions"]


def _stages_told_of(draft: Draft) -> set[str]:
    """The stages of the draft that somebody said or of which a sheet has rows, not only words to which work went back:
    whoever set what is set there would be nobody.
    """
    told = {stage for stage in draft.stages if f"stage {stage}" in draft.said}
    for log in draft.logs:
        seen = log.survey
        told |= {log.stage, *(stage_named(draft, log, word) for word in seen.words("stage"))}
        told |= {draft.stage_key(column.guess.stage) for column in seen.columns}
    return told & draft.stages.keys()


ONE_WIDTH = 0.8  # of the cells hold codes of as many figures: a zero before one of them is no other person


def add_people(draft: Draft, found: Mapping[str, list[str]], known: Mapping[str, str]) -> None:
    """Techs that nobody has listed."""
    listed = {plain(word) for key, entry in draft.techs.items() for word in (key, *entry.get("words", ()))}
    for key, words in found.items():
        if plain(key) not in listed and plain(key) not in known:
            draft.techs[key] = {"key": key} | ({"words": words} if words else {})


def people(names: Mapping[str, int]) -> dict[str, list[str]]:
    """Techs by key with the other ways each is written: 'JR', 'J.R.' and 'jr' are one, and '0204' is 204 among codes of
    three figures; two names in a cell are two.
    """
    parts: Counter[str] = Counter()
    for name, count in names.items():
        for part in re.split(r"\s*[/+&,]\s*", name):
            if part.strip() and not no_reading(part) and MARK not in part:
                parts[part.strip()] += count
    codes = _without_zeros(parts)
    found: dict[str, Counter[str]] = {}
    for part, count in parts.items():
        found.setdefault(codes.get(part, re.sub(r"[\s.]", "", part).casefold()), Counter())[part] += count
    keys = {ways.most_common(1)[0][0]: sorted(ways) for ways in found.values()}
    return {key: [way for way in ways if plain(way) != plain(key)] for key, ways in sorted(keys.items())}


def _without_zeros(counts: Mapping[str, int]) -> dict[str, str]:
    """Codes with a zero too many or too few before them, and the code each is: of as many figures as nearly all."""
    codes = Counter({code: count for code, count in counts.items() if code.isdecimal()})
    widths: Counter[int] = Counter()
    for code, count in codes.items():
        widths[len(code)] += count
    if not widths or (most := widths.most_common(1)[0])[1] < ONE_WIDTH * codes.total():
        return {}
    trimmed = {code: code.lstrip("0").zfill(most[0]) for code in codes if len(code) != most[0]}
    return {code: short for code, short in trimmed.items() if short in codes}


def shown_in(draft: Draft, shop: Shop | None) -> None:
    """Lengths are shown as most things are written that sheets measure: by their headings, units of their own or of
    the sheet, or their cells; a measurement that is new in another one in its own.
    """
    if shop is None:
        _shown_in_shop(draft)
    usual = shop.shop.length if shop else str(draft.about.get("length", "mm"))
    units: dict[str, Counter[str]] = {}
    for log in draft.logs:
        for key, unit, cells in columns_measured(log, draft):
            units.setdefault(key, Counter())[SHOWN.get(written_unit(cells, unit), "")] += 1
    for key, counts in units.items():
        entry, (unit, count) = draft.measures.get(key, {}), counts.most_common(1)[0]
        is_new = shop is None or key not in shop.by_characteristic
        own = unit not in ("", usual) and 2 * count > counts.total()
        if entry and is_new and own and "length" not in entry and entry.get("quantity", "length") == "length":
            draft.measures[key] = _behind(entry, "quantity", "length", unit)


def _behind(entry: Entry, name: str, new: str, value: str) -> Entry:
    """An entry with a new key behind the one named, or behind its own key."""
    rows = list(entry.items())
    at = [key for key, _ in rows].index(name if name in entry else "key") + 1
    return dict([*rows[:at], (new, value), *rows[at:]])


def _shown_in_shop(draft: Draft) -> None:
    units = []
    for log in draft.logs:
        for key, unit, cells in columns_measured(log, draft):
            if draft.measures.get(key, {}).get("quantity", "length") == "length":
                units.append(usual_unit(cells, unit, "length") or unit)
    inches = sum(unit in ("in", "thou", "64ths") for unit in units)
    if draft.about["length"] == "":
        draft.about["length"] = "in" if inches > sum(unit in ("mm", "cm", "um") for unit in units) else "mm"
    if draft.about["length"] == "mm":  # as it is unless somebody says so
        del draft.about["length"]

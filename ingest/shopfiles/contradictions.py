"""Does shop.toml agree with itself: every place where one of its tables names something that another does not have, or
says twice.
"""

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Literal, get_args

from ingest.terms.units import NEEDS_UNIT, amount, quantity_of, unit_of

if TYPE_CHECKING:
    from ingest.shopfiles.shop import Shop
    from ingest.shopfiles.shop_parts import Log

Outcome = Literal["pass", "fixed", "send back", "hold", "second", "reject", "pulled", "return", "open"]
WORD_FIELDS = (  # columns whose words a [[log]] may translate
    "stage",
    "model",
    "outcome",
    "tech",
    "supplier",
    "fault",
    "gauge",
    "cause",
    "sent_back_to",
    "lot",
    "job",
    "string_set",
    "grade",
    "hand",
    "characteristic",
    "what",  # of a measurement a row: a word -> 'action bass (mm)', as a heading would say it, or 'ignore'
    "position",
    "moment",
)
CAUSES_OUTSIDE = ("supplier", "handling", "unknown")  # a fault's suspect or cause that is no stage


def disagreements(shop: "Shop") -> Iterator[str]:
    """Every place where one table of shop.toml names something that another does not have."""
    yield from _twice("stage", [stage.key for stage in shop.stages])
    yield from _twice("characteristic", [item.key for item in shop.characteristics])
    yield from _twice("gauge", [gauge.key for gauge in shop.gauges])
    yield from _twice("model", [model.key for model in shop.models])
    yield from _twice("fault", [fault.key for fault in shop.faults])
    yield from _twice("tech", [tech.key for tech in shop.techs])
    yield from _words_twice("tech", {tech.key: (tech.key, *tech.words) for tech in shop.techs})
    yield from _words_twice("fault", {fault.key: (fault.key, *fault.words) for fault in shop.faults})
    yield from _words_twice("model", {model.key: (model.key, *model.words) for model in shop.models})
    stages, measures, models = (
        [s.key for s in shop.stages],
        [c.key for c in shop.characteristics],
        [m.key for m in shop.models],
    )
    families = sorted({model.family for model in shop.models})
    for stage in shop.stages:
        if stage.key in CAUSES_OUTSIDE:
            yield f"stage {stage.key}: key may not be one of {', '.join(CAUSES_OUTSIDE)}"
        for family in stage.families:
            yield from _known(f"stage {stage.key}: families", family, families)
        for family in stage.minutes if isinstance(stage.minutes, dict) else ():
            yield from _known(f"stage {stage.key}: minutes", family, [*families, "other"])
    for item in shop.characteristics:
        by_family = item.set_at if isinstance(item.set_at, dict) else {"": item.set_at}
        for family, stage_key in by_family.items():
            if family:
                yield from _known(f"characteristic {item.key}: set_at", family, [*families, "other"])
            if stage_key:
                yield from _known(f"characteristic {item.key}: set_at", stage_key, stages)
        if item.at_pitch_from:
            yield from _known(f"characteristic {item.key}: at_pitch_from", item.at_pitch_from, stages)
    for gauge in shop.gauges:
        for measure in gauge.measures:
            yield from _known(f"gauge {gauge.key}: measures", measure, measures)
            quantity = shop.by_characteristic[measure].quantity if measure in measures else ""
            for text in (gauge.resolution, *gauge.leaves):
                unit = re.sub(r"^[\s\d./+-]+", "", text)
                if text and quantity in NEEDS_UNIT and not unit:
                    yield f"gauge {gauge.key}: {text!r} has no unit; wanted a number with its unit, such as '0.05 mm'"
                elif text and quantity in NEEDS_UNIT and quantity_of(unit) != quantity:
                    yield f"gauge {gauge.key}: {text!r} is no {quantity}, which {measure} is"
    for model in shop.models:
        if model.setup in models and model.setup != model.key:
            yield f"model {model.key}: setup {model.setup!r} is another model's key; wanted a name of its own"
        if model.scale:
            yield from _amount(f"model {model.key}: scale", model.scale)
    for fault in shop.faults:
        if fault.suspect:
            yield from _known(f"fault {fault.key}: suspect", fault.suspect, [*stages, *CAUSES_OUTSIDE])
    for tech in shop.techs:
        for stage_key in tech.qualified:
            yield from _known(f"tech {tech.key}: qualified", stage_key, stages)
    for plan in shop.plans:
        yield from _known("plan: characteristic", plan.characteristic, measures)
        if plan.accept is not None and plan.accept >= plan.sample:
            yield f"plan {plan.characteristic}: accept {plan.accept} is not below sample {plan.sample}"
    for log in shop.logs:
        yield from _log_disagreements(log, shop, stages)


def _log_disagreements(log: "Log", shop: "Shop", stages: list[str]) -> Iterator[str]:
    if log.stage:
        yield from _known(f"log {log.name}: stage", log.stage, stages)
    for stage in log.clock_ahead:
        yield from _known(f"log {log.name}: clock_ahead", stage, stages)
    yield from _known(f"log {log.name}: empty_outcome", log.empty_outcome, list(get_args(Outcome)))
    for column, keys in (
        ("stage", stages),
        ("outcome", list(get_args(Outcome))),
        ("model", [m.key for m in shop.models]),
    ):
        for word, key in log.words.get(column, {}).items():
            yield from _known(f"log {log.name}: words, {column}, {word!r}", key, keys)
    for column in log.words:
        yield from _known(f"log {log.name}: words", column, list(WORD_FIELDS))
    for key, unit in log.units.items():
        item = shop.by_characteristic.get(key) or next(
            (c for c in shop.characteristics if key.startswith((c.key, c.name or c.key))), None
        )
        if item is None and key not in log.headings and key != "temperature":
            yield f"log {log.name}: units names {key!r}; wanted one of {', '.join(c.key for c in shop.characteristics)}"
        if item and unit_of(unit, item.quantity) is None:
            yield f"log {log.name}: units, {key} is {unit!r}, which is no unit of a {item.quantity}"


def _known(where: str, value: str, allowed: list[str]) -> Iterator[str]:
    if value not in allowed:
        yield f"{where} is {value!r}; wanted one of {', '.join(allowed)}"


def _amount(where: str, value: str) -> Iterator[str]:
    try:
        amount(value, "length")
    except ValueError as fault:
        yield f"{where}: {fault}"


def _twice(table: str, keys: list[str]) -> Iterator[str]:
    for key in sorted({key for key in keys if keys.count(key) > 1}):
        yield f"{table} {key}: the key stands {keys.count(key)} times; wanted each once"


def _words_twice(table: str, words: dict[str, tuple[str, ...]]) -> Iterator[str]:
    owner: dict[str, str] = {}
    for key, spelt in words.items():
        for word in {entry.casefold() for entry in spelt}:
            if owner.setdefault(word, key) != key:
                yield f"{table} {key}: {word!r} already means {owner[word]}"

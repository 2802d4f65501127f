"""Usual cautions of bench work, for whatever tells someone to do it: papers, Card, what a play test says. Common
practice, no published source but where one is named; local rules and trained practice come first.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from ingest.beginning.stage_words import stage_of_word, stage_within
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Stage

LOCAL = (
    "These are the usual cautions. Local safety rules and trained practice come first; this paper gives no safety "
    "clearance."
)
STRINGS = "Strings under load can whip: eye protection, face away, slacken before cutting."
STRAIN = "Repeated filing and pinching strain hands, neck and eyes: take turns, good light, a seat."
ROD = (
    "Truss rod: slacken the strings first, turn by small parts and listen; never all-out on a rod that resists: rods "
    "strip."
)
HOOKS = "Head hooks: small equal turns across the rim, no bare hand under a slipping wrench; rims and flanges bend."
EDGES = "Sharp fret ends, files, knives and saws cut: eyes covered, work held fast, off-cuts swept and not blown away."
DUST = (
    "Dust of wood, bone, shell and metal: extract it at the source, wet where possible, fitted mask. Wood dust "
    "causes nasal cancer (IARC 2012); rosewoods and ebony sensitise skin and lungs."
)
STEEL_WOOL = "Steel wool: away from magnets and pickups, which draw it in, and from flames and sparks, which light it."
SOLVENTS = (
    "Lacquer, solvents, cyanoacrylate: air, gloves, nothing that ignites. Oily rags heat by themselves: dry singly "
    "outdoors, or soak and seal in a closed metal bin."
)
HEAT = "Irons, lamps and heat blankets burn, and loosen more glue than is meant: never left alone, hands clear."
HEARING = "Where instruments are played for hours, banjos above all: protect hearing, and take turns."
BUFFING = "Buffing wheels: guard on, hold low, no loose sleeves, gloves or long hair."
SAWS = "Saws: guard and push stick."
BY_WORD = (  # words in a stage's key or name, and what to mind there, the most of that bench's own first
    (("rod", "straight", "relief", "angle", "repair"), ROD),
    (("head", "tension", "hook"), HOOKS),
    (("string", "tune", "tuning", "nut", "bridge", "saddle", "tailpiece", "angle", "relief", "intonation"), STRINGS),
    (("fret", "level", "crown", "dress", "file", "nut", "slot", "saddle", "bridge", "fitting", "saw", "cut", "repair"),
     EDGES),
    (("nut", "slot", "saddle", "bridge", "fret", "level", "crown", "dress", "file", "fitting", "sand", "repair"), DUST),
    (("polish", "crown", "clean", "dress", "finish", "condition"), STEEL_WOOL),
    (("finish", "lacquer", "glue", "clean", "polish", "oil", "condition", "board", "nut", "repair"), SOLVENTS),
    (("straight", "heat", "glue", "angle", "fret", "lamp", "repair"), HEAT),
    (("play", "test", "final", "intonation", "inspect"), HEARING),
    (("buff", "polish"), BUFFING),
    (("saw", "cut", "slot"), SAWS),
)  # fmt: skip


WORK = {"action": "saddle", "test": "play", "final": "play"}  # what setting a characteristic, or a role, asks of hands


def cautions(stages: Iterable[Stage], shop: Shop) -> list[str]:
    """The cautions of the stages on a paper, each bench's own first; strings and strain hold at every bench."""
    several = list(stages)
    named = of_words(" ".join(_called(stage) for stage in several))
    return list(dict.fromkeys([*named, *of_words(" ".join(_set(stage, shop) for stage in several)), STRINGS, STRAIN]))


def at_bench(key: str, shop: Shop) -> list[str]:
    """The cautions of one bench of a shop, by its key."""
    stage = shop.by_stage.get(key)
    return cautions([stage] if stage else [], shop)


def _called(stage: Stage) -> str:
    """What a stage is called, and in words of the trade, whatever language that is; and its role."""
    return " ".join([stage.key, stage.name, _meant(stage.key), _meant(stage.name), WORK.get(stage.role, "")])


def _set(stage: Stage, shop: Shop) -> str:
    """What is set at a stage, and the work that it asks for."""
    mine = [item.key for item in shop.characteristics if stage.key in item.set_stages]
    return " ".join(f"{key} {WORK.get(key, '')}" for key in mine)


@cache
def _meant(word: str) -> str:
    """The stage of the trade that a word means, or one of its words; '' where none does."""
    return (stage_of_word(word) or stage_within(word)) if word else ""


def of_words(words: str) -> list[str]:
    """The cautions that words of a stage, or of what is to be done there, call for."""
    heard = words.lower()
    return [text for said, text in BY_WORD if any(word in heard for word in said)]


def beside(shop: Shop, stages: Iterable[str]) -> str:
    """One paragraph for a page or paper that says what to do at stages, by their keys; '' for none."""
    mine = [shop.by_stage[key] for key in dict.fromkeys(stages) if key in shop.by_stage]
    return " ".join([*cautions(mine, shop), LOCAL]) if mine else ""

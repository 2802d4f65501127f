"""Usual cautions of bench work for papers that tell someone to do it. Common practice, no published source but where
one is named; local rules and trained practice come first.
"""

from __future__ import annotations

from collections.abc import Iterable

from ingest.shopfiles.shop_parts import Stage

LOCAL = (
    "These are the usual cautions. Local safety rules and trained practice come first; this paper gives no safety "
    "clearance."
)
STRINGS = "Strings under load can whip: eye protection, face away, slacken before cutting."
STRAIN = "Repeated filing and pinching strain hands, neck and eyes: take turns, good light, a seat."
BY_WORD = (  # words in a stage's key or name, and what to mind there
    (("rod", "straight", "relief", "angle"), "Never go all-out on a rod that resists: rods strip."),
    (
        ("head", "tension", "hook"),
        "Head hooks: small equal turns across the rim, no bare hand under a slipping wrench; rims and flanges bend.",
    ),
    (
        ("nut", "slot", "saddle", "bridge", "fret", "level", "crown", "dress", "file", "fitting"),
        "Dust of wood, bone, shell and metal: extract it at the source, wet where possible, fitted mask. Wood dust "
        "causes nasal cancer (IARC 2012); "
        "rosewoods and ebony sensitise skin and lungs.",
    ),
    (
        ("finish", "lacquer", "glue", "clean", "polish", "oil"),
        "Lacquer, solvents, cyanoacrylate: air, gloves, nothing that ignites. Oily rags heat by themselves: dry "
        "singly outdoors, or soak and seal in a "
        "closed metal bin.",
    ),
    (("buff", "polish"), "Buffing wheels: guard on, hold low, no loose sleeves, gloves or long hair."),
    (("saw", "cut"), "Saws: guard and push stick."),
)


def cautions(stages: Iterable[Stage]) -> list[str]:
    """The cautions of the stages on a paper; strings and strain hold at every bench."""
    words = " ".join(f"{stage.key} {stage.name}".lower() for stage in stages)
    return [STRINGS, *[text for heard, text in BY_WORD if any(word in words for word in heard)], STRAIN]

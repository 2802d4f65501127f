"""The trade's families of instruments: the words they go by in English and German, and limits to start from.

They stand in families.toml. Every limit is common practice, no published source: a starting value that the shop
replaces by its own.
"""

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ingest.reading.headings import plain

Limits = tuple[float, float, float]  # nominal, low, high in mm


@dataclass(frozen=True)
class Family:
    """One family: words, limits in mm, intonation at fret 12 in cents either way."""

    words: tuple[str, ...]  # all parts of one must stand in a model's name
    relief: Limits | None
    action: tuple[Limits, Limits]  # bass, treble at fret 12
    nut: tuple[Limits, Limits] | None  # bass, treble over fret 1
    cents: float | None
    head: Limits | None  # head gauge, in its own units


def _family(entry: dict[str, Any]) -> Family:
    bass, treble = (tuple(side) for side in entry["action"])
    nut = tuple(tuple(side) for side in entry["nut"]) if "nut" in entry else None
    relief, head = (tuple(entry[key]) if key in entry else None for key in ("relief", "head"))
    return Family(tuple(entry["words"]), relief, (bass, treble), nut, entry.get("cents"), head)  # type: ignore[arg-type]


_TABLE = tomllib.loads((Path(__file__).parent / "families.toml").read_text(encoding="utf-8"))
FAMILIES: dict[str, Family] = {name: _family(entry) for name, entry in _TABLE.items()}
# name a family only together with more
TOO_GENERAL = (
    *("guitar", "gitarre", "guitare", "banjo", "ukulele", "uke", "acoustic", "akustik"),
    *("ギター", "バンジョー", "ウクレレ"),
)


def family_of(model: str) -> str:
    """The family that a model's name tells, '' where it tells none or only a general word: the longest phrase wins."""
    text = plain(model)
    parts = re.findall(r"\w+(?:-\w+)*", text)
    best = max(
        ((_weight(word, text, parts), family) for family, held in FAMILIES.items() for word in (*held.words, family)),
        default=(0, ""),
    )
    guitar = any(word in text for word in ("guitar", "gitarre", "guitare", "ギター"))
    return "" if not best[0] or (guitar and not best[1].endswith("guitar")) else best[1]


def _weight(phrase: str, text: str, parts: list[str]) -> int:
    """How many letters of a phrase stand in a name: 0 unless all its parts do, short ones as whole words."""
    total = 0
    if phrase in TOO_GENERAL:
        return 0
    for part in phrase.split(" "):
        short = len(part) <= 3
        if (short and part not in parts and part not in re.findall(r"\w+", text)) or (not short and part not in text):
            return 0
        total += len(part) + 1
    return total

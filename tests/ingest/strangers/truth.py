"""What is true of a stranger's sheets, as data that can be written as JSON, and how far a store agrees with it."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field

from tests.ingest.strangers.world import Visit

Key = tuple[str, str, str, str, str, str]  # serial, stage, day, characteristic, position, moment


@dataclass
class Truth:
    """Every reading that a sheet holds, every send-back, every instrument."""

    readings: list[tuple[Key, float]] = field(default_factory=list)
    send_backs: list[tuple[str, str, str]] = field(
        default_factory=list
    )  # serial, caught at, sent to ('' = not written)
    serials: set[str] = field(default_factory=set)

    def as_json(self) -> str:
        """The truth to be kept beside the sheets."""
        return json.dumps({**asdict(self), "serials": sorted(self.serials)}, ensure_ascii=False, indent=0)


@dataclass(frozen=True)
class Stranger:
    """A shop's sheets, what a person there would answer, and what is true."""

    name: str
    files: dict[str, bytes]
    answers: str  # TOML, given to `truerun new --answers`
    truth: Truth


@dataclass(frozen=True)
class Agreement:
    """Readings of the truth stored right and not stored, and stored ones that are not in the truth."""

    right: int
    unread: int
    wrong: int
    examples: tuple[str, ...]

    @property
    def share(self) -> float:
        """Of the true readings, stored right."""
        return self.right / max(1, self.right + self.unread)


def tell(truth: Truth, visits: Iterable[Visit], *, day: bool = True, stage: str | None = None) -> Truth:
    """Adds what these visits hold, each as its sheet tells it: with its day or without, under one stage or its own."""
    for v in visits:
        truth.serials.add(v.serial)
        where = stage or v.stage
        when = v.started.date().isoformat() if day else ""
        for (what, position, moment), written in v.readings.items():
            truth.readings.append(((v.serial, where, when, what, position, moment), written.value))
        if v.outcome == "send back":
            truth.send_backs.append((v.serial, where, v.sent_back_to))
    return truth


def agreement(truth: Truth, stored: Iterable[tuple[Key, float]]) -> Agreement:
    """How far stored readings are the true ones; values agree within a millionth of their unit."""
    true = Counter((key, round(value, 7) + 0.0) for key, value in truth.readings)
    days = {key[2] for key, _ in truth.readings}
    held = Counter(
        ((*key[:2], key[2] if days != {""} else "", *key[3:]), round(value, 7) + 0.0) for key, value in stored
    )
    right = sum((true & held).values())
    missing, extra = true - held, held - true
    examples = [f"unread {k} {v}" for k, v in list(missing)[:6]] + [f"wrong {k} {v}" for k, v in list(extra)[:6]]
    return Agreement(right, sum(missing.values()), sum(extra.values()), tuple(examples))


def answers_given(text: str) -> int:
    """How many answers a file of answers holds: every value that somebody had to say."""
    import tomllib

    def count(node: object) -> int:
        if isinstance(node, dict):
            return sum(count(v) for v in node.values())
        if isinstance(node, list) and node and isinstance(node[0], dict):
            return sum(count(v) for v in node)
        return 1

    return count(tomllib.loads(text))

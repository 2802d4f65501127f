"""What goes by a few letters: instruments, lots, suppliers, models, techs and logs, the closest first.

Capitals, spaces and hyphens make no difference: `ho 24318` finds HO-24318; nor do zeros before the number of an
instrument where its serials are typed loosely.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import polars as pl

from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables

MOST = 12  # hits told of each kind; the rest is counted
SERIAL, LOT, SUPPLIER, MODEL, TECH, LOG = "serial", "lot", "supplier", "model", "tech", "log"
KINDS = (SERIAL, LOT, SUPPLIER, MODEL, TECH, LOG)


@dataclass(frozen=True)
class Hit:
    """One thing that goes by the letters asked for."""

    kind: str  # one of KINDS
    key: str  # as it stands in the logs or the shop files
    about: str  # what tells it from its likes: an instrument's model, a lot's supplier, a model's family
    exact: bool  # the whole of its name, not only a part


@dataclass(frozen=True)
class Found:
    """What was found, by kind in the order of KINDS; `counted` how many of each kind there are in all."""

    asked: str
    hits: tuple[Hit, ...]
    counted: dict[str, int]

    @property
    def one(self) -> Hit | None:
        """The only one whose whole name was asked for, or the only hit at all."""
        exact = [hit for hit in self.hits if hit.exact]
        if len(exact) == 1:
            return exact[0]
        return self.hits[0] if sum(self.counted.values()) == 1 else None


def find(snapshot: Snapshot, *, words: str, people: bool = True) -> Found:
    """Everything whose name holds the letters of `words`; nothing where they hold no letter or digit.

    people : look among techs too.
    """
    letters = _folded(words)
    hits: list[Hit] = []
    counted: dict[str, int] = {}
    for kind, names in _names(snapshot, people=people):
        as_typed = _loosely if kind == SERIAL and snapshot.shop.shop.serials != "exact" else _folded
        asked = as_typed(words)
        held = [(key, about) for key, about in names if letters and (letters in _folded(key) or asked == as_typed(key))]
        held.sort(key=lambda one: (as_typed(one[0]) != asked, not _folded(one[0]).startswith(letters), one[0]))
        counted[kind] = len(held)
        hits += [Hit(kind, key, about, as_typed(key) == asked) for key, about in held[:MOST]]
    return Found(words, tuple(hits), counted)


def known(snapshot: Snapshot) -> dict[str, frozenset[str]]:
    """Every name by its kind (KINDS); of models also the setups they share."""
    names = {kind: frozenset(key for key, _ in pairs) for kind, pairs in _names(snapshot, people=True)}
    shop = snapshot.shop
    listed = frozenset(tech.key for tech in shop.techs)
    return names | {MODEL: names[MODEL] | frozenset(shop.setups.values()), TECH: names[TECH] | listed}


def _names(snapshot: Snapshot, *, people: bool) -> Iterator[tuple[str, Iterable[tuple[str, str]]]]:
    shop, told = snapshot.shop, snapshot.once(story)
    yield SERIAL, told.instruments.select("serial", pl.col("model").fill_null("")).iter_rows()
    lots = pl.concat(
        [
            tables.plain(told.visits.select("lot", "supplier").unique(maintain_order=True)),
            snapshot.table("lots", "lot", "supplier"),
        ],
        how="vertical",
    )
    lots = lots.fill_null("").unique(maintain_order=True)
    yield LOT, [(lot, supplier) for lot, supplier in lots.iter_rows() if lot]
    yield SUPPLIER, [(name, "") for name in lots["supplier"].unique(maintain_order=True) if name]
    yield MODEL, [(model.key, model.family) for model in shop.models]
    if people:
        yield TECH, [(tech, "") for tech in told.visits["tech"].unique(maintain_order=True) if tech]
    yield LOG, [(name, "") for name in snapshot.table("logs", "name")["name"].unique(maintain_order=True)]


def _folded(text: str) -> str:
    return "".join(letter for letter in text.casefold() if letter.isalnum())


def _loosely(text: str) -> str:
    """Without zeros before a number too."""
    return re.sub(r"(?<!\d)0+(?=\d)", "", _folded(text))

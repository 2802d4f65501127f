"""What a first play test says of the whole instrument, in mm and cents: bridge, saddle, nut, fret, choke or tuning.

All strings speak together (`methods.play_test`). What is usual for a model is the middle of its accepted instruments,
bent to the targets that specs give at a fret (`N fret F`, or the twelfth), so that a shop whose bridges all stand too
far forward is told so; a new model with targets at a low and a high fret needs no accepted ones at all.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from analysis.methods import play_test as method
from analysis.methods.play_test import Told
from analysis.methods.play_test_shapes import BRIDGE, FRET, SLOT, STRING, Played, Spread
from analysis.methods.segments import Floats
from analysis.studies.room.notes import played
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Model
from ingest.store.snapshot import Snapshot

CHOKE, TUNING, SADDLE = "choke", "tuning", "saddle"
UNSAID_SCALE = 650.0  # mm, where a model has none: then nothing is told in millimetres
TUNE = 5.0  # cents an open string may be out before it is said
# Cents at fret 1 a millimetre of nut slot: sensitivities of plain strings, computed for usual heights; wound strings,
# which nobody has published, are taken for half. The first word found in the family counts; common practice.
SLOT_CENTS: tuple[tuple[str, float, tuple[str, ...]], ...] = (
    ("banjo", 12.0, ("4",)),
    ("mando", 24.0, ("3", "4")),
    ("electric", 10.0, ("4", "5", "6")),
    ("classical", 2.0, ()),
    ("soprano", 6.0, ()),
    ("concert", 5.0, ()),
    ("tenor", 4.0, ()),
    ("baritone", 3.5, ()),
    ("ukulele", 5.0, ()),
    ("", 7.0, ("3", "4", "5", "6")),
)
MOVABLE = ("banjo", "mando")  # families whose bridge stands loose, where a model does not say


@dataclass(frozen=True)
class Advice:
    """One thing said of one instrument's first play test."""

    serial: str
    characteristic: str
    model: str
    visit: int
    taken_at: datetime
    kind: str  # bridge | saddle | string | nut | slot | nut place | fret | choke | tuning
    stage: str  # where to look first; '' = at the play test itself
    string: str = ""  # '' = all
    fret: int | None = None  # fret, choke: the one that was fretted
    stopped_by: int | None = None  # choke: the fret that is too high
    treble_mm: float | None = None  # to go back (below 0: forward), at the treble and at the bass side
    bass_mm: float | None = None
    slots: tuple[tuple[str, float], ...] = ()  # nut: mm too high, string by string; nut place: mm too far back
    cents: float = 0.0
    chance: float = 1.0


def advice(snapshot: Snapshot) -> tuple[Advice, ...]:
    """Everything that first play tests at several frets say, in the order of the instruments' visits."""
    notes = snapshot.once(played)
    usable = notes.filter(pl.col("off").is_not_null())
    if usable.is_empty():
        return ()
    found: list[Advice] = []
    by = ["characteristic", "model", "string_set"]
    for _, group in usable.group_by(by, maintain_order=True):
        found += _of_one_model(group, snapshot.shop)
    return tuple(sorted(found, key=lambda one: (one.visit, -one.chance)))


def of_serial(snapshot: Snapshot, serial: str) -> tuple[Advice, ...]:
    """The same of one instrument."""
    return tuple(one for one in snapshot.once(advice) if one.serial == serial)


def movable(model: Model | None) -> bool:
    """Does the bridge stand loose on this model?"""
    if model is None:
        return False
    return model.bridge == "movable" if model.bridge else any(word in model.family.lower() for word in MOVABLE)


def slot_cents(model: Model | None, string: str) -> float:
    """Cents at fret 1 for a nut slot one millimetre higher on that string."""
    family = model.family.lower() if model else ""
    plain, wound = next((each, thick) for word, each, thick in SLOT_CENTS if word in family)
    return plain / 2 if string in wound else plain


def _of_one_model(notes: pl.DataFrame, shop: Shop) -> Iterator[Advice]:
    """Notes of one characteristic, model and string set."""
    model = shop.by_model.get(notes["model"][0])
    notes = notes.sort("serial", "string", "fret", "own")
    tests = notes.group_by("serial", maintain_order=True).agg(
        "string", "fret", "own", "off", pl.col("accepted").first(), pl.col("visit").first(), pl.col("taken_at").first()
    )
    patterns = list(tests.group_by("string", "fret", "own", maintain_order=True))
    largest = max((group for _, group in patterns), key=lambda group: int(group["accepted"].sum()))
    spread = _spread(largest, model)
    for _, group in patterns:
        yield from _of_one_pattern(group, notes["characteristic"][0], model, notes["model"][0], spread, shop)


def _spread(tests: pl.DataFrame, model: Model | None) -> Spread:
    """What accepted instruments played at the same notes differ by."""
    played_at, off = _layout(tests, model), np.array(tests.filter("accepted")["off"].to_list(), dtype=np.float64)
    if not played_at.enough or not len(off):
        return Spread()
    quiet = ~method.choked(off, played_at.string, played_at.own).any(axis=1)
    if not quiet.any():
        return Spread()
    return method.usual_spread(played_at, off[quiet] - np.median(off[quiet], axis=0))  # about their own middle


def _layout(tests: pl.DataFrame, model: Model | None) -> Played:
    """Strings and frets of tests played at the same notes."""
    names = tests["string"][0].to_list()
    strings = sorted(set(names), key=int)
    count = (model.strings if model else None) or max(int(one) for one in strings)
    short, base = (model.short_string if model else None), (model.scale_mm if model else None) or UNSAID_SCALE
    scale = [base * (2 ** (-short.starts_at / 12) if short and str(short.string) == one else 1.0) for one in strings]
    place = [2 * (int(one) - 1) / max(count - 1, 1) - 1 for one in strings]
    return Played(
        np.array([strings.index(one) for one in names]),
        tests["fret"][0].to_numpy().astype(np.int64),
        tests["own"][0].to_numpy().astype(np.int64),
        np.array(scale),
        np.clip(np.array(place, dtype=np.float64), -1.0, 1.0),
        np.array([slot_cents(model, one) for one in strings]),
    )


def _of_one_pattern(
    tests: pl.DataFrame, characteristic: str, model: Model | None, key: str, spread: Spread, shop: Shop
) -> Iterator[Advice]:
    """Tests played at the same notes; those with a choke once more without it."""
    layout, off = _layout(tests, model), np.array(tests["off"].to_list(), dtype=np.float64)
    strings = sorted(set(tests["string"][0].to_list()), key=int)
    about = _About(characteristic, key, model, strings, shop)
    choke = method.choked(off, layout.string, layout.own)
    for pattern in np.unique(choke, axis=0):
        keep = ~pattern
        rows = np.flatnonzero((choke == pattern).all(axis=1))
        fewer = Played(
            layout.string[keep], layout.fret[keep], layout.own[keep], layout.scale, layout.place, layout.nut_cents
        )
        told = method.explain(fewer, off[np.ix_(rows, keep)], spread, movable=movable(model)) if fewer.enough else None
        for at, row in enumerate(rows):
            test = tests.row(int(row), named=True)
            yield from about.chokes(test, layout, off[row], pattern)
            if told is not None:
                yield from about.causes(test, told, at)
            yield from about.tuning(test, layout, off[row], told is not None and not told.worth[at].any())


@dataclass(frozen=True)
class _About:
    """Of what model, and where its faults are looked at."""

    characteristic: str
    key: str
    model: Model | None
    strings: list[str]
    shop: Shop

    def chokes(self, test: dict[str, Any], layout: Played, off: Floats, pattern: np.ndarray) -> Iterator[Advice]:
        """Notes that the next fret stops."""
        stage = like(self.shop, "level") or like(self.shop, "crown")
        for k in np.flatnonzero(pattern):
            mine = (layout.string == layout.string[k]) & ~pattern
            sharp = float(off[k] - np.median(off[mine])) if mine.any() else float(off[k])
            stops = int(method.stopped_by(sharp, layout.fret[[k]])[0])
            string, fret = self.strings[int(layout.string[k])], int(layout.fret[k])
            yield replace(self._one(test, CHOKE, stage), string=string, fret=fret, stopped_by=stops, cents=sharp)

    def causes(self, test: dict[str, Any], told: Told, row: int) -> Iterator[Advice]:
        """What is named of one instrument."""
        in_mm = self.model is not None and self.model.scale_mm is not None
        for i in np.flatnonzero(told.worth[row]):
            cause = told.causes[i]
            if cause.kind in (BRIDGE, STRING):
                kind = SADDLE if cause.kind == BRIDGE and not movable(self.model) else cause.kind
                one = self._one(test, kind, self._set_at())
                if in_mm:
                    one = replace(one, treble_mm=float(told.move[row, i, 0]), bass_mm=float(told.move[row, i, 1]))
            elif cause.kind == FRET:
                one = replace(
                    self._one(test, FRET, like(self.shop, "crown") or like(self.shop, "level")), fret=cause.at
                )
            else:
                one = self._one(test, cause.kind, nut_stage(self.shop))
                if in_mm:
                    high = zip(self.strings, told.high[row, i].tolist(), strict=True)
                    one = replace(one, slots=tuple((name, mm) for name, mm in high if cause.kind != SLOT or mm))
            string = self.strings[cause.at] if cause.kind in (STRING, SLOT) else ""
            yield replace(one, string=string, cents=float(told.cents[row, i]), chance=float(told.chance[row, i]))

    def tuning(self, test: dict[str, Any], layout: Played, off: Floats, alone: bool) -> Iterator[Advice]:
        """Strings whose open note is out, and all others with it."""
        for s, string in enumerate(self.strings if alone else []):
            mine = layout.string == s
            opened = off[mine & (layout.own == 0)]
            if len(opened) and abs(float(np.median(opened))) >= TUNE and abs(float(np.median(off[mine]))) >= TUNE:
                yield replace(self._one(test, TUNING, ""), string=string, cents=float(np.median(off[mine])))

    def _set_at(self) -> str:
        item = self.shop.by_characteristic.get(self.characteristic)
        return item.set_stage(self.model.family if self.model else "") if item else ""

    def _one(self, test: dict[str, Any], kind: str, stage: str) -> Advice:
        about = (test["serial"], self.characteristic, self.key, int(test["visit"]), test["taken_at"])
        return Advice(*about, kind, stage)


def nut_stage(shop: Shop) -> str:
    """The stage that cuts nut slots; '' where none does."""
    return next(
        (stage for item in shop.characteristics if "nut" in item.key.lower() for stage in item.set_stages),
        like(shop, "nut"),
    )


def like(shop: Shop, word: str) -> str:
    """The first stage whose key speaks of `word`; '' where none does."""
    return next((stage.key for stage in shop.stages if word in stage.key.lower()), "")

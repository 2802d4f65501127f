"""What the small index of the benches holds of the studies: said of an instrument, moved at a bench, usual there."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

import polars as pl

from analysis.methods.problems import UnusableData
from analysis.studies.drift.states import odd, usual
from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import Matter
from analysis.studies.room.play_test import advice
from analysis.studies.story.last_read import outside_now
from dashboard import faults
from dashboard.sentences import card, play_test
from ingest.store import at_bench
from ingest.store.snapshot import Snapshot

T = TypeVar("T")


def write(folder: Path, snapshot: Snapshot) -> None:
    """Write the index anew. A study that fails leaves its lines out and its traceback in store/program.log."""
    asking = _Asking(folder, snapshot)
    said = [*asking.each(_play_tests), *asking.each(_outside), *asking.each(_odd)]
    told = at_bench.Told(said, [*asking.each(_moved)], [*asking.each(_usual)])
    at_bench.make(folder, snapshot, told)


class _Asking:
    """Studies asked one by one: one that fails stops no other."""

    def __init__(self, folder: Path, snapshot: Snapshot) -> None:
        self.folder, self.snapshot = folder, snapshot

    def each(self, lines: Callable[[Snapshot], Iterator[T]]) -> list[T]:
        try:
            return list(lines(self.snapshot))
        except UnusableData:
            return []
        except Exception as fault:
            if faults.loud:
                raise
            faults.keep_traceback(fault, self.folder, "index for Card")
            return []


def _play_tests(snapshot: Snapshot) -> Iterator[tuple[str, str, str]]:
    at_frets = snapshot.table("readings", "position")["position"].str.contains(" fret ", literal=True).any()
    for one in snapshot.once(advice) if at_frets else ():
        yield one.serial, one.stage, play_test.line(snapshot.shop, one)


def _outside(snapshot: Snapshot) -> Iterator[tuple[str, str, str]]:
    for row in outside_now(snapshot).iter_rows(named=True):
        yield row["serial"], "", card.outside(snapshot.shop, row)


def _odd(snapshot: Snapshot) -> Iterator[tuple[str, str, str]]:
    """Of instruments whose last word on it is not already that it lies outside."""
    plain = pl.col("serial", "characteristic", "position").cast(pl.String)
    told = outside_now(snapshot).select(plain)
    found = (
        odd(snapshot)
        .with_columns(plain)
        .join(told, on=["serial", "characteristic", "position"], how="anti", maintain_order="left")
    )
    for row in found.iter_rows(named=True):
        yield row["serial"], "", card.odd(snapshot.shop, row)


def _moved(snapshot: Snapshot) -> Iterator[tuple[str, str, str, str]]:
    """A line a bench, setup and, where only some are touched, tech; the matter that opened last first. What no
    reading shows, or is slight, asks nothing of a bench.
    """
    shop = snapshot.shop
    now = snapshot.as_of.astimezone(shop.zone).date()
    for matter in sorted(snapshot.once(open_matters), key=lambda one: one.opened_at, reverse=True):
        if (
            not matter.characteristics
            or matter.to_target
            or matter.planned
            or not matter.shown
            or matter.stands_back
            or (matter.known_until and matter.known_until > now)
        ):
            continue
        line = card.moved(matter, shop, now)
        for stage, setup in sorted(_where(snapshot, matter)):
            for tech in matter.techs if matter.only_some else [""]:
                yield stage, setup, tech, line


def _where(snapshot: Snapshot, matter: Matter) -> set[tuple[str, str]]:
    """(stage, setup) of the benches that read it, and of those that set it."""
    shop, out = snapshot.shop, set()
    for setup in matter.models or [str(matter.main["model"])]:
        families = {
            shop.families.get(model, "") for model, own in shop.setups.items() if own == setup or model == setup
        }
        items = [shop.by_characteristic[key] for key in matter.characteristics if key in shop.by_characteristic]
        set_at = {item.set_stage(family) for item in items for family in families}
        out |= {(stage, setup) for stage in {*matter.stages, *set_at} if stage}
    return out


def _usual(snapshot: Snapshot) -> Iterator[tuple[str, str, str, str, float, float, float]]:
    found = usual(snapshot).filter(pl.col("sigma") > 0)
    yield from found.select("stage", "characteristic", "position", "model", "centre", "sigma", "reach").iter_rows()

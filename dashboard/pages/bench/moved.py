"""What moved at a bench and goes with who works there, and planned changes that somebody's work does not follow yet."""

from __future__ import annotations

from typing import Any

from analysis.methods.problems import NotWorkedOut, UnusableData
from analysis.studies.drift.shares_standing import standing
from analysis.studies.matters import of_one
from analysis.studies.matters.not_yet import not_yet
from analysis.studies.people.catchers import caught_by_one
from dashboard.desk import desk
from dashboard.sentences import coaching, matters, rework, shares_moved
from ingest.shopfiles.shop import Shop


def whose(stage: str | None, characteristic: str | None, here: list[str]) -> str:
    """Of those shown the one whose own readings moved most of late at a bench that the address asks for; '' where
    nobody's did.
    """
    if not stage:
        return ""
    try:
        found = desk.ask(of_one.at_bench, stage=stage)
    except NotWorkedOut:  # said where it is shown
        return ""
    found = [one for one in found if characteristic in one.characteristics] or found
    return next((tech for one in found for tech in of_one.whose(one, stage) if tech in here), "")


def moved_here(shop: Shop, tech: str, stage: str, row: dict[str, Any] | None) -> list[str]:
    """What moved at this bench and goes with who works there: with this person, or with somebody else; nothing of
    somebody without work on file here.
    """
    now = desk.here().snapshot().as_of.astimezone(shop.zone).date()
    try:
        found = desk.ask(of_one.at_bench, stage=stage) if row is not None else []
    except NotWorkedOut as why:
        return [f"{str(why)[:1].upper()}{str(why)[1:]}."]
    return [coaching.of_one(one, shop, now, theirs=tech in of_one.whose(one, stage)) for one in found]


def more_came_back(shop: Shop, stage: str) -> list[str]:
    """Where more comes back to this bench than before, as Week says it: since when, and by which of several testers."""
    now = desk.here().snapshot().as_of.astimezone(shop.zone).date()
    try:
        rose = [one for one in desk.ask(standing, week=now) if one.stage == stage and one.since.low > 1]
    except UnusableData:  # said where it is shown
        return []
    caught = desk.ask(caught_by_one, stage=stage) if rose else None
    said = [rework.lasting(rose, shop, now), shares_moved.by_one(caught, shop, now)]
    return [" ".join(text for text in said if text)] if rose else []


def planned(shop: Shop, tech: str, stage: str) -> list[str]:
    """Planned changes that their work does not follow yet."""
    now = desk.here().snapshot().as_of.astimezone(shop.zone).date()
    return [matters.not_yet(one, shop, now) for one in desk.ask(not_yet, tech=tech, stage=stage)]

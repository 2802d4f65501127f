"""What moved at a bench and goes with who works there, and planned changes that somebody's work does not follow yet."""

from __future__ import annotations

from typing import Any

from analysis.methods.problems import NotWorkedOut
from analysis.studies.matters import of_one
from analysis.studies.matters.not_yet import not_yet
from dashboard.desk import desk
from dashboard.sentences import coaching, matters
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


def planned(shop: Shop, tech: str, stage: str) -> list[str]:
    """Planned changes that their work does not follow yet."""
    now = desk.here().snapshot().as_of.astimezone(shop.zone).date()
    return [matters.not_yet(one, shop, now) for one in desk.ask(not_yet, tech=tech, stage=stage)]

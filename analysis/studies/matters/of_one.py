"""Open matters that one person's own work at a bench moved; for Bench only."""

from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import SET_BY, Matter
from ingest.store.snapshot import Snapshot


def at_bench(snapshot: Snapshot, *, stage: str) -> list[Matter]:
    """Open matters of what is set at a stage that go with who worked there, the largest share of its tolerance first;
    those that their readings do not show are left out.
    """
    items = snapshot.shop.by_characteristic
    found = [
        one
        for one in snapshot.once(open_matters)
        if one.shown
        and whose(one, stage)
        and any(key in items and stage in items[key].set_stages for key in one.characteristics)
    ]
    return sorted(found, key=lambda one: -(one.share_of_tolerance or 0.0))


def whose(one: Matter, stage: str) -> list[str]:
    """The techs whose readings a matter goes with: named as its cause, or the only ones whose own charts opened."""
    named = [
        each.level for each in one.moves_with.named if each.of_people and (each.factor == SET_BY or each.stage == stage)
    ]
    return list(dict.fromkeys([*named, *(one.techs if one.only_some else [])]))

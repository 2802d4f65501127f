"""Planned changes that one person's work does not follow yet; for Bench only."""

from analysis.studies.matters.dated_changes import dated_changes
from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.records import Matter
from ingest.store.snapshot import Snapshot


def not_yet(snapshot: Snapshot, *, tech: str, stage: str) -> list[Matter]:
    """Open matters of a planned change of what is set at a stage, which somebody's readings there do not follow."""
    if not snapshot.once(dated_changes)["planned"].fill_null(False).any():
        return []
    items = snapshot.shop.by_characteristic
    return [
        one
        for one in snapshot.once(open_matters)
        if one.planned is not None
        and tech in one.planned.not_followed_by
        and any(key in items and stage in items[key].set_stages for key in one.characteristics)
    ]

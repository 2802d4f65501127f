"""The ways from Bench to the readings behind what it says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.studies.people import far_off
from analysis.studies.people.targets import Stand
from dashboard import address as addresses
from dashboard.desk import desk


def of_target(stand: Stand) -> str:
    """The address of the readings behind a target."""
    row = stand.band
    return of_characteristic(row, stand.tech, position=row["position"], model=row["model"])


def of_characteristic(row: Mapping[str, Any], tech: str, **more: Any) -> str:
    """The address of what somebody set of a characteristic at a stage: as read at final inspection, or at that bench
    where no final inspection reads it.
    """
    alone = row["characteristic"] in desk.ask(far_off.at_bench_alone)
    where = {"stage": row["stage"]} if alone else {"role": "final"}
    return addresses.address("/logs/readings", characteristic=row["characteristic"], tech=tech, **more, **where)

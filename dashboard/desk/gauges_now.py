"""Gauges that are not in order as the shop stands: a check overdue by the newest reading, or a drift."""

from __future__ import annotations

from analysis.studies.gauges.register import Standing, register
from dashboard.desk import desk


def standings() -> tuple[Standing, ...]:
    """Every gauge with a master piece, as of the shop's newest reading."""
    snapshot = desk.here().snapshot()
    return register(snapshot.shop, desk.here().gauge_checks(), now=snapshot.as_of)


def out_of_order() -> tuple[Standing, ...]:
    """Those whose check is overdue, or that drift."""
    return tuple(one for one in standings() if one.due or one.drifts)

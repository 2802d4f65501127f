"""What the address of page Drift asks for, read against the shop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from analysis.studies.drift import states
from analysis.studies.drift.rack import rack
from analysis.studies.matters.in_sight import in_sight
from dashboard.address import address, chosen, whole_number
from dashboard.desk import desk
from dashboard.pages.drift import on_chart as drift_on_chart
from ingest.shopfiles.shop import Shop

PATH = "/drift"
ALL_STAGES, FAMILY = "all", "family "
WEEKS_SEEN = (4, 8, 13, 26, 52)
KEY = ("characteristic", "position", "model", "stage")


@dataclass(frozen=True)
class Asked:
    """What the address asks for: the filters, and the stream that is looked at ('' = the one that moved most)."""

    stage: str = ""
    models: str = ""
    tech: str = ""
    state: str = ""
    weeks: int = 13
    by: str = ""
    characteristic: str = ""
    position: str = ""
    model: str = ""
    since: str = ""  # first and last day of a period of one's own, in place of the last weeks
    until: str = ""
    open: str = ""  # the fold that is open
    page: str = ""  # of the series at a glance

    @property
    def search(self) -> str:
        """The same as an address."""
        weeks = self.weeks if self.weeks != 13 else None
        filters = {name: value for name, value in self.__dict__.items() if name not in ("since", "until")}
        return address(PATH, **{**filters, "weeks": weeks, "from": self.since, "to": self.until}).removeprefix(PATH)


def read(shop: Shop, given: dict[str, Any]) -> Asked:
    """The filters of an address; what is not on offer falls back to its default."""
    stages = [stage.key for stage in shop.stages] + [ALL_STAGES]
    opening = _opening(shop)
    state = chosen(given.get("state"), (states.MOVED, states.STEADY, states.THIN), "") or ""
    families = {f"{FAMILY}{family}" for family in shop.families.values()}
    weeks = whole_number(given.get("weeks"), 1, 520, 13)
    return Asked(
        stage=chosen(given.get("stage"), stages, ALL_STAGES if state else opening) or opening,
        models=chosen(given.get("models"), {*shop.setups.values(), *families}, "") or "",
        tech=chosen(given.get("tech"), techs_of(shop), "") or "",
        state=state,
        weeks=weeks if weeks in WEEKS_SEEN else 13,
        by=chosen(given.get("by"), [key for key, _ in drift_on_chart.shapes(shop)], "") or "",
        **{name: str(given.get(name) or "") for name in ("characteristic", "position", "model")},
        since=str(given.get("from") or given.get("since") or ""),
        until=str(given.get("to") or given.get("until") or ""),
        open=str(given.get("open") or ""),
        page=str(given.get("page") or ""),
    )


def _opening(shop: Shop) -> str:
    """The stage shown unless another is asked for: final inspection, or the last of the bench where something is
    measured; where nothing moved there and something did elsewhere, the stage of what moved most.
    """
    streams = desk.ask(rack, weeks=13, tech="").streams
    measured = set(streams["stage"])
    final = next((stage.key for stage in shop.stages if stage.role == "final"), shop.stages[-1].key)
    if final not in measured and measured:
        final = [stage.key for stage in shop.stages if stage.key in measured][-1]
    moved = _shown_to_have_moved()
    return final if moved.is_empty() or (moved["stage"] == final).any() else str(moved["stage"][0])


def _shown_to_have_moved() -> pl.DataFrame:
    """Series of all techs that moved, what moved most first, without those of matters that no reading shows or that
    have ended.
    """
    found = desk.ask(in_sight, weeks=13, tech="")
    unshown = [key for key, one in found.matters.items() if not one.shown]
    moved = found.streams.filter((pl.col("state") == states.MOVED) & pl.col("back_since").is_null())
    return moved.filter(~pl.col("matter").fill_null("").is_in(unshown)) if unshown else moved


def techs_of(shop: Shop) -> list[str]:
    """The techs that may be asked for."""
    return [tech.key for tech in shop.techs] if shop.people.show != "none" else []


def of_models(rows: pl.DataFrame, models: str, shop: Shop) -> pl.DataFrame:
    """The rows of the models that are asked for: all, a family, or one."""
    if not models or rows.is_empty():
        return rows
    wanted = {shop.setups[key] for key, family in shop.families.items() if f"{FAMILY}{family}" == models} or {models}
    return rows.filter(pl.col("model").is_in(wanted))

"""A target that is another from a day on is a change made on purpose: told as done, and not as somebody's practice."""

from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.matters.dated_changes import NEW_TARGET, dated_changes
from analysis.studies.matters.matters import open_matters
from analysis.studies.matters.written import read, written
from ingest.shopfiles.specs import Specs
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.drifting import START, shop, snapshot

DAY = date(2026, 3, 16)


def specs(*rows: dict[str, object]) -> Specs:
    base = dict.fromkeys(("position", "family", "model", "stage", "supplier", "note"), "")
    return Specs(tables.shaped(pl.DataFrame([base | {"characteristic": "relief"} | row for row in rows]), tables.SPECS))


def held(*rows: dict[str, object], changes: pl.DataFrame | None = None) -> Snapshot:
    frames = {} if changes is None else {"changes": changes}
    return Snapshot.of(shop(), specs(*rows), **frames)


def test_only_a_target_that_differs_from_the_one_before_is_a_change():
    told = dated_changes(
        held(
            {"target": 0.3},
            {"target": 0.25, "from_date": DAY},
            {"target": 0.25, "upper": 0.4, "from_date": DAY + timedelta(days=9)},
            {"target": 0.2, "from_date": DAY, "model": "LARK"},  # its first
        )
    )
    assert told.select("from_date", "what", "planned", "target", "model").rows() == [(DAY, NEW_TARGET, True, 0.25, "")]


def test_positions_with_a_target_each_are_one_change_that_has_none_and_a_day_told_in_changes_csv_is_told_once():
    rows = [
        {"characteristic": "action", "position": side, "target": at} for side, at in (("bass", 2.0), ("treble", 1.6))
    ]
    rows += [row | {"target": float(row["target"]) - 0.2, "from_date": DAY} for row in rows]
    assert dated_changes(held(*rows)).select("characteristic", "target").rows() == [("action", None)]
    said = pl.DataFrame([{"from_date": DAY, "characteristic": "action", "what": "lower", "planned": True}])
    assert dated_changes(held(*rows, changes=said))["what"].to_list() == ["lower"]


@pytest.mark.parametrize("given", [True, False])
def test_readings_that_follow_a_new_target_are_told_as_planned(given):
    rng = np.random.default_rng(20281201)
    n = 1000
    at = np.arange(n) // 14  # working days
    day = (at // 5 * 7 + at % 5) * 24.0 + np.arange(n) % 14 / 2
    first = (DAY - START.date()).days * 24.0
    values = 0.3 + 0.05 * (rng.normal(size=n) - 1.5 * (day >= first))
    made = snapshot(shop(), {("relief", ""): values}, hours=day, setter=rng.choice(["T1", "T2"], n))
    rows = [{"target": 0.3}, {"target": 0.225, "from_date": DAY}]
    made = Snapshot(made.shop, specs(*(rows if given else rows[:1])), made.readers, made.as_of)
    [told] = [one for one in made.once(open_matters) if one.shown]
    assert (told.planned is not None) == given
    if told.planned is not None:
        assert (told.planned.on, told.planned.what, told.planned.target) == (DAY, NEW_TARGET, 0.225)
        assert told.planned.followed
        assert read(written([told.planned])) == [told.planned]  # as it is kept beside the store


@pytest.mark.parametrize("seed", range(2))
def test_a_new_target_is_sized_once_though_its_models_differ_in_spread(seed):
    rng = np.random.default_rng([20281213, seed])
    n = 1600
    at = np.arange(n) // 20
    hours = (at // 5 * 7 + at % 5) * 24.0 + np.arange(n) % 20 / 3
    model = rng.choice(["LARK", "WREN", "HERON"], n)
    sigma = np.where(model == "LARK", 0.04, 0.07)
    first = (DAY - START.date()).days * 24.0
    values = 0.9 + sigma * rng.normal(size=n) - 0.3 * ((hours >= first) & (model != "HERON"))
    made = snapshot(shop(("LARK", "WREN", "HERON")), {("relief", ""): values}, hours=hours, model=model,
                    setter=rng.choice(["T1", "T2"], n))  # fmt: skip
    rows = [row | {"model": name} for name in ("LARK", "WREN") for row in
            ({"target": 0.9}, {"target": 0.6, "from_date": DAY})]  # fmt: skip
    said = pl.DataFrame([{"from_date": DAY, "characteristic": "relief", "what": "lower", "planned": True}])
    given = tables.shaped(said, tables.CHANGES)
    made = Snapshot.of(made.shop, specs(*rows), as_of=made.as_of, visits=made.table("visits"),
                       readings=made.table("readings"), changes=given)  # fmt: skip
    told = [one for one in made.once(open_matters) if one.planned is not None]
    assert len(told) == 1
    assert told[0].size == pytest.approx(-0.3, abs=0.02)

"""Gauges: what it says of coarse gauges, of few readings, of an empty shop; and what is saved."""

import polars as pl
import pytest

from analysis.studies.room.steps import steps
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages import gauges
from dashboard.pages.capability import page as capability
from tests.dashboard.pages import moving_shop
from tests.dashboard.pages.said import said


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    shop = moving_shop.stands(tmp_path_factory.mktemp("gauges") / "shop", with_logs=False)
    text = (shop / "shop.toml").read_text()
    (shop / "shop.toml").write_text(text.replace('resolution = "0.05 mm"', 'resolution = "0.2 mm"'))
    log = shop / "bench.csv"
    log.write_text(moving_shop.log())
    moving_shop.load(shop, [log], now=moving_shop.NOW)
    return shop


def looked_at(folder):
    counter = desk.Desk(folder)
    make_app(counter)
    return counter


def test_the_headline_names_what_is_read_too_coarsely_and_no_stream_of_few_readings(folder):
    looked_at(folder)
    text = said(capability.layout(open="gauges"))
    assert "Gauges are too coarse for action on HERON-D and LARK-25." in text


def test_streams_of_few_readings_stand_last_however_coarse(folder, monkeypatch):
    counter = looked_at(folder)
    thin = counter.ask(steps).filter(pl.col("state") == "thin")
    assert len(thin) == 2  # bass and treble of WREN-S
    assert said(capability.layout(open="gauges")).count("coarse, few readings") == 1  # the other on the next page
    monkeypatch.setattr(gauges, "FEW", 10)
    text = said(capability.layout(open="gauges"))
    assert text.count("coarse, few readings") == 2
    rows = text[text.index("gauges-steps") :]
    assert rows.rindex(", HERON-D") < rows.index(", WREN-S")


def test_what_is_saved_is_what_is_shown_unrounded(folder):
    counter = looked_at(folder)
    name, rows = gauges.saved(characteristic="action", word="coarse")
    assert name == "gauges.csv"
    assert rows.equals(counter.ask(steps))
    assert gauges.saved(word="unfit")[1].is_empty()
    assert counter.ask(steps)["step"].unique().to_list() == [0.2]


def test_a_shop_without_readings_says_what_to_do(tmp_path):
    looked_at(moving_shop.stands(tmp_path / "shop", with_logs=False))
    text = said(capability.layout(open="gauges"))
    assert "Add a [[gauge]]" in text


def test_the_address_that_was_leads_into_capability():
    assert "/capability?open=gauges&characteristic=action" in said(gauges.layout(characteristic="action"))


def test_names_that_would_fill_a_screen_are_told_by_their_number():
    models = [f"HERON-OM Concert Grand Auditorium Rosewood Cutaway Mk {k}" for k in range(5)]
    rows = {"characteristic": ["relief"] * 5 + ["action"], "model": [*models, models[0]]}
    found = pl.DataFrame(rows).with_columns(gauge=pl.lit("coarse"), state=pl.lit("steady"))
    shop = desk.here().snapshot().shop
    told = gauges._headline(found, pl.DataFrame(schema={"share_of_spread": pl.Float64}), shop)
    assert told.endswith(f"for neck relief on five models; action on {models[0]}.")
    short = gauges._headline(found.tail(1), pl.DataFrame(schema={"share_of_spread": pl.Float64}), shop)
    assert short == f"Gauges are too coarse for action on {models[0]}."

"""A cause is confirmed with one touch: it counts from then on, is another's where that is said, and is taken back."""

import pytest

from analysis.studies.rework import rework
from analysis.studies.story.lookup import send_backs
from dashboard.app import make_app
from dashboard.desk import desk
from dashboard.pages.logs import confirm, instrument, visits
from tests.dashboard.pages import reworked_shop
from tests.dashboard.pages.said import said


@pytest.fixture
def newest(tmp_path):
    """The newest send-back of the reworked shop, none of which is confirmed."""
    make_app(desk.Desk(reworked_shop.stands(tmp_path / "shop")))
    return desk.ask(send_backs, confirmed=False).row(0, named=True)


def key_of(row):
    return confirm.GAP.join((row["serial"], row["caught_at"], row["opened_at"].isoformat()))


def test_one_touch_confirms_and_every_figure_follows(newest):
    many = desk.ask(send_backs, confirmed=False).height
    assert "Bridge fitting: confirm" in said(visits.layout(confirmed="0"))
    assert "Bridge fitting: confirm" in said(instrument.layout(serial=newest["serial"]))
    assert confirm.write(key_of(newest), confirm.YES, "bridge_fitting", who="Mara", whose="") == ""
    assert desk.ask(send_backs, confirmed=False).height == many - 1
    (one,) = desk.ask(send_backs, confirmed=True).rows(named=True)
    assert (one["serial"], one["caused_at"], one["confirmed"]) == (newest["serial"], "bridge_fitting", True)
    assert desk.ask(rework.flows).rows["count_confirmed"].sum() == 1
    assert "Take back" in said(instrument.layout(serial=newest["serial"]))


def test_not_theirs_and_whose_then_taken_back(newest):
    key = key_of(newest)
    assert confirm.write(key, confirm.OTHER, "", who="Mara", whose="") == "Choose whose it is, above the list."
    assert confirm.write(key, confirm.OTHER, "", who="Mara", whose="supplier") == ""
    (one,) = desk.ask(send_backs, confirmed=True).rows(named=True)
    assert (one["serial"], one["caused_at"]) == (newest["serial"], "supplier")
    assert confirm.write(key, confirm.BACK, "", who="Mara", whose="") == ""
    assert desk.ask(send_backs, confirmed=True).is_empty()
    assert desk.ask(send_backs).filter(serial=newest["serial"])["caused_at"].to_list() == ["bridge_fitting"]


def test_nobody_confirms_without_a_name_and_only_places_of_the_shop_count(newest):
    before = desk.here().snapshot().book_sequence
    assert confirm.write(key_of(newest), confirm.YES, "bridge_fitting", who=" ", whose="").startswith("Say who")
    assert confirm.write(key_of(newest), confirm.YES, "moon", who="M", whose="") == "No stage 'moon' in shop.toml."
    assert desk.here().snapshot().book_sequence == before

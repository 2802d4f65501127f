"""The questions as Logs asks them: what each kind of answer does."""

from dashboard.app import make_app
from dashboard.desk.desk import Desk
from dashboard.pages.logs import page as logs
from ingest.verbs.load import load
from tests.dashboard.pages.said import said
from tests.ingest.bench import NOW, log, shop
from tests.ingest.store.test_cut_visits import HEADER, MACHINE, evening, morning, rows


def test_a_visit_of_which_two_sheets_tell_a_part_each_says_how_no_reading_is_lost(tmp_path):
    folder = shop(tmp_path / "shop", MACHINE)
    files = {  # the second begins in the middle of a visit that the first ends with, both under its start
        "one.csv": morning(3) + rows("13:50 A 2.4", "13:50 B 2.1"),
        "two.csv": rows("13:50 R 0.20") + evening(3),
    }
    load(folder, [log(folder, name, told, HEADER) for name, told in files.items()], now=NOW)
    make_app(Desk(folder))
    text = said(logs.layout())
    assert "Two logs tell of one visit. One of the two counts until you settle it." in text
    assert "load an export that holds all of it: settling keeps the readings of one." in text

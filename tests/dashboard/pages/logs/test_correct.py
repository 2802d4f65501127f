"""A reading corrected from the table it stands in; what an edition changed, on Logs."""

import polars as pl
import pytest

from dashboard.desk.desk import Desk, use
from dashboard.pages.logs import correct, instrument, months, readings
from ingest.verbs.load import load
from tests.dashboard.pages.said import said
from tests.ingest.bench import NOW, log, row, shop


@pytest.fixture
def folder(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1"), row("A2", start="2026-03-02 10:00", finish="")])], now=NOW)
    use(Desk(folder))
    return folder


def test_every_reading_of_an_instrument_and_of_a_table_leads_to_its_correction(folder):
    for page in (instrument.layout(serial="A1"), readings.layout(characteristic="relief")):
        assert "/logs/correct?" in str(page)


def test_the_heading_is_that_of_the_cell_the_reading_stands_in(folder):
    columns = Desk(folder).snapshot().table("columns")
    cell = {"log_id": columns["log_id"][0], "stage": "play_test", "characteristic": "action", "position": "bass"}
    assert correct.Headings(columns).of(cell) == "action bass (mm)"
    assert correct.Headings(columns).of(cell | {"position": "treble"}) == ""


def test_a_cell_that_is_not_there_says_so(folder):
    assert "No such cell." in said(correct.layout(log="x", line="1", column="y"))


def test_what_an_edition_changed_stands_cell_by_cell(folder):
    newer = [row("A1", relief="0.31"), row("A2", start="2026-03-02 10:00", finish=""), row("A3")]
    load(folder, [log(folder, "b.csv", newer)], now=NOW)
    use(Desk(folder))
    snapshot = Desk(folder).snapshot()
    pair = snapshot.table("editions").row(0, named=True)
    told = said(months.changed(f"{pair['newer']}:{pair['older']}"))
    assert "0.20" in told
    assert "0.31" in told
    assert "of a.csv: adds 1, changes 1, drops 0" in said(
        months.sheet(pl.DataFrame({"log_id": []}, schema={"log_id": pl.String}))
    )

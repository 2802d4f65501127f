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


def pressed(monkeypatch, button):
    monkeypatch.setattr("dash.ctx", type("Ctx", (), {"triggered_id": button})())


def test_a_correction_is_written_shown_and_taken_back(folder, monkeypatch):
    log_id = Desk(folder).snapshot().table("logs")["log_id"][0]
    cell = [log_id, 2, "action bass (mm)"]

    def stored():
        return Desk(folder).snapshot().table("readings").filter(pl.col("characteristic") == "action", line=2)["value"]

    typed = stored()[0]
    pressed(monkeypatch, correct.DO)
    assert correct.correct(None, None, cell, "2.9", "Mo", "why") is correct.no_update
    assert correct.correct(1, None, cell, "2.9", "", "a slip") == "A correction wants who makes it and why."
    assert correct.correct(1, None, cell, " ", "Mo", "a slip") == "Write the value as it should have been typed."
    assert stored()[0] == typed
    told = correct.correct(1, None, cell, "abc", "Mo", "a slip")
    assert told.startswith("action bass (mm) cannot be 'abc': ")
    assert stored()[0] == typed
    told = correct.correct(1, None, cell, "2.9", "Mo", "a slip")
    assert told == "Corrected: action bass (mm) is 2.9 from now on, wherever it shows."
    assert stored()[0] == 2.9
    use(Desk(folder))
    page = said(correct.layout(log=log_id, line="2", column="action bass (mm)"))
    assert "is '2.9', by Mo: a slip" in page
    assert "action bass (action bass (mm)) was typed" in page
    assert page.count("2.9") == 2  # and that it counts as this now
    pressed(monkeypatch, correct.BACK)
    assert correct.correct(1, 1, cell, "", "Mo", "it was right") == "What was typed counts again."
    assert stored()[0] == typed


def test_a_cell_that_cannot_be_corrected_says_why(folder, monkeypatch):
    pressed(monkeypatch, correct.DO)
    told = correct.correct(1, None, ["nobody", 2, "action bass (mm)"], "2.9", "Mo", "a slip")
    assert "nobody" in told

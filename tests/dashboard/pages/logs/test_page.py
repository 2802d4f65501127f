"""Logs and the rows behind a number, as plain functions."""

import base64
from datetime import UTC, datetime

import pytest

from dashboard.app import make_app, save
from dashboard.desk import desk
from dashboard.pages.logs import instrument as logs_instrument
from dashboard.pages.logs import page as logs
from dashboard.pages.logs import readings as logs_readings
from dashboard.pages.logs import visits as logs_visits
from tests.dashboard.pages.said import said

SHOP = """
[shop]
name = "Test bench"
timezone = "Europe/Dublin"
labour_per_hour = 40.0
[people]
show = "codes"
[[stage]]
key = "nut_slotting"
minutes = 9
[[stage]]
key = "play_test"
role = "test"
minutes = 4
[[stage]]
key = "final_inspection"
role = "final"
minutes = 5
[[characteristic]]
key = "action"
set_at = "nut_slotting"
positions = ["bass", "treble"]
plausible = ["0.5 mm", "9 mm"]
[[model]]
key = "LARK-25"
family = "tenor ukulele"
"""
SPECS = (
    "characteristic,position,family,model,stage,supplier,target,lower,upper,unit,from_date,agreed_on,note\n"
    "action,,,,,,2.5,2.1,2.9,mm,,,\n"
)
HEAD = "serial,model,stage,tech,started_at,finished_at,outcome,fault,sent_back_to,action bass (mm),note\n"
ROWS = (
    "L-1,LARK-25,nut_slotting,T01,2026-11-02 08:00,2026-11-02 08:10,pass,,,,\n"
    "L-1,LARK-25,play_test,T02,2026-11-02 09:00,2026-11-02 09:05,send back,buzz,nut_slotting,,\n"
    "L-1,LARK-25,nut_slotting,T01,2026-11-02 10:00,2026-11-02 10:12,pass,,,,\n"
    "L-1,LARK-25,play_test,T02,2026-11-02 11:00,2026-11-02 11:05,pass,,,,\n"
    "L-1,LARK-25,final_inspection,T03,2026-11-03 09:00,2026-11-03 09:05,pass,,,3.1,\n"
    "L-2,LARK-25,nut_slotting,T01,2026-11-02 08:20,2026-11-02 08:30,pass,,,,\n"
    "L-2,LARK-25,final_inspection,T03,2026-11-03 09:10,2026-11-03 09:15,pass,,,25,\n"
)


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "shop.toml").write_text(SHOP, encoding="utf-8")
    (tmp_path / "specs.csv").write_text(SPECS, encoding="utf-8")
    counter = desk.Desk(tmp_path)
    make_app(counter)
    return counter


def dropped(text, name="bench.csv"):
    """A file as the page hands it over."""
    return ["data:text/csv;base64," + base64.b64encode(text.encode()).decode()], [name]


def bring(counter, text=HEAD + ROWS):
    logs.bring(*dropped(text))
    return counter.jobs.wait(1)


def question(counter):
    row = logs.waiting().row(0, named=True)
    return f"{row['log_id']}:{row['line']}:{row['column']}"


def test_an_empty_shop_says_what_to_do(shop):
    page = said(logs.layout())
    assert "No log is loaded yet." in page
    assert "Drop a log here" in page


def test_a_dropped_sheet_is_loaded_and_its_account_adds_up(shop):
    job = bring(shop)
    assert job.state == "done"
    assert "7 rows read = 7 accepted. 1 cell set aside." in said(logs.told(job))
    assert "1 log loaded; 1 question waits." in said(logs.layout())


def test_the_same_sheet_again_changes_nothing_and_says_so(shop):
    bring(shop)
    logs.bring(*dropped(HEAD + ROWS))
    assert "already" in said(logs.told(shop.jobs.wait(2)))
    assert len(shop.snapshot().table("visits")) == 7


def test_a_sheet_that_cannot_be_read_is_one_line(shop):
    logs.bring(*dropped("nothing,here\n1,2\n"))
    page = said(logs.told(shop.jobs.wait(1)))
    assert "bench.csv" in page
    assert "Traceback" not in page


def test_a_question_shows_what_was_found_and_wanted_and_how_to_answer(shop):
    bring(shop)
    page = said(logs.layout(question=question(shop)))
    assert "It is real" in page
    assert '"25"' in page


def test_an_answer_wants_who_and_why(shop, monkeypatch):
    bring(shop)
    monkeypatch.setattr("dash.ctx", type("Ctx", (), {"triggered_id": logs.REAL})())
    told, _, _ = logs.answer([None, 1, None, None], None, question(shop), "", "")
    assert told == "An answer wants who gives it and why."


def test_a_correction_is_laid_over_the_cell_and_marked(shop, monkeypatch):
    bring(shop)
    monkeypatch.setattr("dash.ctx", type("Ctx", (), {"triggered_id": logs.CORRECT})())
    logs.answer([1, None, None, None], "2.5", question(shop), "Mara", "a dot was lost")
    assert shop.jobs.wait(2).state == "done"
    assert len(logs.waiting()) == 0
    page = said(logs_readings.layout(characteristic="action", serials="L-2"))
    assert "2.50 mm" in page
    assert "corrected" in page


def test_it_is_real_takes_the_reading_in(shop, monkeypatch):
    bring(shop)
    monkeypatch.setattr("dash.ctx", type("Ctx", (), {"triggered_id": logs.REAL})())
    logs.answer([None, 1, None, None], None, question(shop), "Mara", "measured twice")
    assert shop.jobs.wait(2).state == "done"
    assert shop.snapshot().table("readings").filter(serial="L-2")["value"].to_list() == [25.0]


def test_a_log_taken_out_is_gone(shop):
    bring(shop)
    logs.take_out(1, "bench.csv", "Mara", "the wrong sheet")
    assert shop.jobs.wait(2).state == "done"
    assert len(shop.snapshot().table("visits")) == 0


def test_taking_out_wants_the_log_and_who(shop):
    assert "wants the log and who" in said(logs.take_out(1, None, "", ""))


def test_a_reading_just_outside_is_written_with_the_digits_that_tell_it_from_its_limit(shop):
    row = {"characteristic": "action", "value": 2.704, "lower": 2.1, "upper": 2.7, "outside": True}
    made = shop.snapshot().shop
    assert logs_readings.value_of(made, row) == "2.704\u00a0mm"
    assert logs_readings.limits(made, row) == "2.10 to 2.700\u00a0mm"
    within = row | {"value": 2.7, "outside": False}
    assert logs_readings.value_of(made, within) == "2.70\u00a0mm"
    assert logs_readings.limits(made, within) == "2.10 to 2.70\u00a0mm"


def test_readings_outside_are_marked_with_their_file_and_line(shop):
    bring(shop)
    page = said(logs_readings.layout(characteristic="action", outside="1"))
    assert "Action outside limits: 1 reading." in page
    assert "bench.csv, line 6" in page


def test_an_instrument_tells_its_whole_story(shop):
    bring(shop)
    page = said(logs_instrument.layout(serial="L-1"))
    assert "5 visits, 1 send-back" in page
    assert "sent back to nut slotting, not confirmed" in page
    assert "sent back once, " in page
    assert page.count("bench.csv, line") == 6  # five visits and a reading


def test_an_instrument_nobody_knows_is_said(shop):
    assert "No log names an instrument X-9." in said(logs_instrument.layout(serial="X-9"))


def test_send_backs_stand_behind_their_number(shop):
    bring(shop)
    page = said(logs_visits.layout(caused_at="nut_slotting", caught_at="play_test"))
    assert "1 send-back, caused at nut slotting, caught at play test" in page
    assert "17" in page  # 12 minutes of nut slotting again and 5 of the play test again


def test_what_is_saved_is_what_is_shown(shop):
    bring(shop)
    name, rows = logs_readings.saved(characteristic="action")
    assert (name, rows["value"].to_list()) == ("readings.csv", [3.1])
    assert save("nothing of the kind").status_code == 404


def test_nobody_is_named_where_the_shop_shows_nobody(shop, tmp_path):
    bring(shop)
    (tmp_path / "shop.toml").write_text(SHOP.replace('"codes"', '"none"'), encoding="utf-8")
    assert "T01" not in said(logs_instrument.layout(serial="L-1"))
    assert "T01" not in said(logs_readings.layout(characteristic="action"))
    assert "set_by" not in logs_readings.saved(characteristic="action")[1].columns


def test_the_clock_of_a_job_is_the_only_clock(shop):
    before = datetime.now(UTC)
    bring(shop)
    assert shop.snapshot().table("logs")["loaded_at"][0] >= before.replace(microsecond=0)

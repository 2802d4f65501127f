"""Visits told again minutes later with one value changed are named: whether they correct, nobody says."""

import pytest

from ingest.reading.reader import read_log
from tests.ingest.small_shop import csv, small_shop

HEADER = "Serial,Started,Stage,Tech,Outcome,relief (mm),action bass (mm),action treble (mm),intonation 1 (cents)"
FIRST = "A1,2026-03-02 08:00,play_test,JR,pass,0.1,25,1.9,3"


@pytest.mark.parametrize(
    ("second", "told"),
    [
        ("A1,2026-03-02 08:06,play_test,JR,pass,0.1,2.5,1.9,3", True),
        ("A1,2026-03-02 08:16,play_test,JR,pass,0.1,2.5,1.9,3", False),  # too late
        ("A1,2026-03-02 08:06,play_test,JR,pass,0.2,2.5,1.9,3", False),  # two values
        ("A1,2026-03-02 08:06,play_test,JR,pass,0.1,25,1.9,3", False),  # none
        ("A1,2026-03-02 08:06,play_test,JR,fixed,0.1,2.5,1.9,3", False),  # looked at again
        ("A1,2026-03-02 08:06,play_test,AO,pass,0.1,2.5,1.9,3", False),
        ("A2,2026-03-02 08:06,play_test,JR,pass,0.1,2.5,1.9,3", False),
    ],
)
def test_a_visit_told_again_with_one_value_changed_is_named_and_counts_as_another(second, told):
    shop = small_shop(headings={"Started": "started_at", "action bass (mm)": "action bass (mm)"})
    sheet = read_log(csv(HEADER, FIRST.replace("25", "5.2"), second.replace(",25,", ",5.2,")), "v.csv", shop)
    assert sheet.visits.height == 2
    assert any("(lines 2 and 3) count as two" in note for note in sheet.notes) is told

"""What came back after packing: of the week and of the four before, with its work and its fault."""

from datetime import date

from analysis.studies.week.returned import Returned, returned
from tests.analysis.studies.benches import bench

LINES = """
A 2 9 packing pass
A 9 9 nut return fault=cracked_brace minutes=20
A 9 10 bridge pass minutes=10
B 3 9 packing pass
B 10 9 nut return fault=cracked_brace minutes=30
C 3 10 packing pass
C 17 9 nut return minutes=40
D 4 9 nut send_back
D 5 9 packing pass
"""


def test_returns_are_of_the_week_of_their_first_visit_and_carry_the_work_of_all_their_visits():
    here = bench(LINES)
    assert returned(here, week=date(2026, 3, 9)) == Returned(2, 0, 60.0, "cracked brace")
    assert returned(here, week=date(2026, 3, 16)) == Returned(1, 2, 100.0, "cracked brace")
    assert returned(here, week=date(2026, 3, 23)) == Returned(0, 3, 100.0, "cracked brace")
    assert returned(bench("A 2 9 packing pass"), week=date(2026, 3, 2)) == Returned()

"""What would be read of each file, told before anything is written; many files told together."""

import pytest

from ingest.beginning.counted import Aside, Counted, counted, shop_with, together
from ingest.beginning.new import propose
from tests.ingest.small_shop import csv, small_shop


def read(name, **more):
    return Counted(name, rows=10, rows_aside=1, readings=20, cells_aside=2, **more)


def test_a_file_is_told_in_one_line():
    assert read("a.csv", send_backs=1200).told() == (
        "a.csv: 9 of 10 rows and 20 readings would be read, 1 rows and 2 cells set aside; 1,200 sent back"
    )
    assert read("a.csv", lines=4000).told() == (
        "a.csv, its first 4,000 lines: 9 of 10 rows and 20 readings would be read, 1 rows and 2 cells set aside; "
        "outcomes not read"
    )
    assert Counted("a.csv", problem="no dates").told() == "a.csv: would not be read: no dates"
    assert Counted("a.csv").told() == (
        "a.csv: 0 of 0 rows and 0 readings would be read, 0 rows and 0 cells set aside; outcomes not read"
    )


def test_six_files_are_told_one_by_one_and_seven_as_one():
    six = [read(f"{n}.csv") for n in range(6)]
    assert together(six) == six
    (one,) = together([*six, read("6.csv")])
    assert (one.name, one.rows, one.rows_aside, one.readings, one.cells_aside) == ("0.csv and 6 more", 70, 7, 140, 14)


def test_files_that_are_told_as_one_have_their_sums_and_the_most_lines():
    many = [read(f"{n}.csv", send_backs=n, columns=(("relief", 3), (f"x {n % 2}", 1)), lines=n) for n in range(7)]
    (one,) = together([*many, read("last.csv", columns=(("relief", 4),))])
    assert one.send_backs == 21  # of those whose outcomes are read
    assert dict(one.columns) == {"relief": 25, "x 0": 4, "x 1": 3}
    assert one.lines == 6
    assert together([read(f"{n}.csv") for n in range(7)])[0].send_backs is None


def test_files_that_would_not_be_read_are_told_by_their_reason_and_do_not_count_among_the_many():
    bad = [Counted(f"bad {n}.csv", problem="no dates" if n % 2 else "no serial") for n in range(4)]
    six = [read(f"{n}.csv") for n in range(6)]
    told = together([*bad, *six])
    assert [(one.name, one.problem) for one in told[:2]] == [
        ("bad 0.csv and 1 more", "no serial"),
        ("bad 1.csv and 1 more", "no dates"),
    ]
    assert told[2:] == six
    alone = Counted("x.csv", problem="empty")
    assert together([alone]) == [alone]


HEAD = "Serial,Date,Stage,Relief (mm),Action bass (mm),Result"
ROWS = [f"A{n},2026-03-{2 + n % 20:02d},final,0.1{n % 9},2.{n % 9},{'ok' if n % 4 else 'rework'}" for n in range(40)]


def test_what_would_be_read_is_counted_by_measurement_and_by_result():
    files = [("a.csv", csv(HEAD, *ROWS))]
    (found,) = counted(files, propose(files))
    assert found == Counted("a.csv", 40, 0, 80, 0, 10, (("action bass", 40), ("relief", 40)))


@pytest.mark.parametrize(("lines", "rows", "said"), [(0, 40, 0), (10, 9, 10), (40, 39, 40), (41, 40, 0), (90, 40, 0)])
def test_of_a_longer_file_only_so_many_lines_are_counted_and_it_is_said(lines, rows, said):
    files = [("a.csv", csv(HEAD, *ROWS))]  # 41 lines with its head
    (found,) = counted(files, propose(files), lines=lines)
    assert (found.rows, found.lines) == (rows, said)


def test_results_that_are_all_open_were_read_and_none_went_back():
    files = [("a.csv", csv(HEAD, *(row.replace("rework", "ok") for row in ROWS)))]
    assert counted(files, propose(files))[0].send_backs == 0
    silent = [("a.csv", csv(HEAD.removesuffix(",Result"), *(row.rpartition(",")[0] for row in ROWS)))]
    assert counted(silent, propose(silent))[0].send_backs is None


def test_a_proposal_that_cannot_stand_is_told_for_each_file():
    files = [("a.csv", csv(HEAD, *ROWS)), ("b.csv", csv(HEAD, *ROWS))]
    proposal = propose(files, answers={"timezone": "Nowhere/Land"})
    told = counted(files, proposal)
    assert [one.name for one in told] == ["a.csv", "b.csv"]
    assert all("Nowhere/Land" in one.problem for one in told)


def test_what_is_proposed_is_added_to_the_shop_a_completed_kind_of_sheet_in_its_place():
    rows = [row.replace("rework", "redo").replace("ok", "nope") for row in ROWS]
    head = "Serial,Date,Stage,Relief (mm),Height of nut (mm),Result"
    files = [("bench_1.csv", csv(head, *rows))]
    shop = small_shop(headings={"Serial": "serial"})
    whole = shop_with(propose(files, shop=shop, answers={"outcome nope": "pass", "outcome redo": "send back"}), shop)
    assert [stage.key for stage in whole.stages][: len(shop.stages)] == [stage.key for stage in shop.stages]
    assert {one.key for one in whole.characteristics} > {one.key for one in shop.characteristics}
    assert [log.name for log in whole.logs] == ["bench"]
    assert whole.logs[0].words["outcome"]["redo"] == "send back"
    other = [
        ("line 7.xyz.csv", csv("Nr,Tag,Halskrümmung [mm]", *(f"N{n},2026-03-0{1 + n % 9},0.1{n}" for n in range(9))))
    ]
    assert (
        shop_with(propose(other, shop=small_shop(files="bench*")), small_shop(files="bench*")).logs[-1].name == "bench"
    )


def test_what_would_be_set_aside_is_told_a_line_a_kind_with_what_was_found_and_what_is_wanted():
    rows = [*ROWS]
    rows[4] = rows[4].replace(",0.1", ",see card ", 1).replace("see card 4", "see card")
    rows[7] = rows[7].replace(",0.1", ",? ", 1)
    rows[9] = rows[9].replace(",0.1", ",40", 1)
    rows[12] = rows[12].replace("2026-03-", "some day ")
    files = [("a.csv", csv(HEAD, *rows))]
    (found,) = counted(files, propose([("a.csv", csv(HEAD, *ROWS))]))
    assert (found.rows_aside, found.cells_aside) == (1, 3)
    assert sum(one.count for one in found.aside) == 4
    told = found.why()
    (unread,) = (line for line in told if line.startswith("2 cells: cannot be read"))
    assert "first 'see card' under Relief (mm) in line 6; wanted a length" in unread
    assert any(line.startswith("1 row: ") and ", first in line 14; wanted " in line for line in told)
    assert told[0] == unread
    clean = counted([("a.csv", csv(HEAD, *ROWS))], propose(files))[0]
    assert clean.why() == []


def test_kinds_of_many_files_are_told_together_and_only_so_many():
    kinds = [Aside(f"reason {k}", k + 1, "Relief", "x", 3, "a length") for k in range(10)]
    (one,) = together([read(f"{n}.csv", aside=tuple(kinds)) for n in range(7)])
    assert [each.count for each in one.aside] == [7 * k for k in range(10, 0, -1)]
    told = one.why()
    assert told[0] == "70 cells: reason 9, first 'x' under Relief in line 3; wanted a length"
    assert told[8:] == ["and 21 of 2 more kinds"]

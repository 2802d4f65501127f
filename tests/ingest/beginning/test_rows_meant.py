"""Sheets with two columns of values, or with rows of others among their own: guessed, asked, and written."""

import tomllib

import pytest

from ingest.beginning.answers import Said, checked_answers
from ingest.beginning.counted import counted
from ingest.beginning.new import propose, said_columns
from ingest.shopfiles.shop import ShopProblem, checked_shop
from tests.ingest.small_shop import csv

HEADER = "Nr,Date,Bench,Who,Dept,What,{},{},Result"
PARTS = (("Nut", "relief", 0.2), ("Nut", "action bass", 2.4), ("Final inspection", "action bass", 2.5))


def sheet(first, second, *, paint=0):
    rows = [HEADER.format(first, second)]
    for n in range(90):
        bench, what, size = PARTS[n % 3]
        value = size + n % 7 / 50
        serial, day = f"A{100 + n // 3}", f"2026-03-{2 + n // 9:02d}"
        rows.append(f"{serial},{day},{bench},{'JR' if n % 2 else 'AO'},Setup,{what},{value:.2f},{value + 0.01:.2f},ok")
        if paint and n % paint == 0:
            rows.append(f"{serial},{day},Spray,ZZ,Paint,gloss,{80 + n % 9},{81 + n % 9},ok")
    return [("m.csv", csv(*rows))]


def taken(files, said=None, answers=None):
    proposal = propose(files, said=said, answers=answers)
    log = tomllib.loads(proposal.shop_toml)["log"][0]
    return proposal, log, counted(files, proposal)[0]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("Value in", "Value out"),
        ("Before", "After"),
        ("V_IN", "V_OUT"),
        ("As found", "As left"),
        ("Ist vor", "Ist nach"),
    ],
)
def test_two_columns_of_values_are_told_by_the_words_that_part_them(first, second):
    _, log, count = taken(sheet(first, second))
    assert (log["headings"][first], log["headings"][second]) == ("value found", "value left")
    assert count.readings == 180


def test_a_second_column_of_values_without_such_words_is_asked_about_and_can_be_answered():
    files = sheet("Value", "W2")
    proposal, log, count = taken(files)
    assert count.readings == 90
    assert log["headings"]["Value"] == "value"
    assert any("'W2' is not read (90 cells)" in line and "perhaps value left" in line for line in proposal.unread)
    said = said_columns({("m.csv", "", "W2"): "value left"})
    assert taken(files, said)[2].readings == 180


def test_what_a_reading_should_be_is_no_second_value():
    rows = sheet("Value", "W2")[0][1].decode().splitlines()
    fixed = [rows[0], *(",".join([*row.split(",")[:7], "2.40", "ok"]) for row in rows[1:])]
    proposal, _, _ = taken([("m.csv", csv(*fixed))])
    assert not any("perhaps value left" in line for line in proposal.unread)


def test_rows_of_others_are_left_out_as_said_and_nothing_is_asked_of_them():
    files = sheet("Value in", "Value out", paint=3)
    asked = {ask.key for ask in propose(files).asks}
    assert {"stage Spray", "what gloss"} <= asked
    said = checked_answers({"log": [{"not_rows": {"Bench": ["Spray"]}}]})
    proposal, log, count = taken(files, said)
    assert not {"stage Spray", "what gloss"} & {ask.key for ask in proposal.asks}
    assert log["not_rows"] == {"Bench": ["Spray"]}
    assert (count.rows, count.rows_aside, count.readings) == (90, 0, 180)
    assert any("30 of 120 rows are not meant" in note for seen in proposal.surveys for note in seen.notes)


def test_only_the_rows_that_a_column_names_are_read():
    said = checked_answers({"log": [{"only_rows": {"Dept": ["setup"]}}]})
    _, log, count = taken(sheet("Value in", "Value out", paint=3), said)
    assert log["only_rows"] == {"Dept": ["setup"]}
    assert (count.rows, count.readings) == (90, 180)


def test_a_bench_that_is_none_of_ours_can_be_answered():
    _, log, count = taken(sheet("Value in", "Value out", paint=3), answers={"stage Spray": "pass them over"})
    assert log["not_rows"] == {"Bench": ["Spray"]}
    assert (count.rows, count.readings) == (90, 180)


def test_a_column_may_be_said_to_tell_which_rows_are_meant_and_its_words_are_asked():
    files = sheet("Value in", "Value out", paint=3)
    said = said_columns({("m.csv", "", "Dept"): "rows"})
    asked = {ask.key: ask.text for ask in propose(files, said=said).asks if ask.key.startswith("rows ")}
    assert asked == {
        "rows Setup of Dept": "m.csv: 90 rows whose 'Dept' says 'Setup': read them?",
        "rows Paint of Dept": "m.csv: 30 rows whose 'Dept' says 'Paint': read them?",
    }
    proposal, log, count = taken(files, said, {"rows Paint of Dept": "pass them over"})
    assert log["not_rows"] == {"Dept": ["Paint"]}
    assert (count.rows, count.readings) == (90, 180)
    asked_then = {ask.key for ask in proposal.asks}
    assert not {"stage Spray", "what gloss"} & asked_then  # nothing is asked of what is left out
    assert "rows Paint of Dept" in asked_then  # but the answer can be seen, and changed
    assert '"spray"' not in proposal.shop_toml.casefold()


def test_a_heading_that_no_sheet_has_is_said_at_once():
    with pytest.raises(ShopProblem, match="no column is headed 'Abteilung'"):
        propose(sheet("Value in", "Value out"), said=Said({"log": [{"only_rows": {"Abteilung": ["Setup"]}}]}))


def test_what_a_bench_finds_and_leaves_is_set_there_where_no_other_bench_is_known():
    rows = ["Serial,Date,Relief found (mm),Relief left (mm),Action bass (mm)"]
    rows += [f"S{n},2026-03-{2 + n // 9:02d},0.{20 + n % 9},0.{10 + n % 5},2.{4 + n % 3}" for n in range(60)]
    table = tomllib.loads(propose([("one.csv", csv(*rows))]).shop_toml)
    assert {item["key"]: item.get("set_at") for item in table["characteristic"]} == {
        "relief": "final_inspection",
        "action": None,
    }


def merged(*, again=False):
    """A row a measurement, serial, day and bench written once over the three rows of a visit."""
    rows = ["Serial,Date,Bench,Who,What,Value (mm)"]
    for n in range(120):
        first = n % 3 == 0
        who = f"S{n // 3},2026-03-{2 + n // 12:02d},Final inspection,{'JR' if n % 2 else 'AO'}" if first else ",,,"
        what = ("Relief", "Action bass", "Relief" if again else "Action treble")[n % 3]
        rows.append(f"{who},{what},{(0.1, 2.4, 1.8)[n % 3] + n % 7 / 100:.2f}")
    return [("once.csv", csv(*rows))]


def test_what_is_written_once_for_the_rows_of_a_visit_is_told_by_what_they_measure():
    _, log, count = taken(merged())
    assert log["same_as_above"] == ["Serial", "Date", "Bench", "Who"]
    assert (count.rows_aside, count.readings) == (0, 120)


def test_rows_without_a_serial_that_measure_a_thing_again_are_of_nobody():
    _, log, count = taken(merged(again=True))
    assert "Serial" not in log.get("same_as_above", ())
    assert count.rows_aside == 80


def test_a_result_explained_for_one_kind_of_sheet_is_not_asked_for_another_of_like_heading():
    head = "Serial,Date,Stage,Relief (mm),Befund"
    body = [
        f"A{n},2026-03-{2 + n // 9:02d},Final inspection,0.{1 + n % 3},{'zr' if n % 9 == 0 else 'ja'}"
        for n in range(80)
    ]
    said = checked_answers({"log": [{"words": {"outcome": {"zr": "send back", "ja": "pass"}}}]})
    shop = checked_shop(tomllib.loads(propose([("a.csv", csv(head, *body))], said=said).shop_toml))
    other = [("b.csv", csv(head.replace("Relief", "Action bass"), *body))]
    proposal = propose(other, shop=shop)
    assert not any(ask.key.startswith("outcome ") for ask in proposal.asks)
    assert counted(other, proposal, shop)[0].send_backs == 9


def test_a_sheet_without_the_column_that_tells_rows_is_read_as_before():
    other = (
        "other.csv",
        csv("Serial,Date,Bench,Relief (mm)", *(f"A{n},2026-03-02,Final inspection,0.{n}" for n in range(9))),
    )
    files = [*sheet("Value in", "Value out", paint=3), other]
    proposal = propose(files, said=checked_answers({"log": [{"not_rows": {"Dept": ["Paint"]}}]}))
    assert [count.rows for count in counted(files, proposal)] == [90, 9]
    assert [log.get("not_rows") for log in tomllib.loads(proposal.shop_toml)["log"]] == [{"Dept": ["Paint"]}, None]

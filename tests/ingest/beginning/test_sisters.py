"""Sheets of one name under headings that changed: one [[log]] reads them all, and an answer holds for all of them."""

import tomllib

from ingest.beginning.counted import counted
from ingest.beginning.new import propose, said_columns
from ingest.shopfiles.shop import checked_shop

ANSWERS = {"timezone": "Europe/Dublin", "name": "A shop"}


def book(name: str, heading: str, *, result: str = "pass", word: str = "Result") -> tuple[str, bytes]:
    month = int(name.split("_")[1][:2])
    rows = [f"{day}/{month}/2026,S{month}{day:02d},Lark,Bea,2.{day:02d},{result}" for day in range(1, 29)]
    return name, "\n".join([f"Date,Serial,Model,Who,{heading},{word}", *rows, ""]).encode()


OLD, NEW, LATER = book("final_03.csv", "Action bass (mm)"), book("final_04.csv", "Zzq"), book("final_05.csv", "Zzq")


def logs(proposal):
    return tomllib.loads(proposal.shop_toml)["log"]


def test_a_heading_that_changes_midway_is_one_kind_of_sheet():
    files = [OLD, NEW, LATER]
    plain = propose(files, answers=ANSWERS)
    (asked,) = [ask for ask in plain.asks if "'Zzq'" in ask.text]
    told = propose(files, answers={**ANSWERS, asked.key: "action bass (mm)"})
    (log,) = logs(told)
    assert log["files"] == "final_*.csv"
    assert {log["headings"]["Zzq"], log["headings"]["Action bass (mm)"]} == {"action bass (mm)"}
    assert [each.readings for each in counted(files, told)] == [28, 28, 28]


def test_a_column_that_is_picked_for_one_file_is_picked_for_all_of_its_kind():
    files = [NEW, LATER]
    told = propose(files, answers=ANSWERS, said=said_columns({("final_04.csv", "", "Zzq"): "action bass (mm)"}))
    assert len(told.surveys) == 1
    assert [each.readings for each in counted(files, told)] == [28, 28]


def test_kinds_that_contradict_each_other_stay_apart_and_the_narrower_name_is_read_first():
    other = "final_04.csv", b"Date,Serial,Model,Who,Result,Zzq\n" + b"2026-04-02,A1,Lark,Bea,pass,2.1\n" * 9
    both = logs(propose([OLD, other], answers=ANSWERS))  # one writes 28/3/2026, the other 2026-04-02
    assert [(log["files"], log["date_order"]) for log in both] == [("final_04.csv", "ymd"), ("final_*.csv", "dmy")]


def test_a_shop_of_sisters_loads():
    told = propose([OLD, NEW], answers=ANSWERS)
    assert checked_shop(tomllib.loads(told.shop_toml)).logs
    assert not any(each.problem for each in counted([OLD, NEW], told))

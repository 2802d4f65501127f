"""A shop that meets another sheet: what its shop.toml lacks is proposed, and nothing that it has."""

import tomllib

import pytest

from ingest.beginning.adding import add_to_shop, take_back
from ingest.beginning.additions import _place
from ingest.beginning.answers import checked_answers
from ingest.beginning.counted import counted
from ingest.beginning.new import propose
from ingest.shopfiles.shop import checked_shop, read_shop
from ingest.verbs.load import load
from tests.ingest.bench import NOW, log, shop
from tests.ingest.small_shop import csv, small_shop

HEADER = "Serial,Date,Station,Initials,Model,Relief (in),Result,Condition"
BENCH = """
[[log]]
name = "bench cards"
files = "bench_*.csv"
words = { stage = { "FI" = "final_inspection" } }
headings = { "Station" = "stage" }
"""


def additions(name, *rows, header=HEADER, **log_of_shop):
    return propose([(name, csv(header, *rows))], shop=small_shop(**log_of_shop))


def test_a_new_sheet_of_a_known_kind_that_is_wholly_known_lacks_nothing():
    known = {
        "files": "bench_*.csv",
        "headings": {"Station": "stage", "Condition": "note"},
        "words": {"stage": {"FI": "final_inspection"}},
    }
    proposal = additions(
        "bench_04.csv", "A1,2026-03-02,FI,JR,L25,.010,pass,dull", "A2,2026-03-02,packing,T08,DRAY-5,.010,pass,", **known
    )
    assert (proposal.shop_toml, proposal.asks) == ("", ())


@pytest.mark.parametrize("known", ["not said", "other"])
def test_a_column_nobody_had_said_is_asked_again_and_what_is_said_of_it_takes_the_place(known):
    row = "A{},2026-03-02,FI,JR,L25,.010,pass,{}"
    rows = [row.format(n, n / 7) for n in range(1, 9)]
    kind = {
        "files": "bench_*.csv",
        "headings": {"Station": "stage", "Condition": known},
        "words": {"stage": {"FI": "final_inspection"}},
    }
    sheet = [("bench_04.csv", csv(HEADER, *rows))]
    silent = propose(sheet, shop=small_shop(**kind))
    asked = [ask.key for ask in silent.asks if "Condition" in ask.key]
    assert (len(asked), silent.shop_toml) == (1 if known == "not said" else 0, "")
    answers = checked_answers({"log": [{"files": "bench_*.csv", "headings": {"Condition": "other"}}]}, "answers")
    told = propose(sheet, said=answers, shop=small_shop(**kind)).shop_toml
    assert ('headings: "Condition" = "other"' in told) == (known == "not said")


def test_a_new_sheet_of_a_known_kind_gets_its_log_back_with_what_it_lacked():
    proposal = additions(
        "bench_04.csv",
        "A1,2026-03-02,Endkontrolle,QQ,L25,.010,i.O.,dull",
        "A2,2026-03-02,Endkontrolle,QQ,L25,.010,7,",
        header=HEADER.replace("Initials", "Kürzel"),
        files="bench_*.csv",
        words={"outcome": {"redo": "send back"}},
        headings={"Old": "note"},
    )
    [log] = tomllib.loads(proposal.shop_toml)["log"]
    assert (log["name"], log["files"]) == ("bench", "bench_*.csv")
    assert (log["headings"]["Kürzel"], log["headings"]["Old"]) == ("tech", "note")
    assert log["words"]["outcome"]["redo"] == "send back"
    assert "takes the place of the [[log]] 'bench', which reads bench_04.csv but lacks:" in proposal.shop_toml
    assert [ask.key for ask in proposal.asks] == ["outcome 7"]  # and what nobody knows is asked


def test_what_somebody_said_of_a_sheet_of_a_known_kind_is_heard():
    said = checked_answers({"log": [{"headings": {"Condition": "fault"}, "words": {"outcome": {"7": "hold"}}}]})
    shop = small_shop(files="bench_*.csv")
    rows = csv(HEADER, "A1,2026-03-02,final_inspection,JR,L25,.010,7,dull", "A2,2026-03-02,packing,JR,L25,.010,pass,")
    proposal = propose([("bench_04.csv", rows)], shop=shop, said=said)
    [log] = tomllib.loads(proposal.shop_toml)["log"]
    assert (log["headings"]["Condition"], log["words"]["outcome"]["7"]) == ("fault", "hold")
    [count] = counted([("bench_04.csv", rows)], proposal, shop)
    assert (count.rows, count.rows_aside) == (2, 0)


def test_a_completed_log_is_put_in_the_place_of_the_one_there(tmp_path):
    folder = shop(tmp_path, BENCH + '\n[[log]]\nname = "others"\nfiles = "z*.csv"\n')
    (tmp_path / "sheets").mkdir()
    sheet = log(tmp_path / "sheets", "bench_9.csv", ["A1,2026-03-02,FI,JR,HERON,.010,pass,dull"], HEADER + ",Shine")
    files = [(sheet.name, sheet.read_bytes())]
    said = checked_answers({"log": [{"headings": {"Condition": "note"}}]})
    add_to_shop(folder, propose(files, shop=read_shop(folder / "shop.toml"), said=said))
    logs = read_shop(folder / "shop.toml").logs
    assert [one.name for one in logs] == ["bench cards", "others"]
    assert logs[0].headings["Condition"] == "note"
    take_back(folder)
    assert "Condition" not in (folder / "shop.toml").read_text()


def test_a_new_stage_says_where_along_the_bench_it_belongs():
    rows = [f"A{n},2026-03-02,{stage},JR,L25,.010,pass," for n, stage in enumerate(["fret levelling", "stringing"])]
    text = additions("line.csv", *rows, files="b*.csv").shop_toml
    assert "belongs behind 'receiving'" in text
    assert tomllib.loads(text)["stage"]


def test_what_is_proposed_and_pasted_loads_and_then_lacks_nothing(tmp_path):
    folder = shop(tmp_path, BENCH)
    sheet = log(
        folder,
        "line_7.csv",
        ["A1,2026-03-02,FI,JR,HERON,.010,pass,", "A2,2026-03-03,buffing,JR,HERON,.011,redo,x"],
        HEADER,
    )
    files = [(sheet.name, sheet.read_bytes())]
    text = propose(files, shop=read_shop(folder / "shop.toml")).shop_toml
    (folder / "shop.toml").write_text((folder / "shop.toml").read_text() + text)
    [came] = load(folder, [sheet], now=NOW)
    assert (came.accepted, came.set_aside) == (2, 0)
    again = [("line_8.csv", sheet.read_bytes())]
    assert propose(again, shop=read_shop(folder / "shop.toml")).shop_toml == ""


@pytest.mark.parametrize(
    ("stages", "new", "where"),
    [
        (["receiving", "packing"], "stringing", "behind 'receiving'"),
        (["receiving", "stringing"], "levelling", "behind 'receiving'"),
        (["packing", "repair"], "stringing", "before 'packing'"),
        (["repair", "x_ray"], "packing", "behind 'x_ray'"),  # from the final inspection on it is the last
        (["repair"], "play_test", "before 'repair'"),
    ],
)
def test_a_new_stage_stands_where_the_trade_has_it(stages, new, where):
    rest = {"characteristic": [{"key": "relief"}], "model": [{"key": "M", "family": "banjo"}]}
    rest["log"] = [{"name": "a", "files": "a*"}]
    roles = {"receiving": "receiving", "packing": "packing", "repair": "repair"}
    said = {"stage": [{"key": key, "role": roles.get(key, "bench")} for key in stages]}
    told = checked_shop({"shop": {"name": "x", "timezone": "UTC"}, **said, **rest})
    assert where in _place(new, told)

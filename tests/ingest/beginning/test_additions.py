"""A shop that meets another sheet: what its shop.toml lacks is proposed, and nothing that it has."""

import tomllib

from ingest.beginning.new import propose
from ingest.shopfiles.shop import read_shop
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


def test_a_new_sheet_of_a_known_kind_lacks_words_and_headings_but_no_log():
    text = additions(
        "bench_04.csv",
        "A1,2026-03-02,Endkontrolle,QQ,L25,.010,i.O.,dull",
        header=HEADER.replace("Initials", "Kürzel"),
        files="bench_*.csv",
    ).shop_toml
    assert set(tomllib.loads(text)) == {"tech"}
    assert "bench_04.csv is read by the [[log]] 'bench'" in text
    assert 'its headings lack: "Kürzel" = "tech"' in text
    assert '"i.O." = "pass"' in text


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

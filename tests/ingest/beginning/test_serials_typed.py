"""Serials typed with and without capitals and spaces: one instrument where nothing speaks against it, and said so."""

import tomllib

import pytest

from ingest.beginning.new import propose
from ingest.reading.oddities import one_way
from ingest.reading.reader import read_log
from ingest.shopfiles.shop import checked_shop

ANSWERS = {"timezone": "Europe/Dublin", "name": "A shop"}


def sheet(stage: str, ways) -> tuple[str, bytes]:
    rows = [f"{2 + n % 20}/3/2026,{way},Lark tenor,Bea,0.1{n % 10}" for n, way in enumerate(ways)]
    return f"{stage} book.csv", "\n".join(["Date,Serial,Model,Who,Relief (mm)", *rows, ""]).encode()


FIRST = sheet("receiving", [f"BS{n}" for n in range(100, 140)])
LAST = sheet("final inspection", [f"bs {n}" if n % 4 == 0 else f"BS{n}" for n in range(100, 140)])
TWINS = sheet("packing", [f"{two}{n}" for n in range(100, 120) for two in ("a", "A")])


def test_capitals_and_spaces_alone_make_no_second_instrument():
    told = propose([FIRST, LAST], answers=ANSWERS)
    (asked,) = [ask for ask in told.asks if ask.key == "serials"]
    assert asked.text.startswith("10 of 40 serials")
    assert asked.default == "yes"
    shop = checked_shop(tomllib.loads(told.shop_toml))
    assert shop.shop.serials == "loose"
    assert "loose" in told.shop_toml
    assert "# guess: serials differ" in told.shop_toml
    first, last = (read_log(data, name, shop).visits["serial"] for name, data in (FIRST, LAST))
    assert set(first) == set(last)
    assert len(set(first)) == 40


@pytest.mark.parametrize("files", [[TWINS], [FIRST]])
def test_serials_stay_as_typed_where_both_ways_stand_at_one_stage_or_none_differs(files):
    told = propose(files, answers=ANSWERS)
    assert [ask.default for ask in told.asks if ask.key == "serials"] in ([], ["no"])
    shop = checked_shop(tomllib.loads(told.shop_toml))
    assert shop.shop.serials == "exact"
    assert read_log(files[0][1], files[0][0], shop).visits["serial"].n_unique() == 40


def test_without_it_the_file_says_what_to_write():
    shop = checked_shop(tomllib.loads(propose([LAST], answers={**ANSWERS, "serials": "no"}).shop_toml))
    mixed = LAST[1] + b"3/3/2026,bs101,Lark tenor,Bea,0.11\n"
    notes = read_log(mixed, LAST[0], shop).notes
    assert any('serials = "loose"' in note for note in notes)
    assert one_way(" bs 101 ") == "BS101"
    assert one_way("ＢＳ１０１") == "BS101"


def test_dashes_make_no_second_instrument_where_nothing_speaks_against_it():
    last = sheet("final inspection", [f"bs-{n}" if n % 4 == 0 else f"BS{n}" for n in range(100, 140)])
    told = propose([FIRST, last], answers=ANSWERS)
    assert [ask.default for ask in told.asks if ask.key.startswith("serials")] == ["yes"]
    shop = checked_shop(tomllib.loads(told.shop_toml))
    assert shop.shop.serials == "bare"
    assert set(read_log(last[1], last[0], shop).visits["serial"]) == {f"BS{n}" for n in range(100, 140)}
    apart = checked_shop(
        tomllib.loads(propose([FIRST, last], answers={**ANSWERS, "serials with dashes": "no"}).shop_toml)
    )
    assert apart.shop.serials == "exact"
    notes = read_log(last[1] + b"3/3/2026,BS-101,Lark tenor,Bea,0.11\n", last[0], apart).notes
    assert any('serials = "bare"' in note for note in notes)
    capitals = sheet("packing", [f"bs{n}" if n % 3 else f"BS-{n}" for n in range(100, 140)])
    apart = propose([FIRST, capitals], answers={**ANSWERS, "serials": "no"})  # then dashes are not asked about
    assert [ask.key for ask in apart.asks if ask.key.startswith("serials")] == ["serials"]

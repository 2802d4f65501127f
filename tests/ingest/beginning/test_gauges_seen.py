"""The gauges that a sheet names in a column of their own: listed with what they measure and in which steps."""

import tomllib

import pytest

from ingest.beginning.answers import checked_answers
from ingest.beginning.new import propose
from ingest.shopfiles.shop import checked_shop
from tests.ingest.small_shop import csv

HEAD = "Serial,Date,Bench,Tech,Gauge,Relief (mm),Action bass (mm)"
SHOP = {"shop": {"name": "Bench", "timezone": "UTC"}, "model": [{"key": "M1", "family": "tenor ukulele"}]}


def rows(n=240):
    """Blades K1 and K2 for relief, a rule and a caliper for action, a slip of the pen."""
    for at in range(n):
        bench = ("neck", "bridge")[at % 2]
        gauge = {"neck": ("K1", "K2"), "bridge": ("Rule 4", "cal-7")}[bench][at // 2 % 2]
        gauge = {7: "cal-77", 13: "rule 4"}.get(at, gauge)
        relief = f"{0.05 + at % 11 / 100:.2f}" if bench == "neck" else ""
        step = 0.5 if gauge.casefold() == "rule 4" else 0.01
        action = f"{2 + at // 2 % 13 * step / 5 * 5:.2f}" if bench == "bridge" else ""
        yield f"A{at},2026-03-{2 + at // 10:02d},{bench},JR,{gauge},{relief},{action}"


def proposed(*, head=HEAD, lines=None, said=None, shop=None):
    log = {"files": "*.csv", "headings": {"Gauge": "gauge"}}
    told = SHOP | {"log": [log]} | (said or {})
    return propose([("bench.csv", csv(head, *(lines or rows())))], said=checked_answers(told), shop=shop)


def test_each_word_of_a_gauge_column_is_a_gauge_with_what_it_measures_and_its_own_step():
    found = {one["key"]: one for one in tomllib.loads(proposed().shop_toml)["gauge"]}
    assert found == {
        "K1": {"key": "K1", "measures": ["relief"], "resolution": "0.01 mm"},
        "K2": {"key": "K2", "measures": ["relief"], "resolution": "0.01 mm"},
        "Rule 4": {"key": "Rule 4", "measures": ["action"], "resolution": "0.5 mm", "words": ["rule 4"]},
        "cal-7": {"key": "cal-7", "measures": ["action"], "resolution": "0.01 mm"},
    }


def test_a_gauge_that_somebody_declared_stays_as_it_was_said():
    said = {"gauge": [{"key": "blades", "measures": ["relief"], "resolution": "0.02 mm", "words": ["K1", "K2"]}]}
    found = {one["key"]: one for one in tomllib.loads(proposed(said=said).shop_toml)["gauge"]}
    assert found.keys() == {"blades", "Rule 4", "cal-7"}
    assert found["blades"]["resolution"] == "0.02 mm"


def test_one_gauge_beside_things_of_two_steps_has_none_and_the_steps_stand_by_measurement():
    lines = [f"A{at},2026-03-{2 + at // 10:02d},final,JR,G,0.{at % 9 + 10},{2 + at % 5 / 2:.1f}" for at in range(200)]
    found = {one["key"]: one for one in tomllib.loads(proposed(lines=lines).shop_toml)["gauge"]}
    assert found["G"] == {"key": "G", "measures": ["relief", "action"]}
    assert found["relief gauge"]["resolution"] == "0.01 mm"
    assert found["action gauge"]["resolution"] == "0.5 mm"


@pytest.mark.parametrize(
    ("lists", "added"), [(["K1", "K2", "Rule 4"], {"cal-7"}), ([], {"K1", "K2", "Rule 4", "cal-7"})]
)
def test_a_shop_that_is_there_is_told_the_gauges_that_it_does_not_list(lists, added):
    table = tomllib.loads(proposed().shop_toml)
    table["gauge"] = [one for one in table["gauge"] if one["key"] in lists]
    more = tomllib.loads(proposed(shop=checked_shop(table)).shop_toml)
    assert {one["key"] for one in more["gauge"]} == added


def measured(key="gauge", step=0.05, unit="mm", gauge=""):
    """A sheet that reads action at one bench in such steps."""
    head = f"Serial,Date,Bench,Tech,Action bass ({unit}){',Gauge' if gauge else ''}"
    read = (2.4 / (25.4 if unit == "in" else 1)) // step * step
    lines = [
        f"{key}{at},2026-03-{2 + at // 10:02d},bridge,JR,{read + at % 7 * step:.7g}{f',{gauge}' if gauge else ''}"
        for at in range(70)
    ]
    return f"{key}.csv", csv(head, *lines)


def shop_with(resolution="0.05 mm"):
    """A shop that reads its own kind of sheet, with a gauge of that resolution for action."""
    told = SHOP | {"log": [{"files": "mine*.csv"}]}
    table = tomllib.loads(propose([measured("mine")], said=checked_answers(told)).shop_toml)
    assert [one["resolution"] for one in table["gauge"]] == ["0.05 mm"]
    table["gauge"][0]["resolution"] = resolution
    return checked_shop(table), table


def test_a_kind_of_sheet_in_wider_steps_than_declared_brings_a_gauge_of_its_own():
    shop, table = shop_with()
    text = propose([measured("rule", 1 / 128, "in")], shop=shop, said=checked_answers({})).shop_toml
    [one] = tomllib.loads(text)["gauge"]
    assert (one["measures"], one["resolution"]) == (["action"], "1/128 in")
    assert one["key"] not in {gauge.key for gauge in shop.gauges}
    assert "the steps of 70 readings, wider than declared so far" in text
    both = checked_shop(table | {"gauge": [*table["gauge"], one]})  # it stands beside the one there is
    again = propose([measured("rule", 1 / 128, "in")], shop=both, said=checked_answers({})).shop_toml
    assert "[[gauge]]" not in again


@pytest.mark.parametrize(
    ("sheet", "declared"),
    [
        (measured("fine", 0.01), "0.05 mm"),
        (measured("same", 0.05), "0.05 mm"),
        (measured("rule", 1 / 128, "in"), "1/64 in"),
        (measured("mine again", 0.25), "0.05 mm"),  # of a kind that the shop knows: somebody says so, or Week does
    ],
)
def test_no_gauge_is_brought_by_steps_as_fine_as_declared_or_by_a_kind_that_is_known(sheet, declared):
    text = propose([sheet], shop=shop_with(declared)[0], said=checked_answers({})).shop_toml
    assert "coarser gauge" not in text


def test_a_sheet_that_names_its_gauges_brings_those_alone():
    text = propose([measured("named", 0.25, gauge="stick")], shop=shop_with()[0], said=checked_answers({})).shop_toml
    assert [one["key"] for one in tomllib.loads(text)["gauge"]] == ["stick"]

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

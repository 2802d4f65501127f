"""Words of a stage column that the trade does not know whole, and the one bench whose name stands in each."""

import tomllib

import pytest

from ingest.beginning.answers import checked_answers
from ingest.beginning.new import propose
from ingest.beginning.stage_words import likely_stages, stage_of_word
from tests.ingest.beginning.test_proposed import DAYS, SHOP
from tests.ingest.small_shop import csv


def test_a_word_that_holds_the_name_of_one_stage_probably_means_it():
    words = ["check-in", "nut filing", "bridge n strings", "Saddle height", "last look"]
    assert likely_stages(words[:3], []) == {"nut filing": "nut_slotting", "bridge n strings": "bridge_fitting"}
    assert likely_stages(words, []) == {"nut filing": "nut_slotting"}  # two of the bridge: nobody knows which


def test_a_stage_that_another_word_means_is_nobody_elses():
    assert likely_stages(["nut filing"], ["nut_slotting"]) == {}


def test_a_bench_is_asked_about_with_what_it_probably_is_and_taken_so_as_a_guess():
    benches = ("nut filing", "gluing", "final inspection")
    rows = [f"A{n},{DAYS[n % 26]},{bench},JR,0.1{n % 9}" for n in range(20) for bench in benches]
    made = propose([("s.csv", csv("Serial,Date,Station,Tech,Relief (mm)", *rows))], said=checked_answers(SHOP))
    asked = {ask.key: ask.default for ask in made.asks}
    assert asked["stage nut filing"] == "nut_slotting"
    assert asked["stage gluing"] == "one of its own"
    assert tomllib.loads(made.shop_toml)["log"][0]["words"]["stage"]["nut filing"] == "nut_slotting"
    assert '"nut filing" = "nut_slotting"  # guess' in made.shop_toml


@pytest.mark.parametrize(("word", "stage"), [("TEST", "play_test"), ("Receive", "receiving"), ("Testing", "play_test")])
def test_a_bench_may_be_called_by_what_it_does(word, stage):
    assert stage_of_word(word) == stage


@pytest.mark.parametrize(("result", "final"), [("fail", "play_test"), ("ok", "bridge_fitting")])
def test_the_last_bench_of_all_that_tests_and_sends_back_judges_though_nothing_is_measured_there(result, final):
    rows = [
        f"FB{k:04},Finch,{bench},AL,2026-08-{24 + k % 5},{7 + at:02}:{k % 60:02},{value if at == 1 else ''},"
        f"{result if at == 2 and k % 9 == 0 else 'ok'}"
        for k in range(60)
        for at, bench in enumerate(("NUT", "BRIDGE", "TEST"))
        for value in [f"0.1{k % 9}"]
    ]
    made = propose([("day.csv", csv("Serial,Model,Bench,Initials,Date,In,Relief (mm),Result", *rows))])
    [question] = [one for one in made.asks if one.key == "final stage"]
    assert question.default == final

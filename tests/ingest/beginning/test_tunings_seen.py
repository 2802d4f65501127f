"""How models are tuned, by their families and the notes that their rows name."""

import tomllib

import pytest

from ingest.beginning.answers import Said
from ingest.beginning.asking import Ask, unfit
from ingest.beginning.new import look, propose
from ingest.beginning.tunings_seen import columns_of, fitting_tunings
from tests.ingest.small_shop import csv


@pytest.mark.parametrize(
    ("notes", "family", "fitting"),
    [
        ("A G", "tenor ukulele", ["G C E A"]),  # the outer strings of a known family
        ("E B G D", "baritone ukulele", ["D G B E"]),
        ("E B G D", "tenor ukulele", []),  # not as such are tuned
        ("E A D G B E'", "classical guitar", ["E A D G B E'"]),
        ("E A D G H E'", "electric guitar", ["E A D G H E'"]),
        ("G C E A", "not said", ["G C E A"]),
        ("A G", "not said", []),
        ("E A D G", "not said", ["E A D G", "G D A E"]),
        ("D G", "square-neck resonator guitar", []),
    ],
)
def test_a_tuning_is_of_the_family_or_has_exactly_the_notes(notes, family, fitting):
    assert fitting_tunings(notes.split(), family) == fitting


def sheet(**models):
    rows = ["Date,Unit no,Model,Station,Characteristic,String,Reading,Unit"]
    for model, notes in models.items():
        for n in range(20):
            of = notes.split()
            rows += [f"2026-03-{2 + n} 09:{n:02d},{model}{n},{model},final,nut,{of[n % len(of)]},0.5{n % 9},mm"]
    return "nuts.csv", csv(*rows)


FAMILIES = Said({"model": [{"key": "KT", "family": "tenor ukulele"}, {"key": "KB", "family": "baritone ukulele"}]})


def test_each_model_of_one_list_gets_its_own_tuning_and_its_strings():
    table = tomllib.loads(propose([sheet(KT="G C E A", KB="D G B E")], said=FAMILIES).shop_toml)
    assert {model["key"]: model["tuning"] for model in table["model"]} == {"KT": "G C E A", "KB": "D G B E"}
    assert table["characteristic"][0]["positions"] == ["1", "2", "3", "4"]


def test_words_that_somebody_gave_are_not_asked_about_where_they_explain_a_model():
    words = {"log": [{"words": {"position": {"A": "1", "E": "2", "C": "3", "G": "4"}}}]}
    found = propose([sheet(KT="G C E A", KB="D G B E")], said=Said(FAMILIES.table | words))
    models = {model["key"]: model.get("tuning", "") for model in tomllib.loads(found.shop_toml)["model"]}
    assert models == {"KT": "", "KB": "D G B E"}


def test_what_no_tuning_fits_stays_unread_until_somebody_says():
    found = propose([sheet(KT="G C F A")], said=FAMILIES)
    assert [ask.default for ask in found.asks if ask.key == "tuning of KT"] == ["ask"]
    assert any(line.startswith("strings of 'KT' are not read") for line in found.unread)
    answered = propose([sheet(KT="G C F A")], said=FAMILIES, answers={"tuning of KT": "G C F A"})
    assert tomllib.loads(answered.shop_toml)["model"][0]["tuning"] == "G C F A"
    assert "is no tuning" in unfit(Ask("tuning of KT", "", (), "ask"), "uke")


@pytest.mark.parametrize(
    ("family", "strings"),
    [
        ("concert ukulele", {"action 4", "action 1"}),
        ("steel-string guitar", {"action 3", "action 5"}),
        ("cello", set()),
    ],
)
def test_columns_by_notes_are_strings_once_somebody_says_of_which_instrument(family, strings):
    text = "Serial,Date,Action G (mm),Action A (mm)\n" + "".join(
        f"A{n},2026-03-0{n},2.4{n},2.2{n}\n" for n in range(1, 8)
    )
    surveys, _ = look([("line.csv", text.encode())], Said())
    assert {target.partition(" (")[0] for target in columns_of(surveys, family).values()} == strings

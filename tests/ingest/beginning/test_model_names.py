"""Models under their commonest spelling, their short forms, and families that a name alone does not tell."""

import tomllib

import pytest

from ingest.beginning.answers import checked_answers
from ingest.beginning.model_names import commonest, other_kinds, short_forms
from ingest.beginning.new import propose

SAID = {"shop": {"name": "B", "timezone": "UTC"}}


def proposed(models, **more):
    rows = [
        f"A{n:03},2026-03-{2 + n % 26:02},{model},Final,Ann,ok,0.2"
        for n, model in enumerate(model for model, count in models for _ in range(count))
    ]
    text = "\n".join(["Serial,Date,Model,Bench,Tech,Result,Relief (mm)", *rows])
    return propose([("book.csv", text.encode())], said=checked_answers(SAID), **more)


def models_of(proposal):
    return {entry["key"]: entry for entry in tomllib.loads(proposal.shop_toml)["model"]}


def test_a_model_goes_by_its_commonest_spelling():
    assert commonest({"DREADNOUGHT D20": 2, "Dreadnought D20": 266, "dreadnought d20": 3}) == {
        "dreadnought d20": "Dreadnought D20"
    }
    found = models_of(proposed([("Dreadnought D20", 30), ("DREADNOUGHT D20", 2)]))
    assert list(found) == ["Dreadnought D20"]


def test_a_rare_word_that_may_be_short_for_one_model_is_its_word_and_no_model():
    assert short_forms({"Dreadnought D20": 40, "D20": 3, "OM KLEIN OM10": 40, "OM10": 5}) == {"D20": "Dreadnought D20"}
    assert short_forms({"Lark 25": 40, "Lark 26": 3}) == {}
    assert short_forms({"Tenor T3": 40, "Concert T3": 40, "T3": 3}) == {}  # of two nobody knows which
    found = models_of(proposed([("Dreadnought D20", 40), ("D20", 3)]))
    assert found["Dreadnought D20"]["words"] == ["D20"]
    assert len(found) == 1


@pytest.mark.parametrize(
    ("name", "family", "kinds", "others"),
    [
        ("TB-4 Tenor", "tenor ukulele", {"banjo"}, ["tenor banjo"]),
        ("RB-3 Resonator", "resonator guitar", {"banjo"}, ["resonator banjo"]),
        ("TB-4 Tenor", "tenor ukulele", {"ukulele"}, []),
        ("Tenor banjo TB-4", "tenor banjo", {"ukulele", "banjo"}, []),  # its name says its kind
        ("Tenor uke", "tenor ukulele", {"banjo"}, []),
    ],
)
def test_a_word_that_several_kinds_have_is_told_by_no_name_alone(name, family, kinds, others):
    assert other_kinds(name, family, kinds) == others


def test_in_a_shop_of_banjos_a_tenor_is_asked_about_with_the_banjo_as_the_guess():
    models = [("OB-11 Openback", 20), ("TB-4 Tenor", 20), ("RB-3 Resonator", 20)]
    proposal = proposed(models)
    asked = {ask.key: ask for ask in proposal.asks if ask.key.startswith("family of")}
    assert asked["family of TB-4 Tenor"].default == "tenor banjo"
    assert "tenor ukulele, or tenor banjo" in asked["family of TB-4 Tenor"].text
    assert models_of(proposal)["RB-3 Resonator"]["family"] == "resonator banjo"
    answered = proposed(models, answers={"family of TB-4 Tenor": "tenor ukulele"})
    assert models_of(answered)["TB-4 Tenor"]["family"] == "tenor ukulele"


def test_in_a_shop_of_ukuleles_nothing_is_asked_of_a_tenor():
    proposal = proposed([("Wren concert", 20), ("Wren tenor", 20), ("Wren uke soprano", 20)])
    assert not [ask for ask in proposal.asks if ask.key.startswith("family of")]
    assert models_of(proposal)["Wren tenor"]["family"] == "tenor ukulele"

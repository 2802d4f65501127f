"""The words of a shop: each distinct text looked up once, unknown ones told."""

import polars as pl
import pytest

from ingest.reading.words import Words
from ingest.shopfiles.shop import checked_shop
from ingest.shopfiles.shop_parts import Log
from tests.ingest.small_shop import TABLE, small_shop


def words(**own: dict[str, str]) -> Words:
    shop = small_shop(words=own)
    return Words(shop, shop.logs[0])


@pytest.mark.parametrize(
    ("field", "text", "key"),
    [
        ("stage", "final_inspection", "final_inspection"),
        ("stage", "Final  inspection", "final_inspection"),
        ("stage", "FIN", None),
        ("model", "L25", "LARK-25"),
        ("model", "lark-25", "LARK-25"),
        ("outcome", "Send-back", "send back"),
        ("outcome", "ok", None),
        ("cause", "handling", "handling"),
        ("sent_back_to", "Nut slotting", "nut_slotting"),
        ("gauge", "feeler", "leaves"),
        ("stage", "", ""),
    ],
)
def test_a_word_is_looked_up_without_regard_to_capitals_and_underscores(field, text, key):
    assert words().translate(field, pl.Series([text])).to_list() == [key]


def test_the_sheets_own_words_come_first():
    own = words(stage={"fin": "final_inspection", "packing": "play_test"}, supplier={"N.W.": "Northway"})
    assert own.translate("stage", pl.Series(["fin", "packing"])).to_list() == ["final_inspection", "play_test"]
    assert own.or_as_typed("supplier", pl.Series(["n.w.", "Other"]))[0].to_list() == ["Northway", "Other"]
    assert own.translate("sent_back_to", pl.Series(["fin"])).to_list() == ["final_inspection"]


@pytest.mark.parametrize(
    ("text", "kept", "unknown"),
    [("JR", "T07", []), ("JR/AO", "T07/T08", []), ("Jo & J.R.", "Jo & T07", ["Jo"]), ("Jo", "Jo", ["Jo"])],
)
def test_techs_are_kept_as_typed_where_they_are_not_listed(text, kept, unknown):
    keys, asked = words().or_as_typed("tech", pl.Series([text]))
    assert (keys.to_list(), asked) == ([kept], unknown)


def test_a_question_names_the_nearest_known_and_the_line_to_paste():
    assert 'words = { stage = { "Finl inspection" = "final_inspection" } }' in words().wanted(
        "stage", "Finl inspection"
    )
    assert '[[tech]] key = "Qq"' in words().ask("tech", "Qq")


def sisters(**second):
    first = {"files": "a*", "headings": {"Befund": "outcome", "Platz": "stage"}}
    first |= {"words": {"outcome": {"NA": "send back", "gut": "pass"}, "stage": {"Probe": "play_test"}}}
    return checked_shop(TABLE | {"log": [first, {"files": "b*", "headings": {"Befund": "outcome"}} | second]})


def outcome_of(shop, *words, log=1):
    return Words(shop, shop.logs[log]).translate("outcome", pl.Series(words)).to_list()


def test_a_word_mapped_once_holds_in_the_other_logs_of_like_heading():
    assert outcome_of(sisters(), "NA", "gut", "??") == ["send back", "pass", None]
    assert outcome_of(sisters(headings={"befund ": "outcome"}), "NA") == ["send back"]


def test_a_word_mapped_once_does_not_hold_under_another_heading():
    assert outcome_of(sisters(headings={"Ergebnis": "outcome"}), "NA") == [None]
    assert outcome_of(sisters(headings={}), "NA") == [None]


def test_what_a_log_says_itself_goes_before_what_another_says():
    shop = sisters(words={"outcome": {"NA": "hold"}})
    assert outcome_of(shop, "NA", "gut") == ["hold", "pass"]
    assert outcome_of(shop, "NA", log=0) == ["send back"]


def test_of_two_logs_that_disagree_neither_is_taken():
    third = {"files": "c*", "headings": {"Befund": "outcome"}, "words": {"outcome": {"NA": "hold"}}}
    shop = checked_shop(TABLE | {"log": [*(log.model_dump(exclude_defaults=True) for log in sisters().logs), third]})
    assert outcome_of(shop, "NA", "gut") == [None, "pass"]


def test_a_word_that_the_shop_lists_keeps_its_meaning_in_other_logs():
    words = {"stage": {"receiving": "play_test"}}
    first = {"files": "a*", "headings": {"Platz": "stage"}, "words": words}
    shop = checked_shop(TABLE | {"log": [first, {"files": "b*", "headings": {"Platz": "stage"}}]})
    assert Words(shop, shop.logs[1]).translate("stage", pl.Series(["receiving"])).to_list() == ["receiving"]


@pytest.mark.parametrize(
    ("text", "outcome", "place"),
    [
        ("redo nut", "send back", "nut_slotting"),
        ("redo: nut", "send back", "nut_slotting"),
        ("Redo -> Nut slotting", "send back", "nut_slotting"),
        ("redo to the nut", "send back", "nut_slotting"),
        ("redo play test", "send back", "play_test"),
        ("zurück an Sattel", "send back", "nut_slotting"),  # the whole cell was said, what stands before was not
        ("send back", "send back", ""),
        ("send back nut", "send back", "nut_slotting"),
        ("redo at nut", None, ""),  # perhaps where it failed
        ("nut", None, ""),
        ("ok nut", None, ""),
        ("redo my nut", None, ""),
        ("not good: the nut", "send back", ""),  # said, but more than a word before it
    ],
)
def test_an_outcome_with_a_place_says_where_it_went_back_to(text, outcome, place):
    said = {"redo": "send back", "zurück an Sattel": "send back", "ok": "pass", "not good: the nut": "send back"}
    own = words(outcome=said, stage={"nut": "nut_slotting", "Sattel": "nut_slotting"})
    assert own.translate("outcome", pl.Series([text])).to_list() == [outcome]
    assert (own.place_behind(text) if outcome else "") == place


def test_a_short_form_of_one_techs_name_is_that_tech_and_a_word_of_its_own_no_model():
    table = TABLE | {"tech": [{"key": "T01", "name": "Hélène Bertin"}, {"key": "Yann Le Goff"}]}
    held = Words(shop := checked_shop(table), shop.logs[0] if shop.logs else Log())
    assert [held.nearest("tech", word) for word in ("HB", "H. Bertin", "Yann", "XY")] == [
        "T01",
        "T01",
        "Yann Le Goff",
        "",
    ]
    assert held.nearest("model", "LARK25") == "LARK-25"
    assert held.nearest("model", "LARK-26") == ""

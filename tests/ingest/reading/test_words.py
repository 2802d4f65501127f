"""The words of a shop: each distinct text looked up once, unknown ones told."""

import polars as pl
import pytest

from ingest.reading.words import Words
from tests.ingest.small_shop import small_shop


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

"""A row as it was typed: its hash must never change, or unsettled conflicts would turn round with a new version of the
program.
"""

from base64 import b64encode
from hashlib import blake2b

import numpy as np
import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from ingest.reading.headings import Headings
from ingest.reading.row_text import FACTOR, hash_of, other_json, row_text, text_hash
from tests.ingest.small_shop import small_shop

WORD = 2**64


def by_hand(text: str) -> int:
    """The hash of one text as its definition says, with whole numbers of Python."""

    def mixed(word: int) -> int:
        word = (word ^ (word >> 30)) * 0xBF58476D1CE4E5B9 % WORD
        word = (word ^ (word >> 27)) * 0x94D049BB133111EB % WORD
        return word ^ (word >> 31)

    data = text.encode()
    data += b"\0" * (8 - len(data) % 8)
    words = [int.from_bytes(data[at : at + 8], "little") for at in range(0, len(data), 8)]
    total = mixed(sum(mixed(word) * pow(FACTOR, place, WORD) for place, word in enumerate(words, 1)) % WORD)
    return total - WORD if total >= WORD // 2 else total


@given(st.lists(st.text(max_size=40), max_size=8))
def test_hashing_many_texts_at_once_is_hashing_one_at_a_time(texts):
    texts = [text for text in texts if not any("\ud800" <= letter <= "\udfff" for letter in text)]
    assert hash_of(pl.Series(texts, dtype=pl.String)).tolist() == [by_hand(text) for text in texts]


def test_rows_that_differ_in_one_digit_have_hashes_of_their_own():
    texts = pl.select(
        pl.format("SN{}|2026-03-02 08:00|0.{}", pl.int_range(200_000) // 1000, pl.int_range(200_000) % 1000)
    ).to_series()
    assert len(np.unique(hash_of(texts))) == 200_000


def test_the_hash_of_a_row_is_that_of_its_filled_cells_under_their_meaning():
    shop = small_shop()
    columns = Headings(shop, shop.logs[0]).table(["S/N", "Date", "Stage", "Colour", "Relief (in)"], "a.csv")
    rows = pl.DataFrame(
        {"line": [2], "c0": ["A1"], "c1": ["2026-03-02"], "c2": ["packing"], "c3": [""], "c4": [".010"]}
    )
    tagged = "".join(
        "\x1e" + b64encode(blake2b(meaning.encode(), digest_size=3).digest()).decode() + cell
        for meaning, cell in [("date", "2026-03-02"), ("relief", ".010"), ("serial", "A1"), ("stage", "packing")]
    )
    assert text_hash(rows, columns).to_list() == [by_hand(tagged)]


def test_a_row_in_one_line_shows_every_cell_up_to_the_last_that_is_filled():
    rows = pl.DataFrame({"line": [2, 3], "c0": ["A1", "A2"], "c1": ["", "y"], "c2": ["x", ""], "c3": ["", ""]})
    assert row_text(rows).to_list() == ["A1 |  | x", "A2 | y"]


def test_cells_that_no_heading_names_are_kept_as_json():
    shop = small_shop()
    columns = Headings(shop, shop.logs[0]).table(["serial", 'The "odd" one', ""], "a.csv")
    rows = pl.DataFrame({"line": [2, 3], "c0": ["A1", "A2"], "c1": ['say "é"', ""], "c2": ["", ""]})
    assert other_json(rows, columns).to_list() == ['{"The \\"odd\\" one":"say \\"é\\""}', ""]
    rows = rows.with_columns(c2=pl.Series(["x", ""]))
    assert other_json(rows, columns).to_list() == ['{"The \\"odd\\" one":"say \\"é\\"","column 3":"x"}', ""]


def test_two_unknown_columns_of_one_name_are_both_kept():
    shop = small_shop()
    columns = Headings(shop, shop.logs[0]).table(["serial", "x", "x"], "a.csv")
    rows = pl.DataFrame({"line": [2], "c0": ["A1"], "c1": ["1"], "c2": ["2"]})
    assert other_json(rows, columns).to_list() == ['{"x column 2":"1","x column 3":"2"}']


def test_no_text_has_no_hash_and_an_empty_one_has_one():
    assert hash_of(pl.Series([], dtype=pl.String)).shape == (0,)
    assert hash_of(pl.Series(["", "", "a"])).shape == (3,)

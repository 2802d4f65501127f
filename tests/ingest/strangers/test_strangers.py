"""Shops that the program has never met, small: from their sheets and a few truthful answers to a store without a
wrong reading. The same at full size: tests/trials/strangers.py.
"""

import pytest

from tests.ingest.strangers.all_ten import SECOND, TEN, stranger
from tests.ingest.strangers.truth import answers_given
from tests.ingest.strangers.walk import walk

SMALL = 24
MOST_ANSWERS = 25


@pytest.mark.parametrize("name", [*TEN, *SECOND])
def test_a_strangers_readings_are_stored_right_and_none_wrong(name, tmp_path):
    shop = stranger(name, SMALL)
    assert answers_given(shop.answers) <= MOST_ANSWERS
    came = walk(shop, tmp_path / "shop")
    assert came.readings.wrong == 0, came.readings.examples
    assert came.readings.share >= 0.99, came.readings.examples
    assert came.send_backs == set()
    held = came.snapshot.table("visits", "serial")["serial"].unique()
    assert set(held) == shop.truth.serials


def test_the_harness_sees_a_wrong_reading_and_an_unread_one():
    from tests.ingest.strangers.truth import Truth, agreement

    key = ("A1", "final_inspection", "2026-03-02", "action", "bass", "found")
    truth = Truth(readings=[(key, 2.5)])
    assert (agreement(truth, [(key, 2.5)]).right, agreement(truth, []).unread) == (1, 1)
    off = agreement(truth, [(key, 2.4)])
    assert (off.right, off.unread, off.wrong) == (0, 1, 1)

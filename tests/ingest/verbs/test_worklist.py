"""What a cell that could not be read may have been meant to say."""

import pytest

from ingest.verbs import worklist


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("24", [("0.024", 0.024), ("0.24", 0.24), ("2.4", 2.4), ("240", 240.0), ("2400", 2400.0)]),
        ("2,4O", [("2.40", 2.4)]),
        ("l.8", [("1.8", 1.8)]),
        ("-I2", [("-12", -12.0)]),
        ("about 2", []),
    ],
)
def test_a_point_that_was_lost_or_a_letter_typed_for_a_digit(typed, meant):
    assert list(worklist._readings_of(typed)) == [(text, pytest.approx(number)) for text, number in meant]

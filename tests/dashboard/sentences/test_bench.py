"""What is said of a tech against the others: never a nought with an interval of noughts."""

import pytest

from dashboard.sentences import bench


@pytest.fixture
def shop(people_desk):
    return people_desk.snapshot().shop


def said(shop, offset, low, high):
    beside = {"ratio": 1.0, "ratio_low": 0.8, "ratio_high": 1.2, "instruments": 400, "characteristic": "nut"}
    return bench.offset(shop, {**beside, "offset": offset, "offset_low": low, "offset_high": high}).replace("\xa0", " ")


def test_an_offset_smaller_than_is_shown_says_so(shop):
    assert said(shop, 0.001, -0.004, 0.004).startswith("less than 0.01 mm from the others, no offset shown")
    assert said(shop, 0.002, 0.001, 0.004).startswith("less than 0.01 mm from the others;")


def test_one_that_is_shown_stands_with_its_interval(shop):
    assert said(shop, 0.001, -0.006, 0.004).startswith("0.00 mm from the others (−0.01 mm to 0.00 mm), no offset shown")
    assert said(shop, 0.03, 0.02, 0.04).startswith("+0.03 mm from the others (+0.02 mm to +0.04 mm);")

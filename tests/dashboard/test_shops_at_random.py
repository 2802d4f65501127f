"""Shops of random subsets of the demo's logs, each with an oddity: a few of the trial's three hundred."""

import pytest

from demo_data.generator import write_shop
from tests.trials import odd_shops


@pytest.mark.promise
def test_no_page_paper_table_or_command_of_an_odd_shop_ends_in_a_fault(tmp_path):
    walked = odd_shops.trial(3, 600.0, write_shop(tmp_path))  # so many, however slow the machine
    assert len(walked) == 3
    assert [one for one in walked if one.wrong] == []

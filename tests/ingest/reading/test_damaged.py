"""A small part of the trial of damaged logs of other kinds, workbooks among them."""

import pytest

from tests.trials import fuzz_other


@pytest.mark.promise
def test_damage_of_any_kind_touches_no_row_but_its_own():
    told = fuzz_other.trial(1_500)
    assert told.faults == []
    assert told.damaged >= 1_500
    assert told.rows_read == told.accepted + told.rows_set_aside

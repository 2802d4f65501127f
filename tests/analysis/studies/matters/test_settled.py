"""What a person closes stays the matter it was told as: no older one takes it in, and its start and size stay."""

import csv
import io

import numpy as np
import pytest

from analysis.studies.matters.matters import matters, open_matters
from analysis.studies.matters.settled import settled
from dashboard.desk.desk import use
from dashboard.pages.book import deeds
from tests.dashboard.pages import moving_shop
from tests.dashboard.pages.typed_anew import typed_anew

SEED = 5


def stands(folder, bass, treble):
    """`moving_shop` without its change: action of LARK-25 moved by what `bass` and `treble` say of an instrument."""
    moving_shop.stands(folder, with_logs=False)
    (folder / "changes.csv").unlink()
    rows = list(csv.DictReader(io.StringIO(moving_shop.log())))
    noise = 0.08 * np.random.default_rng(SEED).standard_normal((2, 400))
    for row in rows:
        k = int(row["serial"].split("-")[1]) - 1000
        if row["model"] == "LARK-25" and row["action treble (mm)"]:
            row["action treble (mm)"] = f"{2.4 + treble(k) + noise[0, k]:.2f}"
            row["action bass (mm)"] = f"{2.6 + bass(k) + noise[1, k]:.2f}"
    return typed_anew(folder, rows, moving_shop.NOW)


def up(first, last=1000):
    return lambda k: 0.30 if first <= k < last else 0.0


def told(counter):
    return {
        one.key: (one.began_at, round(one.size, 9), len(one.signals), one.positions, one.closed_at is None)
        for one in counter.ask(matters)
    }


@pytest.mark.parametrize("times", [(110, 130, 150), (110, 135, 140), (115, 140, 160)])
def test_what_a_person_closes_keeps_its_signals_its_start_and_its_size(tmp_path, times):
    first, last, then = times
    counter = stands(tmp_path / "shop", up(first, last), up(then))
    use(counter)
    before = told(counter)
    (one,) = counter.ask(open_matters)
    assert deeds.write(one.key, "close", {"why": "settled", "who": "Mara"}) == ""
    assert counter.ask(open_matters) == []
    after = told(counter)
    assert {key: row[:4] for key, row in after.items()} == {key: row[:4] for key, row in before.items()}
    assert not any(row[4] for row in after.values())


def test_two_deeds_are_two_matters_and_what_is_opened_again_is_in_none(tmp_path):
    counter = stands(tmp_path / "shop", up(110, 130), up(150))
    use(counter)
    (one,) = counter.ask(open_matters)
    assert counter.ask(settled) == []
    assert deeds.write(one.key, "close", {"why": "settled", "who": "Mara"}) == ""
    (deed,) = counter.ask(settled)
    assert len(deed) == len(one.signals)
    assert deeds.write(one.key, "reopen", {"why": "it is not", "who": "Mara"}) == ""
    still = {member.row for each in counter.ask(open_matters) for member in each.signals}
    assert {member.row for member in one.signals} >= still
    assert len(still) == len(one.signals)
    assert deeds.write(one.key, "close", {"why": "now it is", "who": "Olek"}) == ""
    assert counter.ask(settled) == [deed]

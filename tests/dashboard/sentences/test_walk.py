"""One instrument's story in words: where it stands, what it was shipped with, and what each reading was at last."""

from types import SimpleNamespace

import polars as pl
import pytest

from dashboard.sentences import shared, walk
from tests.dashboard.sentences.test_shared import SHOP, plain

NAMES = ["characteristic", "position"]


def life(standing="finished", final="v9", outside=()):
    row = {"serial": "LK-1", "standing": standing, "first_final_visit": final}
    return SimpleNamespace(instrument=row, outside=pl.DataFrame(list(outside), schema=NAMES, orient="row"))


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (life(), "LK-1: finished."),
        (
            life(outside=[("action", "bass"), ("action", "treble")]),
            "LK-1: finished, shipped outside its limits at action bass and treble.",
        ),
        (life(final=None), "LK-1: finished, no final inspection on file."),
        (life("bench", None), "LK-1: on the bench."),
        (life("reject", "v9", [("action", "bass")]), "LK-1: rejected."),
    ],
)
def test_what_was_shipped_outside_is_said_first(found, said):
    assert walk.headline(found, SHOP) == said


@pytest.mark.parametrize(
    ("read", "limit", "said"),
    [
        ([2.1], None, "2.10 mm"),
        ([2.1, 2.3], None, "2.10, then 2.30 mm"),
        ([2.1, 2.3, 2.9], 2.7, "2.10, 2.30, then 2.90 mm, limit 2.70"),
        ([2.1, 2.701], 2.7, "2.10, then 2.701 mm, limit 2.700"),
        ([2.1, 2.2, 2.3, 2.4, 2.5, 2.6], None, "2.10 .. 2.50, then 2.60 mm"),
    ],
)
def test_the_last_value_is_always_said(read, limit, said):
    assert plain(walk.values(SHOP, "action", read, limit)) == said


def test_many_places_are_counted():
    rows = [("action", f"string {k}") for k in range(1, 8)]
    assert shared.places(SHOP, rows)[-1] == "four more"
    assert len(shared.places(SHOP, rows[:4])) == 4

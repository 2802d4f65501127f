"""Which visits' logs tell how they ended, told once more in plain loops."""

import numpy as np
import polars as pl
import pytest

from analysis.studies.story.outcomes import outcome_read, outcomes_at, told_instruments
from analysis.studies.story.story import story
from ingest.store.snapshot import Snapshot
from ingest.terms import tables
from tests.analysis.studies.random_shops import random_shop

KINDS = {  # of a log: the columns it has
    "none known": [],
    "whole": [("outcome", ""), ("tech", "")],
    "some stages": [("outcome", "final"), ("outcome", "play"), ("minutes", "")],
    "no outcome": [("tech", ""), ("minutes", "nut")],
}


def shop_of(seed: int, *kinds: str) -> tuple[Snapshot, dict[str, list[tuple[str, str]]]]:
    """A random shop whose logs are of some kinds, and the columns of each log."""
    made, visits, faults = random_shop(seed, instruments=40)
    logs = {f"log{n}": KINDS[kind] for n, kind in enumerate(kinds)}
    rows = [(log, field, stage) for log, columns in logs.items() for field, stage in columns]
    columns = pl.DataFrame(rows, schema=["log_id", "field", "stage"], orient="row")
    named = visits.with_columns(log_id=pl.lit("log") + (pl.int_range(pl.len()) % len(kinds)).cast(pl.String))
    shaped = tables.shaped(columns, tables.COLUMNS)
    return Snapshot.of(made, visits=named, faults=faults.clear(), columns=shaped), logs


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("kinds", [tuple(KINDS), ("whole", "none known"), ("no outcome",), ("whole", "some stages")])
def test_logs_tell_of_visits_as_a_plain_look_says(seed, kinds):
    snapshot, logs = shop_of(seed, *kinds)
    told = snapshot.once(story)
    rows = told.visits.whole().to_dicts()
    read = []
    for row in rows:
        at = [stage for field, stage in logs[row["log_id"]] if field == "outcome"]
        read.append(not logs[row["log_id"]] or "" in at or row["stage"] in at)
    assert snapshot.once(outcome_read).to_list() == read
    assert snapshot.once(outcomes_at)["stage"].to_list() == sorted(
        {row["stage"] for row, one in zip(rows, read, strict=True) if one}
    )
    for serial, found in zip(told.instruments["serial"], snapshot.once(told_instruments), strict=True):
        own = [(row, one) for row, one in zip(rows, read, strict=True) if row["serial"] == serial]
        assert found == (any(one for _, one in own) and all(one for row, one in own if row["role"] == "final"))


def test_of_no_visit_nobody_asks():
    made, visits, faults = random_shop(1)
    snapshot = Snapshot.of(made, visits=visits.clear(), faults=faults.clear())
    assert snapshot.once(outcome_read).is_empty()
    assert np.array_equal(snapshot.once(told_instruments), np.zeros(0, dtype=bool))

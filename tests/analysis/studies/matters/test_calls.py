"""Did the tool's own calls hold: what people wrote about matters, counted."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from analysis.studies.drift.signals import signals
from analysis.studies.matters.calls import Calls, calls
from dashboard.sentences import calls as words
from ingest.terms.tables import BENCH_BOOK, shaped
from tests.analysis.studies.drifting import at, shop, snapshot

N = 300
VALUES = {("relief", ""): np.random.default_rng(20270303).normal(size=N) + 3.0 * (np.arange(N) >= 200)}
FEW = {"false_signals_per_week": 0.01}


def written(kind: str | None, row: dict[str, object]) -> pl.DataFrame:
    """The bench book with one line about a signal."""
    names = ("characteristic", "position", "model", "stage", "tech", "chart", "opened_at", "serial")
    line = {name: row[name] for name in names} | {"sequence": 1, "at": at(N - 1), "kind": kind or "", "text": "seen"}
    return shaped(pl.DataFrame([line]).head(1 if kind else 0), BENCH_BOOK)


@pytest.mark.parametrize(
    ("kind", "field"),
    [("cause", "confirmed"), ("action", "confirmed"), ("close", "false"), ("note", "unanswered"), (None, "unanswered")],
)
def test_what_somebody_wrote_decides(kind, field):
    row = snapshot(shop(**FEW), VALUES).once(signals).found.row(-1, named=True)
    found = snapshot(shop(**FEW), VALUES, bench_book=written(kind, row)).once(calls)
    counts = {name: getattr(found, name) for name in ("confirmed", "false", "known", "unanswered")}
    assert found.matters == sum(counts.values()) == 1
    assert counts[field] == 1
    assert found.opened >= 1
    assert found.allowed == pytest.approx(0.01 * (at(N - 1) - at(0)) / timedelta(weeks=1))
    assert found.by_chance == 1  # .07 are allowed: one or none in thirty-nine of forty such times
    assert words.calls(found).startswith("One matter opened in the last thirteen weeks: one ")


def test_what_became_of_matters_is_told_in_one_line_with_those_that_are_back():
    told = words.calls(Calls(6, 2, 1, 0, 3, 1, 9, 13.0))
    assert told == (
        "Six matters opened in the last thirteen weeks: two have a cause or an action in the book; one was closed as "
        "false; three have neither cause, action nor mark in the book yet, of which one is back as it was. Nine "
        "signals opened; the budget allows about 13 false ones."
    )
    told = words.calls(Calls(1, 0, 0, 1, 0, 0, 24, 13.0, again=4))
    assert told.endswith(
        " 20 signals opened, and four opened again: 24 openings; the budget allows about 13 false ones."
    )
    assert "one is marked known. One signal opened" in words.calls(Calls(1, 0, 0, 1, 0, 0, 1, 13.0))
    some = words.calls(Calls(1, 0, 0, 1, 0, 0, 15, 13.0, 20))
    assert some.endswith(
        " 15 signals opened; the budget allows about 13 false ones, and chance makes up to 20 of them."
    )
    many = words.calls(Calls(1, 0, 0, 1, 0, 0, 239, 13.0, 20))
    assert many.endswith("about 13 are false by the budget, the others go with what moved.")
    both = words.calls(Calls(2, 0, 0, 0, 2, 2, 2, None))
    assert both.endswith("two have neither cause, action nor mark in the book yet, of which two are back as they were.")


def test_signals_opened_are_those_of_the_figures_and_what_opened_again_stands_beside():
    values = np.random.default_rng(20270303).normal(size=600)
    values[200:230] += 4.0
    values[300:330] += 4.0  # the same once more, within thirteen weeks
    shifted = snapshot(shop(**FEW), {("relief", ""): values})
    found, judged = shifted.once(calls), shifted.once(signals)
    since = shifted.as_of - timedelta(weeks=13)
    in_figures = sum(len(some.filter(pl.col("opened_at") > since)) for some in (judged.found, judged.others))
    assert found.again >= 1
    assert found.opened - found.again == in_figures
    assert found.again == len(judged.openings.filter(pl.col("opened_at") > since)) - in_figures


def test_a_quiet_quarter_says_so():
    quiet = snapshot(shop(**FEW), {("relief", ""): np.random.default_rng(1).normal(size=150)}).once(calls)
    assert quiet.matters == 0
    assert words.calls(quiet) == "No matter opened in the last thirteen weeks."

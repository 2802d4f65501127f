"""A slow drift is told from a step, is no move to the target, and is said to be one wherever it is told."""

import csv
import io

import numpy as np
import pytest

from analysis.studies.matters.matters import open_matters
from dashboard.desk.desk import use
from dashboard.pages.book import page as book
from dashboard.pages.drift import page as drift
from dashboard.pages.week import page as week
from dashboard.papers import week as paper
from tests.dashboard.pages import moving_shop
from tests.dashboard.pages.said import said
from tests.dashboard.pages.typed_anew import typed_anew

AIM, SPREAD = 2.4, 0.08
WORN = 0.40  # mm in a hundred instruments


def worn(folder, of_instrument):
    """`moving_shop` without its change, its treble action on LARK-25 at what `of_instrument` says, a number a piece."""
    moving_shop.stands(folder, with_logs=False)
    (folder / "changes.csv").unlink()
    rows = list(csv.DictReader(io.StringIO(moving_shop.log())))
    noise = np.random.default_rng(moving_shop.SEED).standard_normal(moving_shop.N)
    for row in rows:
        k = int(row["serial"].split("-")[1]) - 1000
        if row["model"] == "LARK-25" and row["action treble (mm)"]:
            row["action treble (mm)"] = f"{of_instrument(k) + SPREAD * noise[k]:.2f}"
    return typed_anew(folder, rows, moving_shop.NOW)


def away(k):
    return AIM + WORN * max(k - 100, 0) / 100


def to_the_target(k):
    return AIM + WORN - WORN * max(k - 100, 0) / 100


@pytest.mark.parametrize("path", [away, to_the_target])
def test_what_wears_is_a_slow_drift_and_no_move_to_its_target(tmp_path, path):
    (one,) = worn(tmp_path / "shop", path).ask(open_matters)
    assert one.slow
    assert not one.to_target


@pytest.mark.parametrize("step", [0.15, -0.30])
def test_a_step_is_none(tmp_path, step):
    (one,) = worn(tmp_path / "shop", lambda k: AIM + (step if k >= 150 else 0.0)).ask(open_matters)
    assert not one.slow


def test_every_page_and_the_paper_say_that_it_is_a_slow_drift(tmp_path):
    use(worn(tmp_path / "shop", to_the_target))
    for text in (said(week.layout()), said(drift.layout()), paper.paper()[1]):
        assert "A slow drift, not one step" in text
        assert "nearer" not in text.replace("nearer to target: a tick", "")
        assert "practice, or a change that took" not in text
        assert "drifted slowly down" in text
        assert "by now" in text
        assert "mm a week more" in text
    assert "a slow drift" in said(book.layout())
    assert "nearer" not in said(book.layout())

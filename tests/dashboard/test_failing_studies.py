"""A study that ends in an error nobody expected: one line in its place, and every other page and table stands."""

import importlib
import re

import pytest
from typer.testing import CliRunner

from analysis.methods.problems import UnusableData
from dashboard import faults
from dashboard.app import PAGES, make_app
from dashboard.commands import cli
from dashboard.desk import desk
from dashboard.pages.week import shown
from dashboard.papers import week as week_paper
from tests.dashboard.pages.said import said
from tests.dashboard.test_odd_shops import stands

BROKEN = {  # what fails -> pages that still stand, and figures that are not written
    "analysis.studies.drift.signals._judged": (
        ("week", "rework", "necks", "bench", "logs"),
        {"streams", "signals", "odd", "capability"},
    ),
    "analysis.studies.rework.rework.flows": (("week", "drift"), set()),
    "analysis.review.outside_as_set": (("week",), set()),
    "analysis.review._matters": (("week",), set()),
    "analysis.studies.necks.of_week.measured": (("week",), set()),
    "dashboard.pages.rework.rest.savings": (("rework",), set()),
    "dashboard.pages.capability.page._room_left": (("capability",), set()),
    "dashboard.pages.week.sheets.shipped": (("week",), set()),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return stands(tmp_path_factory.mktemp("failing"), first=150)


@pytest.fixture
def quiet(monkeypatch):
    monkeypatch.setattr(faults, "loud", False)


def broken(monkeypatch, what):
    def fails(*_, **__):
        raise ZeroDivisionError("secret of a shop")

    monkeypatch.setattr(what, fails)
    monkeypatch.setattr(shown, "_code", lambda: f"with {what} broken")  # a week kept by the whole code is not its own


def laid_out(app, name):
    """What a page says, or the line why it cannot be laid out."""
    with app.server.test_request_context("/"):
        try:
            return said(importlib.import_module(f"dashboard.pages.{PAGES[name]}").layout())
        except UnusableData as why:
            return f"WHOLE PAGE: {why}"


@pytest.mark.parametrize("what", BROKEN)
def test_what_fails_stands_in_one_line_and_the_rest_stands(folder, monkeypatch, quiet, what):
    (folder / "store" / "program.log").unlink(missing_ok=True)
    broken(monkeypatch, what)
    app = make_app(desk.Desk(folder))
    pages, _ = BROKEN[what]
    told = {name: laid_out(app, name) for name in pages}
    for name in pages:
        assert not told[name].startswith("WHOLE PAGE"), (name, told[name])
    line = "could not be worked out: something went wrong in the program; the details stand in store/program.log"
    assert any(line in text for text in told.values())
    for text in told.values():
        assert "secret of" not in text
        assert "ZeroDivision" not in text
    log = (folder / "store" / "program.log").read_text()
    assert 1 <= log.count("ZeroDivisionError: secret") <= 3
    paper = week_paper.paper()[1]
    assert ("Not worked out" in paper) == (what.startswith("analysis"))


@pytest.mark.parametrize("what", ["analysis.review._matters", "analysis.studies.drift.signals._judged"])
def test_nothing_is_said_to_run_true_that_was_not_judged(folder, monkeypatch, quiet, what):
    broken(monkeypatch, what)
    app = make_app(desk.Desk(folder))
    for text in (laid_out(app, "week"), week_paper.paper()[1]):
        assert not re.search("rest ran true|judged ran true", text)
        assert "ot all of this week could be worked out" in text


@pytest.mark.parametrize("what", [one for one in BROKEN if BROKEN[one][1]])
def test_figures_writes_the_other_tables_and_says_which_could_not_be_made(folder, tmp_path, monkeypatch, quiet, what):
    broken(monkeypatch, what)
    (tmp_path / "signals.csv").write_text("of last week")
    ran = CliRunner().invoke(cli.app, ["figures", "--shop", str(folder), "--out", str(tmp_path)], standalone_mode=False)
    assert ran.return_value == 1, ran.output
    missing = BROKEN[what][1]
    assert missing <= set(re.findall(r"^(\w+): not written", ran.output, re.MULTILINE))
    there = {path.stem for path in tmp_path.iterdir()}
    assert not missing & there
    assert {"weeks", "stages", "send_backs", "lots", "logs", "set_aside"} <= there
    assert "ZeroDivision" not in ran.output

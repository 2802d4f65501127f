"""Shops with little, one of a kind or nothing of something: every page, figure and paper answers, in words where there
is no number.
"""

import importlib
import json
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from dash import dcc

from analysis.methods.problems import UnusableData
from dashboard.app import FURTHER, PAGES, make_app
from dashboard.desk import desk
from dashboard.exports.figures import FIGURES
from dashboard.papers import bench, necks, week
from ingest.verbs.load import load
from tests.dashboard.pages.said import said

DEMO = Path(__file__).parents[2] / "demo_data" / "week"
NOW = datetime(2026, 11, 21, tzinfo=UTC)
NO_NUMBER = re.compile(r"\bnan\b|\bNaN\b|\binf\b|[>: ]None[<,.]")
SHOPS = {  # which logs, which of their lines, which side files are missing, what shop.toml says otherwise
    "one model": {"line": "HERON-OM"},
    "one tech": {"line": r"\bT03\b"},
    "a hundred visits": {"logs": "bench", "first": 100},
    "nothing judged yet": {"logs": "bench"},
    "final inspection alone": {"logs": "final"},
    "receiving alone": {"logs": "receiving"},
    "no specs, lots, changes, climate": {
        "without": ("specs.csv", "lots.csv", "changes.csv", "climate.csv"),
        "logs": "final|play",
    },
    "fixed width": {"logs": "final|play", "shop": {"false_signals_per_week = 1.0": "width = 3.0"}},
    "nobody shown, inches": {
        "logs": "bench|final",
        "shop": {'show = "codes"': 'show = "none"', 'length = "mm"': 'length = "in"'},
    },
    "one row": {"logs": "final", "first": 1},
}


def stands(folder: Path, *, logs="", line="", first=None, without=(), shop=None):
    for file in DEMO.iterdir():
        if file.is_file() and file.name not in without:
            text = file.read_text(encoding="utf-8")
            for old, new in (shop or {}).items() if file.name == "shop.toml" else ():
                assert old in text
                text = text.replace(old, new)
            (folder / file.name).write_text(text, encoding="utf-8")
    for file in sorted((DEMO / "logs").iterdir()):
        head, *rows = file.read_text(encoding="utf-8").splitlines(keepends=True)
        kept = [row for row in rows if re.search(line, row)][:first]
        if re.search(logs, file.name) and kept:
            (folder / file.name).write_text(head + "".join(kept), encoding="utf-8")
    load(folder, sorted(folder.glob("*_*.csv")), now=NOW)
    return folder


QUICK = ("one model", "no specs, lots, changes, climate", "one row")  # the others are `long`


@pytest.mark.parametrize("name", [n if n in QUICK else pytest.param(n, marks=pytest.mark.long) for n in SHOPS])
def test_every_page_figure_and_paper_answers(tmp_path, name):
    app = make_app(desk.Desk(stands(tmp_path, **SHOPS[name])))
    snapshot = desk.here().snapshot()
    assert snapshot.table("visits").height
    for page in (*PAGES.values(), *FURTHER):
        with app.server.test_request_context("/"):
            made = importlib.import_module(f"dashboard.pages.{page}").layout()
        if isinstance(made, dcc.Location):  # an old address that leads to where the page stands now
            continue
        texts = list(_texts(json.loads(said(made))))
        assert any(len(text) > 10 for text in texts), page
        assert [text for text in texts if NO_NUMBER.search(text)] == [], page
    for figure, work in FIGURES.items():
        assert snapshot.once(work).columns, figure
    techs = snapshot.table("visits")["tech"].drop_nulls().unique().sort().to_list()
    for paper in (week.paper, lambda: bench.paper(techs[-1]), lambda: necks.paper("Oxbow Necks")):
        made = _made(paper)
        assert made.rstrip().endswith("</html>") or 20 < len(made) < 400


def _made(paper):
    """The paper, or the line that says why there is none."""
    try:
        return paper()[1]
    except UnusableData as why:
        return str(why)


def _texts(node):
    """What a person reads of a page: the words between its tags."""
    if isinstance(node, str):
        yield node
    elif isinstance(node, list):
        for each in node:
            yield from _texts(each)
    elif isinstance(node, dict) and "props" in node:
        yield from _texts(node["props"].get("children"))


def test_what_is_not_there_yet_is_said_in_words(tmp_path):
    app = make_app(desk.Desk(stands(tmp_path, logs="bench", first=100)))
    with app.server.test_request_context("/"):
        told = {
            page: said(importlib.import_module(f"dashboard.pages.{page}").layout())
            for page in ("week.page", "rework.page", "bench.page")
        }
    assert "has reached final inspection" in told["week.page"]
    assert "Not read: no log says what passed its last stage." in told["week.page"]
    assert "one week, this week the large dot" in told["week.page"]
    assert "No instrument was judged" in told["rework.page"]
    assert "units and" not in told["bench.page"]

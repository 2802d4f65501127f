"""Arrows of the house run one way: the contract holds, it breaks on a planted arrow, and no layer loads a later one."""

import subprocess
import sys
import tomllib
from pathlib import Path

import grimp
import pytest

from tests.arrows import OURS, forbidden, rules

ROOT = Path(__file__).parent.parent
CONTRACT = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"][0]
LATER = {
    "ingest": ["analysis", "dashboard", "dash", "plotly"],
    "analysis": ["dashboard", "dash", "plotly"],
    "analysis.methods": ["ingest", "polars", "pandas", "dash", "plotly"],
}


@pytest.fixture(scope="module")
def graph():
    return grimp.build_graph(*OURS)


@pytest.mark.parametrize("layer", LATER)
def test_no_module_of_a_layer_loads_anything_later(layer):
    code = (
        f"import importlib, pkgutil, sys, {layer}; "
        f"[importlib.import_module(m.name) for m in pkgutil.walk_packages({layer}.__path__, '{layer}.')]; "
        f"print([name for name in {LATER[layer]} if name in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert run.stdout.strip() == "[]"


def test_the_contract_holds(graph):
    assert list(forbidden(graph, rules(CONTRACT["allowed"]))) == []


@pytest.mark.parametrize(
    ("importer", "imported"),
    [
        ("analysis.studies.drift.signals", "ingest.store.ledger"),
        ("analysis.studies.story.story", "analysis.studies.drift.signals"),
        ("analysis.methods.segments", "ingest.terms.tables"),
        ("ingest.terms.units", "ingest.shopfiles.shop"),
        ("dashboard.charts.rack", "analysis.review"),
        ("dashboard.pages.week.page", "ingest.verbs.load"),
    ],
)
def test_a_planted_arrow_breaks_it(graph, importer, imported):
    planted = graph.find_modules_directly_imported_by(importer)
    assert imported not in planted
    graph.add_import(importer=importer, imported=imported)
    try:
        assert list(forbidden(graph, rules(CONTRACT["allowed"]))) == [(importer, imported)]
    finally:
        graph.remove_import(importer=importer, imported=imported)


def test_a_module_that_no_line_names_may_import_nothing_and_be_imported_by_nobody(graph):
    graph.add_module("analysis.ghost")
    graph.add_import(importer="analysis.ghost", imported="ingest.terms.tables")
    graph.add_import(importer="analysis.studies.story.story", imported="analysis.ghost")
    try:
        assert list(forbidden(graph, rules(CONTRACT["allowed"]))) == [
            ("analysis.ghost", "ingest.terms.tables"),
            ("analysis.studies.story.story", "analysis.ghost"),
        ]
    finally:
        graph.remove_module("analysis.ghost")


def test_no_two_folders_import_each_other(graph):
    folders = rules(CONTRACT["allowed"])
    for one, targets in folders.items():
        for target in targets:
            other = target.removesuffix(".*")
            back = folders.get(other, ())
            assert not {one, f"{one}.*"} & set(back), f"{one} and {other} import each other"

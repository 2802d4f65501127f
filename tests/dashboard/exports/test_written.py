"""Tables as text: what a spreadsheet would run is text in a CSV, and stands as typed in JSON."""

import csv
import io
import json

import polars as pl
import pytest

from dashboard.exports.written import csv_text, json_text

RUN = [
    "=1+1",
    "+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\n=1",
    "-",
    "+",
    "-0.05 mm",
    "--1",
    "+1,5",
    "-1e",
]
PLAIN = ["-0.05", "+3", "-.5", "-1e-5", "+2.E3", "12", "a=b", "Ø -1", "'=1", "", " =1", "−0.05 mm"]


def cells_of(text):
    return next(iter(list(csv.reader(io.StringIO(text, newline="")))[1:]))


@pytest.mark.parametrize("cell", RUN)
def test_a_cell_that_would_run_stands_behind_an_apostrophe(cell):
    assert cells_of(csv_text(pl.DataFrame({"a": [cell], "b": "x"}))) == ["'" + cell, "x"]


@pytest.mark.parametrize("cell", PLAIN)
def test_numbers_and_other_text_stand_as_they_are(cell):
    assert cells_of(csv_text(pl.DataFrame({"a": [cell], "b": "x"}))) == [cell, "x"]


def test_numbers_nulls_and_headings():
    text = csv_text(pl.DataFrame({"=a": [None, "=x"], "n": [-1.5, None], "k": [-3, 4]}))
    assert text == "'=a,n,k\n,-1.5,-3\n'=x,,4\n"


def test_json_gives_every_cell_as_typed():
    rows = pl.DataFrame({"raw": RUN})
    assert [row["raw"] for row in json.loads(json_text(rows))] == RUN

"""A saved table as a workbook: the figures of the CSV, texts as typed, nothing that runs."""

import io
from datetime import UTC, datetime

import fastexcel
import polars as pl

from dashboard.app import make_app
from dashboard.exports.workbook import workbook

ROWS = pl.DataFrame(
    {
        "serial": ["HO-1", "=2+3", None],
        "value": [0.1, None, float("nan")],
        "taken_at": pl.Series([datetime(2026, 3, 2, 8, tzinfo=UTC), None, None], dtype=pl.Datetime("us", "UTC")),
        "n": [1, 2, 3],
    }
)


def read(data):
    return fastexcel.read_excel(data).load_sheet(0).to_polars()


def test_a_table_comes_back_as_it_went_and_no_text_becomes_a_formula():
    back = read(workbook("readings", ROWS))
    assert back.columns == ROWS.columns
    assert back["serial"].to_list() == ["HO-1", "=2+3", None]
    assert back["value"].to_list() == [0.1, None, None]
    assert back["taken_at"].to_list()[0].startswith("2026-03-02T08:00:00")
    assert back["n"].to_list() == [1, 2, 3]


def test_an_empty_table_is_a_workbook_with_its_headings():
    back = fastexcel.read_excel(workbook("book", ROWS.clear())).load_sheet(0)
    assert [column.name for column in back.available_columns()] == ROWS.columns


def test_a_page_saves_its_table_as_a_workbook(demo_desk):
    client = make_app(demo_desk).server.test_client()
    answer = client.get("/save/gauges.xlsx")
    assert answer.status_code == 200
    assert answer.headers["Content-Disposition"].endswith(".xlsx")
    assert len(read(io.BytesIO(answer.data).getvalue())) > 0
    assert client.get("/save/gauges.pdf").status_code == 404

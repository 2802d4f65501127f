"""Rows of cells to the bytes of a file, as spreadsheets write them."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

import xlsxwriter

Row = Sequence[object]


def csv_bytes(rows: Iterable[Row], *, separator: str = ",", encoding: str = "utf-8") -> bytes:
    """Rows as a CSV file."""
    page = io.StringIO()
    csv.writer(page, delimiter=separator, lineterminator="\r\n").writerows(rows)
    return page.getvalue().encode(encoding)


def workbook_bytes(
    tabs: Mapping[str, Iterable[Row]], merged: Mapping[str, Sequence[tuple[int, int, int, int, str]]] | None = None
) -> bytes:
    """Tabs as a workbook: text is text, numbers numbers, days are days; merged cells as row, column, row, column."""
    page = io.BytesIO()
    book = xlsxwriter.Workbook(page, {"in_memory": True, "default_date_format": "dd.mm.yyyy"})
    for name, rows in tabs.items():
        sheet = book.add_worksheet(name)
        spans = (merged or {}).get(name, ())
        for r, row in enumerate(rows):
            for c, cell in enumerate(row):
                if cell is not None and cell != "" and not any(r == a and b <= c <= d for a, b, _, d, _ in spans):
                    sheet.write(r, c, cell)
        for a, b, c, d, text in spans:
            sheet.merge_range(a, b, c, d, text)
    book.close()
    return page.getvalue()

"""A table as a workbook (.xlsx), for those who go on with it in a spreadsheet: the figures of the CSV, no live formula.

pandas is met here only: it writes the workbook by xlsxwriter.
"""

import io

import pandas as pd
import polars as pl

from dashboard.exports.written import plain

AS_TYPED = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
WIDEST = 40  # characters of a column


def workbook(name: str, rows: pl.DataFrame) -> bytes:
    """One table on one tab: headings fixed, columns as wide as their longest cell, times as UTC text."""
    told = plain(rows)
    frame = pd.DataFrame(told.to_dict(as_series=False), columns=told.columns)
    held = io.BytesIO()
    with pd.ExcelWriter(held, engine="xlsxwriter", engine_kwargs={"options": AS_TYPED}) as book:
        frame.to_excel(book, sheet_name=name[:31], index=False, freeze_panes=(1, 0))
        sheet = book.sheets[name[:31]]
        for place, column in enumerate(told.columns):
            longest = max(
                [len(column), *(len(str(cell)) for cell in told[column].head(200).to_list() if cell is not None)]
            )
            sheet.set_column(place, place, min(longest, WIDEST) + 2)
    return held.getvalue()

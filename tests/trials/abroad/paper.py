"""How clerks write: numbers in their gauges' steps, dates in words, and the files they keep."""

import io
from collections.abc import Sequence
from datetime import date, datetime, time
from fractions import Fraction

import xlsxwriter

INCH = 25.4


def steps(value: float, step: float, unit_mm: float = 1.0) -> float:
    """The value as the gauge shows it, in its own unit, rounded to its step."""
    return round(round(value / unit_mm / step) * step, 6)


def comma(value: float, digits: int) -> str:
    """A number with a decimal comma."""
    return f"{value:.{digits}f}".replace(".", ",")


def sixty_fourths(value: float) -> tuple[str, float]:
    """A rule of 64ths, read to half, as `6.5/64` or `6/64`, and what it is in mm."""
    halves = round(value / INCH * 128)
    text = f"{halves // 2}/64" if halves % 2 == 0 else f"{halves // 2}.5/64"
    return text, float(Fraction(halves, 128)) * INCH


def sheet(rows: Sequence[Sequence[str]], sep: str = ",") -> str:
    """A CSV as a spreadsheet saves it; cells with the separator stand in quotes."""

    def cell(text: str) -> str:
        return '"' + text.replace('"', '""') + '"' if any(c in text for c in (sep, '"', "\n")) else text

    return "\r\n".join(sep.join(cell(str(one)) for one in row) for row in rows) + "\r\n"


def workbook(tabs: dict[str, dict]) -> bytes:
    """An .xlsx; a tab is `rows` (str, number, date, datetime, time or None) and `merged` (row, col, row, col)."""
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True})
    bold = book.add_format({"bold": True, "align": "center"})
    formats = {
        date: book.add_format({"num_format": "dd.mm.yyyy"}),
        datetime: book.add_format({"num_format": "dd.mm.yyyy hh:mm"}),
        time: book.add_format({"num_format": "hh:mm"}),
    }
    for name, tab in tabs.items():
        page = book.add_worksheet(name)
        covered = {(r, c) for a, b, d, e in tab.get("merged", ()) for r in range(a, d + 1) for c in range(b, e + 1)}
        for a, b, d, e in tab.get("merged", ()):
            page.merge_range(a, b, d, e, tab["rows"][a][b], bold)
        for r, row in enumerate(tab["rows"]):
            for c, value in enumerate(row):
                if value is None or value == "" or (r, c) in covered:
                    continue
                if type(value) in formats:
                    page.write_datetime(r, c, value, formats[type(value)])
                elif isinstance(value, (int, float)):
                    page.write_number(r, c, value)
                else:
                    page.write_string(r, c, value)
    book.close()
    return buffer.getvalue()

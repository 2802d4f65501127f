"""Small CSV files that the shop keeps itself (specs, lots, changes, climate): rows by heading with their line, faults
gathered by line.
"""

import csv
import io
from collections.abc import Iterator, Sequence
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path

import polars as pl

from ingest.shopfiles.shop import ShopProblem
from ingest.terms.questions import closest

ODD = '"\x00\x1c\x1d\x1e\x1f'  # what makes cells of a line other than what stands between its separators


class Fault(ValueError):
    """What is wrong with one cell, in the words that follow its column's name."""


def rows_of(path: Path, columns: Sequence[str], required: Sequence[str] = ()) -> Iterator[tuple[int, dict[str, str]]]:
    """(line, cells by heading, stripped, '' where absent) of each filled row.

    ShopProblem where the file cannot be opened, is not UTF-8, lacks a required heading or has one that is not known; a
    row of more cells than the header. Comma or semicolon, whichever the header holds.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as fault:
        raise ShopProblem(f"{path.name}: cannot be opened: {fault.strerror}") from None
    except UnicodeDecodeError as fault:
        line = path.read_bytes()[: fault.start].count(b"\n") + 1
        raise ShopProblem(
            f"{path.name}, line {line}: a letter that is not UTF-8; wanted the file saved as UTF-8"
        ) from None
    if "\x00" in text:
        raise ShopProblem(f"{path.name}: holds NUL bytes; wanted CSV text")
    first = text.split("\n", 1)[0]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=";" if first.count(";") > first.count(",") else ",")
    try:
        header = [cell.strip().casefold() for cell in next(reader, [])]
        while header and not header[-1]:
            header.pop()
        if not header:
            raise ShopProblem(f"{path.name}: is empty; wanted a first line with the headings {', '.join(columns)}")
        faults = [
            f"{path.name}: heading {name!r} is not known; wanted one of {', '.join(columns)}"
            + (f" ({near!r}?)" if (near := closest(name, columns)) else "")
            for name in header
            if name not in columns
        ]
        faults += [f"{path.name}: heading {name!r} stands twice" for name in columns if header.count(name) > 1]
        meant = {closest(name, columns) for name in header if name not in columns}
        faults += [
            f"{path.name}: no heading {name!r}; wanted {', '.join(columns)}"
            for name in required
            if name not in header and name not in meant
        ]
        if faults:
            raise ShopProblem("\n".join(faults))
        before = reader.line_num
        for cells in reader:
            line, before = before + 1, reader.line_num
            if not any(cell.strip() for cell in cells):
                continue
            if any(cell.strip() for cell in cells[len(header) :]):
                raise ShopProblem(
                    f"{path.name}, line {line}: {len(cells)} cells under {len(header)} headings; a comma in a number "
                    "or note?"
                )
            yield (
                line,
                dict.fromkeys(columns, "") | {name: cell.strip() for name, cell in zip(header, cells, strict=False)},
            )
    except csv.Error as fault:
        raise ShopProblem(f"{path.name}, line {reader.line_num}: {fault}") from None


def texts_of(path: Path, columns: Sequence[str], required: Sequence[str]) -> pl.DataFrame | None:
    """All filled rows at once, a text a cell, stripped, '' where absent; None where the file is not plain: without
    quotes, known headings once each, no row of more cells than the header. Then `rows_of` reads it, or says what is
    wrong.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError):
        return None
    first = text.split("\n", 1)[0]
    separator = ";" if first.count(";") > first.count(",") else ","
    header = [cell.strip().casefold() for cell in first.split(separator)]
    known = set(header) <= set(columns) and set(required) <= set(header) and len(header) == len(set(header)) > 1
    odd = any(sign in text for sign in ODD) or text.count("\r") != text.count("\r\n")
    if odd or not known:
        return None
    try:
        found = pl.read_csv(text.encode(), separator=separator, infer_schema=False, quote_char=None, new_columns=header)
    except pl.exceptions.PolarsError:
        return None
    cells = found.select(pl.col(name).fill_null("").str.strip_chars() for name in header)
    cells = cells.with_columns(pl.lit("").alias(name) for name in columns if name not in header)
    return cells.select(columns).filter(pl.any_horizontal(pl.all() != ""))


def date_of(text: str) -> date | None:
    """A day written year-month-day; None where empty."""
    if not text:
        return None
    if len(text) == 10 and text[4] == text[7] == "-":  # as nearly all are written: ten times as fast
        with suppress(ValueError):
            return date.fromisoformat(text)
    try:
        return datetime.strptime(text, "%Y-%m-%d").date()
    except ValueError:
        raise Fault(f"is {text!r}; wanted year-month-day, such as 2026-03-02, or empty") from None


def number_of(text: str, lowest: float = -float("inf"), highest: float = float("inf")) -> float | None:
    """A finite number with a point; None where empty."""
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        raise Fault(f"is {text!r}; wanted a number with a point, or empty") from None
    if not lowest <= value <= highest:
        raise Fault(f"is {text!r}; wanted {lowest:g} to {highest:g}")
    return value

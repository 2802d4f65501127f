"""Damage of other kinds than in fuzz_reader, workbooks included: no crash, every row accounted for, every undamaged row
read as if it stood in a file of undamaged rows only.

Cells exchanged or moved by one, cells of the row before; dates, clocks and numbers written in ways of their own;
letters that look like others or run the other way; text that would be code elsewhere; quoted cells over two lines;
lines between the rows. A quarter of the files are workbooks, with numbers, dates, truth values and errors as such, and
one workbook in ten has bytes changed at random.

Run by hand: `python -m tests.trials.fuzz_other [ROWS]`; at least 200,000 damaged rows. Seeds were fixed before the
first run.
"""

import io
import sys
import time
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl
import xlsxwriter

from ingest.reading.reader import Sheet, read_log
from ingest.terms.questions import FileProblem
from tests.ingest.small_shop import small_shop
from tests.trials.fuzz_reader import HEADER, INSTRUMENT, Told, clean_instrument, clean_row, count, faults_of, touched
from tests.trials.written import write

SEED = 20_261_129
ROWS = 200_000
DATES = (
    *("02/03/26", "3.2.2026", "2026-13-02 09:00", "46083.4", "2026-03-02 25:61", "2026-03-02 24:00", "9h30"),
    *("2026-03-02T09:10:00Z", "2026-03-02 09:10 PM", "20226-03-02", "2 March", "yesterday", "2026-W10", "1772443800"),
    *("2026-03-29 01:30", "2026-02-29", "0000-00-00", "9999-12-31 23:59", "1899-12-30 09:10:00", "09:10"),
)
NUMBERS = (
    *("1,234.5", "1 234", "２.４", "٢٫٤", "2.4²", "2.4 in", '2.4"', "2.4mm mm", "0x1F", "1e-400", "1e400", "--2"),
    *("2.4.1", "½½", "1/0", "0/0", "-0", "∞", "4/64/2", "1 1/2 1/3", "10-12", "~2", "2.4?", "(2.4)", "2·4", "−0.3"),
    *("99999999999999999999", "0.00000000000001", "+", ".", "e5", "2,4,6", "#DIV/0!", "TRUE", "2.4 -> x", "5/64+-"),
)
LETTERS = (
    *("\u202eT07", "Т07", "T\u00ad07", "T\u00a007", "T0\u03017", "👩‍🔧", "e" + "\u0301" * 300, "\ufeffT07", "Ｔ０７"),
    *("İ", "ß", "ﬁ", "\u2029", "\u2060", "K\u0307", "Σς", "\ue000"),
)
CODE = (
    *("=cmd|' /C calc'!A0", "'; DROP TABLE visits; --", "<script>alert(1)</script>", "{{7*7}}", "%s%n%x", "${HOME}"),
    *("../../shop.toml", "\\x00", "NULL", "None", "NaN", "undefined", "[object Object]", "a|b", "a\tb", "@SUM(A1)"),
)
BETWEEN = ("# a remark", "----", "\f", "Page 2 of 3", "(continued)", "sep=;", "…", "Monday", "Summe", "KW 12", "T07:")


def damaged(rng: np.random.Generator, cells: list[str], before: list[str], separator: str) -> list[str]:
    """The cells of a row with one kind of damage; one cell: a line that is no row."""
    kind, place, other = int(rng.integers(0, 10)), int(rng.integers(len(cells))), int(rng.integers(len(cells)))
    out = list(cells)
    if kind == 0:
        out[place], out[other] = out[other], out[place]
    elif kind == 1:
        out.insert(place, "")
    elif kind == 2:
        del out[place]
    elif kind == 3:
        out[1 + place :] = before[1 + place :]
    elif kind < 8:
        words = (DATES, NUMBERS, LETTERS, CODE)[kind - 4]
        out[place] = words[int(rng.integers(len(words)))]
        if rng.random() < 0.3:
            out[other] = words[int(rng.integers(len(words)))]
    elif kind == 8 and separator:
        text = cells[place].replace('"', "")
        out[place] = f'"{text}{rng.choice(["", separator, chr(10), chr(10) * 3, chr(34) * 2])}{rng.choice(["", "x"])}"'
    else:
        return [str(rng.choice(BETWEEN))]
    return out


def typed(cell: str) -> Any:
    """A cell as a workbook may hold it: what looks like a number, a moment or a truth value as one."""
    try:
        return datetime.strptime(cell, "%Y-%m-%d %H:%M")
    except ValueError:
        pass
    if cell == "TRUE":
        return True
    try:
        number = float(cell) if cell.isascii() and cell[:1] not in ("+", ".", "") else None
    except ValueError:
        return cell
    return cell if number is None or not np.isfinite(number) else number


def workbook(rows: list[list[Any]]) -> bytes:
    """Rows as a workbook, behind a tab that is none of a log."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}) as book:
        moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        book.add_worksheet("Legend").write_string(0, 0, "what the letters mean")
        sheet = book.add_worksheet("Log")
        for place, cells in enumerate(rows):
            for column, cell in enumerate(cells):
                if isinstance(cell, datetime):
                    sheet.write_datetime(place, column, cell, moment)
                elif isinstance(cell, bool):
                    sheet.write_boolean(place, column, cell)
                elif isinstance(cell, float):
                    sheet.write_number(place, column, cell)
                elif cell.startswith("#"):
                    sheet.write_formula(place, column, "=1/0", None, cell)
                elif cell:
                    sheet.write_string(place, column, cell[:32_000])
    return out.getvalue()


def one_file(rng: np.random.Generator, number: int, rows: int, told: Told) -> None:
    """Make one log, damage it, read it, and hold the sheet against what is known of the file."""
    as_workbook = rng.random() < 0.25
    separator = "" if as_workbook else str(rng.choice([",", ";", "\t"]))
    shape = "instrument" if rng.random() < 0.25 else "visit"
    share = float(rng.choice([0.05, 0.5, 0.95]))
    made = [
        clean_row(rng, number * 10_000 + k, separator)
        if shape == "visit"
        else clean_instrument(rng, number * 10_000 + k)
        for k in range(rows)
    ]
    lines: list[list[str]] = [HEADER if shape == "visit" else INSTRUMENT]
    clean: dict[str, int] = {}
    line, before = 1, made[0]
    for cells in made:
        if rng.random() < share:
            lines.append(damaged(rng, cells, before, separator))
            told.damaged += 1
            line += sum(cell.count("\n") for cell in lines[-1])
        else:
            clean[cells[0]] = line + 1
            lines.append(cells)
        line, before = line + 1, cells
    told.files, told.clean = told.files + 1, told.clean + len(clean)
    shop = small_shop(shape=shape, files="*")
    torn = False
    if as_workbook:
        data = workbook([[typed(cell) for cell in cells] for cells in lines])
        torn = rng.random() < 0.1
        if torn:
            whole = bytearray(data)
            for at in rng.integers(4, len(whole), max(1, len(whole) // 20_000)):
                whole[at] = int(rng.integers(256))
            data = bytes(whole)
        file, first = "a.xlsx", 2  # the line of the tab before counts too
        clean = {serial: at + first - 1 for serial, at in clean.items()}
        text = '"'
    else:
        file, text = "a.csv", "\n".join(map(separator.join, lines)) + "\n"
        data = text.encode("utf-8", "replace")
    name = f"file {number} ({file}, {separator!r}, {share:.0%}, a row a {shape}{', torn' if torn else ''})"
    try:
        sheet = read_log(data, file, shop)
    except FileProblem as problem:
        told.refused.append(f"{name}: {problem}")
        if "\n" in str(problem) or (clean and not torn):
            told.faults.append(f"{name}: refused with {len(clean)} undamaged rows in it: {problem}")
        return
    except Exception as fault:
        told.faults.append(f"{name}: {type(fault).__name__}: {fault}")
        return
    count(sheet, told)
    told.faults += [f"{name}: {fault}" for fault in faults_of(sheet, text, {} if torn else clean, torn)]
    if clean and not torn:
        alone = [lines[0], *(cells for cells in made if cells[0] in clean)]
        if as_workbook:
            data = workbook([[typed(cell) for cell in cells] for cells in alone])
        else:
            data = ("\n".join(map(separator.join, alone)) + "\n").encode()
        own = read_log(data, file, shop)
        if as_workbook:
            own = _moved(own)
        told.faults += [f"{name}: {fault}" for fault in touched(sheet, own, list(clean.values()))]


def _moved(sheet: Sheet) -> Sheet:
    """A sheet of a workbook with the lines that a text file would have: without that of the tab before."""
    moved = {
        name: getattr(sheet, name).with_columns(line=pl.col("line") - 1) for name in ("visits", "readings", "faults")
    }
    return replace(sheet, **moved)


def trial(rows: int) -> Told:
    """At least so many damaged rows."""
    told, number = Told(), 0
    while told.damaged < rows:
        rng = np.random.default_rng([SEED, number])  # a file can be made again by itself
        one_file(rng, number, int(rng.choice([1, 20, 300, 1000])), told)
        number += 1
    return told


def main(rows: int = ROWS) -> None:
    """The trial at full size."""
    begun = time.process_time()
    told = trial(rows)
    lines = [
        f"{told.files:,} files, {told.damaged:,} damaged rows among {told.clean:,} undamaged ones; a quarter of the "
        f"files are workbooks; {time.process_time() - begun:.0f} s of the processor.",
        "",
        f"Rows read {told.rows_read:,} = accepted {told.accepted:,} + set aside {told.rows_set_aside:,}; cells set "
        f"aside {told.cells_set_aside:,}; lines passed over {told.passed_over:,}; files refused {len(told.refused)}.",
        "",
        f"Faults of the reader: {len(told.faults)}.",
        *(f"- {fault}" for fault in told.faults[:20]),
    ]
    write(__file__, "\n".join(lines))


if __name__ == "__main__":
    main(int(sys.argv[1].replace("_", "").replace(",", "")) if len(sys.argv) > 1 else ROWS)

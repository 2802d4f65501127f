"""Damaged logs by the hundred: no crash, every line accounted for, every undamaged row read as if it stood in a file of
undamaged rows only.

Some have a row a visit, some a row an instrument.

Run by hand: `python -m tests.trials.fuzz_reader [ROWS]`; at least 200,000 damaged rows. The result stands in
fuzz_reader.md. Seeds were fixed before the first run.
"""

import sys
import time
from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from ingest.reading.reader import Sheet, read_log
from ingest.terms.questions import FileProblem
from tests.ingest.small_shop import small_shop

SEED = 20_261_125
ROWS = 200_000
HEADER = [
    "serial",
    "model",
    "stage",
    "tech",
    "started_at",
    "finished_at",
    "minutes",
    "outcome",
    "fault",
    "relief",
    "action bass (mm)",
    "intonation 1",
    "head",
    "note",
]
INSTRUMENT = [
    *(
        "serial",
        "model",
        "date",
        "relief @ nut_slotting",
        "tech @ nut_slotting",
        "finished_at @ final_inspection",
        "outcome @ final_inspection",
    ),
    *(
        "action bass @ final_inspection (mm)",
        "intonation 1 @ final_inspection",
        "head @ play_test",
        "fault @ play_test",
        "note",
    ),
]
GARBAGE = [
    *(
        '"',
        "'",
        "\x00",
        "\x07",
        "\ufffd",
        "é",
        "½",
        "″",
        "1,5",
        "1.2E+11",
        "-",
        "n/a",
        "do",
        "ditto",
        "nan",
        "inf",
        "1e9",
        "4/0",
        "9" * 400,
        "x" * 40_000,
    ),
    *(
        "{}",
        "=1+1",
        "31/02/2026",
        "2026-03-29 01:30",
        "2026-02-30",
        "Apr-64",
        "23468",
        "<",
        ">",
        "->",
        "1->2->3",
        "/",
        "//",
        "1/2/3",
        "  ",
        "\t",
    ),
    *("\u200b", "\u2028", "\x85", "\x0b", "🪕", "#REF!", "TRUE", "Total", "serial", "date"),
]


@dataclass
class Told:
    """What came of all files."""

    files: int = 0
    damaged: int = 0
    clean: int = 0
    refused: list[str] = field(default_factory=list)
    rows_read: int = 0
    accepted: int = 0
    rows_set_aside: int = 0
    cells_set_aside: int = 0
    passed_over: int = 0
    reasons: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)


def clean_row(rng: np.random.Generator, number: int, separator: str) -> list[str]:
    day, hour, minute = rng.integers(2, 28), rng.integers(8, 16), rng.integers(0, 50)
    begun = f"2026-03-{day:02d} {hour:02d}:{minute:02d}"
    faults = "high fret" if separator == ";" else "high fret;buzz open"
    relief = rng.choice([".010", "4/64", "10 thou", ".012 -> .008", "0.25mm", "", "-", "<.002", "1/64-", "BB"])
    return [
        f"S{number:06d}",
        str(rng.choice(["LARK-25", "DRAY-5", "L25"])),
        str(rng.choice(["final_inspection", "nut_slotting", "packing"])),
        str(rng.choice(["T07", "JR", "T08/JR"])),
        begun,
        f"2026-03-{day:02d} {hour:02d}:{minute + 9:02d}",
        str(rng.choice(["", "8", "9.5"])),
        str(rng.choice(["pass", "ok", "fixed", ""])),
        str(rng.choice(["", "buzz open", faults])),
        str(relief),
        f"{rng.normal(2.4, 0.1):.2f}",
        f"{rng.normal(0, 4):+.1f}",
        "86 87 85 88",
        str(rng.choice(["", "slow", "a note"])),
    ]


def clean_instrument(rng: np.random.Generator, number: int) -> list[str]:
    """A row of INSTRUMENT; its final inspection is always filled."""
    day = int(rng.integers(2, 26))
    relief = rng.choice([".010", "4/64", "10 thou", ".012 -> .008", "0.25mm", "", "-", "<.002"])
    return [
        f"S{number:06d}",
        str(rng.choice(["LARK-25", "DRAY-5", "L25"])),
        f"2026-03-{day:02d}",
        str(relief),
        str(rng.choice(["", "T07", "JR"])),
        f"2026-03-{day + 2:02d} 09:{rng.integers(10, 60)}",
        str(rng.choice(["pass", "ok", "fixed", ""])),
        f"{rng.normal(2.4, 0.1):.2f}",
        f"{rng.normal(0, 4):+.1f}",
        str(rng.choice(["", "86 87 85 88"])),
        str(rng.choice(["", "buzz open"])),
        str(rng.choice(["", "slow"])),
    ]


def damaged(rng: np.random.Generator, cells: list[str], separator: str, header: list[str]) -> str:
    """A row with one of many kinds of damage, as one line or more."""
    kind = rng.integers(0, 10)
    place = int(rng.integers(0, len(cells)))
    garbage = GARBAGE[int(rng.integers(0, len(GARBAGE)))]  # choice() would make an array of 40,000 letters a cell
    if kind <= 2:
        cells = [*cells[:place], garbage, *cells[place + 1 :]]
    elif kind == 3:
        cells = [*cells[:place], cells[place] + garbage, *cells[place + 1 :]]
    elif kind == 4:
        cells = cells[:place]
    elif kind == 5:
        cells = [*cells, *cells[:place]]
    elif kind == 6:
        return separator.join(cells)[: int(rng.integers(0, 60))]
    elif kind == 7:
        return "".join(letter for letter in separator.join(cells) if rng.random() > 0.05)
    elif kind == 8:
        return "".join(
            str(rng.choice(list('",;/\\ .-+09aZé'))) if rng.random() < 0.08 else letter
            for letter in separator.join(cells)
        )
    else:
        return str(rng.choice(["", separator * 5, "Total" + separator * 4, separator.join(header), "----", garbage]))
    return separator.join(cells)


def one_file(rng: np.random.Generator, number: int, rows: int, told: Told) -> None:
    """Write one log, damage it, read it, and hold the sheet against what is known of the file."""
    separator = str(rng.choice([",", ";", "\t"]))
    share = float(rng.choice([0.02, 0.3, 0.9]))
    shape = "instrument" if rng.random() < 0.25 else "visit"
    header = HEADER if shape == "visit" else INSTRUMENT
    lines = [separator.join(header)]
    clean: dict[str, int] = {}
    for place in range(rows):
        cells = (
            clean_row(rng, number * 10_000 + place, separator)
            if shape == "visit"
            else clean_instrument(rng, number * 10_000 + place)
        )
        if rng.random() < share:
            lines.append(damaged(rng, cells, separator, header))
            told.damaged += 1
        else:
            clean[cells[0]] = len(lines) + 1
            lines.append(separator.join(cells))
    text = str(rng.choice(["\n", "\r\n"])).join(lines) + str(rng.choice(["\n", ""]))
    encoding = str(rng.choice(["utf-8", "utf-8-sig", "utf-16", "cp1252"]))
    data = bytearray(text.encode(encoding, "replace"))
    head = len(lines[0].encode(encoding, "replace")) + 4
    torn = rng.random() < 0.1 and head < len(
        data
    )  # whole bytes changed anywhere below the header: no row is known to be clean
    if torn:
        for at in rng.integers(head, len(data), max(1, len(data) // 5_000)):
            data[at] = int(rng.integers(0, 256))
    told.files += 1
    told.clean += len(clean)
    name = (
        f"file {number} ({encoding}, {separator!r}, {share:.0%}, a row {'an' if shape == 'instrument' else 'a'} "
        f"{shape}{', torn' if torn else ''})"
    )
    try:
        sheet = read_log(bytes(data), "a.csv", small_shop(shape=shape))
    except FileProblem as problem:
        told.refused.append(f"{name}: {problem}")
        if clean and not torn:
            told.faults.append(f"{name}: refused with {len(clean)} undamaged rows in it")
        return
    except Exception as fault:  # whatever it is, it is a fault of the reader
        told.faults.append(f"{name}: {type(fault).__name__}: {fault}")
        return
    count(sheet, told)
    told.faults += [f"{name}: {fault}" for fault in faults_of(sheet, text, {} if torn else clean, torn)]
    if clean and not torn:
        whole = "\n".join([lines[0], *(lines[line - 1] for line in clean.values())])
        alone = read_log(whole.encode(encoding, "replace"), "a.csv", small_shop(shape=shape))
        told.faults += [f"{name}: {fault}" for fault in touched(sheet, alone, list(clean.values()))]


def count(sheet: Sheet, told: Told) -> None:
    told.rows_read += sheet.rows_read
    told.accepted += sheet.visits["line"].n_unique()
    told.rows_set_aside += sheet.rows_set_aside
    told.cells_set_aside += sheet.cells_set_aside
    told.passed_over += sheet.passed_over
    for reason, count in (
        sheet.set_aside.select(pl.col("reason").str.replace(r"'.*'", "'…'")).to_series().value_counts().iter_rows()
    ):
        told.reasons[reason] += count


def faults_of(sheet: Sheet, text: str, clean: dict[str, int], torn: bool) -> list[str]:
    """Everything about a sheet that does not add up."""
    faults = []
    whole = sheet.set_aside.filter(pl.col("column") == "")
    accepted = set(sheet.visits["line"].to_list())
    if (
        sheet.rows_read != len(accepted) + sheet.rows_set_aside
        or whole.height != whole["line"].n_unique()
        or accepted & set(whole["line"].to_list())
    ):
        faults.append("rows read are not rows accepted and rows set aside")
    if (
        sheet.cells_set_aside != sheet.set_aside.height - whole.height
        or not set(sheet.set_aside["line"]) - set(whole["line"]) <= accepted
    ):
        faults.append("cells set aside do not add up")
    if sheet.set_aside.filter((pl.col("reason") == "") | (pl.col("wanted") == "")).height:
        faults.append("a question without a reason or without what was wanted")
    if sheet.readings.filter(
        pl.col("value").is_nan() | (pl.col("value").is_null() & ~pl.col("flag").str.contains("class"))
    ).height:
        faults.append("a reading without a value that is no class")
    if (
        sheet.readings.join(sheet.visits, on=["line", "stage"], how="anti").height
        or sheet.faults.join(sheet.visits, on=["line", "stage"], how="anti").height
    ):
        faults.append("a reading or fault without its visit")
    below = text.count("\n") - text.endswith("\n")  # a last line that is empty is none
    if '"' not in text and not torn and sheet.rows_read + sheet.passed_over != below:
        faults.append(f"{below} lines below the header, {sheet.rows_read} rows and {sheet.passed_over} passed over")
    held = dict(sheet.visits.select("serial", "line").iter_rows())
    lost = [serial for serial, line in clean.items() if held.get(serial) != line]
    if lost:
        faults.append(
            f"{len(lost)} undamaged rows not accepted on their line, first {lost[0]} on line {clean[lost[0]]}"
        )
    return faults


def touched(sheet: Sheet, alone: Sheet, lines: list[int]) -> list[str]:
    """What damaged rows have done to the undamaged ones, on these lines of the damaged file and from line 2 on in a
    file of their own.
    """
    own = pl.DataFrame({"line": range(2, len(lines) + 2), "was": lines}, schema={"line": pl.Int64, "was": pl.Int64})
    faults = []
    for what in ("visits", "readings", "faults"):
        mine, theirs = getattr(sheet, what), getattr(alone, what)
        mine = mine.filter(pl.col("line").is_in(lines)).drop("log_id")
        theirs = theirs.join(own, on="line").with_columns(pl.col("was").alias("line")).drop("log_id", "was")
        by = [
            name for name in ("line", "stage", "characteristic", "position", "moment", "fault") if name in mine.columns
        ]
        if not mine.sort(by).equals(theirs.sort(by)):
            faults.append(f"{what} of undamaged rows are other than in a file of their own")
    return faults


def main(rows: int = ROWS) -> None:
    told = Told()
    begun = time.perf_counter()
    number = 0
    while told.damaged < rows:
        rng = np.random.default_rng([SEED, number])  # a file can be made again by itself
        one_file(rng, number, int(rng.choice([1, 20, 300, 1000])), told)
        number += 1
    say = sys.stdout.write
    say(
        f"{told.files} files, {told.damaged:,} damaged rows among {told.clean:,} undamaged ones, "
        f"{time.perf_counter() - begun:.0f} s\n"
    )
    say(f"rows read {told.rows_read:,} = accepted {told.accepted:,} + set aside {told.rows_set_aside:,}; ")
    say(
        f"cells set aside {told.cells_set_aside:,}; lines passed over {told.passed_over:,}; files refused "
        f"{len(told.refused)}\n"
    )
    for problem in told.refused:
        say(f"  {problem}\n")
    say(f"faults of the reader: {len(told.faults)}\n")
    for fault in told.faults[:20]:
        say(f"  {fault}\n")
    say("questions by reason:\n")
    for reason, count in told.reasons.most_common():
        say(f"  {count:>8,} {reason}\n")
    if told.faults:
        raise SystemExit(1)


if __name__ == "__main__":
    main(int(sys.argv[1].replace("_", "").replace(",", "")) if len(sys.argv) > 1 else ROWS)

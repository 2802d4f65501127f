"""What goes wrong between the bench and the file: about one row in a hundred, of the kinds that real logs show."""

import re
from dataclasses import dataclass

import numpy as np

from demo_data.sheets import Sheet

SHARE = 0.010


@dataclass(frozen=True)
class Speck:
    """One spoilt row."""

    file: str
    row: int  # data row in the file, from 0
    kind: str
    column: str


MEASURED = {
    "receiving": ("Bow B", "Bow T"),
    "bench": ("Act. B @12", "Act. T @12", "Nut B", "Nut T", "Relief in", "Relief out", "Int 1", "Int 2", "Int 3"),
    "playtest": ("Relief", "Act B", "Act T"),
    "final": ("Relief", "Action bass", "Action treble", "Nut bass", "Nut treble", "I1", "I2"),
}
FRACTIONS = {
    "bench": ("Act. B @12", "Act. T @12"),
    "playtest": ("Act B", "Act T"),
    "final": ("Action bass", "Action treble"),
}
PEOPLE = {"receiving": "Tech", "bench": "Tech", "playtest": "Tester", "final": "Inspector"}
DATES = {"receiving": "Date", "bench": "End", "playtest": "When", "final": "Inspected"}
GARBLED = ("2.4.1", "??", "see card", "1O", "x", "smudged")
AS_DATES = ("Apr-64", "23468", "May-64", "23498")  # what a spreadsheet makes of 4/64 and 5/64
KINDS = ("garbled", "spreadsheet date", "ditto", "no point", "stage", "tech", "fault", "duplicate", "future")
WEIGHTS = np.array([0.29, 0.15, 0.14, 0.08, 0.11, 0.06, 0.08, 0.08, 0.01])


def _swapped(rng: np.random.Generator, word: str) -> str:
    """A slip of the fingers: two neighbouring letters change places, or one is left out."""
    place = int(rng.integers(0, max(1, len(word) - 1)))
    if rng.random() < 0.5 or len(word) < 4:
        return word[:place] + word[place + 1 :]
    return word[:place] + word[place + 1] + word[place] + word[place + 2 :]


def soiled(rng: np.random.Generator, sheet: Sheet, kind: str, file: str) -> tuple[Sheet, list[Speck]]:
    """The sheet with about SHARE of its rows spoilt, and a list of them; the sheet given stays as it is."""
    sheet = {name: values.copy() for name, values in sheet.items()}
    count = len(next(iter(sheet.values())))
    chosen = np.sort(rng.choice(count, size=rng.binomial(count, SHARE), replace=False))
    found: list[tuple[int, str, str]] = []
    for row in chosen:
        open_to = {what: columns for what in KINDS if (columns := _open_to(sheet, kind, what, row))}
        weights = np.array([WEIGHTS[KINDS.index(what)] for what in open_to])
        what = str(rng.choice(list(open_to), p=weights / weights.sum()))
        column = str(rng.choice(open_to[what]))
        for name in {column, "Start"} & sheet.keys() if what == "future" else {column} - {""}:
            sheet[name][row] = _spoilt(rng, what, sheet[name][row], kind, column)
        found.append((int(row), what, column))
    doubled = np.array([row for row, what, _ in found if what == "duplicate"], dtype=int)
    order = np.sort(np.concatenate([np.arange(count), doubled]), kind="stable")
    specks = [Speck(file, row + int(np.searchsorted(doubled, row)), what, column) for row, what, column in found]
    return {name: values[order] for name, values in sheet.items()}, specks


def _open_to(sheet: Sheet, kind: str, what: str, row: int) -> tuple[str, ...]:
    """The columns of a row that can be spoilt that way; ('',) where it is the row itself."""
    if what == "duplicate":
        return ("",)
    names = {"stage": ("Stage",), "tech": (PEOPLE[kind],), "fault": ("Fault",), "future": (DATES[kind],)}.get(
        what, MEASURED[kind]
    )
    if what == "spreadsheet date":
        names = FRACTIONS.get(kind, ())
    return tuple(name for name in names if name in sheet and sheet[name][row])


def _spoilt(rng: np.random.Generator, what: str, text: str, kind: str, column: str) -> str:
    if what == "garbled":
        return str(rng.choice(GARBLED))
    if what == "spreadsheet date":
        return str(rng.choice(AS_DATES))
    if what == "ditto":
        return '"' if kind == "receiving" and rng.random() < 0.4 else "do"
    if what == "no point":
        digits = re.sub("[^0-9]", "", text).lstrip("0") or "9"
        return digits if set(text) & set("./,") and not column.lower().startswith("i") else digits + "00"
    if what == "future":
        return text.replace("2026", "2062")
    if what == "tech":
        return _misread(rng, text)
    return _misspelt(rng, text) if what == "stage" else _swapped(rng, text)


def _misread(rng: np.random.Generator, name: str) -> str:
    """T09 as TO9 or T9; initials with their letters swapped."""
    spoilt = name.replace("0", "O") if rng.random() < 0.5 or "0" not in name else name.replace("0", "")
    return spoilt if spoilt != name else name[::-1]


def _misspelt(rng: np.random.Generator, word: str) -> str:
    spoilt = _swapped(rng, word)
    return spoilt if spoilt not in ("", word) else word + "e"

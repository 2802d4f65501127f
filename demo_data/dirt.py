"""What goes wrong between the bench and the file: about one row in a hundred, of the kinds that real logs show."""

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
FRACTIONS = {"bench": ("Act. B @12", "Act. T @12"), "playtest": ("Act B", "Act T"), "final": ("Action bass", "Action treble")}
PEOPLE = {"receiving": "Tech", "bench": "Tech", "playtest": "Tester", "final": "Inspector"}
DATES = {"receiving": "Date", "bench": "End", "playtest": "When", "final": "Inspected"}
GARBLED = ("2.4.1", "??", "see card", "1O", "x", "smudged")
AS_DATES = ("Apr-64", "23468", "May-64", "23498")  # what a spreadsheet makes of 4/64 and 5/64
KINDS = ("garbled", "spreadsheet date", "ditto", "no point", "stage", "tech", "fault", "duplicate", "future")
WEIGHTS = np.array([0.24, 0.14, 0.12, 0.08, 0.12, 0.12, 0.08, 0.07, 0.03])


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
    specks, doubled = [], []
    for row in chosen:
        what = str(rng.choice(KINDS, p=WEIGHTS))
        column = ""
        written = [name for name in MEASURED[kind] if sheet[name][row]]
        if what in ("garbled", "spreadsheet date", "ditto", "no point"):
            names = [name for name in written if what != "spreadsheet date" or name in FRACTIONS.get(kind, ())]
            if names:
                column = str(rng.choice(names))
                sheet[column][row] = {"garbled": str(rng.choice(GARBLED)), "spreadsheet date": str(rng.choice(AS_DATES)), "ditto": '"',
                                      "no point": sheet[column][row].lstrip(".-0,") + "00"}[what]  # fmt: skip
        elif what == "stage" and kind == "bench":
            column, sheet["Stage"][row] = "Stage", _misspelt(rng, sheet["Stage"][row])
        elif what == "tech" and sheet[PEOPLE[kind]][row]:
            column = PEOPLE[kind]
            name = sheet[column][row]
            sheet[column][row] = ("T" + name, name.replace("0", "O") if "0" in name else name.lower(), name + "?")[int(rng.integers(0, 3))]
        elif what == "fault" and sheet["Fault"][row]:
            column, sheet["Fault"][row] = "Fault", _swapped(rng, sheet["Fault"][row])
        elif what == "future":
            column = DATES[kind]
            sheet[column][row] = sheet[column][row].replace("2026", "2062")
        if not column:
            what = "duplicate"
            doubled.append(row)
        specks.append(Speck(file, int(row), what, column))
    order = np.sort(np.concatenate([np.arange(count), np.array(doubled, dtype=int)]), kind="stable")
    shift = np.searchsorted(np.array(doubled), [speck.row for speck in specks], side="left") if doubled else np.zeros(len(specks), dtype=int)
    specks = [Speck(speck.file, speck.row + int(by), speck.kind, speck.column) for speck, by in zip(specks, shift, strict=True)]
    return {name: values[order] for name, values in sheet.items()}, specks


def _misspelt(rng: np.random.Generator, word: str) -> str:
    spoilt = _swapped(rng, word)
    return spoilt if spoilt not in ("", word) else word + "e"

"""Four sheets of shops that never heard of this program, made once with a fixed seed: `python -m
tests.ingest.foreign.make_foreign`.

setup_book_2026.csv: a row an instrument, month first, inches. werkstatt.csv: German headings, semicolons, fractions,
decimal comma, Windows-1252. line_check_march.xlsx: title rows, two tables one below the other, dates as dates.
pruefbuch_2026.xlsx: the workbook of tabs of tests.ingest.strangers. Every name is invented.
"""

from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import xlsxwriter

SEED = 20_260_303
HERE = Path(__file__).parent
FIRST = date(2026, 3, 2)


def days(rng: np.random.Generator, n: int) -> list[date]:
    """n working days of four weeks, in order."""
    working = [FIRST + timedelta(days=day) for day in range(26) if (FIRST + timedelta(days=day)).weekday() < 5]
    return sorted(working[int(place)] for place in rng.integers(0, len(working), n))


def fraction(mm: float) -> str:
    """A length as read off a rule in 64ths, to the half."""
    steps = round(mm / 25.4 * 128) / 2
    return f"{steps:g}/64"


def setup_book(rng: np.random.Generator, path: Path) -> None:
    lines = [
        "Serial,Model,Strung,Nut by,Nut B,Nut T,Final date,Checked by,Relief,Action B,Action T,Result,Remarks,Shelf"
    ]
    for number, day in enumerate(days(rng, 420)):
        done = day + timedelta(days=3 if day.weekday() == 4 else 1)
        back = rng.random() < 0.08
        relief = max(0.0, rng.normal(0.006, 0.002))
        cells = [
            f"TU{number + 4100}",
            str(rng.choice(["Wren tenor", "Wren concert"])),
            f"{day:%m/%d/%Y}",
            str(rng.choice(["MJ", "M.J.", "Abe", "Lou"])),
            f"{rng.normal(0.022, 0.002):.3f}",
            f"{rng.normal(0.020, 0.002):.3f}",
            f"{done:%m/%d/%Y}",
            str(rng.choice(["Kit", "Lou"])),
            "BB" if rng.random() < 0.01 else f"{relief:.3f}".removeprefix("0"),
            fraction(rng.normal(2.6, 0.12)),
            fraction(rng.normal(2.5, 0.12)),
            "redo" if back else "good",
            "buzz on 3rd" if back else "",
            f"R{rng.integers(1, 9)}",
        ]
        lines.append(",".join(cells))
    path.write_text("\r\n".join(lines) + "\r\n", encoding="utf-8")


def werkstatt(rng: np.random.Generator, path: Path) -> None:
    lines = [
        "Seriennr;Modell;Datum;Station;Kürzel;Ergebnis;Fehler;Halskrümmung (mm);Saitenlage B;Saitenlage D;Oktave "
        "1;Bemerkung"
    ]
    steps = ["Sattel", "Steg", "Spielprobe", "Endkontrolle", "Versand"]
    techs = {
        "Sattel": ["Ute", "Jan"],
        "Steg": ["Jan", "Pia"],
        "Spielprobe": ["Ole"],
        "Endkontrolle": ["Eva"],
        "Versand": ["Kai"],
    }
    rows: list[tuple[datetime, str]] = []
    for number, day in enumerate(days(rng, 180)):
        model = str(rng.choice(["Amsel Konzertgitarre", "Drossel Konzertgitarre"]))
        at = datetime(day.year, day.month, day.day, int(rng.integers(8, 12)), int(rng.integers(0, 60)))
        for place, step in enumerate(steps):
            at += timedelta(minutes=int(rng.integers(15, 60))) if place != 3 else timedelta(days=1)
            back = step == "Spielprobe" and rng.random() < 0.1
            measured = step in ("Spielprobe", "Endkontrolle")
            cells = [
                f"K{number + 700:05d}",
                model,
                f"{at:%d.%m.%Y %H:%M}",
                step,
                str(rng.choice(techs[step])),
                "n.i.O." if back else "i.O.",
                str(rng.choice(["Schnarren", "Sattel zu hoch"])) if back else "",
                f"{max(0, rng.normal(0.15, 0.04)):.2f}".replace(".", ",") if measured else "",
                fraction(rng.normal(4.0, 0.15)) if measured else "",
                fraction(rng.normal(3.2, 0.15)) if measured else "",
                f"{rng.normal(1, 2):+.1f}".replace(".", ",") if measured else "",
                "",
            ]
            rows.append((at, ";".join(cells)))
    path.write_bytes(
        ("\r\n".join([*lines, *(row for _, row in sorted(rows)), "Summe;;;;;;;;;;;"]) + "\r\n").encode("cp1252")
    )


def line_check(rng: np.random.Generator, path: Path) -> None:
    book = xlsxwriter.Workbook(str(path), {"in_memory": True})
    book.set_properties({"created": datetime(2026, 3, 31)})
    sheet = book.add_worksheet("March")
    stamp = book.add_format({"num_format": "dd/mm/yyyy hh:mm"})
    sheet.write(0, 0, "Line check, electric guitars")
    sheet.write(1, 0, "kept by the line lead")
    header = ["Unit", "When", "Bench", "Initials", "OK?", "Action low E mm", "Action high E mm", "Defect"]
    line = 3
    for title, bench, count in (("", "final", 200), ("Reworked units", "rework", 25)):
        if title:
            sheet.write(line + 1, 0, title)
            line += 2
        sheet.write_row(line, 0, ["Serial", *header[1:]])
        for number, day in enumerate(days(rng, count)):
            line += 1
            bad = bench == "final" and rng.random() < 0.1
            at = datetime(day.year, day.month, day.day, int(rng.integers(8, 17)), int(rng.integers(0, 60)))
            sheet.write_row(line, 0, [f"FE-{number * (1 if bench == 'final' else 7) + 2001}"])
            sheet.write_datetime(line, 1, at, stamp)
            sheet.write_row(line, 2, [bench, str(rng.choice(["DK", "PM"])), "N" if bad else "Y"])
            sheet.write_number(line, 5, round(float(rng.normal(2.0, 0.08)), 2))
            sheet.write_number(line, 6, round(float(rng.normal(1.6, 0.08)), 2))
            sheet.write(line, 7, "fret buzz" if bad else "")
        line += 1
        sheet.write_row(line, 0, ["Total", "", "", "", count])
    book.close()


def main() -> None:
    setup_book(np.random.default_rng(SEED), HERE / "setup_book_2026.csv")
    werkstatt(np.random.default_rng(SEED + 1), HERE / "werkstatt.csv")
    line_check(np.random.default_rng(SEED + 2), HERE / "line_check_march.xlsx")


if __name__ == "__main__":
    main()

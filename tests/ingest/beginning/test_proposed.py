"""What is proposed for a handful of small sheets, word for word: the shop file, its limits, what is asked, what stays
unread. Snapshots, each looked over by hand when it was written: `python -m tests.ingest.beginning.test_proposed` writes
them anew; read the difference before keeping it.
"""

from pathlib import Path

import pytest

from ingest.beginning.answers import checked_answers
from ingest.beginning.guesses import guess_heading
from ingest.beginning.heading_sense import checks_only
from ingest.beginning.new import Proposal, propose
from tests.ingest.small_shop import csv, small_shop

HERE = Path(__file__).parent / "proposed"
SHOP = {"shop": {"name": "Bench", "timezone": "UTC"}}
DAYS = [f"2026-03-{day:02d}" for day in range(2, 28)]
STATIONS = ("Vastaanotto", "Kaula", "Satula", "Talla", "Loppu")


def visits_in_mm() -> Proposal:
    head = (
        "Serial,Date,Model,Bench,Tech,Result,Back to,Fault,Relief (mm),Action bass (mm),Action treble (mm),Nut (mm),"
        "Intonation (cents),Head 1,Neck bow bass (mm),Neck bow treble (mm),Remarks"
    )
    rows = [
        f"A{n},{DAYS[n % 26]},{('Tenor banjo', 'Concert ukulele', 'Bass guitar')[n % 3]},final,"
        f"{('JR', 'J.R.', 'ao')[n % 3]},{'ok,,' if n % 5 else 'rework,nut,buzz open'},{0.10 + n % 7 / 100:.2f},"
        f"{2.3 + n % 9 / 20:.2f},{1.7 + n % 9 / 20:.2f},{0.4 + n % 6 / 20:.2f},{n % 9 - 4},{88 + n % 5},"
        f"{0.05 * (n % 4):.2f},{0.05 * (n % 3):.2f},"
        for n in range(60)
    ]
    return propose([("bench_1.csv", csv(head, *rows))], said=checked_answers(SHOP))


def inches_and_64ths() -> Proposal:
    rows = [
        f"A{n},{DAYS[n % 26]},{('Tenor banjo', 'Dreadnought')[n % 2]},{0.006 + n % 7 / 1000:.3f},{n % 5 / 2 + 5:g}/64,"
        f"{0.016 + n % 6 / 1000:.3f},{0.09 + n % 5 / 1000:.3f}"
        for n in range(60)
    ]
    return propose([("setup 2026.csv", csv("Serial,Date,Model,Relief,Action,Nut E,Nut e", *rows))])


def a_row_an_instrument() -> Proposal:
    head = (
        "Instrumentennummer;Modell;Hals Datum;Hals Prüfer;Hals Durchbiegung [mm];Sattel Datum;Sattel Prüfer;"
        "Sattelhöhe 1. Bund Bass [mm];Sattelhöhe 1. Bund Diskant [mm];Endkontrolle Datum;Endkontrolle Ergebnis;"
        "Saitenlage 12. Bund Bass [mm];Bemerkung"
    )
    rows = [
        f"DE{100 + n};{('E-Gitarre', 'Mandola', 'Baritongitarre X')[n % 3]};{2 + n % 9}.03.2026;{['UW', 'KB'][n % 2]};"
        f"0,{10 + n % 7};{3 + n % 9}.03.2026;{['UW', 'KB', 'HM'][n % 3]};0,{40 + n % 9};0,{30 + n % 9};"
        f"{4 + n % 9}.03.2026;{'i.O.' if n % 4 else 'n.i.O.'};{2 + n % 3},{n % 10};{'' if n % 6 else 'Kratzer'}"
        for n in range(40)
    ]
    return propose([("pruefbuch.csv", csv(head, *rows))], said=checked_answers(SHOP))


def a_row_a_measurement() -> Proposal:
    what = (
        ("Saitenlage", "bass", 2.4),
        ("Saitenlage", "treble", 1.8),
        ("Halskrümmung", "", 0.15),
        ("Oktave", "3", 1.0),
    )
    rows = [
        f"N{n},{DAYS[n % 26]} 0{8 + n % 2}:{10 + n % 40},play test,{name},{side},{('in', 'out')[n % 2]},"
        f"{value + n % 8 / 20:.2f},{'cents' if name == 'Oktave' else 'mm'},{'pass' if n % 7 else 'fail'}"
        for n in range(20)
        for name, side, value in what
    ]
    return propose(
        [("values.csv", csv("Unit no,Stamp,Station,Characteristic,Position,Moment,Reading,Unit,Result", *rows))]
    )


def no_known_language() -> Proposal:
    rows = ["Päivä;Numero;Malli;Paikka;Kuka;Korkeus bas;Tulos;Vika;Minne;Erä"]
    for n in range(40):
        for place, where in enumerate(STATIONS):
            gone = where == "Loppu" and n % 8 == 3
            who = ("Aino", "Eero", "Ilta", "Oiva", "Tuuli")[(place + n % 2) % 5]
            value = f"2,{30 + n % 9}" if where in ("Talla", "Loppu") else ""
            tail = ["palasi", "surisee", "Satula"] if gone else ["hyvä", "", ""]
            cells = [f"{1 + n // 2}.3.2026", f"FI{100 + n}", "Kotka", where, who, value, *tail, f"E{n // 10}"]
            rows.append(";".join(cells))
    return propose([("loki.csv", csv(*rows))])


def a_gauge_study() -> Proposal:
    rows = [
        f"P{part},{who},{trial},{0.2 + part / 50 + trial / 200:.3f},2026-03-02"
        for part in range(10)
        for who in ("JR", "AO", "KL")
        for trial in (1, 2)
    ]
    said = {"log": [{"shape": "study", "headings": {"Value": "value", "Trial": "trial", "Part": "part"}}]}
    return propose([("study.csv", csv("Part,Operator,Trial,Value,Date", *rows))], said=checked_answers(SHOP | said))


def several_files() -> Proposal:
    rows = [
        f"S{n},{DAYS[n % 20]},{8 + n % 3}:0{n % 10},{9 + n % 3}:1{n % 10},.0{11 + n % 5},.00{5 + n % 4}"
        for n in range(30)
    ]
    sheet = csv("Serial,Day,In,Out,Relief in,Relief out", *rows)
    names = ("nut slotting 03.csv", "nut slotting 04.csv", "packing 03.csv")
    other = csv("Date,Lot,Supplier,Relief (mm)", *(f"{DAYS[n % 20]},L{n // 10},Elm,0.{10 + n}" for n in range(30)))
    return propose([*((name, sheet) for name in names), ("incoming.csv", other)])


def wider_than_the_shop() -> Proposal:
    rows = [
        f"A{n},{DAYS[n % 26]},{('packing,JR,L25', 'buffing,ZZ,HERON')[n % 2]},.01{n % 9},1.{n % 9}0,"
        f"{'pass' if n % 3 else 'redo'}"
        for n in range(30)
    ]
    return propose(
        [("line_7.csv", csv("Serial,Date,Stage,Tech,Model,Relief (in),Fret height (mm),Result", *rows))],
        shop=small_shop(),
    )


SHEETS = {
    of.__name__: of
    for of in (
        visits_in_mm,
        inches_and_64ths,
        a_row_an_instrument,
        a_row_a_measurement,
        no_known_language,
        a_gauge_study,
        several_files,
        wider_than_the_shop,
    )
}


def told(name: str) -> str:
    return told_of(SHEETS[name]())


def told_of(found: Proposal) -> str:
    """A proposal with all that is asked, of what and with which options, and what is not read."""
    asks = [f"{ask.key} | {ask.text} | {ask.default}" for ask in found.asks]
    return "\n".join(
        [
            "== shop.toml",
            found.shop_toml,
            "== specs.csv",
            found.specs_csv or "",
            "== asked",
            *asks,
            "== unread",
            *found.unread,
            "",
        ]
    )


@pytest.mark.parametrize("name", SHEETS)
def test_what_is_proposed_is_as_it_was_looked_over(name):
    assert told(name) == (HERE / f"{name}.txt").read_text(encoding="utf-8")


def headings() -> str:
    """Every heading of the list with what its words mean: the meaning, the stage it names, how sure that is."""
    lines = []
    for line in (HERE / "headings.txt").read_text(encoding="utf-8").splitlines():
        heading = line.split(" | ")[0]
        guess = guess_heading(heading)
        checks = ["looks over only"] if checks_only(heading) else []
        lines.append(" | ".join([heading, guess.target(), guess.stage, guess.level, *checks]))
    return "\n".join(lines) + "\n"


def test_headings_mean_what_was_looked_over():
    assert headings() == (HERE / "headings.txt").read_text(encoding="utf-8")


if __name__ == "__main__":
    HERE.mkdir(exist_ok=True)
    for each in SHEETS:
        (HERE / f"{each}.txt").write_text(told(each), encoding="utf-8")
    (HERE / "headings.txt").write_text(headings(), encoding="utf-8")

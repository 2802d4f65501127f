"""What is proposed for sheets of which something had to be said or answered, word for word. Snapshots, each looked over
by hand when it was written: `python -m tests.ingest.beginning.test_proposed_as_answered` writes them anew; read the
difference before keeping it.
"""

from collections.abc import Callable

import pytest

from ingest.beginning.answers import checked_answers
from ingest.beginning.new import Proposal, propose
from tests.ingest.beginning.test_proposed import DAYS, HERE, SHOP, told_of
from tests.ingest.small_shop import csv, small_shop


def results_of_many_words() -> Proposal:
    """One word is told by its counterpart, one by where it stands, one by an answer, one by nobody."""
    words = ("y", "y", "y", "n", "zr", "qx", "hold", "y", "ok", "")
    rows = [
        f"A{n},{DAYS[n % 26]},final,{(word := words[n % 10])},{'nut' if word == 'zr' else ''},0.{10 + n % 9}"
        for n in range(100)
    ]
    return propose(
        [("r.csv", csv("Serial,Date,Stage,Result,Back to,Relief (mm)", *rows))],
        answers={
            "outcome hold": "open",
            "empty result in r.csv": "pass",
            "name": "Elm Lane",
            "timezone": "Europe/Dublin",
        },
    )


def results_nobody_knows() -> Proposal:
    """Too many rows have a word that nobody explains: results are not read. A third of them is empty."""
    rows = [f"A{n},{DAYS[n % 26]},final,{('ok', 'kz', '')[n % 3]},0.{10 + n % 9}" for n in range(60)]
    one = "x.csv", csv("Serial,Date,Stage,Result,Relief (mm)", *rows)
    rows = [f"B{n},{DAYS[n % 26]},final,{('ok', 'pass', '')[n % 3]},{2 + n % 9 / 10}" for n in range(60)]
    other = "y.csv", csv("Serial,Date,Stage,Result,Action bass (mm)", *rows)
    return propose([one, other], said=checked_answers(SHOP))


def names_of_measurements_answered() -> Proposal:
    """Of a row a measurement: names that are answered, said, known, and one that nobody knows; places and moments."""
    what = (("H12", "b", 2.4), ("H12", "t", 1.8), ("KR", "", 0.15), ("Zug", "3. Saite", 9.0), ("Oktave", "2", 1.0))
    rows = [
        f"N{n},{DAYS[n % 26]},setup,{name},{side},{('vorher', 'nachher')[n % 2]},{value + n % 8 / 20:.2f},ok"
        for n in range(24)
        for name, side, value in what
    ]
    said = {"log": [{"words": {"what": {"KR": "relief"}, "position": {"t": "treble", "b": "bass"}}}]}
    return propose(
        [("names.csv", csv("Serial,Date,Stage,Characteristic,Position,Moment,Value,Result", *rows))],
        said=checked_answers(SHOP | said),
        answers={"what H12": "action", "unit of action in names.csv": "mm", "what Zug": "ask"},
    )


def stages_answered() -> Proposal:
    """Benches with names of the shop's own: one is the trade's, one its own, one none of ours."""
    route = ("Eingang", "Station B", "Zelle 9", "Werk Ost", "Endkontrolle")
    rows = [
        f"S{n},{DAYS[n % 20 + place]},{where},{('JR', 'AO/KL', 'J. R.')[n % 3]},"
        f"{0.1 + n % 9 / 100:.2f},{2 + n % 7 / 10}"
        for n in range(20)
        for place, where in enumerate(route)
    ]
    return propose(
        [("route.csv", csv("Serial,Date,Stage,Tech,Relief (mm),Action treble (mm)", *rows))],
        said=checked_answers(SHOP),
        answers={
            "stage Station B": "nut_slotting",
            "stage Werk Ost": "pass them over",
            "final stage": "final_inspection",
        },
    )


def stages_said() -> Proposal:
    """Stages that somebody listed, under names that the sheet writes, with a word of its own for one; roles to ask."""
    said = {
        "stage": [
            {"key": "in", "name": "Eingang", "role": "receiving"},
            {"key": "fret", "name": "Fret bench", "minutes": 12},
            {"key": "last"},
        ],
        "characteristic": [{"key": "saddle", "name": "Saitenlage", "positions": ["bass"]}],
        "log": [
            {"words": {"stage": {"Z9": "last"}, "tech": {"JR": "T1"}, "fault": {"brummt": "buzz"}}, "stage": "fret"}
        ],
        "tech": [{"key": "T1"}],
        "fault": [{"key": "buzz", "suspect": "fret"}],
    }
    rows = [
        f"S{n},{DAYS[n % 20]},{('Eingang', 'Fret bench', 'Z9', 'polish')[n % 4]},{('JR', 'AO')[n % 2]},"
        f"{2 + n % 7 / 10},{('', 'brummt', 'scratch; dull frets', 'OK')[n % 4]}"
        for n in range(60)
    ]
    return propose(
        [("s.csv", csv("Serial,Date,Stage,Tech,Saitenlage bass,Fault", *rows))], said=checked_answers(SHOP | said)
    )


def units_asked() -> Proposal:
    """Bare numbers of two sizes, of which one is said, one guessed, one left to ask; a heading that says inches."""
    rows = [
        f"A{n},0{1 + n % 9}/0{1 + n % 7}/2026,final,{n % 3 / 10 + 0.4:.1f},{90 + n % 20},"
        f"{n % 9},{0.01 + n % 5 / 1000:.3f}"
        for n in range(60)
    ]
    head = "Serial,Date,Stage,Nut,Action bass,Intonation,Relief (in)"
    return propose(
        [("u.csv", csv(head, *rows))],
        said=checked_answers(SHOP | {"log": [{"units": {"action": "thou"}}]}),
        answers={"unit of nut in u.csv": "mm", "dates of u.csv": "mdy"},
    )


def strings_by_number_and_note() -> Proposal:
    """Four strings by their notes, four by their numbers, two as outer ones; a fret beside the string."""
    notes = [f"Nut {note}" for note in ("E", "A", "G", "e")]
    head = ["Serial", "Date", *notes, *(f"Head {n}" for n in (1, 2, 3, 4)), "Action 6th (mm)", "Action 1st (mm)"]
    head += [
        "Intonation 3 fret 7 (cents)",
        "Intonation 4 (cents)",
        "Neck bow bass (mm)",
        "Relief treble (mm)",
        "Relief bass (mm)",
    ]
    rows = [
        ",".join(
            [
                f"A{n}",
                DAYS[n % 26],
                *(f"0.{30 + (n + k) % 20}" for k in range(4)),
                *(str(80 + n % 9 + k) for k in range(4)),
                f"2.{n % 9}",
                f"1.{n % 9}",
                str(n % 7),
                str(n % 5),
                f"0.{n % 7}",
                f"0.{n % 5}",
                f"0.{n % 4}",
            ]
        )
        for n in range(40)
    ]
    return propose([("strings final inspection.csv", csv(",".join(head), *rows))], said=checked_answers(SHOP))


def columns_that_are_answered() -> Proposal:
    """Columns whose words say nothing: left out, picked, picked twice for one meaning, and one said to be ignored."""
    rows = [
        f"A{n},{DAYS[n % 26]},final,{2 + n % 9 / 10},{0.1 + n % 7 / 100:.2f},{0.1 + n % 6 / 100:.2f},"
        f"{n % 5},{n},x{n % 3}"
        for n in range(50)
    ]
    said = {"log": [{"files": "c*.csv", "ignore": ["Zeug"], "headings": {"Q4": "fret_wear"}}]}
    return propose(
        [("c1.csv", csv("Serial,Date,Stage,Q1,Q2,Q3,Q4,Lfd,Zeug", *rows))],
        said=checked_answers(SHOP | said),
        answers={
            "column Q1 \x1f c1.csv": "action bass (mm)",
            "column Q2 \x1f c1.csv": "relief (mm)",
            "column Q3 \x1f c1.csv": "leave out",
        },
    )


def an_instrument_with_stations() -> Proposal:
    """A row an instrument: measurements right of a stage are of it, one names its own, one column is of the whole."""
    head = (
        "Serial,Model,Receiving date,Neck bow (mm),Tech,Nut slotting date,Nut slotting by,Relief (mm),"
        "Nut slotting time out,Final inspection date,Action bass (mm),Action treble (mm),Final result,Supplier,Lot,Note"
    )
    rows = [
        f"K{n},{('HERON', 'Bass guitar', 'Mandolin A')[n % 3]},{DAYS[n % 20]},"
        f"0.{n % 9},JR,{DAYS[n % 20 + 2]},"
        f"{('AO', 'KL')[n % 2]},"
        f"0.1{n % 9},1{n % 6}:30,{DAYS[n % 20 + 4]},2.{n % 9},1.{n % 9},{'pass' if n % 6 else 'rework'},"
        f"{('Elm', 'Oak')[n % 2]},L{n // 8},"
        for n in range(48)
    ]
    return propose(
        [("book 2026.csv", csv(head, *rows))],
        said=checked_answers(SHOP),
        answers={"family of HERON": "mandolin", "family of Mandolin A": "mandolin"},
    )


def another_edition_for_the_shop() -> Proposal:
    """A sheet that the shop reads already, with a new column, a new word of each kind and a new model."""
    head = "serial,date,stage,tech,model,relief,action bass,outcome,fault,shift,Head 5"
    rows = [
        f"A{n},{DAYS[n % 26]},{('nut_slotting', 'Final inspection', 'buffing')[n % 3]},"
        f"{('JR', 'AO', 'NN')[n % 3]},"
        f"{('L25', 'HERON-2')[n % 2]},.01{n % 9},2.{n % 9},{('ok', 'pass', 'nope')[n % 3]},"
        f"{('', 'buzz open', 'dull')[n % 3]},{n % 2},8{n % 9}"
        for n in range(60)
    ]
    return propose([("bench_9.csv", csv(head, *rows))], shop=small_shop(), answers={"outcome nope": "send back"})


def words_that_only_rows_tell() -> Proposal:
    """No heading helps: serial, benches, hands, begin and end, results, faults and lots are told by their rows."""
    rows = ["K1;K2;K3;K4;K5;K6;K7;K8;K9;K10;K11"]
    places = ("P10", "P20", "P30", "P40")
    for n in range(60):
        for at, place in enumerate(places):
            gone = at == 3 and n % 5 == 2
            begun, ended = f"{8 + at}:{10 + n % 40}", f"{8 + at}:{18 + n % 40}"
            tail = ["R2", "kahise", "P20"] if gone else ["R1", "", ""]
            cells = [
                f"{n + 1}",
                f"{1 + n // 3}.4.2026",
                f"Q{7000 + n}",
                place,
                f"{(n + n // 3 + at) % 3 + 70}",
                begun,
                ended,
                *tail,
                f"{n // 12 + 300}",
            ]
            rows.append(";".join(cells))
    return propose([("dump.csv", csv(*rows))], said=checked_answers(SHOP))


def rows_of_too_many_words() -> Proposal:
    """A column that says which rows are meant: fifteen words are asked about, sixteen are not."""
    rows = [f"A{n},{DAYS[n % 26]},final,d{n % 15},e{n % 16},0.{10 + n % 9}" for n in range(96)]
    head = "Serial,Date,Stage,Dept,Zone,Relief (mm)"
    said = {"log": [{"headings": {"Dept": "rows", "Zone": "rows"}}]}
    return propose(
        [("m.csv", csv(head, *rows))], said=checked_answers(SHOP | said), answers={"rows d3 of Dept": "pass them over"}
    )


SHEETS: dict[str, Callable[[], Proposal]] = {
    of.__name__: of
    for of in (
        results_of_many_words,
        results_nobody_knows,
        names_of_measurements_answered,
        stages_answered,
        stages_said,
        units_asked,
        strings_by_number_and_note,
        columns_that_are_answered,
        an_instrument_with_stations,
        another_edition_for_the_shop,
        words_that_only_rows_tell,
        rows_of_too_many_words,
    )
}


@pytest.mark.parametrize("name", SHEETS)
def test_what_is_proposed_as_answered_is_as_it_was_looked_over(name):
    assert told_of(SHEETS[name]()) == (HERE / f"{name}.txt").read_text(encoding="utf-8")


if __name__ == "__main__":
    for each, of in SHEETS.items():
        (HERE / f"{each}.txt").write_text(told_of(of()), encoding="utf-8")

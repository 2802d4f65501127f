"""Columns told by the words that somebody said, by what stands in the same rows, and by the station over them."""

import tomllib

import pytest

from ingest.beginning import raw_tables
from ingest.beginning.answers import checked_answers, said_of
from ingest.beginning.counted import counted
from ingest.beginning.new import propose
from ingest.beginning.raw_tables import RawTable
from ingest.beginning.survey import Survey, survey_of
from ingest.reading.encodings import decode
from tests.ingest.small_shop import csv
from tests.ingest.strangers.sheets import csv_bytes

STATIONS, HANDS = ("S2", "S3", "S4"), {"S2": "71", "S3": "73", "S4": "75"}


def looked_at(headings: tuple[str, ...], rows: list[tuple[str, ...]], **log: object) -> Survey:
    said = checked_answers({"log": [log]} if log else {})
    table = RawTable("", headings, tuple(zip(*rows, strict=True)))
    return survey_of("dump.csv", table, said_of(said, "dump.csv", ""))


def meanings(seen: Survey) -> dict[str, str]:
    return {column.heading: column.guess.field if column.guess.taken else "" for column in seen.columns}


def visits(many: int = 12) -> list[tuple[str, ...]]:
    """serial, station, hands, begun, ended, result, sent to: three visits an instrument."""
    rows = []
    for n in range(many):
        for at, station in enumerate(STATIONS):
            back = station == "S4" and n % 4 == 0
            day = f"2026-05-{n + 1:02d}"
            hands = HANDS[station] if n % 3 else "72"
            begun, ended = f"{day} {8 + at:02d}:05", f"{day} {8 + at:02d}:2{at}"
            rows.append((f"A{n:04d}", station, hands, begun, ended, "3" if back else "1", "S3" if back else ""))
    return rows


def test_words_that_were_said_find_their_columns_and_the_rows_tell_the_others():
    seen = looked_at(
        ("SN", "OP", "X1", "T1", "T2", "RC", "X2"),
        visits(),
        words={"outcome": {"1": "pass", "3": "send back"}, "stage": {"S2": "levelling", "S3": "nut", "S4": "final"}},
    )
    assert meanings(seen) == {
        "SN": "serial",
        "OP": "stage",
        "X1": "tech",
        "T1": "started_at",
        "T2": "finished_at",
        "RC": "outcome",
        "X2": "sent_back_to",
    }


def test_a_heading_that_only_sounds_like_it_gives_way_to_the_words_that_were_said():
    rows = [(serial, hands, station, *rest) for serial, station, hands, *rest in visits()]
    seen = looked_at(
        ("SN", "OP", "Place", "T1", "T2", "RC", "X2"),
        rows,
        words={"stage": {"S2": "levelling", "S3": "nut_slotting", "S4": "final_inspection"}},
    )
    assert meanings(seen)["Place"] == "stage"
    assert meanings(seen)["OP"] == "tech"


def test_words_that_stand_in_two_columns_alike_are_asked_about():
    rows = [(*row[:5], "1", "1") for row in visits()]
    seen = looked_at(("SN", "OP", "X1", "T1", "T2", "X3", "X4"), rows, words={"outcome": {"1": "pass"}})
    assert "outcome" not in meanings(seen).values()
    assert [column.heading for column in seen.unsure() if column.guess.field == "outcome"] == ["X3"]


def test_begin_and_end_stand_as_their_rows_say_not_as_their_texts_sort():
    rows = [(f"B{n}", "12.05.2026", f"9:{10 + n}", f"10:{10 + n}", "Bund", "2,4") for n in range(20)]
    seen = looked_at(("Nr", "Datum", "Dalle", "Alle", "Reparto", "Azione"), rows)
    assert (meanings(seen)["Dalle"], meanings(seen)["Alle"]) == ("started_at", "finished_at")


def test_the_day_of_an_export_neither_dates_the_row_nor_says_how_days_are_written():
    rows = [("06/05/2026 18:00", *row[:2], row[3], row[4]) for row in visits()]
    seen = looked_at(("Exported", "SN", "Station", "Start", "End"), rows)
    assert meanings(seen)["Exported"] == "other"
    assert (seen.order, seen.order_sure) == ("ymd", True)


def test_two_columns_that_would_mean_the_same_measurement_are_both_asked_about():
    rows = [(*row[:2], row[3], ".090", ".072") for row in visits()]
    seen = looked_at(("SN", "Station", "Start", "Action one", "Action other"), rows)
    assert "reading" not in meanings(seen).values()
    assert len(seen.unsure()) == 2


@pytest.mark.parametrize(
    ("first", "last"),
    [
        ("Act 12 E6", "Act 12 E1"),
        ("Act. 6th", "Act. 1st"),
        ("Action VI (mm)", "Action I (mm)"),
        ("Saitenlage E6", "Saitenlage e1"),
        ("Nut 6th", "Nut 1st"),
        ("Sattel 6", "Sattel 1"),
    ],
)
def test_the_outer_strings_are_bass_and_treble(first, last):
    rows = [(*row[:2], row[3], "2.40", "1.80") for row in visits()]
    seen = looked_at(("SN", "Station", "Start", first, last), rows)
    assert [column.guess.position for column in seen.measures()] == ["bass", "treble"]


def test_the_nut_at_the_first_fret_is_no_string_without_a_sister_that_counts_them():
    rows = [(*row[:2], row[3], "0.60") for row in visits()]
    seen = looked_at(("SN", "Station", "Start", "Nut 1st"), rows)
    assert [column.guess.target() for column in seen.measures()] == ["nut"]
    rows = [(*row[:2], row[3], "0.60", "0.55", "0.50") for row in visits()]
    seen = looked_at(("SN", "Station", "Start", "Nut 6th", "Nut 3rd", "Nut 1st"), rows)
    assert [column.guess.position for column in seen.measures()] == ["6", "3", "1"]


def test_a_column_whose_heading_would_name_a_measurement_is_the_result_where_its_cells_are():
    rows = [(*row[:2], row[3], "0.60", "redo nut" if n % 4 == 0 else "ok") for n, row in enumerate(visits())]
    seen = looked_at(("SN", "Station", "Start", "Nut", "Check"), rows)
    assert meanings(seen)["Check"] == "outcome"


def test_a_target_beside_the_reading_is_not_the_reading():
    rows = [(*row[:2], row[3], "Saitenlage Bass", "4.0", "3.96", "mm") for row in visits()]
    seen = looked_at(("SN", "Platz", "Datum", "Merkmal", "Sollwert", "Istwert", "Einheit"), rows)
    assert (meanings(seen)["Sollwert"], meanings(seen)["Istwert"]) == ("other", "value")


def test_columns_under_a_stations_heading_are_read_by_the_rest_of_their_own():
    head = (
        "Serial",
        "Neck in Date",
        "Neck in By",
        "Neck in Straightness thou",
        "Neck Date",
        "Neck By",
        "Neck Relief thou",
    )
    rows = [(f"26-{n}", "2026-04-06", "JT", "4", "2026-04-07", "Wes", "6") for n in range(100, 120)]
    told = [(c.guess.field, c.guess.measure, c.guess.stage) for c in looked_at(head, rows).columns[1:]]
    assert told[:3] == [("date", "", "receiving"), ("tech", "", "receiving"), ("reading", "neck_bow", "receiving")]
    assert [stage for _, _, stage in told[3:]] == ["neck_straightening"] * 3
    assert told[5][1] == "relief"


@pytest.mark.parametrize(
    ("text", "codec"),
    [
        ("Průhyb krku v pořádku, výška", "cp1250"),
        ("długość gryfu, próg, łączny", "cp1250"),
        ("hegedű nyak, őrölt, húr", "cp1250"),
        ("Saitenlage Größe äußere", "cp1252"),
        ("sillet à régler, où, cœur", "cp1252"),
        ("øre på hånd, blød æske", "cp1252"),
        ("cejuela señal acción", "cp1252"),
        ("inspeção, não, botões", "cp1252"),
        ("più giù, perché, così", "cp1252"),
    ],
)
def test_letters_of_central_europe_and_of_the_west_are_told_apart(text, codec):
    read, note = decode(csv_bytes([["Serial", "Date", "Note"], ["A1", "2026-05-04", text]], encoding=codec), "a.csv")
    assert text in read
    assert codec.removeprefix("cp") in note


def test_a_change_of_mapping_reads_no_file_again_and_counts_the_first_lines_of_a_long_one(monkeypatch):
    rows = [["SN", "Station", "Start", "Action bass (mm)"], *([*row[:2], row[3], "2.40"] for row in visits(40))]
    files = [("bench kept.csv", csv_bytes(rows))]
    propose(files)
    monkeypatch.setattr(raw_tables, "_raw_tables", lambda *_: pytest.fail("read again"))
    proposal = propose(files, said=checked_answers({"log": [{"headings": {"Station": "stage"}}]}))
    [whole], [few] = counted(files, proposal), counted(files, proposal, lines=31)
    assert (whole.rows, whole.lines) == (120, 0)
    assert (few.rows, few.readings, few.lines) == (30, 30, 31)
    assert few.told().startswith("bench kept.csv, its first 31 lines: 30 of 30 rows")


def test_rows_that_come_again_and_again_without_a_stage_are_left_unread_and_it_is_said():
    rows = [["Serial", "Date", "Relief mm"], *([f"S{n // 3}", f"2026-03-{n % 28 + 1:02d}", "0.1"] for n in range(60))]
    files = [("again.csv", csv_bytes(rows))]
    proposal = propose(files)
    assert proposal.unread[0] == "again.csv: no row is read: no column says at which stage, and nobody has said"
    assert "no stage column" in counted(files, proposal)[0].told()
    said = checked_answers({"log": [{"stage": "play_test"}]})
    assert counted(files, propose(files, said=said))[0].readings == 60


def test_a_row_a_measurement_tells_sides_the_way_back_and_bow_from_relief():
    names = [("Halskrümmung", side, "10", "0.1") for side in ("Bass", "Diskant")]
    names += [("Halsdurchbiegung", "", "40", "0.2"), ("Oktavreinheit", "6", "40", "1.5")]
    rows = ["Serial;Date;Station;Prüfer;Merkmal;Lage;Wert;Einheit;Ergebnis;Zurück an"]
    for n in range(30):
        for name, side, station, value in names:
            end = "NA;20" if n % 6 == 0 and station == "40" else "iO;"
            unit = "Cent" if name == "Oktavreinheit" else "mm"
            rows.append(f"A{n:03d};2026-05-{n % 28 + 1:02d};{station};71;{name};{side};{value};{unit};{end}")
    file = "mes.csv", "\n".join([*rows, ""]).encode()
    benches = {"stage 10": "receiving", "stage 40": "final_inspection"}
    open_ = propose([file], answers=benches)
    (back,) = [ask for ask in open_.asks if ask.key == "stage 20"]
    assert back.default == "leave out"
    assert "went back" in back.text
    told = propose([file], answers={**benches, "stage 20": "levelling"})
    (log,) = told.logs
    assert meanings(told.surveys[0])["Lage"] == "position"
    assert log.words["what"]["Halskrümmung"] == "neck_bow"
    assert log.words["what"]["Halsdurchbiegung"] == "relief"
    (one,) = counted([file], told)
    assert (one.cells_aside, one.send_backs) == (0, 5)
    assert dict(one.columns)["neck_bow bass"] == dict(one.columns)["neck_bow treble"] == 30
    assert counted([file], open_)[0].cells_aside == 5  # nobody has said which bench 20 is


def test_a_bend_read_at_receiving_by_one_number_is_asked_about():
    rows = ["Serial;Date;Station;Merkmal;Wert;Einheit"]
    rows += [f"A{n:03d};2026-05-{n % 28 + 1:02d};10;Halskrümmung;0.1;mm" for n in range(30)]
    told = propose([("mes.csv", "\n".join([*rows, ""]).encode())], answers={"stage 10": "receiving"})
    assert any("neck_bow, as it came, or relief" in ask.text for ask in told.asks)


@pytest.mark.parametrize("units", [",,,64ths,thou", ",,,64ths,"])
def test_units_in_a_row_of_their_own_are_read_as_they_were_shown(units):
    rows = [
        "Date,Serial,Who,Action bass,Relief (thou)" if units.endswith(",") else "Date,Serial,Who,Action bass,Relief"
    ]
    rows += [units, *(f"{n % 28 + 1}/5/2026,A{n:03d},Bea,5½,{n % 5 + 6}" for n in range(30))]
    file = "final inspection.csv", "\n".join([*rows, ""]).encode()
    (one,) = counted([file], propose([file]))
    assert (one.rows, one.readings, one.cells_aside) == (30, 60, 0)


@pytest.mark.parametrize(
    ("notes", "sides", "tuning"),
    [
        ("G C E A", {}, "G C E A"),
        ("E A D G", {}, None),  # a bass, or a mandolin: asked about
        ("G C E A D B", {}, None),  # of two instruments: a D or a B is no side here
        ("B D", {"B": "bass", "D": "treble"}, ""),
        ("bass treble", {}, ""),
    ],
)
def test_places_that_are_notes_are_strings_of_one_tuning_or_asked_about(notes, sides, tuning):
    rows = [
        f"N{n},2026-03-{2 + n % 20:02d} 08:{n % 60:02d},final,nut height,{note},0.5{n % 9},mm"
        for n in range(30)
        for note in notes.split()
    ]
    sheet = ("values.csv", csv("Unit no,Stamp,Station,Characteristic,String,Reading,Unit", *rows))
    found = propose([sheet])
    table = tomllib.loads(found.shop_toml)
    assert table["log"][0].get("words", {}).get("position", {}) == sides
    assert table["model"][0].get("tuning", "") == (tuning or "")
    asked = [ask for ask in found.asks if ask.key == "tuning of all models"]
    assert len(asked) == (tuning != "")
    answered = propose([sheet], answers={"tuning of all models": "D G B E"})
    assert tomllib.loads(answered.shop_toml)["model"][0].get("tuning", "") == ("D G B E" if asked else "")

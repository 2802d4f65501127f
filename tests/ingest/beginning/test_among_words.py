"""Columns of a few words in a language that no list knows: benches, results, faults and lots by where they stand."""

from ingest.beginning.guesses import decimal_sign
from ingest.beginning.raw_tables import raw_tables
from ingest.beginning.survey import survey_of
from ingest.beginning.units_of_columns import METRIC

PLACES = ("Vastaanotto", "Kaula", "Satula", "Talla", "Loppu")


def _sheet(*, back: bool = True, once: bool = False) -> str:
    rows = ["Päivä;Numero;Malli;Paikka;Kuka;Korkeus bas;Tulos;Vika;Minne;Erä"]
    for i in range(40):
        for place, where in enumerate(PLACES):
            day = f"{1 + i // 2}.3.2026"
            gone = back and where == "Loppu" and i % 8 == 3
            written = day if not once or (place == 0 and i % 2 == 0) else ""
            who = ("Aino", "Eero", "Ilta", "Oiva", "Tuuli")[(place + i % 2) % 5]
            value = f"2,{30 + i % 9}" if where in ("Talla", "Loppu") else ""
            tail = ["palasi", "surisee", "Satula"] if gone else ["hyvä", "", ""]
            rows.append(";".join([written, f"FI{100 + i}", "Kotka", where, who, value, *tail, f"E{i // 10}"]))
    return "\r\n".join(rows) + "\r\n"


def _seen(text: str):
    tables, _ = raw_tables("loki.csv", text.encode("utf-8"))
    return survey_of("loki.csv", tables[0])


def test_words_tell_benches_hands_results_faults_and_the_way_back_by_where_they_stand():
    seen = _seen(_sheet())
    fields = {column.heading: column.guess.field for column in seen.columns if column.guess.taken}
    wanted = {"Paikka": "stage", "Tulos": "outcome", "Vika": "fault", "Minne": "sent_back_to", "Numero": "serial"}
    assert wanted.items() <= fields.items()
    assert all(column.guess.level == "likely" for column in seen.columns if column.heading in ("Paikka", "Tulos"))


def test_a_lot_and_a_height_are_asked_about_and_not_taken():
    seen = _seen(_sheet())
    asked = {column.heading: column.guess for column in seen.columns if column.guess.level == "unsure"}
    assert asked["Erä"].field == "lot"
    assert (asked["Korkeus bas"].measure, asked["Korkeus bas"].position) == ("action", "bass")
    assert asked["Korkeus bas"].unit in METRIC


def test_nothing_is_called_a_bench_where_words_are_met_in_no_order():
    rows = _sheet().splitlines()
    head, body = rows[0], rows[1:]
    shuffled = [line.split(";") for line in body]
    for place, cells in enumerate(shuffled):
        cells[3] = PLACES[(place * place + place // 3) % 5]
    seen = _seen("\r\n".join([head, *(";".join(cells) for cells in shuffled)]))
    assert seen.column("stage") is None


def test_a_day_written_once_is_seen_and_a_full_column_is_not():
    assert _seen(_sheet(once=True)).once == ("Päivä",)
    assert _seen(_sheet()).once == ()


def test_a_few_numbers_typed_with_a_comma_say_how_a_workbook_is_written():
    assert decimal_sign(["2.4", "2.45", "2,40"], workbook=True) == ","
    assert decimal_sign(["2.4", "2.45", "2,40"]) == "."
    assert decimal_sign(["2.4", "2.45"], workbook=True) == "."

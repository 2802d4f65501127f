"""Guesses at columns: words and parts of words, cells, neighbours; and the families of the trade by their words."""

import random
import tomllib

import pytest

from ingest.beginning.adding import add_to_shop, take_back
from ingest.beginning.answers import checked_answers, meaning_of
from ingest.beginning.counted import counted
from ingest.beginning.families import FAMILIES, family_of
from ingest.beginning.guesses import guess_column, guess_heading
from ingest.beginning.new import propose, write
from ingest.beginning.profiles import profile
from ingest.beginning.stage_words import guess_stage, stage_of_word, stage_within
from ingest.beginning.starting_limits import by_position
from ingest.shopfiles.shop import ShopProblem, checked_shop, read_shop
from ingest.shopfiles.specs import read_specs
from tests.ingest.small_shop import csv

DAYS = [f"2026-03-{day:02d}" for day in range(2, 28)]


def column(proposal, heading):
    return next(column for seen in proposal.surveys for column in seen.columns if column.heading == heading)


def look(header, rows, **said):
    return propose([("a.csv", csv(header, *rows))], said=checked_answers(said))


@pytest.mark.parametrize(
    ("heading", "target"),
    [
        ("Saitenlage 12. Bund Bass [mm]", "action bass (mm)"),
        ("Sattelhöhe 1. Bund Diskant [mm]", "nut treble (mm)"),
        ("Saitenlage 1. Bund Bass", "nut bass"),
        ("Action bass side mm", "action bass (mm)"),
        ("1st fret B", "nut bass"),
        ("Gap over 1st", "nut"),
        ("Charge", "lot"),
        ("MDL", "model"),
        ("ACT12_B", "action bass"),
        ("NUT1_T", "nut treble"),
        ("INT6_CT", "intonation 6 (cents)"),
        ("INT12_6", "intonation 6"),
        ("String height 12th", "action"),
        ("Oktavreinheit 3. Saite", "intonation 3"),
        ("Int 3 f5", "intonation 3 fret 5"),
        ("Relief out", "relief left"),
        ("Halsdurchbiegung", "relief"),
        ("Fellspannung", "head"),
        ("Instrumentennummer", "serial"),
        ("Prüfplatz", "stage"),
        ("zurück an", "sent_back_to"),
        ("UZ_VON", "started_at"),
        ("Remarks", "note"),
    ],
)
def test_a_heading_is_told_by_its_parts_in_english_and_german(heading, target):
    guess = guess_heading(heading)
    assert (guess.target(), guess.level) == (target, "sure")


@pytest.mark.parametrize(
    ("word", "stage"),
    [("Recv", "receiving"), ("Endprüfung", "final_inspection"), ("Sattel kerben", "nut_slotting"), ("buffing", "")],
)
def test_a_word_for_a_stage_is_told_or_left(word, stage):
    assert guess_stage(word) == stage
    assert stage_of_word("BRG") == "bridge_fitting"


@pytest.mark.parametrize(
    ("model", "family"),
    [
        ("Tenorbanjo", "tenor banjo"),
        ("Wren Tenor", "tenor ukulele"),
        ("plectrum", "plectrum banjo"),
        ("Banjolele No 3", "banjolele"),
        ("5-saitiges Banjo Resonator", "resonator banjo"),
        ("5-string open back", "open-back banjo"),
        ("acoustic bass ukulele", "bass ukulele"),
        ("Ukulele Bariton", "baritone ukulele"),
        ("Mandola Elm", "mandola"),
        ("Octave mandolin", "octave mandolin"),
        ("Hollis Square Neck", "square-neck resonator guitar"),
        ("Brook 12-String", "12-string guitar"),
        ("E-Bass lang", "bass guitar"),
        ("Konzertgitarre K10", "classical guitar"),
        ("E-Gitarre", "electric guitar"),
        ("banjo", ""),
        ("guitar", ""),
        ("Tenor guitar", ""),
        ("400210", ""),
        ("Ukulélé ténor T3", "tenor ukulele"),
        ("Banjo ténor", "tenor banjo"),
        ("Klassiek K4/4", "classical guitar"),
        ("Guitare classique", "classical guitar"),
        ("Elektrisch T-50", "electric guitar"),
        ("Elektrische basgitaar", "bass guitar"),
        ("Basse électrique B4", "bass guitar"),
    ],
)
def test_a_family_is_told_by_the_longest_words_and_never_by_a_general_one(model, family):
    assert family_of(model) == family


def test_every_family_has_limits_that_hold_its_target():
    for name, family in FAMILIES.items():
        assert family_of(name) == name
        for limits in (family.relief, *family.action, *(family.nut or ()), family.head):
            assert limits is None or limits[1] <= limits[0] <= limits[2]


def test_limits_of_strings_by_number_lie_between_treble_and_bass():
    held = dict(by_position(["1", "2", "3"], (2.4, 2.1, 2.7), (1.8, 1.5, 2.1)))
    assert held == {"1": (1.8, 1.5, 2.1), "2": (2.1, 1.8, 2.4), "3": (2.4, 2.1, 2.7)}


@pytest.mark.parametrize("heading", ["Charge $", "Lot cost (EUR)", "Relief job, €"])
def test_money_is_no_lot_and_no_measurement(heading):
    assert guess_heading(heading).field == "other"


def test_starting_limits_are_in_inches_where_the_sheet_is(tmp_path):
    rows = [f"A{n},{DAYS[n]},Meadow Dreadnought,{0.09 + n / 1000:.3f}" for n in range(9)]
    proposal = look("Serial,Date,Model,Action bass (in)", rows, shop={"name": "x", "timezone": "UTC"})
    write(tmp_path, proposal)
    (row,) = read_specs(tmp_path / "specs.csv", read_shop(tmp_path / "shop.toml")).rows.iter_rows(named=True)
    assert (row["lower"], row["upper"]) == (pytest.approx(2.1, abs=0.002), pytest.approx(2.7, abs=0.002))
    assert "0.0945,0.0827,0.1063,in" in proposal.specs_csv


def test_the_serial_is_the_column_that_is_nearly_unique_and_not_the_kind_of_instrument():
    rows = [f"{n + 1},{('banjo', 'uke', 'bass')[n % 3]},{DAYS[n % 20]},{0.1 + n / 100:.2f}" for n in range(40)]
    proposal = look("Job,Instrument,Date,Relief (mm)", rows)
    assert column(proposal, "Job").guess.field == "serial"
    assert column(proposal, "Instrument").guess.field == "model"
    (count,) = counted([("a.csv", csv("Job,Instrument,Date,Relief (mm)", *rows))], proposal)
    assert (count.rows, count.readings) == (40, 40)


def test_in_is_found_beside_out_and_inches_alone():
    rows = [f"A{n},{DAYS[n]},.011,.006" for n in range(9)]
    proposal = look("Serial,Date,Relief in,Relief out", rows)
    assert column(proposal, "Relief in").guess.target() == "relief found"
    alone = look("Serial,Date,Relief in,Note", rows)
    assert column(alone, "Relief in").guess.target() == "relief (in)"


def test_numbers_of_two_units_in_one_column_are_asked_about():
    rows = [f"A{n},{DAYS[n]},{'.006' if n % 3 else '.15'}" for n in range(20)]
    proposal = look("Serial,Date,Relief", rows)
    (ask,) = [ask for ask in proposal.asks if ask.key.startswith("unit of relief")]
    assert ask.default == "ask"


def test_a_result_is_a_send_back_where_it_alone_says_where_to():
    rows = [f"A{n},{DAYS[n]},final,{'XQ' if n % 5 == 0 else 'ok'},{'nut' if n % 5 == 0 else ''}" for n in range(20)]
    proposal = look("Serial,Date,Bench,Result,Back to", rows)
    assert checked_shop(tomllib.loads(proposal.shop_toml)).logs[0].words["outcome"] == {"XQ": "send back", "ok": "pass"}


def test_results_that_nobody_has_said_leave_the_column_unread_and_the_rows_in():
    rows = [f"A{n},{DAYS[n]},final,{random.Random(n).choice('019')},0.{10 + n}" for n in range(20)]
    sheet = [("a.csv", csv("Serial,Date,Bench,Result,Relief (mm)", *rows))]
    proposal = propose(sheet)
    assert any("outcomes are not read" in line for line in proposal.unread)
    (count,) = counted(sheet, proposal)
    assert (count.rows_aside, count.readings, count.send_backs) == (0, 20, None)


def test_a_column_in_another_language_is_asked_about_and_never_guessed_to_be_a_measurement():
    rows = [f"A{n},{DAYS[n]},2.{40 + n}" for n in range(20)]
    proposal = look("Serial,Date,Höjd", rows)
    assert column(proposal, "Höjd").guess.field == ""
    assert any(ask.key.startswith("column Höjd") for ask in proposal.asks)
    assert any("'Höjd' is not read (20 cells)" in line for line in proposal.unread)
    key = next(ask.key for ask in proposal.asks if ask.key.startswith("column Höjd"))
    answered = propose([("a.csv", csv("Serial,Date,Höjd", *rows))], answers={key: "action bass (mm)"})
    assert checked_shop(tomllib.loads(answered.shop_toml)).logs[0].headings["Höjd"] == "action bass (mm)"


def test_what_was_said_goes_before_every_guess_and_the_first_log_that_fits_counts():
    rows = [f"A{n},{DAYS[n]},Al,2.{40 + n}" for n in range(9)]
    logs = [
        {"files": "a*", "stage": "play_test", "headings": {"Height": "hb (mm)"}, "ignore": ["Who"]},
        {"files": "*", "stage": "packing"},
    ]
    said = {"log": logs, "characteristic": [{"key": "hb", "name": "Height of bridge", "quantity": "length"}]}
    sheets = [("a.csv", csv("Serial,Date,Who,Height", *rows)), ("b.csv", csv("Serial,Date,Who,Relief (mm)", *rows))]
    shop = checked_shop(tomllib.loads(propose(sheets, said=checked_answers(said)).shop_toml))
    first, second = shop.logs
    assert (first.stage, first.headings["Height"], first.ignore) == ("play_test", "hb (mm)", ("Who",))
    assert (second.stage, second.headings["Who"]) == ("packing", "tech")
    assert shop.by_characteristic["hb"].name == "Height of bridge"


@pytest.mark.parametrize(
    ("target", "parts"),
    [
        ("action bass/treble (mm)", ("action", "bass/treble", "", "", "mm")),
        ("relief left @ final_inspection", ("relief", "", "left", "final_inspection", "")),
        ("relief @ final_inspection (mm)", ("relief", "", "", "final_inspection", "mm")),
        ("nut_height bass", ("nut_height", "bass", "", "", "")),
        ("intonation 3 fret 7", ("intonation", "3 fret 7", "", "", "")),
    ],
)
def test_a_meaning_that_somebody_wrote_is_taken_apart(target, parts):
    guess = meaning_of(target)
    assert (guess.measure, guess.position, guess.moment, guess.stage, guess.unit) == parts
    assert guess.target() == target


def test_additions_go_into_shop_toml_before_wider_logs_and_can_be_taken_back(tmp_path):
    rows = [f"A{n},{DAYS[n]},0.{10 + n}" for n in range(9)]
    first = [("a.csv", csv("Serial,Date,Relief (mm)", *rows))]
    write(tmp_path, propose(first))
    before = (tmp_path / "shop.toml").read_text(encoding="utf-8")
    other = [
        ("other.csv", csv("Serial,Date,Bench,Fret height (mm)", *(f"A{n},{DAYS[n]},buffing,1.{n}0" for n in range(9))))
    ]
    shop = read_shop(tmp_path / "shop.toml")
    proposal = propose(other, shop=shop)
    add_to_shop(tmp_path, proposal)
    wider = read_shop(tmp_path / "shop.toml")
    assert [log.name for log in wider.logs] == ["other.csv", "a.csv"]
    assert {"buffing"} <= set(wider.by_stage)
    assert counted(other, proposal, shop)[0].readings == 9
    take_back(tmp_path)
    assert (tmp_path / "shop.toml").read_text(encoding="utf-8") == before
    take_back(tmp_path)
    assert not (tmp_path / "shop.toml").exists()


def test_a_table_that_shop_toml_does_not_have_is_one_line():
    with pytest.raises(ShopProblem, match="answers: stages is not a table; wanted one of shop"):
        checked_answers({"stages": []})


def test_a_measurement_that_somebody_named_is_one_with_what_is_guessed():
    rows = [f"A{n},{DAYS[n]},0.5{n},0.4{n},9.{n}0" for n in range(9)]
    said = {
        "log": [{"headings": {"X": "nut_height bass (mm)", "Y": "Height of bridge (mm)"}}],
        "characteristic": [{"key": "hb", "name": "Height of bridge", "quantity": "length"}],
    }
    proposal = look("Serial,Date,X,Nut treble (mm),Y", rows, **said)
    shop = checked_shop(tomllib.loads(proposal.shop_toml))
    assert [item.key for item in shop.characteristics] == ["hb", "nut_height"]
    assert shop.by_characteristic["nut_height"].positions == ("bass", "treble")
    (count,) = counted([("a.csv", csv("Serial,Date,X,Nut treble (mm),Y", *rows))], proposal)
    assert dict(count.columns) == {"hb": 9, "nut_height bass": 9, "nut_height treble": 9}


def test_a_column_of_single_measurements_is_none_where_a_row_holds_several():
    rows = [f"A{n},{DAYS[n]},final,ok,0.{10 + n}" for n in range(9)]
    sheet = [("a.csv", csv("Serial,Date,Bench,Check,Relief (mm)", *rows))]
    proposal = propose(sheet)
    assert column(proposal, "Check").guess.field in ("", "outcome")
    assert counted(sheet, proposal)[0].readings == 9


def test_one_word_in_the_name_of_a_tab_is_enough_for_its_stage():
    assert stage_within("week 12 packing, second bench of March") == guess_stage("packing") != ""
    assert stage_within("week 12, second bench of March") == ""


@pytest.mark.parametrize(
    ("heading", "target"),
    [
        ("Alivio antes", "relief found"),
        ("Alivio salida (mm)", "relief left (mm)"),
        ("Altura cejuela 6ª (mm)", "nut 6 (mm)"),
        ("Altura cejuela 1ª (mm)", "nut 1 (mm)"),
        ("Nut 1", "nut"),
        ("Afinación XII 1ª", "intonation 1"),
        ("Observaciones", "note"),
        ("Esito", "outcome"),
        ("Matricola", "serial"),
        ("Vuelve a", "sent_back_to"),
    ],
)
def test_headings_in_spanish_and_italian(heading, target):
    assert guess_heading(heading).target() == target


@pytest.mark.parametrize("cells", [["OK"] * 94 + ["NG"] * 6, ["OK"] * 9 + ["n.g."], ["NG"]])
def test_a_test_whose_cells_are_results_names_nobody(cells):
    guess = guess_column("Play test", profile(tuple(cells)))
    assert (guess.field, guess.stage) == ("outcome", "play_test")


def test_a_test_with_initials_says_who_did_it():
    guess = guess_column("Play test", profile(("JM", "LT", "KD") * 9))
    assert (guess.field, guess.stage) == ("tech", "play_test")

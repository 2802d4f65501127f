"""A newcomer with a sheet of their own: what is proposed, what is asked, and that nothing is overwritten.

The three sheets under foreign/ are inventions of our own (make_foreign.py): no shop wrote them.
"""

import tomllib
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.beginning.answers import checked_answers
from ingest.beginning.asking import MOST_ASKED
from ingest.beginning.guesses import decimal_sign, guess_heading
from ingest.beginning.new import propose, write
from ingest.reading.reader import read_log
from ingest.shopfiles.shop import Shop, ShopProblem, checked_shop
from ingest.shopfiles.specs import read_specs
from ingest.terms.questions import FileProblem
from ingest.verbs.load import load
from tests.ingest.small_shop import csv, small_shop

FOREIGN = Path(__file__).parents[1] / "foreign"
SHEETS = {
    "setup_book_2026.csv": (420, 1260, 2100),
    "werkstatt.csv": (900, 900, 1440),
    "line_check_march.xlsx": (225, 225, 450),
}  # rows, visits, readings
NOW = datetime(2026, 6, 1, tzinfo=UTC)
SHOP = {"shop": {"name": "Bench", "timezone": "UTC"}}


def sheet(name: str) -> tuple[str, bytes]:
    return name, (FOREIGN / name).read_bytes()


def shop_of(toml: str) -> Shop:
    return checked_shop(tomllib.loads(toml))


@pytest.mark.parametrize("name", SHEETS)
def test_a_foreign_sheet_goes_into_a_store_with_at_most_ten_answers(name, tmp_path):
    proposal = propose([sheet(name)], answers={"timezone": "Europe/Dublin", "name": "A new shop"})
    assert len(proposal.asks) <= MOST_ASKED
    write(tmp_path, proposal)
    shop = shop_of((tmp_path / "shop.toml").read_text())
    read_specs(tmp_path / "specs.csv", shop)
    (became,) = load(tmp_path, [FOREIGN / name], now=NOW)
    rows, visits, readings = SHEETS[name]
    assert (became.rows_read, became.accepted, became.set_aside, became.cells_set_aside) == (rows, rows, 0, 0)
    read = read_log(sheet(name)[1], name, shop)
    assert (read.visits.height, read.readings.height) == (visits, readings)
    assert read.visits["stage"].n_unique() == len(shop.stages)
    assert set(read.visits["model"]) == set(shop.by_model)


@pytest.mark.parametrize(
    ("answers", "line"),
    [
        ({"timezone": "Europe/Dublin"}, 'timezone = "Europe/Dublin"'),
        ({}, 'timezone = "UTC"  # guess: the clock on the wall'),
        ({"timezone": "UTC"}, 'timezone = "UTC"  # guess: the clock on the wall'),  # the answer that is offered
    ],
)
def test_a_time_zone_is_marked_a_guess_until_somebody_says_another(answers, line):
    lines = propose([sheet("setup_book_2026.csv")], answers=answers).shop_toml.splitlines()
    assert [one for one in lines if one.startswith("timezone")] == [line]


def test_the_instrument_book_is_read_with_inches_and_fractions_and_setters():
    name, data = sheet("setup_book_2026.csv")
    proposal = propose([(name, data)])
    shop = shop_of(proposal.shop_toml)
    read = read_log(data, name, shop)
    middle = read.readings.group_by("characteristic").agg(pl.col("value").median()).sort("characteristic")
    assert dict(middle.iter_rows()) == {
        "action": pytest.approx(2.58, abs=0.1),
        "nut": pytest.approx(0.53, abs=0.03),
        "relief": pytest.approx(0.15, abs=0.03),
    }
    assert {tech.key: tech.words for tech in shop.techs} == {"Abe": (), "Kit": (), "Lou": (), "M.J.": ("MJ",)}
    assert set(read.visits.filter(pl.col("stage") == "nut_slotting")["tech"]) == {"M.J.", "Abe", "Lou"}
    assert shop.logs[0].date_order == "mdy"
    assert "# guess: from the size of" in proposal.shop_toml
    assert '# not known, kept as typed: "Shelf"' in proposal.shop_toml


def test_the_german_sheet_is_read_with_its_decimal_comma_and_its_words():
    name, data = sheet("werkstatt.csv")
    log = shop_of(propose([(name, data)]).shop_toml).logs[0]
    assert (log.decimal, log.date_order) == (",", "dmy")
    assert log.words["stage"]["Endkontrolle"] == "final_inspection"
    assert log.words["outcome"] == {"i.O.": "pass", "n.i.O.": "send back"}


def test_starting_limits_are_marked_as_not_the_shops_own():
    lines = propose([sheet("werkstatt.csv")]).specs_csv.splitlines()
    assert 'action,bass,classical guitar,,,,10,9,11,64ths,,,"starting value, not yours"' in lines
    assert all(line.endswith('"starting value, not yours"') for line in lines[1:])


BANJOS_AND_UKULELES = """serial,model,date,stage,tech,relief (mm),action bass (mm)
A1,5-string open-back banjo,2026-01-02,levelling,Al,,
A1,5-string open-back banjo,2026-01-02,rod at pitch,Bo,0.21,
A1,5-string open-back banjo,2026-01-02,neck angle,Al,,
A2,tenor ukulele,2026-01-02,levelling,Al,,
A2,tenor ukulele,2026-01-02,bridge,Bo,,2.6
A2,tenor ukulele,2026-01-03,final inspection,Cy,0.08,2.6
"""


def test_where_a_thing_is_set_hangs_on_the_family_and_a_rod_is_set_at_pitch():
    shop = shop_of(propose([("mixed.csv", BANJOS_AND_UKULELES.encode())]).shop_toml)
    relief, action = (next(item for item in shop.characteristics if item.key == key) for key in ("relief", "action"))
    assert [relief.set_stage(family) for family in ("open-back banjo", "tenor ukulele")] == [
        "rod_at_pitch",
        "levelling",
    ]
    assert [action.set_stage(f) for f in ("open-back banjo", "tenor ukulele")] == ["neck_angle", "bridge_fitting"]
    banjos = "\n".join(row for row in BANJOS_AND_UKULELES.splitlines() if "ukulele" not in row)
    alone = shop_of(propose([("banjos.csv", banjos.encode())]).shop_toml)
    assert [item.set_at for item in alone.characteristics] == ["rod_at_pitch", "neck_angle"]


STRUNG = """serial,model,date,stage,tech,relief (mm),nut bass (mm)
A1,steel-string guitar,2026-01-02,neck straightening,Al,{},
A1,steel-string guitar,2026-01-02,nut slotting,Bo,,0.5
A1,steel-string guitar,2026-01-03,final inspection,Cy,0.18,0.5
"""


@pytest.mark.parametrize(("straightened", "told"), [("0.21", "neck_straightening"), ("", "")])
def test_relief_read_strung_alone_is_not_said_to_be_set_by_who_straightens_before_stringing(straightened, told):
    shop = shop_of(propose([("book.csv", STRUNG.format(straightened).encode())]).shop_toml)
    assert {item.key: item.set_at for item in shop.characteristics} == {"relief": told, "nut": "nut_slotting"}


def test_every_column_is_shown_with_its_count_and_five_samples():
    (seen,) = propose([sheet("werkstatt.csv")]).surveys
    relief = next(column for column in seen.columns if column.heading.startswith("Halskr"))
    assert (relief.filled, len(relief.samples)) == (360, 5)


def test_an_answer_changes_what_is_written_and_a_wrong_one_is_refused():
    name = "setup_book_2026.csv"
    shop = shop_of(propose([sheet(name)], answers={f"unit of relief in {name}": "mm"}).shop_toml)
    assert shop.logs[0].units["relief"] == "mm"
    assert shop.logs[0].headings["Relief"] == "relief @ final_inspection"
    bare = ("a.csv", csv("Serial,Date,Relief (mm)", "A1,2026-03-02,0.1", "A2,2026-03-03,0.1"))
    assert shop_of(propose([bare], answers={"stage of a.csv": "play_test"}).shop_toml).logs[0].stage == "play_test"
    with pytest.raises(ValueError, match="none of in, mm, thou, ask"):
        propose([sheet(name)], answers={f"unit of relief in {name}": "yards"})


def test_a_number_of_any_size_is_a_question_and_not_a_guess():
    data = csv("Serial,Date,Stage,Relief", *(f"A{n},2026-03-0{n},final,{n * 7}" for n in range(1, 9)))
    proposal = propose([("a.csv", data)])
    (ask,) = [ask for ask in proposal.asks if ask.key == "unit of relief in a.csv"]
    assert ask.default == "ask"
    assert shop_of(proposal.shop_toml).logs[0].units == {}


def test_dates_that_may_be_either_way_round_are_asked_about():
    data = csv(
        "Serial,Date,Stage,Relief (mm)", "A1,02/03/2026,final,0.1", "A2,03/03/2026,final,0.1", "A3,04/03/2026,final,0.1"
    )
    assert any(ask.key == "dates of a.csv" for ask in propose([("a.csv", data)]).asks)


def test_a_folder_that_is_not_there_is_made(tmp_path):
    folder = tmp_path / "benches" / "weir lane"
    assert folder / "shop.toml" in write(folder, propose([sheet("werkstatt.csv")]))
    assert (folder / "shop.toml").read_text()


def test_nothing_is_overwritten(tmp_path):
    proposal = propose([sheet("werkstatt.csv")])
    (tmp_path / "specs.csv").write_text("mine")
    with pytest.raises(ShopProblem, match="already there"):
        write(tmp_path, proposal)
    assert (tmp_path / "specs.csv").read_text() == "mine"
    assert not (tmp_path / "shop.toml").exists()


def test_with_a_shop_there_only_what_it_lacks_is_proposed(tmp_path):
    shop = small_shop(files="bench_*.csv")
    data = csv(
        "Serial,Date,Station,Initials,Model,Relief (in),Defect",
        "A1,2026-03-02,final inspection,JR,LARK-25,.010,buzz open",
        "A2,2026-03-03,buffing,ZZ,WREN tenor,.010,odd noise",
    )
    proposal = propose([("line.csv", data)], shop=shop)
    added = tomllib.loads(proposal.shop_toml)
    assert proposal.additions
    assert [stage["key"] for stage in added["stage"]] == ["buffing"]
    assert [tech["key"] for tech in added["tech"]] == ["ZZ"]
    assert [model["key"] for model in added["model"]] == ["WREN tenor"]
    assert [fault["key"] for fault in added["fault"]] == ["odd noise"]
    assert "characteristic" not in added
    assert [log["name"] for log in added["log"]] == ["line.csv"]
    assert [path.name for path in write(tmp_path, proposal)] == ["shop.additions.toml"]


@pytest.mark.parametrize(
    ("heading", "target"),
    [
        ("Action B @12 (mm)", "action bass (mm)"),
        ("Act. treble", "action treble"),
        ("Relief @7 in", "relief (in)"),
        ("Saitenlage Diskant", "action treble"),
        ("Int 3", "intonation 3"),
        ("s/n", "serial"),
        ("Prüfer", "tech"),
        ("N° de série", ""),
        ("Numéro de série", "serial"),
        ("Relief after", "relief left"),
        ("Hauteur des cordes grave", "action bass"),
        ("Shelf", ""),
        ("action b/t mm", "action bass/treble (mm)"),
    ],
)
def test_a_heading_is_guessed_by_its_words(heading, target):
    assert guess_heading(heading).target() == target


@pytest.mark.parametrize(
    ("heading", "stage"),
    [
        ("Nut by", "nut_slotting"),
        ("Final date", "final_inspection"),
        ("Strung", "stringing"),
        ("Relief final", "final_inspection"),
    ],
)
def test_a_heading_may_name_a_stage(heading, stage):
    assert guess_heading(heading).stage == stage


def test_the_decimal_sign_of_a_short_sheet_is_told_by_every_cell():
    rows = [f"A{k};2026-03-{k + 2:02d};final;{'0,35' if k % 2 else '1'}" for k in range(20)]
    proposal = propose([("a.csv", csv("Serial;Date;Stage;Relief (mm)", *rows))])
    assert [seen.decimal for seen in proposal.surveys] == [","]


def test_the_decimal_sign_is_told_by_the_numbers():
    assert decimal_sign(["2,5", "4/64", "x"]) == ","
    assert decimal_sign(["2.5", "2,5"]) == "."
    assert decimal_sign([]) == "."


WORD = st.sampled_from(
    [
        "Serial",
        "Date",
        "Stage",
        "Relief",
        "Tech",
        "Result",
        "Model",
        "Final date",
        "Nut by",
        "x",
        "",
        "Défaut",
        'a "b"',
        "back\\slash",
        "Min",
    ]
)
CELL = st.one_of(
    st.text(max_size=6), st.sampled_from(["2026-03-02", "A1", "final", ".010", "4/64", "JR", "ok", "\x7f", "é\\"])
)


@settings(max_examples=60)
@given(st.lists(WORD, min_size=3, max_size=7), st.lists(st.lists(CELL, min_size=7, max_size=7), max_size=6))
def test_whatever_is_proposed_loads(header, rows):
    frame = (
        pl.DataFrame(
            [row[: len(header)] for row in rows], schema=[str(place) for place in range(len(header))], orient="row"
        )
        if rows
        else None
    )
    text = (
        ",".join(f'"{word}"'.replace('a "b"', 'a ""b""') for word in header)
        + "\n"
        + (frame.write_csv(include_header=False, quote_style="always") if frame is not None else "")
    )
    with suppress(FileProblem):
        proposal = propose([("a.csv", text.encode("utf-8", "replace"))])
        shop = shop_of(proposal.shop_toml)
        with suppress(FileProblem):
            read = read_log(text.encode("utf-8", "replace"), "a.csv", shop)
            assert read.rows_read == read.visits["line"].n_unique() + read.rows_set_aside


def test_a_thing_is_set_where_somebody_has_rows_and_not_where_work_only_went_back_to():
    rows = [
        f"A{n},2026-03-{2 + n % 20:02d},setup,{('JR', 'AO')[n % 2]},0.{10 + n % 9},0.{40 + n % 9},"
        f"{'send back,nut' if n % 9 == 0 else 'ok,'}"
        for n in range(60)
    ]
    head = "Serial,Date,Bench,Tech,Relief (mm),Nut (mm),Result,Back to"
    shop = shop_of(propose([("book.csv", csv(head, *rows))], said=checked_answers(SHOP)).shop_toml)
    assert [stage.key for stage in shop.stages if stage.key == "nut_slotting"]
    assert {item.key: item.set_at for item in shop.characteristics} == {"relief": "setup", "nut": "setup"}


def test_where_work_went_back_to_stands_in_the_words_of_another_sheets_benches():
    bench = [f"A{n},2026-03-{2 + n % 20:02d},{('nut filing', 'fret dress')[n % 2]},0.{10 + n % 9}" for n in range(60)]
    last = [f"A{n},2026-03-{3 + n % 20:02d},final,{'send back,nut filing' if n % 9 == 0 else 'ok,'}" for n in range(60)]
    files = [("bench.csv", csv("Serial,Date,Bench,Relief (mm)", *bench))]
    files += [("last.csv", csv("Serial,Date,Step,Result,Back to", *last))]
    shop = shop_of(propose(files, said=checked_answers(SHOP)).shop_toml)
    read = read_log(files[1][1], "last.csv", shop)
    assert read.rows_set_aside == 0
    assert set(read.visits["sent_back_to"]) == {"", "nut_slotting"}


def test_what_is_said_to_be_left_at_one_stage_is_set_there():
    rows = [f"A{n},2026-03-02,2026-03-03,0.{10 + n % 9},0.{10 + n % 7}" for n in range(60)]
    said = {"Day in": "date @ receiving", "Day out": "date @ final_inspection"}
    said |= {"Relief in": "relief found (mm) @ receiving", "Relief out": "relief left (mm) @ final_inspection"}
    log = {"files": "*.csv", "shape": "instrument", "headings": said}
    head = "Serial,Day in,Day out,Relief in,Relief out"
    shop = shop_of(propose([("book.csv", csv(head, *rows))], said=checked_answers(SHOP | {"log": [log]})).shop_toml)
    assert [item.set_at for item in shop.characteristics] == ["final_inspection"]


def test_a_file_too_short_to_tell_its_columns_is_one_of_its_kind():
    head = "NO,WHEN,PLACE,R (mm)"
    long = [f"K{n},2026-03-{2 + n % 20:02d},final,0.{10 + n % 9}" for n in range(60)]
    short = ["K9,02.03.2026 or so,final,0.12"]
    said = checked_answers(SHOP | {"log": [{"files": "ex_*.csv", "headings": {"R (mm)": "relief (mm)"}}]})
    files = [("ex_1.csv", csv(head, *long)), ("ex_2.csv", csv(head, *short))]
    for each in (files, files[::-1]):
        [seen] = propose(each, said=said).surveys
        assert (set(seen.files), seen.rows) == ({"ex_1.csv", "ex_2.csv"}, 61)
    with pytest.raises(FileProblem, match="no column holds dates"):
        propose(files[1:], said=said)
    with pytest.raises(FileProblem, match="other"):  # under other headings it is another kind
        propose([files[0], ("other.csv", csv("NO,WHEN,SPOT,R (mm)", *short))], said=checked_answers(SHOP))


def mistyped_sheet() -> bytes:
    """A small shop's sheet in which words were mistyped, the model has a name of the shop's own and boxing is last."""
    lines = ["Ticket;Sort;Day;Station;Hands;Str. height low mm;Verdict"]
    sorts = ("Fink A", "Lerche Tenor", "Amsel Sopran")
    slips = {(7, "Nut"): "Nutt", (19, "Last look"): "Last lok"}
    for k in range(60):
        for stage in ("Nut", "Last look", "Box"):
            read = f"2,{40 + k % 20}" if stage == "Last look" else ""
            who = "Rsoa" if (k, stage) == (30, "Box") else ("Rosa", "Wim")[k % 2]
            typed = slips.get((k, stage), stage)
            lines.append(f"UM{2600 + k};{sorts[k % 3]};{1 + k // 3:02d}.09.2026;{typed};{who};{read};gut")
    return "\n".join(lines).encode()


def test_slips_of_the_pen_make_neither_stages_nor_people_and_a_model_is_known_by_its_kinds():
    made = propose([("buch.csv", mistyped_sheet())])
    shop = shop_of(made.shop_toml)
    (log,) = shop.logs
    assert log.headings["Sort"] == "model"
    assert {one.key for one in shop.models} == {"Fink A", "Lerche Tenor", "Amsel Sopran"}
    assert len(shop.stages) == 3
    assert log.words["stage"]["Nutt"] == log.words["stage"].get("Nut", "nut_slotting")
    assert {one.key for one in shop.techs} == {"Rosa", "Wim"}
    (final,) = [one.key for one in shop.stages if one.role == "final"]
    assert final in log.words["stage"]["Last lok"]  # where something is measured, not where it is boxed
    told = " ".join(made.unread)
    assert "'Nutt' is taken for a slip of 'Nut'" in told
    assert "'Rsoa' is on no list, perhaps 'Rosa'; Logs asks" in told


def test_a_sheet_in_sixty_fourths_and_thousandths_makes_a_shop_of_inches():
    lines = ["SN,Model,Finished,Who,Relief,Act 6th,Act 1st,Result"]
    for k in range(40):
        lines.append(f"10{k:04d},OM-90,03/{1 + k % 28:02d}/2026,Lou,.0{8 + k % 3:02d},{5 + k % 3}/64,4.5/64,OK")
    made = propose([("Setup log.csv", "\n".join(lines).encode())])
    assert shop_of(made.shop_toml).shop.length == "in"


IN_ROWS = (  # what, its readings, their unit, the tool
    ("neck bow", [f"0.0{k:02d}" for k in range(4, 11)], "in", "straightedge"),
    ("relief", [f"0.0{k:02d}" for k in range(3, 10)], "in", "feelers"),
    ("nut height", [str(k) for k in range(13, 21)], "thou", "feelers"),
    ("action bass", ["6½", "7", "7½", "8"], "64ths", "rule"),
    ("action treble", ["6", "6½", "7", "7½"], "64ths", "rule"),
)


def long_sheet(rows=IN_ROWS):
    lines = ["Serial,Instrument,When,Station,Who,What,Reading,Units,Tool"]
    for k in range(40):
        for what, readings, unit, tool in rows:
            one = readings[k % len(readings)]
            stage = "receiving" if what == "neck bow" else "final inspection"
            lines.append(f"HC-{k:04d},Mandolin,{1 + k % 28}/3/2026,{stage},Dot,{what},{one},{unit},{tool}")
    return propose([("final.csv", "\n".join(lines).encode())])


def test_a_sheet_of_a_row_a_measurement_in_inches_makes_a_shop_of_inches_with_its_limits_and_tools():
    made = long_sheet()
    assert shop_of(made.shop_toml).shop.length == "in"
    rows = {tuple(row.split(",")[:2]): row.split(",")[6:10] for row in made.specs_csv.splitlines()[1:]}
    assert {key: row[3] for key, row in rows.items()} == {
        ("relief", ""): "in",
        ("action", "bass"): "64ths",
        ("action", "treble"): "64ths",
        ("nut", ""): "thou",
        ("neck_bow", ""): "in",
    }
    assert all(float(number) * 2 == int(float(number) * 2) for number in rows["action", "bass"][:3])
    steps = {gauge.key: gauge.resolution for gauge in shop_of(made.shop_toml).gauges}
    assert steps.keys() == {"straightedge", "feelers", "rule"}
    assert steps["feelers"] == "0.001 in"  # 0.001 in and 1 thou are one step
    assert steps["rule"] == "1/128 in"


def test_a_sheet_of_a_row_a_measurement_in_millimetres_stays_in_millimetres():
    made = long_sheet([("relief", [f"0.{k}" for k in range(10, 25)], "mm", "feelers")])
    assert shop_of(made.shop_toml).shop.length == "mm"
    assert ",mm," in made.specs_csv

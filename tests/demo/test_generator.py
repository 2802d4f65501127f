"""The demo shop: the same seed gives the same bytes, days are as full as a shop's, dirt is about one row in a
hundred.
"""

import csv
import tomllib
from functools import cache
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from demo_data import scenario as shop
from demo_data.dirt import Speck
from demo_data.flow import FINAL, PACKING, RECEIVING, REST
from demo_data.generator import Truth, sheets, truth, write_shop
from demo_data.measures import on_day
from demo_data.sheets import Sheet, cells, inches, sixty_fourths
from demo_data.studies import MASTERS
from ingest.terms.units import amount

HEADINGS = {
    "receiving": "Serial,Model,Supplier,Lot,Date,Tech,Bow B,Bow T,RH,Temp,Result,Fault,Cause",
    "bench": "S/N;Model;Job;Stage;Tech;Start;End;Min;Result;Fault;Where;Cause;Back to;Relief in;Relief out;Head;Act. "
    "B @12;Act. T @12;"
    "Nut B;Nut T;Int 1;Int 2;Int 3;Int 4;Int 5;Int 6;Gauge;Note",
    "playtest": "Serial,Model,When,Tester,Result,Fault,Where,Cause,Back to,Relief,Act B,Act T,Gauge,s1 f0,s1 f1",
    "final": "Serial;Model;Inspected;Inspector;Result;Fault;Where;Cause;Back to;Relief;Action bass;Action treble;Nut "
    "bass;Nut treble;"
    "I1;I2;I3;I4;I5;I6;Gauge;Finish;Tuners;Packed;Packer;Pack result",
}


@cache
def told() -> Truth:
    return truth()


@cache
def written() -> list[tuple[str, str, Sheet, list[Speck]]]:
    return sheets(told())


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_the_same_seed_gives_the_same_bytes(tmp_path: Path) -> None:
    first, second, other = tmp_path / "a", tmp_path / "b", tmp_path / "c"
    for folder in (first, second):
        write_shop(folder, weeks=2)
    write_shop(other, weeks=2, seed=7)
    assert bytes_of(first) == bytes_of(second)
    assert bytes_of(other)["logs/bench_2026-W47.csv"] != bytes_of(first)["logs/bench_2026-W47.csv"]


def test_the_committed_week_is_what_the_generator_writes(tmp_path: Path) -> None:
    write_shop(tmp_path, weeks=1)
    committed = bytes_of(Path(str(files("demo_data").joinpath("week"))))
    assert bytes_of(tmp_path) == committed


def test_two_weeks_hold_two_weeks_and_end_on_the_last_friday(tmp_path: Path) -> None:
    logs = write_shop(tmp_path, weeks=2)
    names = [path.name for path in logs]
    assert {"receiving_2026-W46.csv", "bench_2026-W46.csv", "final_2026-W47.csv", "playtest_2026-11.csv"} <= set(names)
    assert not [name for name in names if "W45" in name or "W48" in name]
    assert all(path.parent == tmp_path / "logs" for path in logs)
    assert {path.name for path in tmp_path.iterdir()} == {
        "shop.toml",
        "specs.csv",
        "lots.csv",
        "changes.csv",
        "climate.csv",
        "cards",
        "logs",
    }
    days = truth(weeks=2).days
    assert (str(days[0]), str(days[-1]), len(days)) == ("2026-11-09", "2026-11-20", 10)


def test_no_week_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="at least one week; got 0"):
        write_shop(tmp_path / "shop", weeks=0)
    assert not (tmp_path / "shop").exists()


def test_a_file_has_the_headings_that_shop_toml_maps() -> None:
    mapped = {log["files"].split("_")[0]: log.get("headings", {}) for log in shop.SHOP["log"]}
    for name, separator, sheet, _ in written():
        kind = name.split("_")[0]
        if kind == "study":
            assert list(sheet) == ["study", "characteristic", "part", "tech", "trial", "value", "unit"]
            continue
        assert separator.join(sheet).startswith(HEADINGS[kind])
        assert set(mapped[kind]) <= set(sheet), f"{name}: a heading of shop.toml is not in the file"


def test_fifty_to_eighty_instruments_come_in_a_day() -> None:
    t = told()
    came = np.bincount(t.instruments.day, minlength=len(t.days))
    assert len(came) == 80
    assert came.min() >= 50
    assert came.max() <= 80


@pytest.mark.parametrize("stage", [FINAL, PACKING])
def test_fifty_to_eighty_go_out_a_day_once_the_bench_is_full(stage: int) -> None:
    t = told()
    rows = (t.visits.stage == stage) & (t.visits.repeat == 0)
    day = np.searchsorted(t.days, on_day(t.visits.finish[rows], t.days))
    out = np.bincount(day, minlength=len(t.days))[5:]
    assert 60 < out.mean() < 70
    assert np.mean((out >= 50) & (out <= 80)) > 0.9


def test_sixteen_weeks_are_a_shop_of_the_wanted_size() -> None:
    t = told()
    assert len(t.instruments.model) > 5_000
    assert len(t.visits) > 78_000
    assert len(shop.STAGES) == 19
    assert len(set(shop.FAMILY)) == 5
    setups = [model.get("setup") for model in shop.SHOP["model"]]
    assert setups.count("tenor") == 2
    young = np.sum(t.instruments.model == shop.MODELS.index("KITE-M3"))
    assert 25 < young < 100, "a model for the short-run chart: limits still provisional"
    assert np.sum(t.instruments.model == shop.MODELS.index("HERON-OO")) < 25, "a model too rare for limits"


def test_labour_fits_the_people() -> None:
    t = told()
    hours = t.visits.minutes.sum() / 60 / len(t.days)
    assert 70 < hours < 12 * 8.5


def test_time_runs_forward_and_inside_the_working_day() -> None:
    v = told().visits
    same = v.instrument[1:] == v.instrument[:-1]
    assert np.all(v.finish >= v.start)
    assert np.all(v.start[1:][same] >= v.finish[:-1][same])
    minute = np.concatenate([v.start % 1440, v.finish % 1440])
    assert minute.min() >= 450
    assert minute.max() <= 1020
    assert not np.any((minute > 720) & (minute < 750)), "nobody works through lunch"
    assert not np.any(v.finish // 1440 % 7 >= 5), "nobody works at the weekend"


def test_the_rest_is_a_day_and_longer_over_a_weekend() -> None:
    v = told().visits
    rest = v.stage == REST
    hours = (v.finish - v.start)[rest] / 60
    friday = v.start[rest] // 1440 % 7 == 4
    assert np.all(hours[~friday] == 24)
    assert hours[friday].min() > 60


def test_every_outcome_and_story_occurs() -> None:
    v = told().visits
    assert set(np.unique(v.outcome.astype(str))) == {
        "pass",
        "fixed",
        "send back",
        "hold",
        "second",
        "reject",
        "pulled",
        "return",
    }
    back = v.outcome == "send back"
    assert 0.08 < len(np.unique(v.instrument[back])) / len(told().instruments.model) < 0.18
    assert 0.3 < np.mean(v.cause[back] != "") < 0.6, "causes are confirmed in part"
    assert {"supplier"} < set(v.cause[back])
    assert len(v.instrument[back]) > len(np.unique(v.instrument[back])), "some come back twice"
    assert np.any((v.stage == RECEIVING) & (v.outcome == "return"))


def test_some_re_checks_are_missed() -> None:
    v = told().visits
    missed = 0
    for row in np.flatnonzero(v.outcome == "send back"):
        mine = np.flatnonzero(v.instrument == v.instrument[row])
        missed += not np.any((mine > row) & (v.stage[mine] == v.stage[row]))
    assert 20 < missed < 150


def test_about_one_row_in_a_hundred_is_dirty_in_all_the_ways_of_real_logs() -> None:
    rows = sum(len(next(iter(sheet.values()))) for _, _, sheet, _ in written())
    specks = [speck for _, _, _, found in written() for speck in found]
    assert 0.008 < len(specks) / rows < 0.012
    assert {speck.kind for speck in specks} == {
        "garbled",
        "spreadsheet date",
        "ditto",
        "no point",
        "stage",
        "tech",
        "fault",
        "duplicate",
        "future",
    }


def test_the_list_of_spoilt_rows_points_at_them() -> None:
    for name, _, sheet, specks in written():
        serials = next(iter(sheet.values()))
        for speck in specks:
            if speck.kind == "duplicate":
                assert serials[speck.row] == serials[speck.row + 1], name
                assert all(values[speck.row] == values[speck.row + 1] for values in sheet.values())
            if speck.kind == "future":
                assert "2062" in sheet[speck.column][speck.row]


def test_readings_stand_in_the_notation_of_the_bench() -> None:
    bench = [sheet for name, _, sheet, _ in written() if name.startswith("bench")]
    text = {cell for sheet in bench for cell in sheet["Act. B @12"]}
    assert {".094", '5/64"', '4.5/64"', "4.5/64"} <= text
    assert any(cell.endswith(" thou") for cell in text)
    assert any(cell.endswith(" mm") for cell in text)
    final = [sheet for name, _, sheet, _ in written() if name.startswith("final")]
    assert "2,40" in {cell for sheet in final for cell in sheet["Action bass"]}
    assert any("->" in cell for sheet in final for cell in sheet["Action treble"]), "found, then left"


def test_lengths_are_written_as_people_write_them() -> None:
    assert inches(1.6002) == ".063"
    assert inches(-0.0508) == "-.002"
    assert sixty_fourths(1.5875) == '4/64"'
    assert sixty_fourths(2.1828, ",") == '5,5/64"'
    assert cells(np.array([np.nan, -0.0]), lambda value: f"{value:.1f}").tolist() == ["", "0.0"]


def test_specs_and_changes_name_only_what_the_shop_has() -> None:
    keys = {item["key"] for item in shop.SHOP["characteristic"] if item.get("quantity") != "class"}  # these have words
    with files("demo_data").joinpath("specs.csv").open(encoding="utf-8") as lines:
        specs = list(csv.DictReader(lines))
    assert {row["characteristic"] for row in specs} == keys
    assert {row["model"] for row in specs} <= {*shop.MODELS, ""}
    assert {row["family"] for row in specs} <= {*shop.FAMILY, ""}
    assert {row["stage"] for row in specs} <= {*shop.STAGES, ""}
    with files("demo_data").joinpath("changes.csv").open(encoding="utf-8") as lines:
        changes = list(csv.DictReader(lines))
    assert {row["model"] for row in changes} <= {*shop.MODELS, ""}
    assert {row["stage"] for row in changes} <= {*shop.STAGES, ""}


def test_a_short_string_is_played_on_the_frets_it_has_and_no_other() -> None:
    sheets_ = [sheet for name, _, sheet, _ in written() if name.startswith("playtest")]
    banjos = [np.char.startswith(sheet["Model"].astype(str), "DRAY") for sheet in sheets_]
    for fret in (1, 2, 3, 5):
        cells_ = [sheet[f"s5 f{fret}"][mine] for sheet, mine in zip(sheets_, banjos, strict=True)]
        assert set(np.concatenate(cells_)) == {""}
    seventh = [sheet["s5 f7"][mine] for sheet, mine in zip(sheets_, banjos, strict=True)]
    assert np.sum(np.concatenate(seventh) != "") > 50


def test_a_fixed_bridge_has_a_saddle_and_a_movable_one_has_feet() -> None:
    named = {
        (model, fault)
        for _, _, sheet, _ in written()
        if "Fault" in sheet and "Model" in sheet
        for model, fault in zip(sheet["Model"], sheet["Fault"], strict=True)
        if fault in ("bridge foot gap", "saddle not flat")
    }
    fixed = {model["key"] for model in shop.SHOP["model"] if model["bridge"] == "fixed"}
    assert {model for model, fault in named if fault == "saddle not flat"} <= fixed
    assert not {model for model, fault in named if fault == "bridge foot gap"} & fixed
    assert len({fault for _, fault in named}) == 2


def test_a_head_is_tensioned_again_after_the_strings_and_stands_on_its_mark() -> None:
    t = told()
    again = np.flatnonzero((t.visits.stage == shop.PLACE["head_retension"]) & (t.visits.repeat == 0))
    before = t.visits.stage[again - 1][t.visits.instrument[again - 1] == t.visits.instrument[again]]
    assert np.mean(before == shop.PLACE["stringing"]) > 0.9
    fell = t.measures.columns["head"][again] - shop.HEAD[t.instruments.model[t.visits.instrument[again]]]
    left = t.measures.columns["head left"][again] - shop.HEAD[t.instruments.model[t.visits.instrument[again]]]
    assert np.nanmean(fell) == pytest.approx(-shop.HEAD_FALLS, abs=0.1)
    assert np.nanmean(left) == pytest.approx(0, abs=0.1)


def test_minutes_go_with_strings_and_feet() -> None:
    planned = dict(zip(shop.MODELS, shop.planned_minutes(), strict=True))
    nut, bridge = shop.PLACE["nut_slotting"], shop.PLACE["bridge_fitting"]
    assert planned["KITE-M2"][nut] > planned["HERON-D"][nut] > planned["LARK-25"][nut]
    assert planned["DRAY-5"][bridge] > planned["HERON-D"][bridge]


def test_checks_with_words_go_with_the_faults_of_their_visit() -> None:
    finals = [sheet for name, _, sheet, _ in written() if name.startswith("final")]
    said = {(fault, word) for sheet in finals for fault, word in zip(sheet["Fault"], sheet["Finish"], strict=True)}
    assert {word for _, word in said} <= {"clean", "scratch", ""}
    assert ("finish flaw", "scratch") in said
    assert ("", "clean") in said


def test_gauges_are_checked_on_their_masters_and_one_is_forgotten(tmp_path: Path) -> None:
    write_shop(tmp_path, weeks=4)
    with (tmp_path / "cards" / "gauge_checks.csv").open() as lines:
        rows = list(csv.DictReader(lines))
    of = {gauge: [float(row["value"]) for row in rows if row["gauge"] == gauge] for gauge in MASTERS}
    assert [len(of[gauge]) for gauge in MASTERS] == [4, 4, 4, 1]
    stated = {gauge["key"]: gauge["master"] for gauge in shop.SHOP["gauge"] if "master" in gauge}
    for gauge, master in MASTERS.items():
        assert amount(stated[gauge]) == pytest.approx(master)
        assert np.mean(of[gauge]) == pytest.approx(master, abs=shop.STEP[gauge])


def test_every_lot_of_an_instrument_is_in_lots_csv() -> None:
    t = told()
    assert set(t.instruments.lot) == {lot.name for lot in t.instruments.lots}
    assert len({lot.name for lot in t.instruments.lots}) == len(t.instruments.lots)
    assert all(lot.received_on < lot.opened for lot in t.instruments.lots)


def test_nothing_but_the_demo_knows_what_was_planted() -> None:
    root = Path(str(files("demo_data").joinpath("."))).parent
    for folder in ("ingest", "analysis", "dashboard"):
        for path in (root / folder).rglob("*.py"):
            assert "planted" not in path.read_text(encoding="utf-8"), path


def test_planted_toml_lists_at_least_nine_faults_with_their_seed() -> None:
    planted = tomllib.loads(files("demo_data").joinpath("planted.toml").read_text(encoding="utf-8"))
    assert planted["seed"] == shop.SEED
    assert len(planted["planted"]) >= 9
    for row in planted["planted"]:
        assert {"key", "what", "from_date", "size"} <= set(row)
        for touch in row.get("touches", []):
            assert set(touch) == {"characteristic", "positions", "models", "stages", "techs"}

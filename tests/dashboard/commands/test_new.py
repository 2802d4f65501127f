"""`truerun new` at the command line: from a foreign sheet to a shop that loads it, and never a traceback."""

import io
import sys
import tomllib
from pathlib import Path

import pytest

from dashboard.commands.cli import run

FOREIGN = Path(__file__).parents[2] / "ingest" / "foreign"


def test_a_sheet_is_shown_column_by_column_and_a_shop_is_written(tmp_path, capsys):
    sheet = FOREIGN / "setup_book_2026.csv"
    assert run(["new", str(sheet), "--shop", str(tmp_path / "shop"), "--yes"]) == 0
    said = capsys.readouterr().out
    assert "setup_book_2026.csv: 420 rows, a row an instrument" in said
    assert "Action B" in said
    assert "action bass" in said
    assert "Taken as guesses" in said
    assert run(["load", str(sheet), "--shop", str(tmp_path / "shop")]) == 0
    assert "420 rows read = 420 accepted" in capsys.readouterr().out


def test_files_of_one_kind_are_counted_together_under_all_their_names(tmp_path, capsys):
    whole = (FOREIGN / "setup_book_2026.csv").read_text(encoding="utf-8").splitlines()
    for number, rows in enumerate((whole[1:211], whole[211:]), 1):
        (tmp_path / f"book {number}.csv").write_text("\n".join([whole[0], *rows]) + "\n", encoding="utf-8")
    sheets = [str(tmp_path / f"book {number}.csv") for number in (1, 2)]
    assert run(["new", *sheets, "--shop", str(tmp_path / "shop")]) == 0
    said = capsys.readouterr().out
    assert "book 1.csv and 1 more: 420 rows, a row an instrument" in said
    assert "Nobody sits at this terminal: what is sure or likely is taken, as with --yes." in said


def test_a_second_sheet_proposes_additions_and_overwrites_nothing(tmp_path, capsys):
    shop = tmp_path / "shop"
    assert run(["new", str(FOREIGN / "setup_book_2026.csv"), "--shop", str(shop), "--yes"]) == 0
    before = (shop / "shop.toml").read_bytes()
    assert run(["new", str(FOREIGN / "werkstatt.csv"), "--shop", str(shop), "--yes"]) == 0
    assert (shop / "shop.toml").read_bytes() == before
    assert "play_test" in (shop / "shop.additions.toml").read_text(encoding="utf-8")
    assert run(["new", str(FOREIGN / "werkstatt.csv"), "--shop", str(shop), "--yes"]) == 2
    assert "already there" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("data", "words"),
    [(b"", "empty"), (b"\x89PNG123", "a picture"), (b"1,2,3\n4,5,6\n", "no heading line"), (None, "could not be read")],
)
def test_what_is_no_sheet_is_one_line(tmp_path, capsys, data, words):
    sheet = tmp_path / "sheet.csv"
    if data is not None:
        sheet.write_bytes(data)
    assert run(["new", str(sheet), "--shop", str(tmp_path / "shop")]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1
    assert not (tmp_path / "shop").exists()


HEAD = (
    "No.;Model;Date;Nut by;Nut G (mm);Nut A (mm);Saddle by;Relief (mm);Action G 12th (mm);Action A 12th (mm);"
    "Checked by;Result"
)
ROWS = [
    f"KU{2001 + k};Kupu tenor ukulele;{1 + k % 28:02d}.10.2026;{('Dewi', 'Putu')[k % 2]};0,4{k % 9};0,5{k % 9};"
    f"Made;0,0{k % 9};2,4{k % 9};2,5{k % 9};Gede;ok"
    for k in range(60)
]


class Typed(io.StringIO):
    """A keyboard at which a person sits."""

    def isatty(self):
        return True


def talked(tmp_path, monkeypatch, head, rows, answers):
    """What the command returns: each prompt is answered by the first of these whose words it holds, else by Enter."""
    (tmp_path / "setup.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    monkeypatch.setattr(sys, "stdin", Typed())
    asked = []

    def prompt(text, default="", **_):
        asked.append(text)
        return next((answer for words, answer in answers if words in text), default)

    monkeypatch.setattr("typer.prompt", prompt)
    monkeypatch.setattr("typer.confirm", lambda *_, default=False, **__: default)
    return run(["new", str(tmp_path / "setup.csv"), "--shop", str(tmp_path / "shop")]), asked


def test_a_measurement_answered_without_its_stage_is_written_with_one_and_its_sister_with_the_other_string(
    tmp_path, monkeypatch, capsys
):
    answers = [
        ("column 'Nut G", "nut bass (mm)"),
        ("column 'Action G", "action bass (mm)"),
        ("time zone", "Asia/Makassar"),
    ]
    assert talked(tmp_path, monkeypatch, HEAD, ROWS, answers)[0] == 0
    held = tomllib.loads((tmp_path / "shop" / "shop.toml").read_text(encoding="utf-8"))["log"][0]["headings"]
    assert held["Nut G (mm)"] == "nut bass (mm) @ final_inspection"
    assert held["Nut A (mm)"] == "nut treble (mm) @ final_inspection"
    assert held["Action G 12th (mm)"] == "action bass (mm) @ final_inspection"
    assert held["Action A 12th (mm)"] == "action treble (mm) @ final_inspection"
    assert "60 of 60 rows and 300 readings would be read" in capsys.readouterr().out
    assert run(["load", str(tmp_path / "setup.csv"), "--shop", str(tmp_path / "shop")]) == 0


def test_a_shop_that_would_refuse_every_sheet_is_not_written_unless_somebody_wants_it(tmp_path, monkeypatch, capsys):
    rows = [f"A{k},2026-10-{1 + k % 28:02d},0.{k % 9}1" for k in range(40)]
    monkeypatch.setattr("dashboard.commands.new._count", lambda *_: True)
    code, asked = talked(tmp_path, monkeypatch, "Serial,Date,Relief (mm)", rows, [])
    assert code == 2
    said = capsys.readouterr()
    assert "As it stands no sheet would be read" in said.out
    assert "nothing is written" in said.err
    assert not (tmp_path / "shop").exists()
    assert any("Change a column?" in one for one in asked)


def test_many_files_of_one_kind_are_named_by_their_pattern(tmp_path, capsys):
    for week in range(8):
        (tmp_path / f"bench_w{week}.csv").write_text("\n".join([HEAD, *ROWS[7 * week : 7 * week + 7]]) + "\n", "utf-8")
    files = [str(path) for path in sorted(tmp_path.glob("*.csv"))]
    assert run(["new", *files, "--shop", str(tmp_path / "shop"), "--yes"]) == 0
    said = capsys.readouterr().out
    assert f"load {tmp_path / 'bench_w*.csv'} --shop" in said
    assert files[0] not in said


def test_what_would_be_set_aside_is_said_with_its_reason(tmp_path, capsys):
    rows = [f"A{k},2026-10-{1 + k % 28:02d},final,0.{k % 9}1" for k in range(40)]
    rows[5] = rows[5].rpartition(",")[0] + ",see card"
    path = tmp_path / "line.csv"
    path.write_text("\n".join(["Serial,Date,Stage,Relief (mm)", *rows]) + "\n", encoding="utf-8")
    assert run(["new", str(path), "--yes", "--shop", str(tmp_path / "shop")]) == 0
    said = capsys.readouterr().out
    assert "0 rows and 1 cells set aside" in said
    assert "  1 cell: cannot be read, first 'see card' under Relief (mm) in line 7; wanted a length" in said

"""`truerun new` at the command line: from a foreign sheet to a shop that loads it, and never a traceback."""

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

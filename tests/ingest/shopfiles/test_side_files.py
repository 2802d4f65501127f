"""lots.csv, changes.csv and climate.csv: optional, checked line by line."""

import random
from datetime import UTC, date, datetime

import numpy as np
import pytest

from ingest.shopfiles import side_files
from ingest.shopfiles.plain_csv import Fault, date_of, rows_of
from ingest.shopfiles.shop import ShopProblem
from ingest.shopfiles.side_files import read_changes, read_climate, read_lots
from tests.ingest.small_shop import small_shop

SHOP = small_shop()


def test_no_file_is_no_rows(tmp_path):
    assert read_lots(tmp_path, SHOP).is_empty()
    assert read_changes(tmp_path, SHOP).is_empty()
    assert read_climate(tmp_path, SHOP).is_empty()


def test_a_lot_keeps_its_limit_in_mm(tmp_path):
    header = "supplier,lot,model,received_on,quantity,rod_state,hours_acclimatised,agreed_limit"
    (tmp_path / "lots.csv").write_text(f"{header}\nS1,L1,LARK-25,2026-03-02,200,slack,48,.010 in\nS1,L2,,,,,,0.25\n")
    first, second = read_lots(tmp_path, SHOP).to_dicts()
    assert first["agreed_limit"] == pytest.approx(0.254)
    assert (first["received_on"], first["quantity"], first["hours_acclimatised"]) == (date(2026, 3, 2), 200, 48.0)
    assert second["agreed_limit"] == 0.25
    assert second["quantity"] is None


def test_climate_stands_in_utc_and_celsius(tmp_path):
    (tmp_path / "climate.csv").write_text(
        "at,room,rh,temperature\n2026-07-02 08:00,bench,48,68\n2026-07-02T07:00Z,bench,47,\n"
    )
    shop = small_shop()
    fahrenheit = shop.model_copy(update={"shop": shop.shop.model_copy(update={"temperature": "F"})})
    rows = read_climate(tmp_path, fahrenheit).to_dicts()
    assert [row["at"] for row in rows] == [datetime(2026, 7, 2, 7, tzinfo=UTC)] * 2
    assert [row["temperature"] for row in rows] == [pytest.approx(20.0), None]


def test_changes_are_dated(tmp_path):
    (tmp_path / "changes.csv").write_text(
        "from_date,to_date,model,stage,what,note\n2026-03-02,2026-03-09,tenor,nut_slotting,jig,spare jig\n"
    )
    (row,) = read_changes(tmp_path, SHOP).to_dicts()
    assert (row["from_date"], row["to_date"], row["model"], row["stage"], row["what"]) == (
        date(2026, 3, 2),
        date(2026, 3, 9),
        "tenor",
        "nut_slotting",
        "jig",
    )


def climate_files(rng):
    """Files as loggers and people write them; some hold what must be read cell by cell."""
    cell = {
        "at": ["2026-03-02 08:00", " 2026-03-29 02:30", "2026-10-25 02:30:15", "2026-03-02T08:00Z", "2026-03-02", ""],
        "room": ["", "bench", " cold  store ", "\u00a0Werkstatt", 'the "old" room'],
        "rh": ["48", " 47.25", "", "4.8e1", "100", "101"],
        "temperature": ["21.5", "-3", ".5", "+20", "", "60.01"],
    }
    odds = [0.55, 0.2, 0.1, 0.13, 0.01, 0.01]
    for _ in range(60):
        names = ["at", *rng.permutation(["room", "rh", "temperature"])[: rng.integers(1, 4)]]
        sign, end = rng.choice([",", ";"]), rng.choice(["\n", "\r\n"])
        lines = [sign.join(names)]
        for _ in range(12):
            line = sign.join(
                str(rng.choice(cell[name], p=np.array(odds[: len(cell[name])]) / sum(odds[: len(cell[name])])))
                for name in names
            )
            lines.append(line.replace('"', '"" ') if rng.random() < 0.5 else line)
        lines.insert(int(rng.integers(1, 12)), str(rng.choice(["", sign * (len(names) - 1), lines[1]])))
        yield end.join(lines) + end * int(rng.integers(0, 2))


def test_a_file_read_at_once_says_what_it_says_read_cell_by_cell(tmp_path, monkeypatch):
    def said():
        try:
            return read_climate(tmp_path, SHOP).rows()
        except ShopProblem as problem:
            return str(problem)

    at_once = side_files.texts_of
    plain = 0
    for text in climate_files(np.random.default_rng(20270303)):
        (tmp_path / "climate.csv").write_bytes(text.encode())
        monkeypatch.setattr(side_files, "texts_of", at_once)
        plain += side_files._plain_climate(tmp_path / "climate.csv", (-40, 60)) is not None
        found = said()
        monkeypatch.setattr(side_files, "texts_of", lambda *_: None)
        assert found == said()
    assert 10 <= plain <= 50


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("lots.csv", "supplier,lot,model\nS1,L1,LARK-26\n", ["lots.csv, line 2: model is 'LARK-26'", "LARK-25"]),
        ("lots.csv", "supplier,lot,quantity\nS1,L1,1.5\n", ["lots.csv, line 2: quantity is '1.5'", "whole number"]),
        ("lots.csv", "supplier,lot\nS1,L1\nS1,L1\n", ["lots.csv, lines 2 and 3", "one row a lot"]),
        ("lots.csv", "supplier,lot\nS1,\n", ["lots.csv, line 2: lot is empty"]),
        ("lots.csv", "supplier,lott\nS1,\n", ["heading 'lott' is not known", "('lot'?)"]),
        ("lots.csv", "supplier\nS1,\n", ["no heading 'lot'"]),
        ("lots.csv", "supplier,lot,agreed_limit\nS1,L1,long\n", ["lots.csv, line 2: agreed_limit 'long'"]),
        (
            "changes.csv",
            "from_date,what\n2.3.2026,jig\n",
            ["changes.csv, line 2: from_date is '2.3.2026'", "year-month-day"],
        ),
        (
            "changes.csv",
            "from_date,what,stage\n2026-03-02,jig,nut\n",
            ["changes.csv, line 2: stage is 'nut'", "nut_slotting"],
        ),
        (
            "changes.csv",
            "from_date,to_date,what\n2026-03-02,2026-03-01,jig\n",
            ["changes.csv: 'jig' ends 2026-03-01 before it begins"],
        ),
        ("climate.csv", "at,rh\n2026-03-02 08:00,148\n", ["climate.csv, line 2: rh is '148'", "0 to 100"]),
        ("climate.csv", "at,rh\nnoon,48\n", ["climate.csv, line 2: at is 'noon'"]),
        ("climate.csv", "at,rh\n2026-03-02 08:00,48,9\n", ["climate.csv, line 2: 3 cells under 2 headings"]),
        ("climate.csv", "at,rh\n2026-03-02 08:00,4\xff8\n", ["climate.csv, line 2: a letter that is not UTF-8"]),
    ],
)
def test_a_fault_names_file_line_column_and_what_is_wanted(tmp_path, name, text, words):
    (tmp_path / name).write_bytes(text.encode("latin-1"))
    with pytest.raises(ShopProblem) as problem:
        {"lots.csv": read_lots, "changes.csv": read_changes, "climate.csv": read_climate}[name](tmp_path, SHOP)
    for word in words:
        assert word in str(problem.value)


def test_an_empty_file_or_one_mistyped_heading_is_one_line(tmp_path):
    for text, said in (
        ("", "lots.csv: is empty; wanted a first line with"),
        ("supplier,lott\n", "lots.csv: heading 'lott'"),
    ):
        (tmp_path / "lots.csv").write_text(text)
        with pytest.raises(ShopProblem) as problem:
            list(rows_of(tmp_path / "lots.csv", ("supplier", "lot"), required=("supplier", "lot")))
        assert str(problem.value).startswith(said)
        assert "\n" not in str(problem.value)


def test_a_day_is_one_that_the_calendar_knows():
    rng = random.Random(20261206)
    days = [f"{rng.randint(0, 3000):04d}-{rng.randint(0, 13):02d}-{rng.randint(0, 32):02d}" for _ in range(3000)]
    others = ["".join(rng.choice("0123456789- +a\u0663") for _ in range(rng.randint(1, 11))) for _ in range(3000)]
    told = 0
    for text in [*days, *others, "2026-3-2", "2026-03-2 ", "20260302", "2026-W10-1", "+026-03-02"]:
        try:
            wanted = datetime.strptime(text, "%Y-%m-%d").date()
        except ValueError:
            with pytest.raises(Fault):
                date_of(text)
        else:
            told += date_of(text) == wanted
    assert told > 2000


def test_a_cell_that_is_wrong_on_two_lines_is_told_of_both(tmp_path):
    (tmp_path / "lots.csv").write_text("supplier,lot,received_on\nTansy,L1,soon\nTansy,L2,2026-02-01\nTansy,L3,soon\n")
    with pytest.raises(ShopProblem) as problem:
        read_lots(tmp_path, SHOP)
    assert [line.partition(":")[0] for line in str(problem.value).splitlines()] == [
        "lots.csv, line 2",
        "lots.csv, line 4",
    ]

"""lots.csv, changes.csv and climate.csv: optional, checked line by line."""

from datetime import UTC, date, datetime

import pytest

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


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("lots.csv", "supplier,lot,model\nS1,L1,LARK-26\n", ["lots.csv, line 2: model is 'LARK-26'", "LARK-25"]),
        ("lots.csv", "supplier,lot,quantity\nS1,L1,1.5\n", ["lots.csv, line 2: quantity is '1.5'", "whole number"]),
        ("lots.csv", "supplier,lot\nS1,L1\nS1,L1\n", ["lots.csv, lines 2 and 3", "one row a lot"]),
        ("lots.csv", "supplier,lot\nS1,\n", ["lots.csv, line 2: lot is empty"]),
        ("lots.csv", "supplier,lott\nS1,\n", ["heading 'lott' is not known", "('lot'?)", "no heading 'lot'"]),
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

"""A family put right by hand in a shop.toml that the program began."""

import pytest

from ingest.beginning.new import propose, write
from ingest.shopfiles.shop import ShopProblem, read_shop
from ingest.shopfiles.specs import read_specs
from ingest.shopfiles.unheld import said
from tests.ingest.small_shop import csv


@pytest.fixture
def folder(tmp_path):
    rows = [
        f"B{n},2026-03-{2 + n % 20:02d},{model},{stage},0.1{n % 7}"
        for n in range(40)
        for model in ("Tenor T3", "Classical C2", "Dreadnought D1")[n % 3 :][:1]
        for stage in ("neck", "level", "final")
    ]
    write(tmp_path, propose([("a.csv", csv("Serial,Date,Model,Stage,Relief (mm)", *rows))]))
    return tmp_path


def put_right(folder, old, new):
    path = folder / "shop.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_a_family_that_is_put_right_takes_no_guess_with_it(folder):
    assert "tenor ukulele" in read_shop(folder / "shop.toml").by_characteristic["relief"].set_at
    before = read_specs(folder / "specs.csv", read_shop(folder / "shop.toml")).rows
    put_right(folder, 'family = "tenor ukulele"', 'family = "tenor banjo"')
    shop = read_shop(folder / "shop.toml")
    assert shop.by_characteristic["relief"].set_at == {"classical guitar": "levelling", "other": "neck_straightening"}
    held = read_specs(folder / "specs.csv", shop).rows
    assert set(before["family"]) - set(held["family"]) == {"tenor ukulele"}
    assert held.height < before.height


def missed(folder):
    shop = read_shop(folder / "shop.toml")
    return [said(one, shop) for one in read_specs(folder / "specs.csv", shop).missed]


def test_a_family_of_specs_that_no_model_has_is_said_with_the_closest_and_what_goes_without_limits(folder):
    assert missed(folder) == []
    specs = folder / "specs.csv"
    rows = specs.read_text(encoding="utf-8").splitlines()
    line = next(n for n, row in enumerate(rows) if row.startswith("relief,,tenor ukulele"))
    rows[line] = rows[line].replace("tenor ukulele", "tenor ukelele")
    specs.write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert missed(folder) == [
        f"specs.csv, line {line + 1}: no model of shop.toml has the family 'tenor ukelele'; the closest is 'tenor "
        "ukulele'. Until one of the two is put right neck relief is held against no limit there."
    ]
    rows.append("relief,,tenor ukulele,,,,0.1,0,0.3,mm,,,ours")  # its own limit: what was left behind misses nobody
    specs.write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert missed(folder) == []


def test_a_family_mistyped_in_shop_toml_is_said_too(folder):
    put_right(folder, 'family = "tenor ukulele"', 'family = "tenor ukelele"')
    [line] = missed(folder)
    assert "no model of shop.toml has the family 'tenor ukulele'; the closest is 'tenor ukelele'" in line


def test_what_somebody_wrote_of_a_family_that_no_model_has_is_a_fault(folder):
    put_right(folder, 'family = "tenor ukulele"', 'family = "tenor banjo"')
    put_right(folder, "  # guess: where it is usually set", "")
    with pytest.raises(ShopProblem, match="set_at is 'tenor ukulele'"):
        read_shop(folder / "shop.toml")


def test_a_limit_that_somebody_agreed_on_for_a_family_that_no_model_has_is_a_fault(folder):
    specs = folder / "specs.csv"
    specs.write_text(specs.read_text(encoding="utf-8").replace('"starting value, not yours"', "ours"), encoding="utf-8")
    put_right(folder, 'family = "tenor ukulele"', 'family = "tenor banjo"')
    with pytest.raises(ShopProblem, match="family is 'tenor ukulele'"):
        read_specs(specs, read_shop(folder / "shop.toml"))

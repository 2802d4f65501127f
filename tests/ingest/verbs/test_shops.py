"""Several shops are read in one set of words and units; a bad one is named and stops no other."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest

from ingest.store import target as targets
from ingest.store.target import Target, TargetProblem
from ingest.verbs import publish, shops
from ingest.verbs.publish import Facts
from ingest.verbs.shops import read_all, read_names
from tests.ingest.bench import NOW

AS_OF = datetime(2026, 6, 1, 23, 30, tzinfo=UTC)


def tables(mean=2.3, *, model="LARK-25", quantity="length", unit="mm", factor=1.0):
    """What one shop publishes of its action and its necks."""
    return {
        "meanings": {
            "": pl.DataFrame(
                [("characteristic", "action", quantity, unit), ("model", model, "", "")],
                schema=["kind", "key", "quantity", "unit"],
                orient="row",
            )
        },
        "levels": {
            "": pl.DataFrame(
                {
                    "characteristic": ["action"],
                    "model": [model],
                    "mean": [mean * factor],
                    "sd": [0.06 * factor],
                    "n": [90],
                }
            )
        },
        "capability": {
            "": pl.DataFrame({"characteristic": ["action"], "model": [model], "upper": [2.5 * factor], "ppk": [1.1]})
        },
        "mix": {"": pl.DataFrame(schema={"stage": pl.String, "model": pl.String})},
        "matters": {"": pl.DataFrame(schema={"matter": pl.String, "characteristic": pl.String})},
        "dated": {"": pl.DataFrame(schema={"characteristic": pl.String, "size": pl.Float64})},
        "lots": {
            "": pl.DataFrame(
                {"supplier": ["Marrow & Pine"], "lot": ["MP-15"], "characteristic": ["neck_bow"], "mean": [0.1]}
            )
        },
    }


@pytest.fixture
def target(tmp_path):
    return Target(str(tmp_path / "all"))


@pytest.fixture
def put(tmp_path, target):
    """Publishes a shop; as the folder of that name says it."""

    def of(name, told=None, *, as_of=AS_OF, zone="Europe/Dublin"):
        folder = tmp_path / name
        folder.mkdir(exist_ok=True)
        facts = Facts(name, zone, "0.2.0", 1, as_of, "codes")
        publish.publish(folder, target, told or tables(2.3 + len(name) / 1000), facts, now=NOW)

    return of


def test_all_shops_are_read_with_their_name_beside_each_row(put, target):
    put("north")
    put("south-east")
    told = read_all(target)
    assert told.shops["shop"].to_list() == ["north", "south-east"]
    assert told.tables["levels"].sort("shop")["shop"].to_list() == ["north", "south-east"]
    assert told.tables["levels"].sort("shop")["mean"].to_list() == [2.3 + 5 / 1000, 2.3 + 10 / 1000]
    assert (told.said, told.left_out) == ((), ())


def test_no_shop_and_no_target_are_one_line(target):
    with pytest.raises(TargetProblem, match="no shop is published there; `truerun publish"):
        read_all(target)


def test_a_damaged_shop_is_named_and_left_out_and_the_others_are_read(put, target):
    put("north")
    put("south-east")
    next(Path(target.address).glob("levels/shop=north/*/*.parquet")).write_bytes(b"no table")
    told = read_all(target)
    assert told.left_out == ("north",)
    assert told.said == ("north: left out; its levels cannot be read: publish that shop again",)
    assert told.tables["lots"]["shop"].to_list() == ["south-east"]


def test_rows_that_are_missing_are_never_passed_over(put, target):
    put("north")
    put("south-east")
    target.drop("north", "lots", [])
    told = read_all(target)
    assert told.said == ("north: left out; its lots hold 0 rows of 1: publish that shop again",)
    assert told.tables["levels"]["shop"].to_list() == ["south-east"]


def test_where_none_can_be_read_that_is_the_one_line(put, target):
    put("north")
    target.drop("north", "lots", [])
    with pytest.raises(TargetProblem, match=r"no shop there can be read .north: left out"):
        read_all(target)


def test_a_shop_of_another_version_is_named_and_left_out(put, target, monkeypatch):
    put("north")
    monkeypatch.setattr(publish, "FORMAT", targets.FORMAT + 1)
    put("south-east")
    without = tables()
    del without["levels"]
    monkeypatch.setattr(publish, "FORMAT", targets.FORMAT)
    put("west", without)
    told = read_all(target)
    assert told.said == (
        "south-east: left out; it was published by another version of the program (0.2.0)",
        "west: left out; levels was not published; publish that shop again",
    )
    assert told.shops["shop"].to_list() == ["north"]


def test_inches_are_turned_into_mm_and_it_is_said(put, target):
    put("north")
    put("south-east", tables(2.31, unit="in", factor=1 / 25.4))
    told = read_all(target)
    levels = told.tables["levels"].sort("shop")
    assert levels["mean"].to_list() == pytest.approx([2.305, 2.31])
    assert levels["sd"].to_list() == pytest.approx([0.06, 0.06])
    assert told.tables["capability"].sort("shop")["upper"].to_list() == pytest.approx([2.5, 2.5])
    assert told.tables["capability"]["ppk"].to_list() == [1.1, 1.1]  # no length
    assert told.said == ("south-east: action was turned from in",)


def test_what_is_measured_by_another_quantity_or_without_a_unit_is_left_out_and_said(put, target):
    put("north")
    put("south-east")
    put("west", tables(89.0, quantity="angle", unit="deg"))
    told = read_all(target)
    assert told.said == ("west: action is left out; measured as angle there, as length in most shops",)
    assert told.tables["levels"]["shop"].sort().to_list() == ["north", "south-east"]
    put("west", tables(2.3, unit="spans"))
    assert read_all(target).said == ("west: action is left out; its unit 'spans' is not known",)


def test_a_late_shop_is_named_by_its_own_day(put, target):
    put("north")
    put("south-east", as_of=AS_OF - timedelta(days=40), zone="Pacific/Auckland")
    assert read_all(target).said == (
        "south-east: its newest reading is of 2026-04-23, 40 days before the newest of all; it stands among the others "
        "as it was then",
    )


def test_other_names_are_put_into_ours_and_a_word_nobody_has_is_said(put, target, tmp_path):
    put("north")
    put("south-east", tables(2.31, model="L25"))
    (tmp_path / "names.toml").write_text(
        '[south-east.model]\nL25 = "LARK-25"\nL26 = "LARK-26"\n[west.stage]\nfin = "final"\n'
    )
    told = read_all(target, read_names(tmp_path / "names.toml"))
    assert told.tables["levels"]["model"].to_list() == ["LARK-25"] * 2
    assert told.said == (
        "south-east: model L25 is LARK-25 here",
        "names.toml: south-east has no model 'L26'",
        "names.toml: no shop 'west' is read here",
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[north", "is not readable as TOML"),
        ('north = "x"', "north wants tables such as"),
        ('[north.colour]\na = "b"', r"\[north.colour\] is not known; wanted one of characteristic, model"),
        ("[north.model]\na = 3", r"\[north.model\] wants lines such as"),
    ],
)
def test_a_map_that_is_none_is_one_line(tmp_path, text, told):
    (tmp_path / "names.toml").write_text(text)
    with pytest.raises(TargetProblem, match=told) as problem:
        read_names(tmp_path / "names.toml")
    assert "\n" not in str(problem.value)
    with pytest.raises(TargetProblem, match="cannot be opened"):
        read_names(tmp_path / "nowhere.toml")


def test_one_shop_published_twice_is_read_once(put, target):
    put("north", tables(2.3))
    put("south-east", tables(2.3))
    told = read_all(target)
    assert told.left_out == ("south-east",)
    assert told.said == ("south-east: left out; its levels are those of north to the last digit: one shop twice?",)


def test_a_shop_that_publishes_while_it_is_read_is_looked_at_again(put, target, monkeypatch):
    put("north")
    put("south-east")
    plain, asked = targets.Target.every, []

    def every(self, table, named):
        asked.append(table)
        if len(asked) == 1:  # between the list of shops and their rows
            put("north", tables(9.9))
        return plain(self, table, named)

    monkeypatch.setattr(shops.Target, "every", every)
    told = read_all(target)
    assert (told.left_out, told.said) == ((), ())
    assert told.tables["levels"].filter(shop="north")["mean"].to_list() == [9.9]


def test_figures_of_another_version_that_are_taken_as_they_are_are_named(put, target):
    put("north")
    put("south-east")
    assert read_all(target, program="0.2.0").said == ()
    assert read_all(target, program="0.3.0").said == (
        "north, south-east: figures are as version 0.2.0 works them out, here is 0.3.0",
    )


def test_inches_written_as_mm_are_found_against_other_shops_and_left_out(put, target):
    for name, mean in (("north", 2.30), ("south-east", 2.28), ("west", 2.34)):
        put(name, tables(mean))
    assert read_all(target).said == ()
    put("west", tables(2.34 / 25.4))
    told = read_all(target)
    assert told.said == (
        "west: action is left out; it lies at 0.0404 times what other shops read: inches taken for mm?",
    )
    assert told.tables["levels"]["shop"].sort().to_list() == ["north", "south-east"]
    assert told.tables["lots"]["shop"].sort().to_list() == ["north", "south-east", "west"]
    put("west", tables(2.30 * 10))  # nobody knows what it is: it stands, and is told apart
    assert read_all(target).said == ()


def test_a_clock_that_runs_ahead_makes_no_other_shop_late_and_a_zone_nobody_knows_stops_nothing(put, target):
    put("north")
    put("south-east", as_of=AS_OF + timedelta(days=4000))
    put("west", tables(2.4), zone="Atlantis/Port")
    told = read_all(target)
    assert told.said == (
        "south-east: its newest reading is of 2037-05-14, after the day it was published: is a clock wrong? What it "
        "says of its last 26 weeks is of those before that day",
        "west: its time zone 'Atlantis/Port' is not known here; its days are those of UTC",
    )
    assert dict(told.shops.select("shop", "timezone").iter_rows())["west"] == "UTC"


def test_a_word_that_no_other_shop_has_is_said_with_where_to_say_what_it_is(put, target):
    put("north")
    put("south-east")
    put("west", tables(2.4, model="L25"))
    assert read_all(target).said == (
        "west: no other shop has its model L25; where others call it otherwise, names.toml says so",
    )
    told = tables(2.4, model="L25")
    told["levels"][""] = pl.concat([told["levels"][""], told["levels"][""].with_columns(model=pl.lit("L26"))])
    put("west", told)
    assert read_all(target).said[0].startswith("west: no other shop has its models L25, L26; where")


def test_words_of_the_map_are_put_into_matters_too(put, target, tmp_path):
    put("north")
    told = tables(2.31, model="L25")
    told["matters"] = {
        "": pl.DataFrame(
            {
                "matter": ["m"],
                "characteristic": ["action"],
                "models": ["L25; HERON-D"],
                "cause": ["lot; change"],
                "cause_value": ["L25; new bone, 2026-03-01"],
            }
        )
    }
    put("south-east", told)
    (tmp_path / "names.toml").write_text(
        '[south-east.model]\nL25 = "LARK-25"\n[south-east.change]\n"new bone" = "new saddle blanks"\n'
        '[south-east.characteristic]\naction = "string_height"\n'
    )
    row = read_all(target, read_names(tmp_path / "names.toml")).tables["matters"].row(0, named=True)
    assert row["models"] == "LARK-25; HERON-D"
    assert row["cause_value"] == "L25; new saddle blanks, 2026-03-01"  # a lot of that name is no model
    assert row["characteristic"] == "string_height"

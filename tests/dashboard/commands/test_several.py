"""`shops` at the command line: what several shops tell, in sentences and files, with nobody named."""

import json
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from dashboard.commands import cli
from dashboard.exports.several import FIGURES
from dashboard.sentences import shops_together as telling
from ingest.store.target import Target
from ingest.verbs import publish
from ingest.verbs.publish import Facts
from tests.analysis.studies.shops.invented import AT, Planted, several
from tests.ingest.bench import NOW

SEED = 20270214


def run(capsys, *arguments):
    """Exit code, lines on stdout, lines on stderr."""
    code = cli.run([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return code, out.replace("\u00a0", " ").splitlines(), err.splitlines()


def published(tmp_path, planted, shops):
    """A target with so many invented shops."""
    told = several(np.random.default_rng(SEED), shops, planted)
    for name in sorted(set(told["levels"]["shop"])):
        (tmp_path / name).mkdir()
        mine = {table: {"": rows.filter(shop=name).select(pl.exclude("shop"))} for table, rows in told.items()}
        facts = Facts(name, "Europe/Dublin", "0.2.0", 1, AT, "codes")
        publish.publish(tmp_path / name, Target(str(tmp_path / "all")), mine, facts, now=NOW)
    return tmp_path / "all"


def said(planted, shops):
    """The sentences of so many invented shops."""
    told = several(np.random.default_rng(SEED), shops, planted)
    heads = pl.DataFrame({"shop": sorted(set(told["levels"]["shop"]))})
    found = {name: work(told) for name, work in FIGURES.items()}
    return [line.replace("\u00a0", " ") for line in telling.lines(heads, told["meanings"], found)]


def test_what_was_planted_is_said_with_its_uncertainty_and_written_whole(capsys, tmp_path):
    planted = Planted(level={(1, "LARK-25"): 0.06}, gauge={2: 0.08}, lot={"M-03": 0.4}, always=("M-03",))
    target = published(tmp_path, planted, 5)
    code, out, err = run(capsys, "shops", target, "--out", tmp_path / "out", "--json", "--paper")
    assert (code, err) == (0, [])
    assert "five shops" in (tmp_path / "out" / "several-shops.html").read_text()
    (tmp_path / "out" / "several-shops.html").unlink()
    assert out[0] == "5 shops: shop-01, shop-02, shop-03, shop-04, shop-05."
    level = next(line for line in out if "LARK-25, Final: five shops differ beyond chance round" in line)
    assert "shop-02 lies at 2.3" in level
    assert level.count(" to ") == 2  # of all, and of the shop
    lot = next(line for line in out if "lot M-03 of Marrow & Pine" in line)
    assert "in four shops (shop-01, shop-02, shop-03, shop-04)" in lot or "in five shops" in lot
    head = out.index(
        "One shop reads apart from all others on the same lots, each lot alike: the gauge, how it is held or how necks "
        "rest before."
    )
    assert out[head + 1].startswith("  Neck bow: shop-03 reads +0.0")
    assert " from four others on " in out[head + 1]
    assert not any(line.startswith("The gauge") for line in out)  # its pairs say nothing more
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "lots_standing_out.json",
        "same_change.json",
        "same_gauge.json",
        "same_lots.json",
        "same_matter.json",
        "same_model.json",
        "same_rework.json",
        "shops.json",
    ]
    rows = json.loads((tmp_path / "out" / "same_model.json").read_text())
    assert [row["shop"] for row in rows if row["apart"]] == ["shop-02"]


def test_shops_that_are_alike_are_said_to_show_no_difference_and_how_much_is_left():
    out = said(Planted(), 4)
    assert (
        "One model in several shops: 9 comparisons of level, spread and room, in none of which shops differ" in out[2]
    )
    assert any(line.startswith("No matter moves several shops at once, beyond what chance brings") for line in out)
    assert any(line.startswith("No difference is shown on the same lots between 6 pairs of shops.") for line in out)
    assert any("Neck bow: what is left may be up to 0.0" in line for line in out)
    assert out[-1].startswith("Of shops that are alike in everything, one such report in fifty at most says otherwise.")


def test_readings_left_out_are_said_and_their_room_is_held_against_nobody():
    told = several(np.random.default_rng(SEED), 4, Planted())
    one = (pl.col("shop") == "shop-02") & (pl.col("model") == "LARK-25")
    told["levels"] = told["levels"].with_columns(far=pl.when(one).then(2).otherwise(0))
    found = {name: work(told) for name, work in FIGURES.items()}
    heads = pl.DataFrame({"shop": sorted(set(told["levels"]["shop"]))})
    (line,) = [line for line in telling.lines(heads, told["meanings"], found) if "Left out" in line]
    assert "Left out: 2 readings ten spreads and more from all others" in line.replace("\u00a0", " ")
    assert "shop-02 String height bass, LARK-25, Final (2)" in line.replace("\u00a0", " ")
    room = found["same_model"].filter(pl.col("question") == "room", pl.col("model") == "LARK-25")
    assert room["shop"].to_list() == ["shop-01", "shop-03", "shop-04"]


def test_one_shop_has_nothing_to_be_held_against():
    assert said(Planted(), 1) == [
        "1 shop: shop-01.",
        "There is nothing to hold one shop against; a second one has to publish here too.",
    ]


def test_few_necks_are_called_few_and_one_lot_tells_nothing_apart():
    out = said(Planted(lots=1, wherever=1.0, gauge={1: 0.3}), 2)
    assert any(line.startswith("One model in several shops") for line in out)
    assert not any("The gauge" in line for line in out if "pairs of shops" in line and "3 pairs" not in line)


def test_a_shop_left_out_is_said_and_the_command_ends_with_1(capsys, tmp_path):
    target = published(tmp_path, Planted(), 3)
    next(Path(target).glob("levels/shop=shop-02/*/*.parquet")).write_bytes(b"no table")
    code, out, err = run(capsys, "shops", target)
    assert (code, err) == (1, [])
    assert out[0] == "2 shops: shop-01, shop-03."
    assert out[-2:] == [
        "Not taken as it is:",
        "  shop-02: left out; its levels cannot be read: publish that shop again",
    ]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["{tmp}/nowhere"], "no shop is published there"),
        (["{tmp}", "--names", "{tmp}/none.toml"], "none.toml cannot be opened"),
        (["{tmp}", "--option", "x"], "--option wants KEY=VALUE"),
        (["nowhere://bucket/x"], "Unknown scheme: nowhere"),
    ],
)
def test_what_goes_wrong_is_one_line(capsys, tmp_path, arguments, told):
    code, out, err = run(capsys, "shops", *(each.format(tmp=tmp_path) for each in arguments))
    assert (code, out, len(err)) == (2, [], 1)
    assert told in err[0]
    assert list(tmp_path.iterdir()) == []


def test_a_map_beside_the_tables_is_read_without_being_named(capsys, tmp_path):
    target = published(tmp_path, Planted(), 3)
    (target / "names.toml").write_text('[shop-02.model]\n"LARK-25" = "LARK-26"\n')
    code, out, _ = run(capsys, "shops", target)
    assert code == 0
    assert out[-2] == "  shop-02: model LARK-25 is LARK-26 here"


def test_a_part_that_changed_is_said_with_each_shops_own_day():
    out = said(Planted(blanks={0: 0.12, 1: 0.12, 3: 0.12}), 4)
    line = next(
        line for line in out if line.startswith("  New saddle blanks: String height bass, LARK-25, Final moved")
    )
    assert "shop-01 by +0." in line
    assert "on 1 Apr" in line
    assert "on 4 Apr" in line
    assert line.endswith("; not shown in shop-03.")
    assert line.count(" mm (") == 4  # three shops and all, each with its interval


def test_a_change_that_readings_put_on_one_other_day_names_that_day_once():
    told = several(np.random.default_rng(SEED), 2, Planted(blanks={0: 0.2, 1: 0.2}))
    other = pl.lit(date(2026, 4, 20))
    told["dated"] = told["dated"].with_columns(read_on=other, read_from=other, read_to=other)
    found = {name: work(told) for name, work in FIGURES.items()}
    heads = pl.DataFrame({"shop": ["shop-01", "shop-02"]})
    lines = [line.replace("\u00a0", " ") for line in telling.lines(heads, told["meanings"], found)]
    assert any("said to be of 1 Apr, by its readings of 20 Apr, shop-02" in line for line in lines)


def test_a_shop_that_shares_no_word_with_another_is_said_to_stand_alone(capsys, tmp_path):
    target = published(tmp_path, Planted(), 3)
    words = "\n".join(f'"{model}" = "{model}-B"' for model in ("LARK-25", "HERON-D", "DRAY-5"))
    (target / "names.toml").write_text(f"[shop-02.model]\n{words}\n")
    _, out, _ = run(capsys, "shops", target)
    line = next(line for line in out if line.startswith("  shop-02 is held against nobody"))
    assert line.endswith("under its words: characteristics action, neck_bow.")
    assert not any(line.startswith(("  shop-01 is held", "  shop-03 is held")) for line in out)

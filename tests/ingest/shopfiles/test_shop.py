"""shop.toml: every error names file, key, value and what is allowed."""

import copy
import os
import time
from pathlib import Path

import pytest

from ingest.shopfiles import shop as shop_module
from ingest.shopfiles.shop import ShopProblem, checked_shop, fingerprint, read_shop
from tests.ingest.small_shop import TABLE, small_shop


def fault_of(change) -> str:
    table = copy.deepcopy(TABLE)
    change(table)
    with pytest.raises(ShopProblem) as problem:
        checked_shop(table)
    return str(problem.value)


FAULTS = [
    (lambda t: t["shop"].update(timezone="Mars/Base"), ["shop: timezone = 'Mars/Base'", "Europe/Dublin"]),
    (lambda t: t["shop"].update(length="yd"), ["shop: length is 'yd'", '"mm", "in"']),
    (lambda t: t["shop"].update(colour=1), ["shop: colour is not a key", "timezone"]),
    (lambda t: t.update(modle=[]), ["modle is not a key", "model"]),
    (lambda t: t["shop"].pop("name"), ["shop: name is missing"]),
    (lambda t: t.pop("model"), ["model is missing"]),
    (lambda t: t.update(stage=[]), ["stage is []", "at least one"]),
    (lambda t: t["stage"][1].update(role="bnch"), ["stage nut_slotting: role is 'bnch'", '"bench"']),
    (lambda t: t["stage"][1].update(minutes=-1), ["stage nut_slotting: minutes is -1", "greater than or equal to 0"]),
    (
        lambda t: t["stage"][4].update(minutes={"harp": 3}),
        ["stage final_inspection: minutes is 'harp'", "banjo, tenor ukulele, other"],
    ),
    (lambda t: t["stage"][1].update(families=["harp"]), ["stage nut_slotting: families is 'harp'", "banjo"]),
    (lambda t: t["stage"].append({"key": "packing"}), ["stage packing: the key stands 2 times"]),
    (lambda t: t["stage"].append({"key": "supplier"}), ["stage supplier: key may not be one of"]),
    (
        lambda t: t["characteristic"][0].update(set_at="nowhere"),
        ["characteristic relief: set_at is 'nowhere'", "nut_slotting"],
    ),
    (
        lambda t: t["characteristic"][0].update(set_at={"banjo": "nut_slotting", "other": "nowhere"}),
        ["characteristic relief: set_at is 'nowhere'", "nut_slotting"],
    ),
    (
        lambda t: t["characteristic"][0].update(set_at={"harp": "nut_slotting"}),
        ["characteristic relief: set_at is 'harp'", "banjo", "other"],
    ),
    (
        lambda t: t["characteristic"][0].update(at_pitch_from="nowhere"),
        ["characteristic relief: at_pitch_from is 'nowhere'"],
    ),
    (lambda t: t["characteristic"][0].update(plausible=["1", "2"]), ["characteristic relief", "'1' has no unit"]),
    (lambda t: t["characteristic"][0].update(plausible=["2 mm", "1 mm"]), ["characteristic relief", "not rising"]),
    (
        lambda t: t["characteristic"][0].update(length="cents"),
        ["characteristic relief: length is 'cents'", '"mm", "in", "64ths", "thou"'],
    ),
    (
        lambda t: t["characteristic"][0].update(quantity="pitch", length="thou", plausible=None),
        ['characteristic relief: length = "thou" is no unit of pitch; wanted with quantity = "length" only'],
    ),
    (lambda t: t["characteristic"][1].update(positions=["bass", "bass"]), ["characteristic action", "one twice"]),
    (lambda t: t["gauge"][0].update(measures=["reliev"]), ["gauge leaves: measures is 'reliev'", "relief"]),
    (lambda t: t["gauge"][0].update(resolution="1 cents"), ["gauge leaves: '1 cents' is no length"]),
    (
        lambda t: t["gauge"][0].update(resolution="0.05"),
        ["gauge leaves: '0.05' has no unit; wanted a number with its unit, such as '0.05 mm'"],
    ),
    (
        lambda t: t["gauge"][0].update(resolution=0.05),
        ['gauge leaves: resolution is 0.05; wanted a number with its unit in quotation marks, such as "0.05 mm"'],
    ),
    (lambda t: t["stage"][1].update(name=7), ["stage nut_slotting: name is 7; wanted text in quotation marks"]),
    (lambda t: t["stage"][1].update(minutes="nine"), ["stage nut_slotting: minutes is 'nine'; wanted a number"]),
    (
        lambda t: t["characteristic"][0].update(plausible=["3 mm", "1 mm"]),
        ["characteristic relief: plausible goes from 3 mm to 1 mm, which is not rising; wanted the lowest first"],
    ),
    (lambda t: t["gauge"][0].update(leaves=["1 mm", "2 mm"]), ["gauge leaves", "both given"]),
    (lambda t: t["model"][0].update(setup="DRAY-5"), ["model LARK-25: setup 'DRAY-5' is another model's key"]),
    (lambda t: t["model"][0].update(scale="long"), ["model LARK-25: scale", "'long'"]),
    (lambda t: t["fault"][0].update(suspect="nowhere"), ["fault open-string buzz: suspect is 'nowhere'", "supplier"]),
    (
        lambda t: t["fault"][1].update(words=["Buzz open"]),
        ["fault high fret: 'buzz open' already means open-string buzz"],
    ),
    (lambda t: t["tech"][0].update(qualified=["nowhere"]), ["tech T07: qualified is 'nowhere'"]),
    (
        lambda t: t["gauge"][0].update(measures=["relief"], resolution="0.5 cents"),
        ["0.5 cents' is no length, which relief is"],
    ),
    (lambda t: t["tech"][0].update(started="soon"), ["tech T07: started is 'soon'"]),
    (
        lambda t: t.update(judging={"width": 3.0, "false_signals_per_week": 1.0}),
        ["judging: false_signals_per_week and width are both given"],
    ),
    (
        lambda t: t.update(judging={"width": 3.0, "rules": ["beyound"]}),
        ["judging: rules", "'beyound'", '"two of three"'],
    ),
    (lambda t: t.update(people={"show": "names"}), ["people", "needs a purpose"]),
    (lambda t: t.update(calendar={"open": "7-17"}), ["calendar: open = '7-17'", "07:30-17:00"]),
    (lambda t: t.update(calendar={"open": "17:00-07:00"}), ["calendar: open", "ends before it begins"]),
    (lambda t: t.update(calendar={"breaks": ["12:00-12:30", "12:15-12:45"]}), ["calendar: breaks", "overlap"]),
    (lambda t: t.update(calendar={"closed": ["2026-12-32"]}), ["calendar: closed", "'2026-12-32' is no day"]),
    (
        lambda t: t.update(plan=[{"characteristic": "bow", "sample": 50, "accept": 2}]),
        ["plan: characteristic is 'bow'", "neck_bow"],
    ),
    (
        lambda t: t.update(plan=[{"characteristic": "neck_bow", "sample": 2, "accept": 2}]),
        ["plan neck_bow: accept 2 is not below sample 2"],
    ),
    (lambda t: t["log"][0].update(shape="list"), ["log bench: shape is 'list'", '"instrument"']),
    (lambda t: t["log"][0].update(stage="nowhere"), ["log bench: stage is 'nowhere'"]),
    (lambda t: t["log"][0].update(empty_outcome="fine"), ["log bench: empty_outcome is 'fine'", "pass"]),
    (
        lambda t: t["log"][0].update(words={"stage": {"fin": "finale"}}),
        ["log bench: words, stage, 'fin' is 'finale'", "final_inspection"],
    ),
    (lambda t: t["log"][0].update(units={"releif": "mm"}), ["log bench: units names 'releif'", "relief"]),
    (lambda t: t["log"][0].update(words={"outcom": {"ok": "pass"}}), ["log bench: words is 'outcom'", "outcome"]),
    (lambda t: t["log"][0].update(units={"relief": "cents"}), ["log bench: units, relief is 'cents'"]),
]


@pytest.mark.parametrize(("change", "words"), FAULTS)
def test_a_fault_names_file_key_value_and_what_is_allowed(change, words):
    said = fault_of(change)
    assert said.startswith("shop.toml: ")
    assert "\n" not in said
    for word in words:
        assert word in said


def test_every_fault_is_told_at_once():
    said = fault_of(lambda t: (t["stage"][1].update(role="bnch"), t["characteristic"][0].update(quantity="mass")))
    assert len(said.split("\n")) == 2
    said = fault_of(
        lambda t: (t["characteristic"][0].update(set_at="nowhere"), t["tech"][0].update(qualified=["nowhere"]))
    )
    assert len(said.split("\n")) == 2


def test_a_missing_shop_says_where_to_start(tmp_path):
    with pytest.raises(ShopProblem, match=r"^No shop\.toml in '.*Begin with a sheet of your own"):
        read_shop(tmp_path / "shop.toml")


@pytest.mark.parametrize("text", ["[shop\n", "a = 1\na = 2\n", "[shop]\nname = \xff"])
def test_bad_toml_is_one_line_with_its_place(tmp_path, text):
    path = tmp_path / "shop.toml"
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(ShopProblem, match="not readable as TOML") as problem:
        read_shop(path)
    assert "\n" not in str(problem.value)


def test_amounts_of_the_shop_are_canonical():
    shop = small_shop()
    assert shop.by_characteristic["relief"].plausible_range == (-1.0, 3.0)
    assert [gauge.step for gauge in shop.gauges] == pytest.approx([0.0254, 0.396875])


def test_a_length_is_shown_in_its_own_unit_else_in_the_shops():
    table = copy.deepcopy(TABLE)
    table["shop"].update(length="in")
    table["characteristic"][0].update(length="thou")
    shop = checked_shop(table)
    told = [shop.length_of(key) for key in (shop.characteristics[0].key, shop.characteristics[1].key, "no such thing")]
    assert told == ["thou", "in", "in"]


def test_the_step_of_a_leaf_set_is_the_middle_gap_between_its_leaves():
    table = copy.deepcopy(TABLE)
    table["gauge"] = [
        {"key": "leaves", "measures": ["relief"], "leaves": ["0.002 in", "0.003 in", "0.004 in", "0.006 in"]}
    ]
    assert checked_shop(table).gauges[0].step == pytest.approx(0.0254)


def test_the_fingerprint_moves_with_any_shop_file(tmp_path):
    (tmp_path / "shop.toml").write_text("a")
    before = fingerprint(tmp_path)
    assert fingerprint(tmp_path) == before
    (tmp_path / "lots.csv").write_text("b")
    assert fingerprint(tmp_path) != before


def aged(path, seconds):
    """As if the file had been written so long ago: by its own account, which the system alone can forge."""
    then = path.stat().st_mtime - seconds
    os.utime(path, (then, then))


def test_files_at_rest_are_not_read_again_and_one_that_moved_is(tmp_path, monkeypatch):
    monkeypatch.setattr(shop_module, "AT_REST", 0.05)
    (tmp_path / "shop.toml").write_text("a")
    (tmp_path / "climate.csv").write_text("b")
    time.sleep(0.1)
    read, plain = [], Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda path: (read.append(path.name), plain(path))[1])
    before = fingerprint(tmp_path)
    assert "climate.csv" in read
    read.clear()
    assert fingerprint(tmp_path) == before
    assert not read
    (tmp_path / "climate.csv").write_text("c")  # as long as before, and at once
    after = fingerprint(tmp_path)
    assert after != before
    time.sleep(0.1)
    assert fingerprint(tmp_path) == after
    aged(tmp_path / "climate.csv", 3600)  # put back by a copy that keeps times
    read.clear()
    assert fingerprint(tmp_path) == after
    assert read


def test_a_file_that_changed_just_now_is_read_each_time(tmp_path, monkeypatch):
    (tmp_path / "shop.toml").write_text("a")
    first = fingerprint(tmp_path)
    told = (tmp_path / "shop.toml").stat()
    monkeypatch.setattr(shop_module, "_stand", still(shop_module._stand, told))
    (tmp_path / "shop.toml").write_text("b")  # within one tick: the same length, the same time
    assert fingerprint(tmp_path) != first


def still(stand, told):
    """A file system whose clock does not move between two writes."""

    def asked(folder):
        with pytest.MonkeyPatch.context() as patch:
            plain = Path.stat
            patch.setattr(Path, "stat", lambda path: told if path.name == "shop.toml" else plain(path))
            return stand(folder)

    return asked

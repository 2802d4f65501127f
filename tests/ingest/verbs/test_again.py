"""Open questions tried again after the shop files were mended; everything read anew, but only if somebody agrees."""

import polars as pl
import pytest

from ingest.store.store import open_snapshot
from ingest.verbs.again import NotAgreed, again, again_all
from ingest.verbs.load import load
from tests.ingest.bench import NOW, held, log, row, shop
from tests.ingest.verbs.test_load import same


def test_a_question_is_gone_once_the_shop_file_knows_the_word(tmp_path):
    folder = shop(tmp_path)
    load(
        folder,
        [log(folder, "a.csv", [row("A1", stage="attic"), row("A2")]), log(folder, "b.csv", [row("A3")])],
        now=NOW,
    )
    assert open_snapshot(folder).table("set_aside").height == 1
    (folder / "shop.toml").write_text(
        (folder / "shop.toml").read_text() + '\n[[stage]]\nkey = "attic"\nrole = "repair"\n'
    )
    [file] = again(folder, now=NOW)
    assert (file.name, file.accepted, file.set_aside) == ("a.csv", 2, 0)
    assert open_snapshot(folder).table("visits").height == 3
    assert again(folder, now=NOW) == []
    assert open_snapshot(folder).version == 2


def test_reading_all_again_says_what_changes_and_waits_for_a_yes(tmp_path):
    folder = shop(tmp_path)
    load(
        folder, [log(folder, "a.csv", [row("A1"), row("A2", relief="2.0")]), log(folder, "b.csv", [row("A3")])], now=NOW
    )
    before = held(folder)
    text = (folder / "shop.toml").read_text()
    (folder / "shop.toml").write_text(text.replace('plausible = ["-1 mm", "3 mm"]', 'plausible = ["-1 mm", "1 mm"]'))
    seen = []

    def no(changes):
        seen.extend(changes)
        return False

    with pytest.raises(NotAgreed):
        again_all(folder, no, now=NOW)
    [change] = seen
    assert (change.name, change.before["cells_set_aside"], change.after["cells_set_aside"]) == ("a.csv", 0, 1)
    assert (change.came["readings"], change.went["readings"], change.went["visits"]) == (0, 1, 0)
    same(held(folder), before)
    assert open_snapshot(folder).version == 1
    again_all(folder, lambda changes: True, now=NOW)
    assert open_snapshot(folder).version == 2
    assert open_snapshot(folder).table("readings").filter(pl.col("value") == 2.0).is_empty()
    assert open_snapshot(folder, version=1).table("readings").filter(pl.col("value") == 2.0).height == 1

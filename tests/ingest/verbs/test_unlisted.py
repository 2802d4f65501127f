"""Words that no list of the shop knows: each once, with its count, the closest that is known and lines that make it
known.
"""

import tomllib

import pytest

from dashboard.desk.people_shown import Veil
from ingest.store.store import open_snapshot
from ingest.verbs import unlisted
from ingest.verbs.again import again
from ingest.verbs.load import load
from tests.ingest.bench import NOW, SHOP, log, row, shop

TECHS = '\n[[tech]]\nkey = "T01"\nwords = ["JR"]\n[[tech]]\nkey = "T02"\n'
SHEET = '\n[[log]]\nname = "bench cards"\n'


@pytest.fixture
def folder(tmp_path):
    folder = shop(tmp_path, TECHS)
    rows = [
        row("A1", tech="JRR"),
        row("A2", tech="JRR/T02"),
        row("A3", tech="Zed"),
        row("A4", fault="open string buz"),
        row("A5", fault="odd"),
    ]
    rows += [row(f"B{n}", stage="playtest") for n in range(3)] + [row("C1", model="LARK25")]
    load(folder, [log(folder, "a.csv", rows)], now=NOW)
    return folder


def test_each_word_stands_once_with_its_rows_and_the_closest_that_is_known(folder):
    found = unlisted.on_file(open_snapshot(folder))
    assert found.select("field", "word", "rows", "near").rows() == [
        ("stage", "playtest", 3, "play_test"),
        ("model", "LARK25", 1, "LARK-25"),
        ("tech", "JRR", 2, "T01"),
        ("tech", "Zed", 1, ""),
        ("fault", "odd", 1, ""),
        ("fault", "open string buz", 1, "open-string buzz"),
    ]


def test_the_lines_to_paste_make_every_word_known(folder):
    found = {row["word"]: row["paste"] for row in unlisted.on_file(open_snapshot(folder)).iter_rows(named=True)}
    assert tomllib.loads(found["JRR"])["tech"] == [{"key": "T01", "words": ["JR", "JRR"]}]
    text = SHOP.replace('key = "LARK-25"', found["LARK25"].removeprefix("[[model]]\n"))
    text = text.replace('key = "open-string buzz"', found["open string buz"].removeprefix("[[fault]]\n"))
    text += TECHS.replace('key = "T01"\nwords = ["JR"]', found["JRR"].removeprefix("[[tech]]\n"))
    text += "\n".join([found["Zed"], found["odd"], SHEET, found["playtest"]])
    (folder / "shop.toml").write_text(text)
    again(folder, now=NOW)
    snapshot = open_snapshot(folder)
    assert snapshot.table("visits").height == 9
    assert unlisted.on_file(snapshot).filter(field="stage").is_empty()
    assert unlisted.on_file(snapshot).filter(field="model").is_empty()


def test_a_shop_without_lists_is_asked_nothing(tmp_path):
    folder = shop(tmp_path)
    load(folder, [log(folder, "a.csv", [row("A1", tech="JRR")])], now=NOW)
    assert unlisted.on_file(open_snapshot(folder)).is_empty()


def test_a_code_that_works_beside_the_one_it_looks_like_is_no_slip_of_it(tmp_path):
    folder = shop(tmp_path, '\n[[tech]]\nkey = "AL"\n')
    rows = []
    for day, n in ((day, n) for day in (24, 25, 26) for n in range(8)):
        at = f"2026-02-{day} {10 + n // 4}:{15 * (n % 4):02}"
        rows.append(row(f"S{day}{n}", tech="VAL" if n % 2 else "AL", start=at, finish=at))
    rows += [row(f"X{n}", tech="ALL", start="2026-02-26 12:00", finish="2026-02-26 12:05") for n in range(2)]
    (done,) = load(folder, [log(folder, "a.csv", rows)], now=NOW)
    snapshot = open_snapshot(folder)
    found = unlisted.on_file(snapshot).filter(field="tech")
    assert found.select("word", "rows", "near").rows() == [("VAL", 12, ""), ("ALL", 2, "AL")]
    assert Veil(snapshot).meant == {Veil(snapshot).code("ALL"): "AL"}
    (note,) = [note for note in done.notes if "'VAL'" in note]
    assert note.endswith('To list it: [[tech]] key = "VAL"')

"""A name leaves everything in the shop's folder; the proof is every byte of every file."""

import io
import shutil
import zipfile
from pathlib import Path

import polars as pl
import pytest

from ingest.shopfiles.shop import read_shop
from ingest.store import book
from ingest.store.problems import StoreProblem
from ingest.store.store import open_snapshot
from ingest.verbs import forget
from ingest.verbs.backup import is_backup
from ingest.verbs.load import ensure, load, unload
from ingest.verbs.mend import correct
from ingest.verbs.names import Names
from ingest.verbs.rewriting import shop_file_without, without
from tests.ingest.bench import NOW, held, log, row, shop
from tests.ingest.verbs.test_load import same

TECHS = """
[[tech]]  # Mary came in spring
key = "T07"
name = "Mary Quill"
words = ["MQ", "M.Q."]
started = 2026-03-02
qualified = ["play_test"]

[[tech]]
key = "T08"
name = "Jo Fenn"

[[log]]
name = "bench cards"
words = { tech = { "mq1" = "T07", "jf" = "T08" } }
"""


def files_with(folder: Path, *texts: str) -> list[str]:
    """Files but backups that hold one of the texts in any of four encodings, zipped parts looked into."""
    found = []
    for path in sorted(folder.rglob("*")):
        if not path.is_file() or is_backup(path):
            continue
        parts = [path.read_bytes()]
        if parts[0][:2] == b"PK":
            with zipfile.ZipFile(io.BytesIO(parts[0])) as book_:
                parts += [book_.read(name) for name in book_.namelist()]
        wanted = [text.encode(codec) for text in texts for codec in ("utf-8", "utf-16-le", "utf-16-be")]
        if any(each in part or each in str(path).encode() for part in parts for each in wanted):
            found.append(str(path.relative_to(folder)))
    return found


@pytest.fixture
def folder(tmp_path):
    folder = shop(tmp_path / "shop", TECHS)
    (folder / "changes.csv").write_text(
        "from_date,to_date,model,stage,what,note\n2026-03-03,,,,people,Mary Quill joins\n"
    )
    rows = [
        row("A1", tech="MQ", note="asked Mary Quill"),
        row("A2", tech="T07"),
        row("A3", tech="jf"),
        row("MQ-9", tech="T08", relief="MQ 3"),
        row("A5", tech="mq1"),
    ]
    load(folder, [log(folder, "mary_quill.csv", rows), log(folder, "b.csv", [row("A6", tech="Jo Fenn")])], now=NOW)
    load(folder, [log(folder, "c.csv", [row("A7", tech="M.Q.", outcome="fixed", fault="seen by MQ")])], now=NOW)
    unload(folder, "c.csv", now=NOW)
    correct(folder, "mary_quill.csv", 2, "relief", "0.3", "Mary Quill", "MQ misread it", now=NOW)
    book.write_entry(folder, "action", "Mary Quill changes the files", "Jo Fenn", now=NOW, owner="MQ", tech="T07")
    shutil.rmtree(folder / "as_typed")
    return folder


def test_no_byte_of_the_folder_holds_the_name_any_more(folder):
    assert len(files_with(folder, "Mary Quill", "T07")) >= 4
    before = open_snapshot(folder)
    visits = before.table("visits").filter(pl.col("tech") == "T07").height
    readings = before.table("readings", "serial", "characteristic", "value").sort("serial", "characteristic")
    code = forget.forget(folder, "Mary Quill", now=NOW)
    assert files_with(folder, "Mary", "Quill", "T07", "M.Q.", "mq1", '"MQ"', "MQ,", ",MQ", "MQ misread") == []
    after = open_snapshot(folder)
    assert after.table("visits").filter(pl.col("tech") == code).height == visits == 3
    assert (
        after.table("readings", "serial", "characteristic", "value").sort("serial", "characteristic").equals(readings)
    )
    assert "MQ-9" in after.table("visits")["serial"].to_list()
    [tech] = [tech for tech in read_shop(folder / "shop.toml").techs if tech.key == code]
    assert (tech.name, tech.words, tech.qualified, str(tech.started)) == ("", (), ("play_test",), "2026-03-02")
    entry = after.table("bench_book").row(0, named=True)
    assert (entry["text"], entry["owner"], entry["tech"], entry["who"]) == (
        f"{code} changes the files",
        code,
        code,
        "Jo Fenn",
    )


def test_the_store_can_be_made_again_and_written_to_afterwards(folder):
    forget.forget(folder, "T07", now=NOW)
    before = held(folder)
    shutil.rmtree(folder / "store")
    ensure(folder, now=NOW)
    same(held(folder), before)
    forget.forget(folder, "T08", now=NOW)
    load(folder, [log(folder, "d.csv", [row("A9")])], now=NOW)
    assert files_with(folder, "Jo Fenn", "T08", "jf") == []
    assert open_snapshot(folder).table("visits").height == 7


def test_a_tech_that_only_logs_have_typed_is_forgotten_too(tmp_path):
    folder = shop(tmp_path / "shop")
    load(folder, [log(folder, "a.csv", [row("A1", tech="Old Bert"), row("A2", tech="T01")])], now=NOW)
    shutil.rmtree(folder / "as_typed")
    code = forget.forget(folder, "Old Bert", now=NOW)
    assert files_with(folder, "Bert") == []
    assert set(open_snapshot(folder).table("visits")["tech"]) == {code, "T01"}


def test_nobody_and_words_with_another_meaning_are_refused(folder):
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    for person, wanted in (
        ("Nobody", "Nobody is called 'Nobody'"),
        ("play_test", "also the shop's word"),
        ("HERON", "also the shop's word"),
    ):
        with pytest.raises(StoreProblem, match=wanted):
            forget.forget(folder, person, now=NOW)
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_words_are_whole_words_and_short_ones_mind_capitals():
    out = Names(("Mary Quill", "MQ"), "X01").out
    assert out("MQ,mq,MQ-1,MQX,(MQ) MARY QUILL; mary quillan") == "X01,mq,MQ-1,MQX,(X01) X01; mary quillan"


@pytest.mark.parametrize("codec", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_a_file_keeps_its_encoding_and_its_lines(codec):
    text = 'serial,tech,note\r\nA1,Zoë Quill,"two\nlines, Zoë Quill"\r\n'
    assert without(text.encode(codec), Names(("Zoë Quill",), "X01")).decode(codec) == text.replace("Zoë Quill", "X01")
    untouched = "serial,tech\nA1,é\n".encode(codec)
    assert without(untouched, Names(("Zoë Quill",), "X01")) == untouched


def test_a_workbook_is_rewritten_too():
    held = io.BytesIO()
    pl.DataFrame({"serial": ["A1"], "tech": ["Mary Quill"], "T7": ["x"]}).write_excel(held)
    new = without(held.getvalue(), Names(("Mary Quill", "A1"), "X01"))
    assert pl.read_excel(io.BytesIO(new)).rows() == [("X01", "X01", "x")]


def test_the_rest_of_the_shop_file_stays_as_written(folder):
    text = (folder / "shop.toml").read_text()
    tech = read_shop(folder / "shop.toml").techs[0]
    new = shop_file_without(text, tech, Names((tech.key, tech.name, *tech.words), "X01"))
    assert new.split("[[tech]]")[0] == text.split("[[tech]]")[0]
    assert new.split("[[log]]")[1] == '\nname = "bench cards"\nwords = { tech = { "jf" = "T08" } }\n'

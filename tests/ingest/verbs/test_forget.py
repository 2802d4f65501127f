"""A name leaves everything in the shop's folder; the proof is every byte of every file."""

import io
import shutil
import tomllib
import zipfile
from pathlib import Path

import polars as pl
import pytest

from ingest.access import people
from ingest.shopfiles.shop import read_shop
from ingest.shopfiles.shop_parts import Tech
from ingest.store import book
from ingest.store.problems import Busy, StoreProblem
from ingest.store.store import open_snapshot
from ingest.verbs import forget, unfinished
from ingest.verbs.backup import is_backup
from ingest.verbs.check import check
from ingest.verbs.load import ensure, load, unload
from ingest.verbs.mend import correct
from ingest.verbs.names import Names
from ingest.verbs.rewriting import _workbook_without, shop_file_without, without, xml_without
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


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The shop that each test is given a copy of."""
    folder = shop(tmp_path_factory.mktemp("made") / "shop", TECHS)
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
    correct(folder, "mary_quill.csv", 2, "relief", "0.3", who="Mary Quill", why="MQ misread it", now=NOW)
    book.write_entry(folder, "action", "Mary Quill changes the files", "Jo Fenn", now=NOW, owner="MQ", tech="T07")
    shutil.rmtree(folder / "as_typed")
    return folder


@pytest.fixture
def folder(made, tmp_path):
    return shutil.copytree(made, tmp_path / "shop")


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


def test_who_keeps_a_book_of_their_own_stands_there_by_the_code_and_the_file_is_a_shop_file_still():
    text = '[[log]]\nname = "wk.csv"\ndecimal = ","\ntech = "Marta"\nsame_as_above = ["Day"]\n\n'
    text += '[log.words.tech]\n"MO" = "Marta"\n"JR" = "J"\n'
    new = shop_file_without(text, Tech(key="Marta"), Names(("Marta", "MO"), "X01"))
    [log] = tomllib.loads(new)["log"]
    assert (log["tech"], log["same_as_above"], log["decimal"]) == ("X01", ["Day"], ",")
    assert log["words"]["tech"] == {"X01": "X01", "JR": "J"}


SPELLINGS = ("Mary  Quill", "Mary\u00a0Quill", "mary quill", "Quill, Mary", "Mary-Quill", "MARY_QUILL")


def test_every_place_of_the_folder_is_covered_or_named(tmp_path):
    folder = shop(tmp_path / "shop", TECHS)
    rows = [row(f"A{n}", tech=f'"{word}"', note=f"for {word.replace(',', '')}") for n, word in enumerate(SPELLINGS)]
    load(folder, [log(folder, "Mary Quill.csv", rows)], now=NOW)
    (folder / "as_typed").rename(folder / "logs")
    (folder / "shop.additions.toml").write_text('[[tech]]\nkey = "Mary Quill"\n')
    (folder / "cards").mkdir()
    (folder / "cards" / "mary_quill-2026-03-02.csv").write_text("tech,note\nT07,Mary Quill\n")
    (folder / "climate.csv").write_text("at,room,rh,temperature\n2026-03-02 08:00,Mary Quill's corner,45,20\n")
    (folder / "store" / "program.log").write_text("fault at Mary Quill\n")
    (folder / "papers").mkdir()
    (folder / "papers" / "target card Mary Quill.html").write_text("<p>Mary&nbsp;Quill</p>")
    (folder / "photo.png").write_bytes(b"\x89PNG\r\n\x1a\n" + b"taken by Mary Quill")
    people.add(folder, "Ana", "manager", "four words of mine", now=NOW)
    people.add(folder, "Mary Quill", "bench", "four words of mine", tech="T07", now=NOW)
    plan = forget.plan_of(folder, "mary quill", now=NOW)
    done = forget.carry_out(folder, plan, now=NOW)
    assert files_with(folder, "Mary", "mary", "Quill", "QUILL", "T07", "quill") == ["photo.png"]
    assert done.left == ("photo.png: was not looked into; it is no text, workbook or database",)
    assert done.backups == ()
    assert set(open_snapshot(folder).table("visits")["tech"]) == {done.code}
    assert (folder / "cards" / f"{done.code}-2026-03-02.csv").read_text() == f"tech,note\n{done.code},{done.code}\n"
    assert (folder / "logs" / f"{done.code}.csv").exists()
    assert all(part.whole for part in check(folder, now=NOW))


def test_what_looks_alike_is_listed_and_taken_out_where_a_person_says_so(tmp_path):
    folder = shop(tmp_path / "shop", TECHS)
    rows = [row("A1", tech="Mary Quil"), row("A2", tech="T07", note="ask Quill"), row("A3", tech="M. Quill/Jo Fenn")]
    load(folder, [log(folder, "a.csv", rows)], now=NOW)
    plan = forget.plan_of(folder, "Mary Quill", now=NOW)
    assert dict(forget.alike(folder, plan)) == {"Mary Quil": 1, "M. Quill": 1, "Quill": 1}
    code = forget.forget(folder, "Mary Quill", also=["Mary Quil", "M. Quill"], now=NOW)
    assert set(open_snapshot(folder).table("visits")["tech"]) == {code, f"{code}/T08"}


def test_backups_that_stand_are_named(folder):
    done = forget.carry_out(folder, forget.plan_of(folder, "MQ", now=NOW), now=NOW)
    assert [path.name for path in done.backups] == ["2026-06-01-120000-before-unload.truerun"]


@pytest.mark.parametrize("dies_after", ["write_whole", "_rewrite_originals", "_rewrite_book", "put_in", "clean"])
def test_a_run_that_dies_goes_on_where_it_stood(folder, monkeypatch, dies_after):
    class Died(BaseException):
        pass

    real = getattr(forget, dies_after)

    def dying(*arguments, **options):
        real(*arguments, **options)
        raise Died

    monkeypatch.setattr(forget, dies_after, dying)
    with pytest.raises(Died):
        forget.forget(folder, "Mary Quill", now=NOW)
    monkeypatch.undo()
    assert unfinished.stands(folder)
    assert any("cut short" in part.what for part in check(folder, now=NOW))
    told = unfinished.end(folder, now=NOW)
    assert told[0] == "A `truerun forget` that was cut short is ended now."
    assert files_with(folder, "Mary", "Quill", "T07", "M.Q.", "mq1", '"MQ"', "MQ,", ",MQ") == []
    assert open_snapshot(folder).table("visits").filter(pl.col("tech") == "X01").height == 3
    assert all(part.whole for part in check(folder, now=NOW))
    assert not unfinished.stands(folder)


def test_strings_of_a_workbook_in_several_pieces_of_type_are_taken_out():
    name = Names(("Mary Quill",), "X01")
    pieces = '<si><r><t>by Mary</t></r><r><rPr><b/></rPr><t xml:space="preserve"> Quill</t></r></si><si><t>Jo</t></si>'
    assert xml_without(pieces, name) == '<si><t xml:space="preserve">by X01</t></si><si><t>Jo</t></si>'
    formula = '<c r="A1" t="str"><f>B2&amp;" Quill"</f><v>Mary Quill</v></c>'
    assert xml_without(formula, name) == '<c r="A1" t="str"><f>B2&amp;" Quill"</f><v>X01</v></c>'


def test_a_run_that_is_at_work_is_left_alone_by_others(folder, monkeypatch):
    monkeypatch.setattr("ingest.store.sqlite_tables.PATIENCE", 0.1)
    seen = []

    def meanwhile(*arguments, **options):
        seen.append((forget.under_way(folder), unfinished.stands(folder)))
        with pytest.raises(Busy, match="at work"):
            unfinished.end(folder, now=NOW)
        return real(*arguments, **options)

    real = forget.clean
    monkeypatch.setattr(forget, "clean", meanwhile)
    forget.forget(folder, "MQ", now=NOW)
    assert seen == [(True, False)]


def test_a_workbook_in_which_nobody_is_named_stays_as_it_came():
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as book_:
        book_.writestr("xl/sharedStrings.xml", "<sst><si><t>Jo Fenn</t></si></sst>")
    came = packed.getvalue()
    assert _workbook_without(came, Names(("Mary Quill",), "X01")) == came
    with zipfile.ZipFile(io.BytesIO(_workbook_without(came, Names(("Jo Fenn",), "X01")))) as book_:
        assert book_.read("xl/sharedStrings.xml") == b'<sst><si><t xml:space="preserve">X01</t></si></sst>'

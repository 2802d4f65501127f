"""Bytes that stay on the disk and lines of which only some are held: the same as all of them in memory."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.reading import lines as of_lines
from ingest.reading import on_disk
from ingest.reading.encodings import LOOKED_AT, MARK, decode, letters_of
from ingest.reading.files import read_tables
from ingest.reading.lines import Lines
from ingest.reading.on_disk import OnDisk, copied, held, sha256
from ingest.reading.tabular import CONTROL, Form
from ingest.terms.questions import FileProblem

TEXT = st.text(st.sampled_from('ab,"\n\r\x00é�'), max_size=60)


def whole(text):
    """The lines of a text, all at once."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    if "\n" not in text:
        text = text.replace("\r", "\n")
    lines = text.split("\n")
    return lines[:-1] if lines[-1] == "" else lines


@given(TEXT, st.integers(1, 7))
def test_lines_that_come_in_pieces_are_those_of_the_whole_text(text, size):
    lines = Lines(lambda: (text[at : at + size] for at in range(0, len(text), size)))
    wanted = whole(text)
    assert len(lines) == len(wanted)
    assert [lines[place] for place in range(len(lines))] == wanted
    assert lines.last_quote == max((place for place, line in enumerate(wanted) if '"' in line), default=-1)
    joined = "\n".join(wanted)
    assert lines.clean == (not CONTROL.search(joined) and MARK not in joined)
    assert lines.filled == bool(re.search("[^\x00 \t\r\n\ufeff]", text))


def test_only_lines_that_a_cell_may_still_join_are_held(monkeypatch):
    monkeypatch.setattr(of_lines, "MOST_LINES", 10)
    lines = Lines(lambda: (f"{n}\n" * 3 for n in range(1_000)))
    for place in range(0, 3_000, 7):
        assert lines[place] == str(place // 3)
        assert lines[place : place + 10][-1] == str(min(2_999, place + 9) // 3)
    assert len(lines._held) < 40


@given(st.binary(max_size=200), st.sampled_from([b"", b"\xff\xfe", b"\xef\xbb\xbf"]), st.integers(1, 9))
def test_letters_read_in_pieces_are_those_read_whole(data, begin, size):
    data = begin + b"serial,date\n" + data
    told = []
    for piece in (1 << 20, size):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(on_disk.pieces, "__defaults__", (0, piece))
            try:
                told.append(decode(data, "a.csv"))
            except FileProblem as problem:
                told.append(str(problem))
    assert told[0] == told[1]


def test_bytes_on_the_disk_are_read_as_bytes(tmp_path, monkeypatch):
    monkeypatch.setattr(on_disk, "PIECE", 5)
    data = b"0123456789" * 7 + b"end"
    (tmp_path / "file").write_bytes(data)
    here = OnDisk(tmp_path / "file")
    assert (len(here), here[:], here[3:8], here[-3:], here[100:]) == (len(data), data, data[3:8], b"end", b"")
    for wanted in (b"0", b"9012", b"end", b"nowhere"):
        for begin in (0, 1, 39, 80):
            assert here.find(wanted, begin) == data.find(wanted, begin)
    assert here.digest == sha256(data)
    here.close()


def test_a_copy_is_the_file_and_goes_with_its_bytes(tmp_path):
    source = tmp_path / "bench.csv"
    source.write_bytes(b"serial,date\n" * 1_000)
    with source.open("rb") as file:
        copy = copied(file, tmp_path / "room")
    source.write_bytes(b"another")  # the file is replaced meanwhile
    assert copy[:] == b"serial,date\n" * 1_000
    assert copy.digest == sha256(copy[:])
    del copy
    assert not list((tmp_path / "room").iterdir())


def test_a_long_irregular_file_is_read_from_the_disk_as_from_memory(tmp_path, monkeypatch):
    form = Form(lambda cells: 2 * ("serial" in cells and "date" in cells), lambda header: [header.index("date")])
    text = 'serial,date,note\r\n"A 1",2026-03-02,"two\r\nlines"\r\nA2,2026-03-03,é\r\n' + 'A3,2026-03-04,5"\r\n' * 50
    monkeypatch.setattr(on_disk, "LONG", 100)
    for codec in ("utf-8", "cp1252", "utf-16", "utf-16-le"):
        path = tmp_path / codec
        path.write_bytes(text.encode(codec))
        long = held(path)
        assert isinstance(long, OnDisk)
        here, there = read_tables(path.read_bytes(), "a.csv", form), read_tables(long, "a.csv", form)
        assert here.notes == there.notes
        assert [table.rows.rows() for table in here.tables] == [table.rows.rows() for table in there.tables]
        assert here.tables[0].rows.height == 52
        long.close()


def test_a_file_that_turns_out_not_to_be_utf8_at_its_end_is_read_as_western():
    data = b"serial,date\n" + b"A1,2026-03-02\n" * (LOOKED_AT // 14) + "Müller".encode("cp1252")
    assert letters_of(data, "a.csv").codec == "cp1252"

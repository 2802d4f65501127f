"""A month of a small shop: logs come in, newer editions follow, cells are put right, questions answered, a log goes out
and comes back, a person is forgotten; after each step what it said, and in the end what the store and the book hold.

A snapshot, looked over by hand when it was written: `python -m tests.ingest.verbs.test_a_month` writes it anew; read
the difference before keeping it.
"""

import re
import tempfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest

from analysis.studies.story.waiting import waiting
from ingest.store import book, ledger
from ingest.store.store import newest, open_snapshot
from ingest.verbs.again import again
from ingest.verbs.answers import Answer, answer, filled_in, sheet, take_back
from ingest.verbs.check import check
from ingest.verbs.compare import changed_cells
from ingest.verbs.forget import forget
from ingest.verbs.load import load, unload
from ingest.verbs.loaded import Loaded
from ingest.verbs.mend import correct, settle
from ingest.verbs.worklist import worklist
from tests.ingest.bench import GROWING, NOW, held, log, row, shop

HERE = Path(__file__).parent / "a_month.txt"
TECHS = """
[[tech]]
key = "T01"
words = ["Jo Reed", "JR"]

[[tech]]
key = "T02"
words = ["AO"]
"""


def said(came: Loaded) -> list[str]:
    head = f"{came.name}: {came.outcome} {came.problem}"
    counts = {name: getattr(came, name) for name in ("rows_read", "accepted", "changed", "already_held", "set_aside")}
    counts |= {"cells": came.cells_set_aside, "passed_over": came.passed_over}
    told = [
        f"  {name}: {table(frame) if isinstance(frame, pl.DataFrame) else frame}"
        for name, frame in vars(came.told).items()
        if len(frame)
    ]
    return [f"{head} {counts}", *told, *(f"  {note}" for note in came.notes)]


def table(frame: pl.DataFrame) -> str:
    empty = [each.name for each in frame.select(pl.col(pl.String)) if (each == "").all()]
    left_out = {"text_hash", "said_at", "sha256", *empty}
    names = [each.name for each in frame if each.null_count() < each.len() and each.name not in left_out]
    return frame.select(names).with_columns(pl.col(pl.List(pl.String)).list.join("+")).write_csv(float_precision=4)


def a_month(folder: Path) -> Iterator[str]:
    at = NOW
    shop(folder, TECHS + GROWING)

    def clock():
        nonlocal at
        at += timedelta(minutes=1)
        return at

    def takes(*paths: Path) -> str:
        return "\n".join(line for came in load(folder, list(paths), now=clock()) for line in said(came))

    cards = [
        row(f"A{n}", tech=("JR", "T02")[n % 2], start=f"2026-03-0{2 + n % 3} 09:0{n}", finish="") for n in range(6)
    ]
    cards += [row("A8", relief="25"), row("A9", model="KITE", fault="open-string buzz"), row("A9", stage="paly_test")]
    cards += [row("B1", tech="Jo Reed", note="with Jo Reed"), row("", note="nobody"), row("B2", outcome="perhaps")]
    yield takes(
        log(folder, "cards.csv", cards),
        log(folder, "again.csv", [*cards[:3], row("C1", start="2026-03-09 09:00", finish="")]),
    )
    yield takes(log(folder, "cards.csv", cards))
    grown = [row(f"G{n}", start=f"2026-03-1{n} 09:00", finish="", relief=f"0.2{n}") for n in range(5)]
    yield takes(log(folder, "grow_1.csv", grown))
    correct(folder, "grow_1.csv", 3, "relief (mm)", "0.9", who="Mo", why="slip", now=clock())
    yield takes(
        log(
            folder,
            "grow_2.csv",
            [
                *grown[:3],
                row("G3", start="2026-03-13 09:00", finish="", relief="0.99"),
                row("G9", start="2026-03-20 10:00", finish=""),
            ],
        )
    )
    wide = ["W1,LARK-25,2026-03-04,0.2,2026-03-05,2.4,pass", "W2,LARK-25,,,2026-03-06,2.5,fixed"]
    head = "date @ packing,action bass (mm) @ packing,outcome @ packing"
    yield takes(log(folder, "wide_1.csv", wide, f"serial,model,date @ play_test,relief (mm) @ play_test,{head}"))
    trials = [f"S1,P{n % 3},T0{1 + n % 2},relief,{n // 6},0.{20 + n},mm" for n in range(12)]
    yield takes(log(folder, "study_1.csv", trials, "study,part,tech,characteristic,trial,value,unit"))
    yield takes(log(folder, "bad.csv", ["1,2"], "a,b"))
    held_back = open_snapshot(folder).table("set_aside").filter(pl.col("reason").str.contains("implausible|outside"))
    for line, column, name in held_back.select("line", "column", "name").rows()[:1]:
        yield "\n".join(said(settle(folder, name, line, column, "it is real", who="Mo", why="seen", now=clock())))
    yield "\n".join(said(correct(folder, "cards.csv", 2, "note", "seen twice", who="Mo", why="asked", now=clock())))
    yield "\n".join(said(correct(folder, "cards.csv", 2, "note", None, who="Mo", why="no", now=clock())))
    snapshot = open_snapshot(folder)
    asked = worklist(snapshot, folder=folder, asked=waiting(snapshot))
    text = sheet(asked)
    yield text
    answers = [Answer(group, "play_test") for one in asked for group in one.groups if group.typed == "paly_test"]
    answers += [Answer(group, "cannot be known") for one in asked for group in one.groups if group.typed == "perhaps"]
    done = answer(folder, answers, "Mo", "looked", now=clock())
    yield f"{done.first} to {done.last}: {done.settled} settled, {done.left} left, {done.rows_in} came in"
    back = take_back(folder, done.first, done.last, "Mo", now=clock())
    yield f"taken back: {back.settled} settled, {back.left} left, {back.rows_in} came in"
    lines = text.splitlines()
    filled = "\n".join([lines[0], *(line + "play_test" if "paly_test" in line else line for line in lines[1:])])
    yield str([(one.group.typed, one.text) for one in filled_in(filled, asked)])
    yield table(changed_cells(open_snapshot(folder), folder=folder, newer="grow_2.csv", older="grow_1.csv"))
    yield unload(folder, "cards.csv", who="Mo", why="wrong book", now=clock())
    yield str(held(folder)["visits"]["serial"].to_list())
    yield takes(log(folder, "cards.csv", cards))
    yield "\n".join(line for came in again(folder, now=clock()) for line in said(came))
    with ledger.reading(folder) as kept:
        every = [ledger.newest(kept, version) for version in range(newest(folder)[0] + 1)]
    yield "\n".join(f"{one.n}: {one.what}, {one.visits} visits" for one in every if one is not None)
    yield forget(folder, "T01", now=clock())
    yield "\n".join(f"{one.part}: {one.whole} {one.what}" for one in check(folder, now=clock()))
    yield f"version and line of the book {newest(folder)}"
    for name, frame in held(folder).items():
        yield f"== {name}\n{table(frame)}"
    for name, frame in book.read(folder).items():
        if frame.height:
            yield f"== book: {name}\n{table(frame)}"


def told(folder: Path) -> str:
    text = "\n\n".join(a_month(folder)).replace(str(folder), "SHOP") + "\n"
    return re.sub(r"\b[0-9a-f]{64}\b", "HASH", text)


@pytest.mark.long
def test_a_month_goes_as_it_was_looked_over(tmp_path):
    assert told(tmp_path / "shop") == HERE.read_text(encoding="utf-8")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as room:
        HERE.write_text(told(Path(room) / "shop"), encoding="utf-8")

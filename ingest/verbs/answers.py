"""Answers to many questions at once: written into the book with who and why, their logs read again in one version, and
taken back as one.
"""

import csv
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from io import StringIO
from pathlib import Path

import polars as pl

from ingest.shopfiles.shop import Shop, fingerprint
from ingest.store import book, ledger
from ingest.store.draft import Draft
from ingest.store.problems import StoreProblem
from ingest.store.store import drafting
from ingest.store.writing import write_whole
from ingest.terms import tables
from ingest.terms.questions import ASKED_AGAIN, UNKNOWABLE
from ingest.verbs.from_originals import read_again
from ingest.verbs.groups import MEANS, VALUE, Decision, Group
from ingest.verbs.load import ensure
from ingest.verbs.new_entries import Entry, asked_for, put_in, still_needed, take_out
from ingest.verbs.sound import sound_shop, usable_shop

TABLES = ("words", "corrections", "settled")  # of the book, in which answers stand
SHEET = ("decision", "as typed", "column", "rows", "where", "wanted", "guess", "answer")  # of the file to fill in


@dataclass(frozen=True)
class Answer:
    """What a person says to one group of questions.

    text : what the word means, what the cells should say, or one of book.VERDICTS (cannot be known, it is real, keep
    held, take new).
    """

    group: Group
    text: str


@dataclass(frozen=True)
class Answered:
    """What answers did: rows of the book (first to last sequence), questions settled, questions that are left."""

    first: int
    last: int
    settled: int
    left: int
    rows_in: int  # rows and cells that came in
    logs: tuple[str, ...] = ()  # log_id of those that were read again
    told: tuple[str, ...] = ()  # entries put into shop.toml, and what they still lack, a line each


def answer(folder: Path, answers: Sequence[Answer], who: str, why: str, *, now: datetime) -> Answered:
    """Write answers into the book, a new model or tech into shop.toml, and read the logs they are about again, in one
    version.

    Raises StoreProblem, one line, where nobody says who, nothing is said, or a word is to mean what no list holds; book
    and shop.toml are then as they were.
    """
    if not who.strip():
        raise StoreProblem("Nobody's word for it: say who answers")
    said = [one for one in answers if one.text.strip()]
    if not said:
        raise StoreProblem("No answer was given; wanted at least one")
    shop = sound_shop(folder, now=now)
    ensure(folder, now=now)
    said, entries = _with_entries(shop, said)
    with drafting(folder, now) as draft, _put_in(folder, entries):
        first = last = 0
        for name, rows in lines_of(said).items():
            if rows.height:
                last = book.append(
                    draft.connection, name, rows, now=now, who=who.strip(), why=why.strip(), schema="book"
                )
                first = first or last - rows.height + 1
        log_ids = {log_id for one in said for log_id, _, _ in one.group.rows}
        before, after = _read(
            draft, folder, log_ids, f"{sum(len(one.group.rows) for one in said)} questions answered", last, now
        )
    return Answered(
        first,
        last,
        sum(len(one.group.rows) for one in said),
        after,
        max(before - after, 0),
        tuple(sorted(log_ids)),
        (*(one.told for one in entries), *still_needed(shop, _words(said))),
    )


def _words(said: Iterable[Answer]) -> list[tuple[str, str, str]]:
    """Field, word and what it means of the answers that say what a word means."""
    return [
        (one.group.field, one.group.typed, one.text.strip())
        for one in said
        if one.group.kind == MEANS and one.text not in book.VERDICTS
    ]


def _with_entries(shop: Shop, said: list[Answer]) -> tuple[list[Answer], list[Entry]]:
    """Answers with what their words mean, and the entries that shop.toml lacks for that."""
    about = [place for place, one in enumerate(said) if one.group.kind == MEANS and one.text not in book.VERDICTS]
    words, entries = asked_for(shop, _words(said))
    meant = {place: means for place, (_, _, means) in zip(about, words, strict=True)}
    return [replace(one, text=meant.get(place, one.text)) for place, one in enumerate(said)], entries


@contextmanager
def _put_in(folder: Path, entries: list[Entry]) -> Iterator[None]:
    """With entries in shop.toml, which is as it was where the work under it fails."""
    before = (folder / "shop.toml").read_bytes()
    put_in(folder, entries)
    try:
        yield
    except BaseException:
        write_whole(folder / "shop.toml", before)
        raise


def take_back(folder: Path, first: int, last: int, who: str, *, logs: Iterable[str] = (), now: datetime) -> Answered:
    """Take answers back: those of the book's lines from `first` to `last`. StoreProblem where none stand there.

    logs : that words among them are about; () = all.
    """
    sound_shop(folder, now=now)
    ensure(folder, now=now)
    with drafting(folder, now) as draft:
        held = {name: book.lines(draft.connection, name) for name in TABLES}
        mine = {name: rows.filter(pl.col("sequence").is_between(first, last)) for name, rows in held.items()}
        back = {name: _undone(name, rows, held[name], first) for name, rows in mine.items()}
        if not any(rows.height for rows in back.values()):
            raise StoreProblem("There is nothing to take back: these answers stand no longer")
        log_ids = {log_id for name in ("corrections", "settled") for log_id in mine[name]["log_id"].to_list()}
        if mine["words"].height:
            log_ids |= set(logs or draft.logs["log_id"].to_list())
        end = begin = 0
        for name, rows in back.items():
            if rows.height:
                end = book.append(draft.connection, name, rows, now=now, who=who, why="taken back", schema="book")
                begin = begin or end - rows.height + 1
        own = mine["words"].filter(pl.col("field").is_in(["model", "tech"])) if mine["words"].height else mine["words"]
        take_out(folder, own.select("field", "means").rows() if own.height else [])
        count = sum(rows.height for rows in mine.values())
        _, after = _read(draft, folder, log_ids, f"{count} answers taken back", end, now)
    return Answered(begin, end, count, after, 0)


def _read(draft: Draft, folder: Path, log_ids: set[str], what: str, sequence: int, now: datetime) -> tuple[int, int]:
    """Read logs again under the book as it is now and end the version; questions before and after."""
    said = {name: book.lines(draft.connection, name) for name in book.SCHEMAS}
    before = ledger.held_rows(draft.connection, "set_aside").height
    draft.settled = book.standing_verdicts(said["settled"])
    read_again(draft, folder, usable_shop(folder), said, log_ids & set(draft.logs["log_id"].to_list()))
    after = ledger.held_rows(draft.connection, "set_aside").height
    draft.finish(what, now, fingerprint(folder), sequence)
    return before, after


def lines_of(answers: Iterable[Answer]) -> dict[str, pl.DataFrame]:
    """The lines of the book that answers make, by table."""
    words: list[dict[str, object]] = []
    corrections: list[dict[str, object]] = []
    settled: list[dict[str, object]] = []
    for one in answers:
        group, text = one.group, one.text.strip()
        if text in book.VERDICTS:
            settled += [
                {"log_id": log_id, "line": line, "column": column, "raw": group.typed, "verdict": text}
                for log_id, line, column in group.rows
            ]
        elif group.kind == MEANS:
            words.append({"field": group.field, "word": group.typed, "means": text, "undone": False})
        elif group.kind == VALUE and group.cell:
            corrections += [
                {"log_id": log_id, "line": line, "column": column or group.cell, "value": text, "undone": False}
                for log_id, line, column in group.rows
            ]
        else:
            raise StoreProblem(f"{group.where}: {text!r} is no answer here; wanted one of {', '.join(book.VERDICTS)}")
    found = {"words": words, "corrections": corrections, "settled": settled}
    return {
        name: tables.shaped(pl.DataFrame(rows), {k: v for k, v in book.SCHEMAS[name].items() if rows and k in rows[0]})
        if rows
        else pl.DataFrame()
        for name, rows in found.items()
    }


def _undone(name: str, mine: pl.DataFrame, held: pl.DataFrame, first: int) -> pl.DataFrame:
    """Lines that put things back as they stood before `first`."""
    keys = {
        "words": ["field", "word"],
        "corrections": ["log_id", "line", "column"],
        "settled": ["log_id", "line", "column"],
    }[name]
    if mine.is_empty():
        return pl.DataFrame()
    before = held.filter(pl.col("sequence") < first).sort("sequence").unique(keys, keep="last", maintain_order=True)
    again = mine.unique(keys, maintain_order=True).join(before, on=keys, how="left", suffix="_before")
    if name == "settled":
        verdict = pl.col("verdict_before").fill_null(ASKED_AGAIN)
        return again.select(*keys, "raw", verdict.alias("verdict"))
    value = {"words": "means", "corrections": "value"}[name]
    return again.select(
        *keys,
        pl.coalesce(f"{value}_before", value).alias(value),
        pl.col("undone_before").fill_null(True).alias("undone"),
    )


# The same at the command line: a file to fill in.


def sheet(decisions: Iterable[Decision]) -> str:
    """The open questions as CSV, a line a group, the guess beside each and an empty column for the answer."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(SHEET)
    for decision in decisions:
        for group in decision.groups:
            answer_of = group.guess if group.sure else ""
            writer.writerow(
                [
                    decision.title,
                    _safe(group.typed),
                    group.column or group.field or "whole row",
                    len(group.rows),
                    group.where,
                    group.wanted,
                    group.guess,
                    answer_of,
                ]
            )
    return out.getvalue()


def _safe(text: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    return "'" + text if text[:1] in ("=", "+", "-", "@") else text


def filled_in(text: str, decisions: Iterable[Decision]) -> list[Answer]:
    """The answers of a sheet as `sheet` wrote it; lines without one, or whose question is open no longer, are passed
    by. StoreProblem where the columns are not those.
    """
    rows = csv.DictReader(StringIO(text.lstrip("\ufeff")))
    if rows.fieldnames is None or not {"decision", "as typed", "column", "where", "answer"} <= set(rows.fieldnames):
        raise StoreProblem(
            f"This is no sheet of questions; wanted the columns {', '.join(SHEET)}, as --questions writes them"
        )
    groups = {}
    for decision in decisions:
        for group in decision.groups:
            groups[decision.title, _safe(group.typed), group.column or group.field or "whole row", group.where] = group
    said = []
    for row in rows:
        found = groups.get((row["decision"], row["as typed"], row["column"], row["where"]))
        text = (row["answer"] or "").strip()
        if found is not None and text:
            said.append(Answer(found, UNKNOWABLE if text.casefold() in ("?", "unknown", UNKNOWABLE) else text))
    return said

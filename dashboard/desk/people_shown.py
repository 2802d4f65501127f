"""[people] show, at the one counter that pages, papers and exports ask at: what was typed of people is put as the shop
wishes it before anybody sees it.

`names` shows all as typed. `codes`: a listed name, or a word somebody signs with, stands as that person's code. `none`:
whoever is listed or signed a row stands as `a person`. Figures of single people are left out by those who make them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cache

import polars as pl

from ingest.store.snapshot import Reader, Snapshot

NOBODY = "a person"
BETWEEN = " | "  # the cells of a row in a question
WORDY = {  # tables and their columns that hold what somebody typed
    "set_aside": ("raw", "reason", "wanted"),
    "visits": ("note", "other"),
    "bench_book": ("text",),
    "corrections": ("raw", "value"),
}


def veiled(snapshot: Snapshot) -> Snapshot:
    """The same shop, read with people as it wishes them shown."""
    if snapshot.shop.people.show == "names":
        return snapshot
    words = cache(lambda: _words(snapshot))
    readers = {
        name: _reader(read, WORDY[name], words, name == "set_aside", snapshot) if name in WORDY else read
        for name, read in snapshot.readers.items()
    }
    return replace(snapshot, readers=readers)


def putting(snapshot: Snapshot) -> Callable[[str], str]:
    """What makes of a text the same with people as the shop wishes them shown."""
    if snapshot.shop.people.show == "names":
        return lambda text: text
    words = _words(snapshot)
    return lambda text: str(pl.select(_put(pl.lit(text), words)).item())


def _reader(
    read: Reader, wordy: Iterable[str], words: Callable[[], dict[str, str]], rows: bool, snapshot: Snapshot
) -> Reader:
    """A reader whose columns of words are veiled."""

    def columns_of(columns: tuple[str, ...]) -> pl.DataFrame:
        if columns and not set(columns) & set(wordy):
            return read(columns)
        table = read(())
        if rows:
            table = _cells(table, words(), snapshot)
        table = table.with_columns(_put(pl.col(name), words()).alias(name) for name in wordy if name in table.columns)
        return table.select(columns) if columns else table

    return columns_of


def _words(snapshot: Snapshot) -> dict[str, str]:
    """What may not be shown (small letters) -> what stands in its place."""
    shop, nobody = snapshot.shop, snapshot.shop.people.show == "none"
    words: dict[str, str] = {}
    for tech in shop.techs:
        instead = NOBODY if nobody else tech.key
        words |= {word.strip().casefold(): instead for word in (tech.name, *tech.words) if word.strip()}
        words |= {tech.key.casefold(): instead} if nobody else {}
    if nobody:
        signed = snapshot.readers["visits"](("tech",))["tech"].unique().drop_nulls().to_list()
        words |= {word.strip().casefold(): NOBODY for word in signed if word.strip()}
    return words


def _put(text: pl.Expr, words: dict[str, str]) -> pl.Expr:
    """A text without the words that may not be shown, wherever they stand by themselves."""
    for instead in dict.fromkeys(words.values()):
        mine = sorted((word for word in words if words[word] == instead and len(word) > 1), key=len, reverse=True)
        if mine:
            pattern = rf"(?i)(^|[^\p{{L}}\p{{N}}])(?:{'|'.join(map(re.escape, mine))})($|[^\p{{L}}\p{{N}}])"
            text = text.str.replace_all(pattern, "${1}" + instead + "${2}").str.replace_all(
                pattern, "${1}" + instead + "${2}"
            )  # twice: two names may share the sign between them
    return text


def _cells(asked: pl.DataFrame, words: dict[str, str], snapshot: Snapshot) -> pl.DataFrame:
    """Questions whose cells of a tech are veiled: by their column, whoever signed there, and single letters too."""
    told = snapshot.readers["columns"](()) if "columns" in snapshot.readers else pl.DataFrame()
    if asked.is_empty() or told.is_empty() or "field" not in told.columns:
        return asked
    places: dict[str, set[int]] = {}
    headings: dict[str, set[str]] = {}
    for (log,), rows in told.group_by("log_id", maintain_order=True):
        for place, (heading, field) in enumerate(rows.select("heading", "field").iter_rows()):
            if field == "tech":
                places.setdefault(str(log), set()).add(place)
                headings.setdefault(str(log), set()).add(str(heading))
    nobody = snapshot.shop.people.show == "none"

    def put(cell: str) -> str:
        known = words.get(cell.strip().casefold())
        return known or (NOBODY if nobody and cell.strip() else cell)

    def row(log: str, column: str, raw: str) -> str:
        if column:
            return put(raw) if column in headings.get(log, ()) else raw
        cells = raw.split(BETWEEN)
        return BETWEEN.join(put(cell) if k in places.get(log, ()) else cell for k, cell in enumerate(cells))

    raw = [row(*each) for each in asked.select("log_id", "column", "raw").iter_rows()]
    return asked.with_columns(raw=pl.Series(raw, dtype=pl.String))

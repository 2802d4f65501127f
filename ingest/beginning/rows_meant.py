"""Of a sheet in which only some rows are a log's those that are meant, by the words of a column."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from ingest.beginning.answers import LogSaid
from ingest.beginning.asking import Asker
from ingest.beginning.first_shop import LogDraft
from ingest.beginning.raw_tables import RawTable
from ingest.reading.headings import plain

ROWS = "rows"  # the meaning of a column that says which rows are meant
ONLY, NOT = "only_rows", "not_rows"
KEY = "rows "  # begins the key of a question about the rows of a word
READ, PASS_OVER = "read them", "pass them over"
MOST = 15  # words that are asked about


def meant_table(table: RawTable, said: LogSaid) -> RawTable:
    """The table with the rows that were said to be meant; how many are not is one of its notes."""
    headings = [plain(heading) for heading in table.headings]
    keep = [True] * table.rows
    for kind, wanted in ((ONLY, True), (NOT, False)):
        for heading, words in said.rest.get(kind, {}).items():
            if plain(heading) in headings:
                mine = {plain(word) for word in words}
                cells = table.columns[headings.index(plain(heading))]
                keep = [kept and (plain(cell) in mine) == wanted for kept, cell in zip(keep, cells, strict=True)]
    if all(keep):
        return table
    columns = tuple(tuple(cell for cell, kept in zip(cells, keep, strict=True) if kept) for cells in table.columns)
    note = f"{keep.count(False):,} of {table.rows:,} rows are not meant and are passed over"
    return replace(table, columns=columns, notes=(*table.notes, note))


def named(entry: Mapping[str, Any]) -> list[str]:
    """The headings by which a [[log]] tells the rows that are meant."""
    return [heading for kind in (ONLY, NOT) for heading in entry.get(kind, {})]


def ask_rows(log: LogDraft, asker: Asker) -> list[str]:
    """Ask of each word of the columns that say which rows are meant whether its rows are. What cannot be asked, a line
    each.
    """
    seen, unread = log.survey, []
    for column in seen.columns:
        if column.guess.field != ROWS:
            continue
        answered = answered_rows(asker.answers).get(column.heading, [])  # whose rows are left out already
        words = list(dict.fromkeys([*(cell.strip() for cell in column.cells), *answered]))
        if len(words) > MOST:
            told = f"{column.heading!r} has {len(words)} different words: too many to ask which rows are meant"
            unread.append(f"{seen.title}: {told}; say it in shop.toml: only_rows = {{ ... }}")
            continue
        for word in words:
            count = sum(cell.strip() == word for cell in column.cells)
            rows = f"{count} rows" if count else "rows"
            told = f"{seen.title}: {rows} whose {column.heading!r} says {word!r}: read them?"
            every, each = f"{seen.title}: which rows are meant, by {column.heading!r}?", f"{word} ({rows})"
            key = f"{KEY}{word} of {column.heading}"
            answer = asker.ask(key, told, (READ, PASS_OVER), READ, of=every, word=each)
            if answer == PASS_OVER:
                pass_over(log, column.heading, word)
    return unread


def answered_rows(answers: Mapping[str, str]) -> dict[str, list[str]]:
    """By heading the words whose rows somebody answered to pass over."""
    out: dict[str, list[str]] = {}
    for key, answer in answers.items():
        word, of, heading = key.removeprefix(KEY).rpartition(" of ")
        if key.startswith(KEY) and of and answer == PASS_OVER:
            out.setdefault(heading, []).append(word)
    return out


def pass_over(log: LogDraft, heading: str, word: str) -> None:
    """Rows with this word under a heading are not meant."""
    log.not_rows.setdefault(heading, []).append(word)


def rules(log: LogDraft) -> dict[str, dict[str, Sequence[str]]]:
    """`only_rows` and `not_rows` of a [[log]], as said and as answered, by the columns that its sheet has."""
    here = {plain(column.heading) for column in log.survey.columns}
    told = {kind: log.survey.said.rest.get(kind, {}) for kind in (ONLY, NOT)}
    said = {kind: {name: words for name, words in held.items() if plain(name) in here} for kind, held in told.items()}
    for heading, words in log.not_rows.items():
        said[NOT][heading] = list(dict.fromkeys([*said[NOT].get(heading, []), *words]))
    return {kind: told for kind, told in said.items() if told}

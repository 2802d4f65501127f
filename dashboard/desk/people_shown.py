"""[people] show, at the one counter that pages, papers and exports ask at: what was typed of people is put as the shop
wishes it before anybody sees it.

`names` shows all as typed. `codes`: a listed name, or a word somebody signs with, stands as that person's code, and
somebody whom no list knows as a code made of the word itself. `none`: whoever is listed or signed a row stands as `a
person`. Figures of single people are left out by those who make them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from functools import cached_property
from hashlib import blake2b
from typing import TYPE_CHECKING

import polars as pl

from ingest.reading.words import TWO_NAMES, Words
from ingest.shopfiles.shop_parts import Log
from ingest.store.snapshot import Reader, Snapshot
from ingest.verbs.unlisted import beside_each_other

if TYPE_CHECKING:
    from ingest.verbs.loaded import Loaded

NOBODY = "a person"
BETWEEN = " | "  # the cells of a row in a question
UNLISTED = "unlisted-"  # how the code of somebody begins whom no list knows
WORDY = {  # tables and their columns that hold what somebody typed
    "set_aside": ("raw", "reason", "wanted"),
    "visits": ("note", "other"),
    "bench_book": ("text", "who", "why", "owner"),
    "corrections": ("raw", "value", "who", "why"),
    "settled": ("raw", "who", "why"),
    "limits_on_file": ("who", "why"),
    "targets_by_hand": ("who", "why"),
    "words": ("who", "why"),
    "weeks_reviewed": ("who",),
    "changes": ("what", "note"),
}
SIGNED = ("visits", "gauge_trials", "bench_book", "limits_on_file", "targets_by_hand")  # tables with a column `tech`
CODE = re.compile(rf"[A-Za-z]{{0,3}}[-. ]?\d{{1,5}}[A-Za-z]?|[A-Z]\.?[A-Z]?\.?|{UNLISTED}[0-9a-f]+")  # nobody's name
ASKED = re.compile(r"^tech (?:'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\") is not listed.*$", re.DOTALL)


class Veil:
    """How one shop wishes people shown; `bare` is the shop as it was typed."""

    def __init__(self, bare: Snapshot) -> None:
        self.bare, self.show = bare, bare.shop.people.show

    def snapshot(self) -> Snapshot:
        """The shop, read with people as it wishes them shown."""
        if self.show == "names":
            return self.bare
        readers = {name: self._reader(name, read) for name, read in self.bare.readers.items()}
        said = repr((self.show, self.bare.readers["words"](()).rows())).encode()
        kept = self.bare.kept_tables
        return replace(
            self.bare,
            readers=readers,
            kept_tables=kept and kept.under(self._over, lambda: repr(sorted(self.words.items()))),
            laid_over=blake2b(said, digest_size=16).hexdigest(),
        )

    def _reader(self, name: str, read: Reader) -> Reader:
        """A reader whose columns of words and names are veiled."""
        wordy, signed = WORDY.get(name, ()), name in SIGNED and self.show == "codes"

        def columns_of(columns: tuple[str, ...]) -> pl.DataFrame:
            touched = set(columns or ("tech", *wordy)) & {*wordy, *(("tech",) if signed else ())}
            if not touched:
                return read(columns)
            table = self._over(name, read(() if name == "set_aside" else columns))
            return table.select(columns) if columns else table

        return columns_of if wordy or signed else read

    def _over(self, name: str, table: pl.DataFrame) -> pl.DataFrame:
        """Rows of a table, all columns or some, as they may be shown."""
        wordy = WORDY.get(name, ())
        if name in SIGNED and self.show == "codes" and "tech" in table.columns:
            table = table.with_columns(tech=self._coded(table["tech"]))
        if not set(wordy).isdisjoint(table.columns):
            table = self._cells(table) if name == "set_aside" else table
            held = [column for column in wordy if column in table.columns]
            named = table.select(pl.col(held).str.contains(self._any).any()).row(0)  # most columns name nobody
            table = table.with_columns(
                self._put(pl.col(column)).alias(column) for column, some in zip(held, named, strict=True) if some
            )
        return table

    def code(self, word: str) -> str:
        """The code of somebody no list knows: the same for the same word, whatever else is loaded."""
        folded = " ".join(word.split()).casefold().encode()
        return UNLISTED + blake2b(folded, digest_size=4, key=self.bare.shop.shop.name.encode()[:64]).hexdigest()[:6]

    @cached_property
    def _keys(self) -> set[str]:
        return {tech.key for tech in self.bare.shop.techs}

    def _is_name(self, word: str) -> bool:
        return bool(word) and word not in self._keys and not CODE.fullmatch(word)

    def _one(self, cell: str) -> str:
        """A cell of techs; of two names in one cell each by itself."""
        parts = TWO_NAMES.split(cell)
        return "".join(self.code(part) if k % 2 == 0 and self._is_name(part) else part for k, part in enumerate(parts))

    def _coded(self, techs: pl.Series) -> pl.Series:
        """Whoever signed, by code."""
        instead = {each: self._one(each) for each in techs.unique().drop_nulls().to_list()}
        return techs if all(a == b for a, b in instead.items()) else techs.replace(instead)

    @cached_property
    def unlisted(self) -> dict[str, str]:
        """Names that signed and stand on no list: by the code each is shown by."""
        signed = [
            self.bare.readers[name](("tech",))["tech"].unique().drop_nulls() for name in ("visits", "gauge_trials")
        ]
        parts = {part for cell in pl.concat(signed).to_list() for part in TWO_NAMES.split(cell)[::2]}
        return {self.code(part): part for part in sorted(parts) if self._is_name(part)}

    @cached_property
    def meant(self) -> dict[str, str]:
        """Of each code of somebody on no list the listed person whose name comes nearest to what was typed: a slip of
        the pen is told without showing what was typed. Those that none comes near, or who work beside that person, are
        left out.
        """
        known = Words(self.bare.shop, Log())
        pairs = {code: (name, known.nearest("tech", name)) for code, name in self.unlisted.items()}
        beside = beside_each_other(self.bare, set(pairs.values()))
        return {code: pair[1] for code, pair in pairs.items() if pair[1] and pair not in beside}

    @cached_property
    def words(self) -> dict[str, str]:
        """What may not be shown (small letters) -> what stands in its place."""
        nobody = self.show == "none"
        words = {name.strip().casefold(): NOBODY if nobody else code for code, name in self.unlisted.items()}
        said = self.bare.readers["words"](()).filter(pl.col("field") == "tech")
        words |= {word.casefold(): NOBODY if nobody else means for word, means in said.select("word", "means").rows()}
        for tech in self.bare.shop.techs:
            instead = NOBODY if nobody else tech.key
            words |= {word.strip().casefold(): instead for word in (tech.name, *tech.words) if word.strip()}
            words |= {tech.key.casefold(): instead} if nobody else {}
        if nobody:
            signed = self.bare.readers["visits"](("tech",))["tech"].unique().drop_nulls().to_list()
            words |= {word.strip().casefold(): NOBODY for word in signed if word.strip()}
        return words

    @cached_property
    def _patterns(self) -> dict[str, str]:
        """What stands in the place of words -> where these stand by themselves."""
        found = {}
        for instead in dict.fromkeys(self.words.values()):
            mine = sorted((w for w, put in self.words.items() if put == instead and len(w) > 1), key=len, reverse=True)
            if mine:
                found[instead] = _by_themselves(mine)
        return found

    @cached_property
    def _any(self) -> str:
        """Where any of these words stands by itself."""
        return _by_themselves([word for word in self.words if len(word) > 1] or [NOBODY])

    def _put(self, text: pl.Expr) -> pl.Expr:
        """A text without the words that may not be shown, wherever they stand by themselves."""
        for instead, pattern in self._patterns.items():
            for _ in range(2):  # two names may share the sign between them
                text = text.str.replace_all(pattern, "${1}" + instead + "${2}")
        return text

    def text(self, said: str) -> str:
        """One text as it may be shown."""
        return said if self.show == "names" else str(pl.select(self._put(pl.lit(said))).item())

    def _cells(self, asked: pl.DataFrame, told: pl.DataFrame | None = None) -> pl.DataFrame:
        """Questions whose cells of a tech are veiled: by their column, whoever signed there, and single letters too.

        told : tables.COLUMNS of their logs; None: of the logs on file.
        """
        if told is None:
            told = self.bare.readers["columns"](()) if "columns" in self.bare.readers else pl.DataFrame()
        if asked.is_empty() or told.is_empty() or "field" not in told.columns:
            return asked
        places: dict[str, set[int]] = {}
        headings: dict[str, set[str]] = {}
        for (log,), rows in told.group_by("log_id", maintain_order=True):
            for place, (heading, field) in enumerate(rows.select("heading", "field").iter_rows()):
                if field == "tech":
                    places.setdefault(str(log), set()).add(place)
                    headings.setdefault(str(log), set()).add(str(heading))

        def row(log: str, column: str, raw: str) -> str:
            if column:
                return self._cell(raw) if column in headings.get(log, ()) else raw
            cells = raw.split(BETWEEN)
            return BETWEEN.join(self._cell(cell) if k in places.get(log, ()) else cell for k, cell in enumerate(cells))

        raw = [row(*each) for each in asked.select("log_id", "column", "raw").iter_rows()]
        return asked.with_columns(raw=pl.Series(raw, dtype=pl.String))

    def _cell(self, cell: str) -> str:
        """One cell of a column of techs."""
        known = self.words.get(cell.strip().casefold())
        if known or not cell.strip():
            return known or cell
        return NOBODY if self.show == "none" else self._one(cell)

    def line(self, log_id: str, texts: Iterable[str]) -> list[str]:
        """Rows of a log as they were typed, each in one line, as they may be shown."""
        if self.show == "names":
            return list(texts)
        rows = pl.DataFrame({"raw": list(texts)}, schema={"raw": pl.String}).with_columns(
            log_id=pl.lit(log_id), column=pl.lit("")
        )
        return self._cells(rows).select(self._put(pl.col("raw"))).to_series().to_list()

    def loaded(self, file: Loaded) -> Loaded:
        """What became of a file, as it may be shown."""
        if self.show == "names":
            return file
        notes = pl.Series([self._note(note) for note in file.notes], dtype=pl.String).to_frame("note")
        asked = self._cells(file.questions, file.columns).with_columns(
            self._put(pl.col(name)).alias(name) for name in WORDY["set_aside"]
        )
        return replace(file, notes=tuple(notes.select(self._put(pl.col("note"))).to_series()), questions=asked)

    def _note(self, note: str) -> str:
        return "somebody signs whom no list knows: a question below" if ASKED.match(note) else note


def of_nobody(bare: Snapshot, more: Iterable[str]) -> Veil:
    """A veil under which nobody is named, whatever the shop shows; `more`: further names."""
    veil = Veil(bare)
    veil.show = "none"
    veil.words.update({word.strip().casefold(): NOBODY for word in more if word and word.strip()})
    return veil


def _by_themselves(words: list[str]) -> str:
    """Where one of some words stands by itself, as a pattern; longer ones first."""
    return rf"(?i)(^|[^\p{{L}}\p{{N}}])(?:{'|'.join(map(re.escape, words))})($|[^\p{{L}}\p{{N}}])"

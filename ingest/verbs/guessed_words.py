"""What an unknown word may mean: the nearest keys by their letters, then the instruments' own stories."""

import re
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import polars as pl
from rapidfuzz.distance import OSA

from ingest.reading.headings import plain
from ingest.reading.on_disk import Data, OnDisk, is_workbook
from ingest.reading.spellings import spelled_alike
from ingest.reading.words import Words, by_field, with_words
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.store.snapshot import Snapshot
from ingest.verbs.groups import Group
from ingest.verbs.new_entries import proposed
from ingest.verbs.original_rows import original, rows_read
from ingest.verbs.unlisted import explained

CANDIDATES = 3  # keys a word may mean, the nearest first
NEAR = 0.5  # of the letters of the longer word may differ, a transposition counted once
SURE = 0.9  # of the rows whose instrument's story must bear a guess out
NEW_FROM = 3  # instruments that bear no other word make a model likely to be a new one
SLIP = 0.25  # of the letters of a result, which no story bears out: 'psas' is a slip of 'pass', 'nok' none of 'ok'
CLEAR = 0.15  # a guess by its letters alone must be so much nearer than the next
READ_AT_MOST = 40  # logs that are read again for guesses
REMEMBERED = 256  # logs whose rows are not read again while nothing they hang on has changed


def nearest_keys(word: str, known: dict[str, str]) -> list[tuple[float, str]]:
    """The keys whose words come nearest to one as typed: (share of letters that differ, key), the nearest first. A
    transposition counts as one letter; of a word of several its parts count too, a little less.
    """
    typed, best = plain(word), dict[str, float]()
    for text, key in known.items():
        apart = OSA.normalized_distance(typed, text)
        for part in re.split(r"[\s_\-/,]+", text):
            if len(part) > 1:
                apart = min(apart, OSA.normalized_distance(typed, part) + 0.02)
                if len(typed) > 1 and part.startswith(typed):
                    apart = min(apart, 0.3)
        best[key] = min(apart, best.get(key, 1.0))
    return sorted((apart, key) for key, apart in best.items() if apart <= NEAR)[:CANDIDATES]


def guessed_words(groups: list[Group], shop: Shop, snapshot: Snapshot, folder: Path) -> list[Group]:
    """The groups of unknown words with what each is taken for, and how many rows bear it out."""
    if not groups:
        return []
    near = {}
    known = Words(snapshot.shop, Log(words=by_field(explained(snapshot)))).by_field
    for group in groups:
        near[group.key] = nearest_keys(group.typed, known.get(group.field, {}))
    names = dict(snapshot.table("logs", "log_id", "name").iter_rows())
    any_model = [(0.0, model.key) for model in shop.models[:1]]
    read_as = {g.key: near[g.key] or (any_model if g.field == "model" else []) for g in groups}
    tried = [(g, read_as[g.key][0][1]) for g in groups if read_as[g.key]]
    rows = _rows(tried, _Reading(folder, snapshot.shop_files, tuple(explained(snapshot)), shop), names)
    fits: dict[tuple[str, str], tuple[int, int]] = {}
    for place in range(CANDIDATES):
        asked = [g for g in groups if len(near[g.key]) > place and not _plain(near[g.key], fits, g.key)]
        tried = [(g, near[g.key][place][1]) for g in asked]
        fits |= _borne_out(tried, rows, shop, snapshot)
    alone = _alone(rows, snapshot)
    spelled = {
        g.key: {key for word, key in known["model"].items() if spelled_alike(g.typed, word)}
        for g in groups
        if g.field == "model"
    }
    return [
        _best_model(group, near[group.key], fits, shop, spelled[group.key], alone.get(group.key, (0, 0)))
        if group.field == "model"
        else _best(group, near[group.key], fits, shop)
        for group in groups
    ]


def _plain(near: list[tuple[float, str]], fits: dict[tuple[str, str], tuple[int, int]], group: str) -> bool:
    """Is the nearest key much nearer than the next, and borne out: then no other is tried."""
    k, n = fits.get((group, near[0][1]), (0, 0))
    return n > 0 and k >= SURE * n and (len(near) == 1 or near[1][0] - near[0][0] >= CLEAR)


def _best(
    group: Group, near: list[tuple[float, str]], fits: dict[tuple[str, str], tuple[int, int]], shop: Shop
) -> Group:
    """The group with the candidate that its letters and the stories speak for."""
    keys = {
        "stage": [stage.key for stage in shop.stages],
        "model": [model.key for model in shop.models],
        "outcome": ["pass", "fixed", "send back", "hold", "second", "reject", "pulled", "return", "open"],
    }[group.field]
    choices = tuple(dict.fromkeys([*(key for _, key in near), *keys]))
    if not near:
        return with_guess(group, choices=choices)
    share = {}
    for _, key in near:
        k, n = fits.get((group.key, key), (0, 0))
        share[key] = k / n if n else 0.0
    borne = [key for _, key in near if share[key] >= SURE]
    clear = len(near) == 1 or near[1][0] - near[0][0] >= CLEAR
    guess = borne[0] if len(borne) == 1 else near[0][1]
    k, n = fits.get((group.key, guess), (0, 0))
    by_story = n > 0 and len(borne) == 1
    sure = by_story if group.field != "outcome" else clear and near[0][0] <= SLIP
    if group.field == "stage" and n > 0 and len(borne) > 1:
        sure = clear and borne[0] == near[0][1]
    return with_guess(group, guess=guess, fits=k, of=n, sure=sure, choices=choices)


def _best_model(
    group: Group,
    near: list[tuple[float, str]],
    fits: dict[tuple[str, str], tuple[int, int]],
    shop: Shop,
    spelled: set[str],
    alone: tuple[int, int],
) -> Group:
    """The group with the model of the list that the stories speak for, else one whose spelling it may be; else a new
    one, where it is the only word of several instruments.

    alone : instruments of its rows of which no visit on file says a model, and all of them.
    """
    best = _best(group, near, fits, shop)
    new = proposed(shop, group.typed)
    choices = tuple(dict.fromkeys([*best.choices, *new]))
    likely = alone[0] >= NEW_FROM and alone[0] >= SURE * alone[1]
    mine = [one for one in near if one[1] in spelled]
    if best.sure:
        return with_guess(best, choices=choices)
    if mine and not (likely and not best.fits and best.of >= NEW_FROM):
        return with_guess(_best(group, mine, fits, shop), choices=choices)
    choices = tuple(dict.fromkeys([*(key for _, key in mine), *new, *best.choices]))
    if not likely:
        return with_guess(group, choices=choices)
    guess = "" if mine else new[0]
    return with_guess(group, guess=guess, new=True, fits=alone[0], of=alone[1], choices=choices)


def _alone(rows: pl.DataFrame, snapshot: Snapshot) -> dict[str, tuple[int, int]]:
    """By group the instruments of which no visit on file says a model, and all its instruments."""
    said = snapshot.table("visits", "serial", "model").filter(pl.col("model") != "").select("serial").unique()
    mine = rows.filter(pl.col("serial") != "").unique(["group", "serial"])
    mine = mine.join(said.with_columns(said=True), on="serial", how="left")
    counted = mine.group_by("group").agg(alone=pl.col("said").is_null().sum(), n=pl.len())
    return {group: (int(k), int(n)) for group, k, n in counted.iter_rows()}


def with_guess(group: Group, **changed: object) -> Group:
    """The group with what is guessed of it."""
    return replace(group, **changed)  # type: ignore[arg-type]


@dataclass(frozen=True)
class _Reading:
    """Under what originals are read again."""

    folder: Path
    shop_files: str  # their fingerprint; '' of a shop that stands in no file
    said: tuple[tuple[str, str, str], ...]  # words that people have explained: field, word, what it means
    shop: Shop = field(compare=False)  # what the two make

    def rows(self, log_id: str, name: str, words: list[tuple[str, str, str]], lines: set[int]) -> "_Rows":
        """The rows on some lines of a log, read as if words (field, word, key) meant what they are taken for. They are
        read once, for so long as the words that stand in the log mean the same.
        """
        data = original(self.folder, log_id)
        if data is None or not self.shop_files:
            return _read_again.__wrapped__(self, log_id, name, tuple(words), frozenset(lines))
        return _read_again(self, log_id, name, _standing_in(data, words), frozenset(lines))


_Rows = tuple[tuple[int, str, datetime | None], ...]  # line, serial, when


@lru_cache(maxsize=REMEMBERED)
def _read_again(
    reading: _Reading, log_id: str, name: str, words: tuple[tuple[str, str, str], ...], lines: frozenset[int]
) -> _Rows:
    read_as = with_words(reading.shop, words)
    return tuple(
        (row["line"], row["serial"], row["started_at"] or row["finished_at"])
        for row in rows_read(reading.folder, log_id, name, read_as, set(lines))
    )


def _standing_in(data: Data, words: list[tuple[str, str, str]]) -> tuple[tuple[str, str, str], ...]:
    """Those of some words that stand anywhere in the text of a log; all where it is a workbook, long, or no UTF-8."""
    if isinstance(data, OnDisk) or is_workbook(data):
        return tuple(words)
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return tuple(words)
    if "\0" in text:  # UTF-16, or no text
        return tuple(words)
    whole = plain(text).replace('"', "")  # a quote within a quoted cell stands twice
    return tuple(each for each in words if _bare(each[1]) in whole)


@lru_cache(maxsize=4096)
def _bare(word: str) -> str:
    return plain(word).replace('"', "")


def _rows(tried: list[tuple[Group, str]], reading: _Reading, names: dict[str, str]) -> pl.DataFrame:
    """The rows of each group: whose instrument and when. They are read as if each word meant its nearest key; what else
    it may mean changes neither.
    """
    read_as = sorted((group.field, group.typed, key) for group, key in tried)  # what is spelled alike means the same
    of_row = {(log_id, line): group.key for group, _ in tried for log_id, line, _ in group.rows}
    found: list[tuple[Any, ...]] = []
    for log_id in list(dict.fromkeys(log_id for log_id, _ in of_row))[:READ_AT_MOST]:
        lines = {line for other, line in of_row if other == log_id}
        found += [
            (of_row[log_id, line], serial, at)
            for line, serial, at in reading.rows(log_id, names.get(log_id, ""), read_as, lines)
        ]
    schema: dict[str, pl.DataType] = {"group": pl.String(), "serial": pl.String(), "at": pl.Datetime("us", "UTC")}
    return pl.DataFrame(found, schema=schema, orient="row")


def _borne_out(
    tried: list[tuple[Group, str]], rows: pl.DataFrame, shop: Shop, snapshot: Snapshot
) -> dict[tuple[str, str], tuple[int, int]]:
    """How many rows of each word fit the instrument's story if it means a key: (rows that fit, rows looked at)."""
    meant = pl.DataFrame(
        [(group.key, key) for group, key in tried], schema={"group": pl.String, "key": pl.String}, orient="row"
    )
    table = rows.join(meant, on="group", how="inner", maintain_order="left")
    if table.is_empty():
        return {}
    fields = {group.key: group.field for group, _ in tried}
    table = table.with_columns(field=pl.col("group").replace_strict(fields), row=pl.int_range(pl.len()))
    fit = _fitting(table, snapshot, shop)
    counted = fit.group_by("group", "key").agg(k=pl.col("fits").sum(), n=pl.len())
    return {(group, key): (int(k), int(n)) for group, key, k, n in counted.iter_rows()}


def _fitting(table: pl.DataFrame, snapshot: Snapshot, shop: Shop) -> pl.DataFrame:
    """Rows with `fits`: of a stage, it is missing of the instrument and lies between its neighbours in time; of a
    model,
    no visit names another.
    """
    visits = snapshot.table("visits", "serial", "stage", "model", "started_at", "finished_at")
    mine = visits.join(table.select("serial").unique(), on="serial", how="semi")
    mine = mine.with_columns(when=pl.coalesce("started_at", "finished_at"))
    both = table.join(mine, on="serial", how="left")
    order = shop.bench_order
    stage = pl.col("key").replace_strict(order, default=None, return_dtype=pl.Int64)
    held = pl.col("stage").replace_strict(order, default=None, return_dtype=pl.Int64)
    before = ((pl.col("when") < pl.col("at")) & (held >= stage)).any()
    after = ((pl.col("when") > pl.col("at")) & (held <= stage)).any()
    known = pl.col("stage").is_not_null().any()
    as_stage = known & ~before.fill_null(False) & ~after.fill_null(False)
    as_model = ((pl.col("model") == "") | (pl.col("model") == pl.col("key"))).fill_null(True).all() & known
    return both.group_by("row", "group", "key").agg(
        fits=pl.when(pl.col("field").first() == "stage").then(as_stage).otherwise(as_model)
    )

"""Words of the logs that the shop's lists do not know: each once, with the closest that is known and the line for
shop.toml.
"""

import re
from collections.abc import Iterator
from typing import Any

import polars as pl

from ingest.reading.headings import plain
from ingest.reading.side_by_side import side_by_side
from ingest.reading.words import Words, by_field
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.shop_parts import Log
from ingest.store.snapshot import Snapshot
from ingest.terms.questions import quoted

UNLISTED: dict[str, pl.DataType] = {
    "field": pl.String(),
    "word": pl.String(),
    "rows": pl.Int64(),
    "near": pl.String(),  # the closest key, '' where none comes near
    "paste": pl.String(),  # what to write into shop.toml
}
ASIDE = (
    r"^(stage|model|outcome) '(.*)' is not known$"  # reason of a row set aside for such a word (ingest.reading.visits)
)


def on_file(snapshot: Snapshot) -> pl.DataFrame:
    """UNLISTED of all that a shop holds: first words for which rows are set aside, then those kept as typed; the
    commonest first.
    """
    shop = snapshot.shop
    words = Words(shop, Log(words=by_field(_listed(snapshot))))
    aside = words_aside(snapshot.table("set_aside", "reason"))
    found = [(field, word, rows) for field, word, rows in aside.select("field", "word", "n").iter_rows()]
    found += _kept("model", snapshot.table("visits", "model")["model"], words)
    if shop.techs:
        found += _kept("tech", snapshot.table("visits", "tech")["tech"], words)
    if shop.faults:
        found += _kept("fault", snapshot.table("faults", "fault")["fault"], words)
    if shop.gauges:
        found += _kept("gauge", snapshot.table("readings", "gauge")["gauge"], words)
    told = [(field, word, count, words.nearest(field, word)) for field, word, count in found]
    beside = beside_each_other(snapshot, {(word, near) for field, word, _, near in told if field == "tech"})
    rows = [(*row, "" if row[0] == "tech" and (row[1], near) in beside else near) for *row, near in told]
    return pl.DataFrame([(*row, paste(shop, row[0], row[1], row[3])) for row in rows], schema=UNLISTED, orient="row")


def beside_each_other(snapshot: Snapshot, pairs: set[tuple[str, str]]) -> set[tuple[str, str]]:
    """Of names that no list knows, each with a tech whose name looks alike ('': none does), those who work beside that
    one: no slip of it.
    """
    some = {(word, near) for word, near in pairs if near}
    if not some:
        return some
    visits = snapshot.table("visits", "tech", "started_at", "finished_at", "time_known")
    return {(word, near) for word, near in some if side_by_side(visits, word, near)}


def explained(snapshot: Snapshot) -> Iterator[tuple[str, str, str]]:
    """What people have said that words mean: field, word, what it means."""
    rows = snapshot.table("words").sort("sequence").unique(["field", "word"], keep="last", maintain_order=True)
    yield from rows.filter(~pl.col("undone").fill_null(False)).select("field", "word", "means").iter_rows()


def _listed(snapshot: Snapshot) -> Iterator[tuple[str, str, str]]:
    """The words that people have explained, without those of a model or a tech that the list itself lacks: these are
    asked about until it holds them. Who is shown as a code is kept as typed where somebody said so.
    """
    lists = {"model": {model.key for model in snapshot.shop.models}}
    if snapshot.shop.people.show == "names":
        lists["tech"] = {tech.key for tech in snapshot.shop.techs}
    for field, word, means in explained(snapshot):
        if field not in lists or plain(means) != plain(word) or means in lists[field]:
            yield field, word, means


def words_aside(asked: pl.DataFrame) -> pl.DataFrame:
    """field, word, reason, n of the questions (reason ...) that are about a word of a list."""
    parts = pl.col("reason").str.extract_groups(ASIDE)
    told = asked.select("reason", parts.struct[0].alias("field"), parts.struct[1].alias("word")).filter(
        pl.col("field").is_not_null()
    )
    return (
        told.group_by("field", "word", "reason")
        .agg(pl.len().alias("n"))
        .sort("n", "field", "word", descending=[True, False, False])
    )


def paste(shop: Shop, field: str, word: str, near: str) -> str:
    """The lines for shop.toml that make a word known: as another word for the closest key, else as an entry of its
    own.
    """
    if field in ("stage", "outcome"):
        return f"words = {{ {field} = {{ {quoted(word)} = {quoted(near or '...')} }} }}"
    if not near:
        return f"[[{field}]]\nkey = {quoted(word)}" + ('\nfamily = "..."' if field == "model" else "")
    listed: dict[str, tuple[Any, ...]] = {
        "model": shop.models,
        "tech": shop.techs,
        "fault": shop.faults,
        "gauge": shop.gauges,
    }
    entry = next(entry for entry in listed[field] if entry.key == near)
    return f"[[{field}]]\nkey = {quoted(near)}\nwords = [{', '.join(map(quoted, (*entry.words, word)))}]"


def where(field: str, near: str) -> str:
    """Where in shop.toml the lines belong."""
    if field in ("stage", "outcome"):
        return "in the [[log]] of this sheet"
    return f"in place of the words of {near}, if that is meant" if near else "a new entry"


def _kept(field: str, texts: pl.Series, words: Words) -> list[tuple[str, str, int]]:
    """(field, word, rows) of the texts of a column that are no known word; of two names in a cell each by itself."""
    counts = texts.rename("text").to_frame().filter(pl.col("text") != "").group_by("text").agg(pl.len().alias("n"))
    _, unknown = words.or_as_typed(field, counts["text"])
    found = []
    for word in unknown:
        alone = re.compile(rf"(?:^|[/+&,])\s*{re.escape(word)}\s*(?:$|[/+&,])")
        found.append(
            (
                field,
                word,
                sum(n for text, n in counts.iter_rows() if text == word or (field == "tech" and alone.search(text))),
            )
        )
    return sorted(found, key=lambda each: (-each[2], each[1]))

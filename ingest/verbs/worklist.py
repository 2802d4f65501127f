"""Open questions put together into decisions: what was typed in the same way is one answer, with a guess beside it that
the instruments' own stories bear out.
"""

import re
from collections.abc import Iterable
from pathlib import Path

import polars as pl

from ingest.reading.words import with_words
from ingest.store.accounts import CONFLICT
from ingest.store.snapshot import Snapshot
from ingest.terms.questions import IMPLAUSIBLE
from ingest.verbs.groups import MEANS, NEW, VALUE, VERDICT, Decision, Group
from ingest.verbs.guessed_units import lengths_lain, with_units
from ingest.verbs.guessed_words import guessed_words, with_guess
from ingest.verbs.new_entries import proposed
from ingest.verbs.original_rows import place_of
from ingest.verbs.unlisted import explained, on_file, words_aside

WORD = re.compile(r"^(stage|model|outcome) '(.*)' is not known$", re.DOTALL)
TITLES = {
    "stage": "Words that should be a stage",
    "model": "Words that should be a model",
    "outcome": "Words that should be an outcome",
    "kept model": "Models that shop.toml does not list",
    "tech": "Names that no list knows",
    "fault": "Faults that no list knows",
    "gauge": "Gauges that no list knows",
    "implausible": "Beyond what is plausible",
    "ditto mark": "Ditto marks",
    CONFLICT: "The same visit in two logs",
}


def worklist(snapshot: Snapshot, *, folder: Path, asked: pl.DataFrame, people: bool = True) -> list[Decision]:
    """The decisions that settle some questions, those of most rows first.

    asked : tables.SET_ASIDE, those that wait.  folder : of the shop, where the originals stand.
    people : are words for techs among them.
    """
    shop = with_words(snapshot.shop, explained(snapshot))
    groups: dict[str, list[Group]] = {}
    words: list[Group] = []
    named = asked.with_columns(kind=pl.col("reason").str.replace_all(r" '[^']*'", "")) if asked.height else asked
    for (reason, column, raw), rows in _alike(named):
        group = _group(reason, column, raw, rows, folder)
        words.append(group) if group.kind == MEANS else groups.setdefault(rows["kind"][0], []).append(group)
    for group in guessed_words(words, shop, snapshot, folder):
        groups.setdefault(group.field, []).append(group)
    for group in _kept_as_typed(snapshot, people, folder):
        groups.setdefault("kept model" if group.field == "model" else group.field, []).append(group)
    ranges = _ranges(snapshot)
    lain = lengths_lain(snapshot) if any(group.real for mine in groups.values() for group in mine) else {}
    found = []
    for name, mine in groups.items():
        mine = with_units([_guessed_value(group, ranges) for group in mine], lain)
        mine.sort(key=lambda group: (not group.sure, -len(group.rows), group.typed))
        title = TITLES.get(name, name[:1].upper() + name[1:])
        found.append(Decision(name, title, _about(mine), mine[0].kind, sum(len(g.rows) for g in mine), tuple(mine)))
    return sorted(found, key=lambda one: (one.asks_once, -one.rows, -one.guessed, one.title))


def _kept_as_typed(snapshot: Snapshot, people: bool, folder: Path) -> Iterable[Group]:
    """Words for techs, faults and gauges that no list knows: kept as typed, and asked about once."""
    sources = {"model": "visits", "tech": "visits", "fault": "faults", "gauge": "readings"}
    aside = set(words_aside(snapshot.table("set_aside", "reason"))["word"].to_list())
    names = dict(snapshot.table("logs", "log_id", "name").iter_rows())
    tables: dict[str, pl.DataFrame] = {}
    for row in snapshot.once(on_file).iter_rows(named=True):
        name, word = row["field"], row["word"]
        if name not in sources or (name == "tech" and not people) or (name == "model" and word in aside):
            continue
        alone = rf"(?:^|[/+&,])\s*{re.escape(word)}\s*(?:$|[/+&,])" if name == "tech" else rf"^{re.escape(word)}$"
        if name not in tables:
            tables[name] = snapshot.table(sources[name], "log_id", "line", name)
        here = tables[name].filter(pl.col(name).str.contains(alone))
        cells = tuple(
            (log_id, line, "") for log_id, line in here.select("log_id", "line").unique(maintain_order=True).rows()
        )
        if not cells:
            continue
        new = proposed(snapshot.shop, word) if name == "model" else [word]
        listed = {
            "model": [one.key for one in snapshot.shop.models],
            "tech": [one.key for one in snapshot.shop.techs],
            "fault": [one.key for one in snapshot.shop.faults],
            "gauge": [one.key for one in snapshot.shop.gauges],
        }[name]
        choices = tuple(dict.fromkeys([*([row["near"]] if row["near"] else []), *listed, *new]))
        where = place_of(folder, cells[0][0], names.get(cells[0][0], ""), cells[0][1])
        wanted = "a word of the list, or itself: kept as typed"
        guess = row["near"] or (new[0] if name == "model" else "")
        if name == "model":
            wanted = f"a word of the list, or `{NEW} FAMILY` for a new one"
        key = f"{'kept ' * (name == 'model')}{name}:{word}"
        yield Group(key, MEANS, name, "", word, wanted, cells, where, guess, choices=choices)


def _alike(asked: pl.DataFrame) -> Iterable[tuple[tuple[str, str, str], pl.DataFrame]]:
    """Questions with the same answer: of words by the word, of rows one by one, of cells by column and text."""
    if asked.is_empty():
        return
    word = pl.col("reason").str.contains(WORD.pattern.replace("(.*)", ".*"))
    whole = (pl.col("column") == "") | (pl.col("reason") == CONFLICT)
    each = pl.format("{} {}", "log_id", "line")
    like = pl.when(word).then(pl.col("reason")).when(whole).then(each).otherwise(pl.col("raw"))
    keyed = asked.with_columns(like=like, apart=pl.when(word).then(pl.lit("")).otherwise("column"))
    for _, rows in keyed.group_by("reason", "apart", "like", maintain_order=True):
        yield (rows["reason"][0], rows["apart"][0], rows["raw"][0]), rows


def _group(reason: str, column: str, raw: str, rows: pl.DataFrame, folder: Path) -> Group:
    cells = tuple(rows.select("log_id", "line", "column").rows())
    where = place_of(folder, rows["log_id"][0], rows["name"][0], rows["line"][0])
    found = WORD.match(reason)
    if found:
        name, word = found.groups()
        return Group(f"{name}:{word}", MEANS, name, "", word, rows["wanted"][0], cells, where)
    kind = VERDICT if reason == CONFLICT else VALUE
    real = IMPLAUSIBLE in rows["wanted"][0]
    key = f"{reason}:{column}:{raw}" if column and kind == VALUE else f"{reason}:{cells[0][0]}:{cells[0][1]}:{column}"
    return Group(key, kind, "", column, raw, rows["wanted"][0], cells, where, real=real)


def _about(groups: list[Group]) -> str:
    texts, guessed = len(groups), sum(group.sure for group in groups)
    many = f"{texts} {'text' if texts == 1 else 'texts'}" if groups[0].kind != VERDICT else "one by one"
    return f"{many}; {guessed} guessed" if guessed else many


def _ranges(snapshot: Snapshot) -> dict[str, tuple[float, float]]:
    """Where nineteen in twenty numbers of each measurement column lie, as they were typed."""
    columns = snapshot.table("columns", "log_id", "heading", "field", "characteristic")
    columns = columns.filter(pl.col("field") == "reading").unique(["log_id", "characteristic", "heading"])
    readings = snapshot.table("readings", "log_id", "characteristic", "raw")
    number = pl.col("raw").str.extract(r"^\s*([+-]?\d*[.,]?\d+)\s*[a-zA-Z\"°]*\s*$").str.replace(",", ".")
    typed = readings.select("log_id", "characteristic", x=number.cast(pl.Float64, strict=False)).drop_nulls("x")
    per = typed.join(columns, on=["log_id", "characteristic"]).group_by("heading")
    spread = per.agg(low=pl.col("x").quantile(0.01), high=pl.col("x").quantile(0.99), n=pl.len()).filter(
        pl.col("n") >= 20
    )
    return {heading: (low, high) for heading, low, high, _ in spread.iter_rows()}


def _guessed_value(group: Group, ranges: dict[str, tuple[float, float]]) -> Group:
    """The group with the one reading of its cell that lies where its column's numbers lie. Sure is what only exchanges
    letters or a comma; that a point was lost is never more than a guess.
    """
    if group.kind != VALUE or not group.column or group.column not in ranges:
        return group
    low, high = ranges[group.column]
    within = [(text, lost) for text, x, lost in _readings_of(group.typed) if low <= x <= high]
    if len(within) != 1 or within[0][0] == group.typed.strip():
        return group
    n = len(group.rows)
    return with_guess(group, guess=within[0][0], fits=n, of=n, sure=not within[0][1])


def _readings_of(typed: str) -> Iterable[tuple[str, float, bool]]:
    """What a text may have been meant to say, its number, and whether a point would have been lost: the digits as they
    stand, letters among them for digits, a comma for a point or between thousands; of figures alone with a point put
    in or moved on. A point that was typed stays, and nines alone are a gauge's word for nothing.
    """
    text = typed.strip()
    digits = text.translate(str.maketrans("oOlI", "0011"))
    found = re.fullmatch(r"([+-]?)(\d*[.,]?\d+)", digits)
    if not found or re.fullmatch(r"9{3,}", re.sub(r"\D", "", digits)):
        return
    number = digits.replace(",", ".")
    yield number, float(number), False
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", digits):
        yield digits.replace(",", ""), float(digits.replace(",", "")), False
    if digits == text and text.lstrip("+-").isdecimal():
        for shift in (-3, -2, -1, 1, 2):
            moved = float(f"{number}e{shift}")
            yield f"{moved:g}", moved, True

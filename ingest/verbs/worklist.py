"""Open questions put together into decisions: what was typed in the same way is one answer, with a guess beside it that
the instruments' own stories bear out.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import polars as pl
from rapidfuzz.distance import OSA

from ingest.reading.headings import plain
from ingest.reading.reader import read_log, rows_in
from ingest.reading.words import Words, by_field, with_words
from ingest.shopfiles.shop import Log, Shop
from ingest.store import originals
from ingest.store.accounts import CONFLICT
from ingest.store.snapshot import Snapshot
from ingest.terms.problems import Problem
from ingest.terms.questions import IMPLAUSIBLE
from ingest.verbs.unlisted import explained, on_file

WORD = re.compile(r"^(stage|model|outcome) '(.*)' is not known$", re.DOTALL)
CANDIDATES = 3  # keys a word may mean, the nearest first
NEAR = 0.5  # of the letters of the longer word may differ, a transposition counted once
SURE = 0.9  # of the rows whose instrument's story must bear a guess out
CLEAR = 0.15  # a guess by its letters alone must be so much nearer than the next
READ_AT_MOST = 40  # logs that are read again for guesses
MEANS, VALUE, VERDICT = "means", "value", "verdict"  # how a group is answered


@dataclass(frozen=True)
class Group:
    """Questions that one answer settles: the same text for the same reason in columns of the same name."""

    key: str
    kind: str  # MEANS | VALUE | VERDICT
    field: str  # of a word, else ''
    column: str  # heading; '' = the whole row
    typed: str
    wanted: str
    rows: tuple[tuple[str, int, str], ...]  # log_id, line, column
    where: str  # file and line of the first
    guess: str = ""
    fits: int = 0  # rows whose story bears the guess out
    of: int = 0  # rows that could be looked at
    sure: bool = False
    choices: tuple[str, ...] = ()
    real: bool = False  # an implausible value: it may be real


@dataclass(frozen=True)
class Decision:
    """Groups of one kind of question."""

    key: str
    title: str
    about: str
    kind: str
    rows: int
    groups: tuple[Group, ...] = field(default=())

    @property
    def asks_once(self) -> bool:
        """Are these words that are kept as typed meanwhile: nothing is set aside for them."""
        return self.key in KEPT

    @property
    def guessed(self) -> int:
        """How many of its groups have a guess that may be accepted as it is."""
        return sum(group.sure for group in self.groups)


KEPT = ("tech", "fault", "gauge")  # words that are kept as typed, and asked about once
TITLES = {
    "stage": "Words that should be a stage",
    "model": "Words that should be a model",
    "outcome": "Words that should be an outcome",
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
        group = _group(reason, column, raw, rows)
        words.append(group) if group.kind == MEANS else groups.setdefault(rows["kind"][0], []).append(group)
    for group in _guessed_words(words, shop, snapshot, folder):
        groups.setdefault(group.field, []).append(group)
    for group in _kept_as_typed(snapshot, people):
        groups.setdefault(group.field, []).append(group)
    ranges = _ranges(snapshot)
    found = []
    for name, mine in groups.items():
        mine = [_guessed_value(group, ranges) for group in mine]
        mine.sort(key=lambda group: (not group.sure, -len(group.rows), group.typed))
        title = TITLES.get(name, name[:1].upper() + name[1:])
        found.append(Decision(name, title, _about(mine), mine[0].kind, sum(len(g.rows) for g in mine), tuple(mine)))
    return sorted(found, key=lambda one: (one.asks_once, -one.rows, -one.guessed, one.title))


def _kept_as_typed(snapshot: Snapshot, people: bool) -> Iterable[Group]:
    """Words for techs, faults and gauges that no list knows: kept as typed, and asked about once."""
    sources = {"tech": "visits", "fault": "faults", "gauge": "readings"}
    names = dict(snapshot.table("logs", "log_id", "name").iter_rows())
    for row in on_file(snapshot).iter_rows(named=True):
        name, word = row["field"], row["word"]
        if name not in sources or (name == "tech" and not people):
            continue
        alone = rf"(?:^|[/+&,])\s*{re.escape(word)}\s*(?:$|[/+&,])" if name == "tech" else rf"^{re.escape(word)}$"
        here = snapshot.table(sources[name], "log_id", "line", name).filter(pl.col(name).str.contains(alone))
        cells = tuple(
            (log_id, line, "") for log_id, line in here.select("log_id", "line").unique(maintain_order=True).rows()
        )
        if not cells:
            continue
        listed = {
            "tech": [one.key for one in snapshot.shop.techs],
            "fault": [one.key for one in snapshot.shop.faults],
            "gauge": [one.key for one in snapshot.shop.gauges],
        }[name]
        choices = tuple(dict.fromkeys([*([row["near"]] if row["near"] else []), *listed, word]))
        where = f"{names.get(cells[0][0], '')}, line {cells[0][1]}"
        wanted = "a word of the list, or itself: kept as typed"
        yield Group(f"{name}:{word}", MEANS, name, "", word, wanted, cells, where, row["near"], choices=choices)


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


def _group(reason: str, column: str, raw: str, rows: pl.DataFrame) -> Group:
    cells = tuple(rows.select("log_id", "line", "column").rows())
    where = f"{rows['name'][0]}, line {rows['line'][0]}"
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


# Words: the nearest keys by their letters, then the instruments' own stories.


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


def _guessed_words(groups: list[Group], shop: Shop, snapshot: Snapshot, folder: Path) -> list[Group]:
    """The groups of unknown words with what each is taken for, and how many rows bear it out."""
    if not groups:
        return []
    near = {}
    known = Words(snapshot.shop, Log(words=by_field(explained(snapshot)))).by_field
    for group in groups:
        near[group.key] = nearest_keys(group.typed, known.get(group.field, {}))
    names = dict(snapshot.table("logs", "log_id", "name").iter_rows())
    fits: dict[tuple[str, str], tuple[int, int]] = {}
    for place in range(CANDIDATES):
        asked = [g for g in groups if len(near[g.key]) > place and not _plain(near[g.key], fits, g.key)]
        tried = [(g, near[g.key][place][1]) for g in asked]
        if tried:
            fits |= _borne_out(tried, shop, snapshot, folder, names)
    return [_best(group, near[group.key], fits, shop) for group in groups]


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
        return _with(group, choices=choices)
    share = {}
    for _, key in near:
        k, n = fits.get((group.key, key), (0, 0))
        share[key] = k / n if n else 0.0
    borne = [key for _, key in near if share[key] >= SURE]
    clear = len(near) == 1 or near[1][0] - near[0][0] >= CLEAR
    guess = borne[0] if len(borne) == 1 else near[0][1]
    k, n = fits.get((group.key, guess), (0, 0))
    by_story = n > 0 and len(borne) == 1
    sure = by_story if group.field != "outcome" else clear
    if group.field == "stage" and n > 0 and len(borne) > 1:
        sure = clear and borne[0] == near[0][1]
    return _with(group, guess=guess, fits=k, of=n, sure=sure, choices=choices)


def _with(group: Group, **changed: object) -> Group:
    return replace(group, **changed)  # type: ignore[arg-type]


def _borne_out(
    tried: list[tuple[Group, str]], shop: Shop, snapshot: Snapshot, folder: Path, names: dict[str, str]
) -> dict[tuple[str, str], tuple[int, int]]:
    """How many rows of each word fit the instrument's story if it means a key: (rows that fit, rows looked at)."""
    read_as = with_words(shop, [(group.field, group.typed, key) for group, key in tried])
    of_row = {(log_id, line): (group, key) for group, key in tried for log_id, line, _ in group.rows}
    found: list[tuple[Any, ...]] = []
    for log_id in list(dict.fromkeys(log_id for log_id, _ in of_row))[:READ_AT_MOST]:
        lines = {line for other, line in of_row if other == log_id}
        for row in _rows_read(folder, log_id, names.get(log_id, ""), read_as, lines):
            group, key = of_row[log_id, row["line"]]
            found.append((group.key, key, row["serial"], row["started_at"] or row["finished_at"], row["model"]))
    if not found:
        return {}
    table = pl.DataFrame(
        found,
        schema={
            "group": pl.String,
            "key": pl.String,
            "serial": pl.String,
            "at": pl.Datetime("us", "UTC"),
            "model": pl.String,
        },
        orient="row",
    )
    fields = {group.key: group.field for group, _ in tried}
    table = table.with_columns(field=pl.col("group").replace_strict(fields), row=pl.int_range(pl.len()))
    fit = _fitting(table, snapshot, shop)
    counted = fit.group_by("group", "key").agg(k=pl.col("fits").sum(), n=pl.len())
    return {(group, key): (int(k), int(n)) for group, key, k, n in counted.iter_rows()}


def original(folder: Path, log_id: str) -> bytes | None:
    """The file of a log as it came; None where it is gone."""
    whole = (path for path in (folder / originals.FOLDER).glob(f"{log_id}*") if len(path.name) == 64)
    try:
        path = next(whole, None)
        return None if path is None else path.read_bytes()
    except OSError:
        return None


def _rows_read(folder: Path, log_id: str, name: str, shop: Shop, lines: set[int]) -> list[dict[str, Any]]:
    """The visits on some lines of a log, read under a shop file."""
    data = original(folder, log_id)
    try:
        sheet = read_log(data or b"", name, shop, only=lines)
    except Problem:
        return []
    return sheet.visits.select("line", "serial", "started_at", "finished_at", "model").rows(named=True)


def _fitting(table: pl.DataFrame, snapshot: Snapshot, shop: Shop) -> pl.DataFrame:
    """Rows with `fits`: of a stage, it is missing of the instrument and lies between its neighbours in time; of a
    model,
    no visit names another.
    """
    visits = snapshot.table("visits", "serial", "stage", "model", "started_at", "finished_at")
    mine = visits.join(table.select("serial").unique(), on="serial", how="semi")
    mine = mine.with_columns(when=pl.coalesce("started_at", "finished_at"))
    both = table.join(mine, on="serial", how="left", suffix="_held")
    order = shop.bench_order
    stage = pl.col("key").replace_strict(order, default=None, return_dtype=pl.Int64)
    held = pl.col("stage").replace_strict(order, default=None, return_dtype=pl.Int64)
    before = ((pl.col("when") < pl.col("at")) & (held >= stage)).any()
    after = ((pl.col("when") > pl.col("at")) & (held <= stage)).any()
    known = pl.col("stage").is_not_null().any()
    as_stage = known & ~before.fill_null(False) & ~after.fill_null(False)
    as_model = ((pl.col("model_held") == "") | (pl.col("model_held") == pl.col("key"))).fill_null(True).all() & known
    return both.group_by("row", "group", "key").agg(
        fits=pl.when(pl.col("field").first() == "stage").then(as_stage).otherwise(as_model)
    )


# Values: what a hand or a spreadsheet made of a number, where only one reading is left in the range of its column.


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
    if group.kind != VALUE or not group.column or group.column not in ranges:
        return group
    low, high = ranges[group.column]
    candidates = {text for text, x in _readings_of(group.typed) if low <= x <= high}
    if len(candidates) != 1:
        return group
    n = len(group.rows)
    return _with(group, guess=candidates.pop(), fits=n, of=n, sure=True)


def _readings_of(typed: str) -> Iterable[tuple[str, float]]:
    """What a text may have been meant to say, with its number: letters for digits, a point that was lost."""
    text = typed.strip()
    digits = text.translate(str.maketrans("oOlI", "0011")).replace(",", ".")
    found = re.fullmatch(r"([+-]?)(\d*\.?\d+)", digits)
    if not found:
        return
    number = float(digits)
    if digits != text.replace(",", "."):
        yield digits, number
        return
    for shift in (-3, -2, -1, 1, 2):
        moved = float(f"{number}e{shift}")
        yield f"{moved:g}", moved


# The story of one row, and the lines about it.


def lines_about(folder: Path, shop: Shop, log_id: str, name: str, line: int, around: int = 2) -> list[tuple[int, str]]:
    """A row of a log as it was typed, with the rows just above and below it: (line, cells in one line)."""
    data = original(folder, log_id)
    try:
        cells = rows_in(data or b"", name, shop)
    except Problem:
        return []
    lines = sorted(cells)
    if line not in cells:
        return []
    place = lines.index(line)
    near = lines[max(0, place - around) : place + around + 1]
    return [(one, " | ".join(cells[one].values())) for one in near]

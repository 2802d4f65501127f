"""What a shop's studies ask for beside its visits, readings and faults: how it leaves for other shops, and a snapshot
made of all that stands at a target.

Worked out of that snapshot a figure is what it was at home, to the last digit (tests hold it), since nothing of what
stays behind moves one: people's names and lists, wages, headings, what somebody wrote by hand. A shop that publishes
nobody's codes publishes none of this: its figures hang on who set what.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, Protocol

import polars as pl
from pydantic import ValidationError

from ingest.shopfiles.house_rules import People
from ingest.shopfiles.marks import between_marks
from ingest.shopfiles.shop import Shop
from ingest.shopfiles.specs import Specs
from ingest.store.problems import StoreProblem, first_line
from ingest.store.snapshot import SCHEMAS, Snapshot
from ingest.terms import tables

HOUSE, SPECS = "house", "specs"
SIDE = {  # table at a target -> the snapshot's own, and columns that stay at home
    "deliveries": ("lots", ()),
    "changes": ("changes", ("note",)),
    "trials": ("gauge_trials", ("raw",)),
    "limits": ("limits_on_file", ("who", "why")),
    "closed": ("bench_book", ("who", "why", "owner", "due", "until", "week", "done_on", "about")),
    "columns": ("columns", ("heading",)),
}
BOOK = ("close", "reopen", "caused by")  # lines of the bench book on which figures hang
CAUSED_BY = "caused by"  # its text is a stage, supplier or handling; that of others is somebody's own words
ROWS = ("visits", "readings", "faults")
FILES = (HOUSE, SPECS, *SIDE)  # each a piece, be it empty
NEEDED = (*FILES, *ROWS)


class Put(Protocol):
    """How words leave."""

    @property
    def single(self) -> bool:
        """May anything of single people leave?"""

    def coded(self, techs: pl.Series) -> pl.Series:
        """A column of techs."""

    def put(self, texts: pl.Series) -> pl.Series:
        """A column of words in which a name may stand."""


class NotThisProgram(StoreProblem):
    """A shop whose files another version of the program wrote: one line."""


def leaving(snapshot: Snapshot, people: Put) -> Iterator[tuple[str, pl.DataFrame]]:
    """HOUSE, SPECS and SIDE but for `changes`, which leave as figures do; nothing where nobody's codes may leave."""
    if not people.single:
        return
    yield HOUSE, pl.DataFrame({"shop_file": [shop_file(snapshot.shop, people)]})
    yield SPECS, snapshot.specs.rows.drop("note")
    for name, (table, at_home) in SIDE.items():
        if name == "changes":
            continue
        rows = snapshot.table(table) if table != "bench_book" else snapshot.lines(*BOOK)
        if "text" in rows.columns:
            rows = rows.with_columns(text=pl.when(pl.col("kind") == CAUSED_BY).then("text").otherwise(pl.lit("")))
        if "study" in rows.columns:
            rows = rows.with_columns(people.put(rows["study"]).alias("study"))
        if "tech" in rows.columns:
            rows = rows.with_columns(people.coded(rows["tech"]).alias("tech"))
        yield name, rows.drop(at_home)


def shop_file(shop: Shop, people: Put) -> str:
    """shop.toml as JSON, without people, sheets and wages; words in which a name may stand as they stand in rows."""

    def put(*words: str) -> tuple[str, ...]:
        return tuple(people.put(pl.Series(words, dtype=pl.String)).to_list())

    less: dict[str, Any] = {
        "techs": (),
        "logs": (),
        "people": People(),
        "shop": shop.shop.model_copy(update={"labour_per_hour": 0.0}),
        "faults": tuple(
            one.model_copy(update={"key": put(one.key)[0], "words": put(*one.words)}) for one in shop.faults
        ),
        "gauges": tuple(
            one.model_copy(update={"key": put(one.key)[0], "name": "", "words": ()}) for one in shop.gauges
        ),
        "models": tuple(one.model_copy(update={"words": ()}) for one in shop.models),
    }
    return shop.model_copy(update=less).model_dump_json(by_alias=True)


def snapshot_of(frames: Mapping[str, pl.DataFrame], as_of: datetime) -> Snapshot:
    """A shop as it stands at a target. frames : NEEDED. NotThisProgram where another version wrote its files."""
    try:
        shop = Shop.model_validate_json(frames[HOUSE]["shop_file"].item())
        specs = _shaped(frames[SPECS], tables.SPECS)
        rows = {table: _shaped(frames[name], SCHEMAS[table]) for name, (table, _) in SIDE.items()}
        rows |= {name: _shaped(frames[name], SCHEMAS[name]) for name in ROWS}
    except (ValidationError, ValueError, pl.exceptions.PolarsError) as fault:
        raise NotThisProgram(f"its files are not those of this version of the program ({first_line(fault)})") from None
    return Snapshot.of(shop, Specs(specs, shop.setups, between_marks(specs, shop)), as_of=as_of, **rows)


def _shaped(rows: pl.DataFrame, schema: dict[str, pl.DataType]) -> pl.DataFrame:
    """Rows of a schema; of a table that nobody has written yet, none."""
    return tables.shaped(rows, schema) if rows.width else tables.empty(schema)

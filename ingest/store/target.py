"""A target: a folder or an object store where several shops put their tables, and anybody reads them.

Each table is one Delta table of plain strings and UTC times, partitioned by shop and version. A version is written
beside those before and counts once the row of the shop in `shops` names it: a reader takes the rows that this row
names, so that nothing half written is ever seen, and a shop that publishes keeps no other waiting. What no row names
any more is taken off, files too: nothing of it stays but that it was there, in the logs of the tables.
"""

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import arro3.core as arro
import polars as pl
from deltalake import DeltaTable, PostCommitHookProperties, QueryBuilder, WriterProperties, write_deltalake
from deltalake.exceptions import CommitFailedError, DeltaError, SchemaMismatchError, TableNotFoundError

from ingest.store.delta import BATCH, ROW_GROUP, plain, text
from ingest.store.problems import StoreProblem, bare, first_line, is_panic, reason
from ingest.terms.tables import TIME

FORMAT = 1  # of what stands at a target; a shop of another one is not read
SHOPS = "shops"
TRIES = 5  # at a moment when another shop writes too
OWN = ("shop", "version", "piece")  # columns that every table has before its own
ROW: dict[str, pl.DataType] = {  # of `shops`, a row a shop
    "shop": pl.String(),
    "format": pl.Int64(),
    "owner": pl.String(),  # a number of the folder it was published from
    "name": pl.String(),
    "timezone": pl.String(),
    "program": pl.String(),  # version of the program
    "version": pl.Int64(),  # counts what was published from this folder
    "store_version": pl.Int64(),
    "published_at": TIME,
    "as_of": TIME,
    "people": pl.String(),  # none | codes | names
    "pieces": pl.String(),  # JSON: what counts, a list of Piece
}
_HOOKS = PostCommitHookProperties(create_checkpoint=True, cleanup_expired_logs=False)
_NO_STATISTICS = {"delta.dataSkippingNumIndexedCols": "0"}  # a table's log would keep least and largest texts for good


class TargetProblem(StoreProblem):
    """A target that cannot be used as it is: one line with what is wrong and what to do."""


@dataclass(frozen=True)
class Piece:
    """Rows of one table that change together: those of one log, or a whole table of figures."""

    table: str
    piece: str  # log_id; '' of figures
    version: int  # under which its rows stand
    rows: int
    digest: str  # of what it says


class Options(dict[str, str]):
    """What opens a store: whoever shows or logs a task that was given them shows how many they are."""

    def __repr__(self) -> str:
        return f"<{len(self)} options of a store>"


class Target:
    """A folder or an address, with the options of the tables' library to reach it."""

    def __init__(self, address: str, options: Mapping[str, str] | None = None) -> None:
        self.address, self.options = address.rstrip("/") or address, Options(options or {})
        self.folder = None if is_address(address) else Path(address)

    def _uri(self, table: str) -> str:
        if self.folder is not None:
            return (self.folder.absolute() / table).as_uri()
        return f"{self.address}/{table}"

    def table(self, name: str) -> DeltaTable | None:
        """A table as it stands now; None where there is none."""
        with self._told():
            try:
                return DeltaTable(self._uri(name), storage_options=self.options or None)
            except TableNotFoundError as fault:
                if "scheme" in str(fault):
                    raise
                return None

    def shops(self) -> pl.DataFrame:
        """ROW of every shop that is published here; columns that another version of the program added too."""
        held = self.table(SHOPS)
        with self._told():
            return pl.DataFrame(schema=ROW) if held is None else _all(held, "SELECT * FROM held ORDER BY shop")

    def rows(self, shop: str, table: str, pieces: list[Piece]) -> pl.DataFrame:
        """The rows of a shop's table that these pieces name. TargetProblem where they are not all there."""
        mine = [one for one in pieces if one.table == table]
        wanted = pl.DataFrame(
            [(one.version, one.piece) for one in mine], schema={"version": pl.Int64, "piece": pl.String}, orient="row"
        )
        if not any(one.rows for one in mine) and self.table(table) is None:
            return pl.DataFrame()
        held = self._sure(table)
        versions = ", ".join(map(str, sorted({one.version for one in mine}))) or "-1"
        with self._told():
            found = _all(held, f"SELECT * FROM held WHERE shop = {text(shop)} AND version IN ({versions})")
        found = found.join(wanted, on=["version", "piece"], how="semi", maintain_order="left")
        if len(found) != sum(one.rows for one in mine):
            raise TargetProblem(
                f"{self.address}: {table} of {shop} holds {len(found)} rows of {sum(one.rows for one in mine)}; "
                "publish that shop again"
            )
        return found.drop(OWN)

    def every(self, table: str, named: Mapping[str, list[Piece]]) -> tuple[pl.DataFrame, dict[str, str]]:
        """The rows of a table of all shops that are whole, with the column `shop`; why not, of each other one.

        named : the pieces of each shop.
        """
        mine = {shop: [one for one in pieces if one.table == table] for shop, pieces in named.items()}
        keys = [(shop, one.version, one.piece) for shop, pieces in mine.items() for one in pieces]
        schema = {"shop": pl.String, "version": pl.Int64, "piece": pl.String}
        wanted = pl.DataFrame(keys, schema=schema, orient="row")
        expected = {shop: sum(one.rows for one in pieces) for shop, pieces in mine.items()}
        held = self.table(table)
        if held is None and not any(expected.values()):
            return pl.DataFrame(schema={"shop": pl.String}), {}
        try:
            with self._told():
                found = _all(self._sure(table), "SELECT * FROM held")
        except TargetProblem as problem:
            return self._one_by_one(table, named, problem)
        found = found.join(wanted, on=list(schema), how="semi", maintain_order="left")
        counted = dict(found.group_by("shop").len().iter_rows())
        short = {shop: rows for shop, rows in expected.items() if counted.get(shop, 0) != rows}
        why = {shop: f"its {table} hold {counted.get(shop, 0)} rows of {rows}" for shop, rows in short.items()}
        return found.filter(~pl.col("shop").is_in(list(short))).drop("version", "piece"), why

    def _one_by_one(
        self, table: str, named: Mapping[str, list[Piece]], problem: TargetProblem
    ) -> tuple[pl.DataFrame, dict[str, str]]:
        """The same where a file of the table cannot be read: whose it is."""
        whole, why = [], {}
        for shop, pieces in named.items():
            try:
                rows = self.rows(shop, table, pieces)
                whole += [rows.select(pl.lit(shop).alias("shop"), pl.all())] if len(rows) else []
            except TargetProblem:
                why[shop] = f"its {table} cannot be read"
        if len(why) == len(named):
            raise problem
        return pl.concat([pl.DataFrame(schema={"shop": pl.String}), *whole], how="diagonal_relaxed"), why

    def write(self, shop: str, version: int, table: str, pieces: Mapping[str, pl.DataFrame]) -> None:
        """Put pieces of a shop's table beside what is there, under a version that nobody reads yet."""
        own = [pl.lit(shop).alias("shop"), pl.lit(version, pl.Int64).alias("version")]
        rows = pl.concat(frame.select(*own, pl.lit(piece).alias("piece"), pl.all()) for piece, frame in pieces.items())

        def batches() -> Iterator[Any]:
            for start in range(0, rows.height, BATCH):
                yield from plain(rows.slice(start, BATCH)).to_batches()

        with self._told():
            self._again(
                lambda: write_deltalake(
                    self._uri(table),
                    arro.RecordBatchReader.from_batches(plain(rows.clear()).schema, batches()),
                    mode="append",
                    partition_by=["shop", "version"],
                    configuration=_NO_STATISTICS,
                    schema_mode="merge",
                    storage_options=self.options or None,
                    writer_properties=WriterProperties(max_row_group_size=ROW_GROUP),
                    post_commithook_properties=_HOOKS,
                )
            )

    def say(self, row: dict[str, Any] | None, shop: str, owner: str) -> None:
        """Put the row of a shop in the place of the one before; None: no row. From then on it counts.

        TargetProblem where the shop of that name came from another folder meanwhile.
        """

        def put() -> None:
            self.refuse_another(shop, owner)
            held = self.table(SHOPS)
            if row is None:
                if held is not None:
                    held.delete(f"shop = {text(shop)}", post_commithook_properties=_HOOKS)
                return
            rows = plain(pl.DataFrame([row], schema=ROW))
            if held is None:
                write_deltalake(
                    self._uri(SHOPS),
                    rows,
                    partition_by=["shop"],
                    configuration=_NO_STATISTICS,
                    storage_options=self.options or None,
                )
                return
            write_deltalake(
                held,
                rows,
                mode="overwrite",
                predicate=f"shop = {text(shop)}",
                schema_mode="merge",
                post_commithook_properties=_HOOKS,
            )

        with self._told():
            self._again(put)

    def refuse_another(self, shop: str, owner: str) -> None:
        """TargetProblem where a shop of that name stands here that came from another folder."""
        there = self.shops().filter(pl.col("shop") == shop)
        if len(there) and there["owner"][0] != owner:
            raise TargetProblem(
                f"{self.address}: another shop is published there as {shop!r}; give this one a name of its own with "
                "--as NAME"
            )

    def drop(self, shop: str, table: str, keep: list[Piece]) -> None:
        """Take off what no piece of `keep` names of a shop's table, its files too."""
        held = self.table(table)
        if held is None:
            return
        mine: dict[int, list[str]] = {}
        for one in keep:
            if one.table == table:
                mine.setdefault(one.version, []).append(one.piece)
        ours = f"shop = {text(shop)}"
        old = f" AND version NOT IN ({', '.join(map(str, mine))})" if mine else ""
        with self._told():
            self._again(lambda: self._delete(table, ours + old))
            there = _all(
                self._sure(table), f"SELECT DISTINCT version, piece FROM held WHERE {ours} ORDER BY version, piece"
            )
            for version, named in mine.items():
                gone = [piece for v, piece in there.iter_rows() if v == version and piece not in set(named)]
                if gone:
                    these = ", ".join(map(text, gone))
                    where = f"{ours} AND version = {version} AND piece IN ({these})"
                    self._again(lambda where=where: self._delete(table, where))
        self.sweep(shop, table)

    def sweep(self, shop: str, table: str) -> None:
        """Take off the files below a shop's own part of a table that its log names no more."""
        held = self.table(table)
        if held is None:
            return
        with self._told():
            if self.folder is not None:  # its own part is looked through, however many shops there are
                top = self.folder / table / f"shop={shop}"
                named = {uri.rsplit("/", 1)[-1] for uri in held.file_uris(file_pruning_predicate=[("shop", "=", shop)])}
                for place in (*sorted(top.rglob("*"), reverse=True), top):
                    if place.is_file() and place.name not in named:
                        place.unlink(missing_ok=True)
                    elif place.is_dir() and not any(place.iterdir()):
                        place.rmdir()
                return
            unnamed = held.vacuum(retention_hours=0, dry_run=True, enforce_retention_duration=False, full=True)
            mine = [name for name in unnamed if name.startswith(f"shop={shop}/")]
            if mine:
                from deltalake._internal import DeltaFileSystemHandler  # the library's own way to a store's files

                files = DeltaFileSystemHandler(self._uri(table), self.options or None)
                for name in mine:
                    files.delete_file(name)

    def _sure(self, table: str) -> DeltaTable:
        if (held := self.table(table)) is None:
            raise TargetProblem(f"{self.address}: the table {table} is not there")
        return held

    def _delete(self, table: str, where: str) -> None:
        self._sure(table).delete(where, post_commithook_properties=_HOOKS)

    def _again(self, work: Any) -> None:
        """Do it, and once more where another shop wrote at the same moment."""
        for tries in range(TRIES):
            try:
                work()
                return
            except (CommitFailedError, DeltaError) as fault:
                if tries == TRIES - 1 or not (isinstance(fault, CommitFailedError) or "already exists" in str(fault)):
                    raise

    @contextmanager
    def _told(self) -> Iterator[None]:
        """What goes wrong on the way, said in one line."""
        try:
            yield
        except StoreProblem:
            raise
        except SchemaMismatchError as fault:
            raise self._other(fault) from fault
        except BaseException as fault:
            if not is_panic(fault) and not isinstance(fault, Exception):
                raise
            if "ast error" in str(fault) or "schema" in str(fault).lower():
                raise self._other(fault) from None
            told = isinstance(fault, DeltaError | OSError | ValueError | RuntimeError) or is_panic(fault)
            if not told and type(fault) is not Exception:  # as the library's own queries raise
                raise
            why = bare(reason(fault), self.options)
            raise TargetProblem(f"{self.address} cannot be used ({why}); {self._hint()}") from None

    def _other(self, fault: BaseException) -> TargetProblem:
        return TargetProblem(
            f"{self.address}: the tables there are not those of this version of the program "
            f"({bare(reason(fault), self.options)}); "
            "publish to another place, or bring all shops to one version"
        )

    def _hint(self) -> str:
        if self.folder is not None:
            return "is the folder there, readable and writable, and the disk not full?"
        return "is the address right, the network there, and does --option KEY=VALUE say all that it asks for?"


def pieces_of(row: Mapping[str, Any]) -> list[Piece]:
    """What a row of `shops` names. TargetProblem where it cannot be read."""
    try:
        return [Piece(*each) for each in json.loads(row["pieces"])]
    except (ValueError, TypeError) as fault:
        raise TargetProblem(f"what is published of {row['shop']} cannot be read ({first_line(fault)})") from None


def tables_of(pieces: list[Piece]) -> list[str]:
    """The tables that pieces belong to."""
    return sorted({one.table for one in pieces})


def pieces_text(pieces: list[Piece]) -> str:
    """Pieces as a row of `shops` names them."""
    return json.dumps([[one.table, one.piece, one.version, one.rows, one.digest] for one in pieces])


def is_address(target: str) -> bool:
    """Is it the address of an object store and no folder?"""
    return len(urlsplit(target).scheme) > 1 and "://" in target


def _all(held: DeltaTable, query: str) -> pl.DataFrame:
    """What a query says of a table called `held`."""
    found = QueryBuilder().register("held", held).execute(query).read_all()
    return pl.DataFrame(found)

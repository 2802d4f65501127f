"""`publish`: a shop's tables go to a target where others read them, and come back out of it.

What was published stands in published.json of the shop's folder: the number by which a target knows this folder, the
secret behind the codes of people, and each target with what was put there. Nothing else of the shop changes.
"""

import hashlib
import json
import os
import re
import secrets
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

import polars as pl

from ingest.store.alone import alone
from ingest.store.target import FORMAT, OWN, SHOPS, Piece, Target, TargetProblem, pieces_of, pieces_text, tables_of
from ingest.store.writing import write_whole

FILE = "published.json"
NAMES = "names.toml"  # what others call things, beside the tables: no table of ours


@dataclass(frozen=True)
class Place:
    """A target that holds something of this shop, or may."""

    target: str
    shop: str  # the name it stands under
    version: int  # the last that was begun
    ended: bool  # was it written to its end?
    tables: tuple[str, ...] = ()  # that were ever written


@dataclass(frozen=True)
class OnFile:
    """What published.json holds."""

    owner: str
    secret: str
    places: tuple[Place, ...] = field(default=())

    def at(self, target: str) -> Place | None:
        """The place of that address."""
        return next((one for one in self.places if one.target == target), None)

    def but(self, target: str, *more: Place) -> "OnFile":
        """The same with what `more` says of a target; nothing: as if it had never been."""
        return replace(self, places=(*(one for one in self.places if one.target != target), *more))


@dataclass(frozen=True)
class Facts:
    """What a target says of the shop itself."""

    name: str
    timezone: str
    program: str
    store_version: int
    as_of: datetime
    people: str


@dataclass(frozen=True)
class Published:
    """What a run did."""

    shop: str
    version: int  # 0: nothing had changed
    rows: int  # in all
    written: dict[str, int]  # rows by table
    taken_off: int  # pieces that stand there no more


def on_file(folder: Path) -> OnFile:
    """What was published from a shop's folder; numbers of its own where nothing was. TargetProblem where the file is
    damaged.
    """
    try:
        told = json.loads((folder / FILE).read_bytes())
        places = tuple(Place(**(one | {"tables": tuple(one["tables"])})) for one in told["places"])
        return OnFile(str(told["owner"]), bytes.fromhex(told["secret"]).hex(), places)
    except FileNotFoundError:
        return OnFile(secrets.token_hex(8), secrets.token_hex(16))
    except (OSError, ValueError, TypeError, KeyError) as fault:
        raise TargetProblem(
            f"{folder / FILE} cannot be read ({fault}); it says under which number this shop was published: put it "
            "back from a backup, or take it away and publish under another name with --as NAME"
        ) from None


def known(folder: Path) -> OnFile:
    """The same, kept from now on."""
    told = on_file(folder)
    if not (folder / FILE).exists():
        _keep(folder, told)
    return told


def _keep(folder: Path, told: OnFile) -> None:
    try:
        write_whole(folder / FILE, json.dumps(asdict(told), ensure_ascii=False, indent=1).encode())
        with suppress(OSError):
            os.chmod(folder / FILE, 0o600)  # the secret behind the codes
    except OSError as fault:
        raise TargetProblem(f"{folder / FILE} could not be written ({fault.strerror or fault})") from None


def address_of(target: str) -> str:
    """A target as it is kept: a folder by its whole path."""
    at = Target(target)
    return at.address if at.folder is None else str(at.folder.absolute())


def name_of(name: str) -> str:
    """The name a shop stands under: small letters, digits and hyphens of its own name."""
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:60]


def publish(
    folder: Path,
    target: Target,
    tables: Mapping[str, Mapping[str, pl.DataFrame]],
    facts: Facts,
    *,
    called: str = "",
    now: datetime,
) -> Published:
    """Put tables (by name, in pieces that change together) where others read them; only pieces that say something else
    than what stands there are written, and what counts no more is taken off, its files too.

    TargetProblem, one line, where it cannot be done; what others read is then what it was before.
    """
    with alone(folder):
        told, address = known(folder), address_of(target.address)
        _refuse_place(folder, target, {NAMES, SHOPS, *tables})
        place = told.at(address)
        shop = called or (place.shop if place else "") or name_of(facts.name)
        if not shop or name_of(shop) != shop:
            raise TargetProblem(f"{shop!r} cannot be a shop's name there; wanted small letters, digits and hyphens")
        if place and place.shop != shop:
            raise TargetProblem(
                f"{address}: this shop is published there as {place.shop!r}; withdraw it before it takes another name"
            )
        target.refuse_another(shop, told.owner)
        there = target.shops().filter(pl.col("shop") == shop)
        before = pieces_of(there.row(0, named=True)) if len(there) and there["format"][0] == FORMAT else []
        version = 1 + max(place.version if place else 0, *there["version"], 0)
        new, changed = _compared(tables, before, version)
        row = _row(shop, told.owner, facts, new, version=version, now=now)
        if not changed and len(new) == len(before) and (place is None or place.ended) and _same(there, row):
            return Published(shop, 0, sum(one.rows for one in new), {}, 0)
        every = sorted({*tables, *tables_of(before), *(place.tables if place else ())})
        begun = Place(address, shop, version, False, tuple(every))
        _keep(folder, told.but(address, begun))
        for name, pieces in changed.items():
            target.write(shop, version, name, pieces)
        target.say(row, shop, told.owner)
        gone = set(before) - set(new)
        sure = place is not None and place.ended and len(before) > 0
        for name in tables_of([*gone]) if sure else every:
            target.drop(shop, name, new)
        target.sweep(shop, SHOPS)
        _keep(folder, told.but(address, replace(begun, ended=True)))
        written = {name: sum(map(len, pieces.values())) for name, pieces in changed.items()}
        stay = {(one.table, one.piece) for one in new}
        return Published(
            shop, version, sum(one.rows for one in new), written, sum((g.table, g.piece) not in stay for g in gone)
        )


def withdraw(folder: Path, target: Target, *, called: str = "") -> tuple[str, int]:
    """Take all of this shop out of a target, files too; the name it stood under and how many rows they were.

    TargetProblem where nothing of this shop stands there.
    """
    with alone(folder):
        told, address = on_file(folder), address_of(target.address)
        place = told.at(address)
        shop = called or (place.shop if place else "")
        if not shop:
            raise TargetProblem(f"{address}: nothing of this shop was published there")
        target.refuse_another(shop, told.owner)
        there = target.shops().filter(pl.col("shop") == shop)
        if there.is_empty() and place is None:
            raise TargetProblem(f"{address}: nothing of this shop stands there as {shop!r}")
        before: list[Piece] = []
        with suppress(TargetProblem):  # what cannot be read is taken out all the same
            before = pieces_of(there.row(0, named=True)) if len(there) else []
        target.say(None, shop, told.owner)
        for name in sorted({*tables_of(before), *(place.tables if place else ())}):
            target.drop(shop, name, [])
        target.sweep(shop, SHOPS)
        if place is not None:
            _keep(folder, told.but(address))
        return shop, sum(one.rows for one in before)


def not_covered(folder: Path) -> list[str]:
    """Where rows of this shop stand besides its folder, a line each: for whoever takes a name out of it."""
    try:
        places = on_file(folder).places
    except TargetProblem as problem:
        return [str(problem)]
    return [
        f"{one.target}: published there before, as {one.shop}; `truerun publish {one.target}` puts today's rows in "
        "their place, --withdraw takes all of them out"
        for one in places
    ]


def _refuse_place(folder: Path, target: Target, ours: set[str]) -> None:
    """TargetProblem where a folder is no place to publish into; ours : names that stand there, of a first one too that
    is at it this moment.
    """
    place = target.folder
    if place is None:
        return
    mine, there = folder.resolve(), place.resolve()
    if there == mine or there.is_relative_to(mine) or mine.is_relative_to(there):
        raise TargetProblem(f"{place}: a shop is not published into its own folder or one around it; give another one")
    if place.exists() and not place.is_dir():
        raise TargetProblem(f"{place} is a file; wanted a folder, or the address of an object store")
    if place.is_dir() and not (place / SHOPS / "_delta_log").is_dir():
        strange = [one for one in sorted(place.iterdir()) if one.name not in ours and not one.name.startswith(".")]
        if others := [one.name for one in strange if not (one / "_delta_log").is_dir()]:
            raise TargetProblem(f"{place} holds something else ({others[0]}); wanted an empty folder or one of shops")


def _compared(
    tables: Mapping[str, Mapping[str, pl.DataFrame]], before: list[Piece], version: int
) -> tuple[list[Piece], dict[str, dict[str, pl.DataFrame]]]:
    """All pieces as they are to stand, and those of them that must be written."""
    stands = {(one.table, one.piece): one for one in before}
    new: list[Piece] = []
    changed: dict[str, dict[str, pl.DataFrame]] = {}
    for name, pieces in tables.items():
        for piece, rows in pieces.items():
            if clash := set(OWN) & set(rows.columns):
                raise ValueError(f"{name} has columns of the target's own: {sorted(clash)}")
            ordered = rows.sort(rows.columns)
            told = Piece(name, piece, version, len(rows), _digest(ordered))
            held = stands.get((name, piece))
            if held is not None and (held.rows, held.digest) == (told.rows, told.digest):
                new.append(held)
                continue
            new.append(told)
            if len(rows):
                changed.setdefault(name, {})[piece] = ordered
    return new, changed


def _digest(rows: pl.DataFrame) -> str:
    """Of what a table says: its columns, their kinds, every value to the last digit."""
    head = json.dumps({name: str(kind) for name, kind in rows.schema.items()})
    return hashlib.sha256(head.encode() + rows.write_csv(null_value="\\N").encode()).hexdigest()[:32]


def _row(
    shop: str, owner: str, facts: Facts, pieces: list[Piece], *, version: int, now: datetime
) -> dict[str, str | int | datetime]:
    return {
        "shop": shop,
        "format": FORMAT,
        "owner": owner,
        "version": version,
        "published_at": now.astimezone(UTC),
        "pieces": pieces_text(pieces),
        **asdict(facts),
    }


def _same(there: pl.DataFrame, row: Mapping[str, object]) -> bool:
    """Does the row that stands there say the same of the shop?"""
    held = there.row(0, named=True) if len(there) else {}
    return all(held.get(name) == row[name] for name in ("name", "timezone", "as_of", "people", "store_version"))

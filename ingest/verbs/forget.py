"""`forget`: one person's name leaves the shop's folder - shop files, originals, book, store, whatever else lies in it -
and a neutral code stands in its place.

The only verb that rewrites what is otherwise never changed: the originals that name the person (they get a new SHA-256)
and lines of the book. Line numbers stay, so corrections and verdicts still fit. Older versions of the store go. What it
is about to do stands in a journal until it is done: a run that was killed is gone on with by whoever comes next.
"""

import json
import shutil
import sqlite3
import tomllib
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from ingest.access import people
from ingest.reading.headings import plain
from ingest.shopfiles.shop import Shop, ShopProblem, checked_shop, fingerprint, read_shop
from ingest.shopfiles.shop_parts import Tech
from ingest.store import book, index, kept_states, kept_tables, kept_texts, ledger, originals, seals, worked_out
from ingest.store.alone import FILE, alone
from ingest.store.delta import Table
from ingest.store.draft import Draft
from ingest.store.problems import StoreProblem, first_line
from ingest.store.store import drafting, open_snapshot
from ingest.store.writing import write_whole
from ingest.terms import tables
from ingest.verbs import elsewhere, publish
from ingest.verbs.from_originals import ARRIVING, READING_IN, entries_of, put_in
from ingest.verbs.load import ensure
from ingest.verbs.names import Names, spellings
from ingest.verbs.rewriting import emptied, shop_file_without, without
from ingest.verbs.sound import sound_shop

JOURNAL = ".forget"
_OURS = (JOURNAL, FILE)


@dataclass(frozen=True)
class Plan:
    """What a run takes out and what it puts in its place."""

    person: str
    key: str  # of the tech in shop.toml, '' of one that only logs have typed
    terms: tuple[str, ...]
    code: str

    @property
    def names(self) -> Names:
        """The terms in every spelling."""
        return Names(self.terms, self.code)


@dataclass(frozen=True)
class Forgotten:
    """What a run has done, and what it leaves to a person."""

    code: str
    left: tuple[str, ...]  # places that still hold the name or could not be looked into, a line each
    backups: tuple[Path, ...]  # files made before, with the name in them


def forget(folder: Path, person: str, *, also: Sequence[str] = (), now: datetime) -> str:
    """Take a tech's key, name and words out of everything in the shop's folder; the code that stands in their place.

    person : the key, the name or one of the words of a tech of shop.toml, or a tech as logs have typed it.
    also : further spellings that are the same person.
    Raises StoreProblem, one line, where nobody is called so or the name is also the word for something else.
    """
    return carry_out(folder, plan_of(folder, person, also, now=now), now=now).code


def plan_of(folder: Path, person: str, also: Sequence[str] = (), *, now: datetime) -> Plan:
    """Who is meant, in which spellings; changes nothing."""
    shop = sound_shop(folder, now=now)
    ensure(folder, now=now)
    said = plain(person)
    tech = next((tech for tech in shop.techs if said in map(plain, (tech.key, tech.name, *tech.words)) and said), None)
    terms = [*(terms_of(shop, tech) if tech else [person]), *also]
    _no_other_meaning(shop, terms)
    words = _techs_on_file(folder)
    code = _free_code(shop, words)
    names = spellings(Names(tuple(terms), code), words)
    if tech is None and not _is_named(folder, names, words):
        raise StoreProblem(f"Nobody is called {person!r} in shop.toml or in any log; wanted a tech's key, name or word")
    plan = Plan(person, tech.key if tech else "", names.terms, code)
    _shop_without(folder, plan)
    return plan


def alike(folder: Path, plan: Plan) -> list[tuple[str, int]]:
    """Words of logs and book that may be the person too, or are a part of the name by itself, with the rows that hold
    them; a person decides.
    """
    snapshot, names = open_snapshot(folder), plan.names
    counts: dict[str, int] = {}
    for word in elsewhere.single_techs(snapshot.table("visits", "tech")["tech"]):
        counts[word] = counts.get(word, 0) + 1
    entries = snapshot.table("bench_book")
    for column in ("who", "owner", "tech"):
        for word in entries[column]:
            counts[word] = counts.get(word, 0) + 1
    found = [(word, counts[word]) for word in names.alike(counts)]
    texts = pl.concat([snapshot.table("visits", "note")["note"], entries["text"].rename("note")])
    return [*found, *elsewhere.parts_in(texts, names, {word for word, _ in found})]


def carry_out(folder: Path, plan: Plan, *, now: datetime) -> Forgotten:
    """Do what a plan says; begun again after a kill it ends the same way."""
    with alone(folder):
        return _carry_out(folder, plan, now)


def _carry_out(folder: Path, plan: Plan, now: datetime) -> Forgotten:
    try:
        return _step_by_step(folder, plan, now)
    except (OSError, sqlite3.Error) as fault:
        after = "any truerun command goes on where it stood" if under_way(folder) else "nothing was changed"
        raise StoreProblem(f"{folder} could not be written ({first_line(fault)}); {after}. Is there room?") from fault


def _step_by_step(folder: Path, plan: Plan, now: datetime) -> Forgotten:
    write_whole(folder / JOURNAL, json.dumps(asdict(plan), ensure_ascii=False).encode())
    names = plan.names
    new_toml, new_shop = _shop_without(folder, plan)
    with drafting(folder, now) as draft:
        renamed = _rewrite_originals(folder, names)
        _rewrite_book(draft, names, renamed)
        said = {name: book.lines(draft.connection, name) for name in book.SCHEMAS}
        draft.drop(sorted(draft.logs["log_id"].to_list()))
        put_in(draft, folder, new_shop, said, entries_of(said))
        version = draft.finish("a name was taken out", now, fingerprint(folder), book.last_sequence(folder))
        _no_older_versions(draft, version.n)
    if (folder / "shop.toml").read_bytes().decode("utf-8-sig") != new_toml:
        write_whole(folder / "shop.toml", new_toml.encode())
    people.forget(folder, names.means)
    left = elsewhere.rewrite(folder, names, but=_OURS)
    clean(folder, new_shop)
    left += elsewhere.still_named(folder, names, but=(*_OURS, *(line.split(": ")[0] for line in left)))
    left += publish.not_covered(folder)
    backups = elsewhere.backups_in(folder)
    (folder / JOURNAL).unlink(missing_ok=True)
    return Forgotten(plan.code, tuple(left), tuple(backups))


def under_way(folder: Path) -> bool:
    """Has a run begun and not ended?"""
    return (folder / JOURNAL).exists()


def go_on(folder: Path, *, now: datetime) -> Forgotten | None:
    """End a run that was cut short, for whoever is alone in the folder; None where there is none."""
    try:
        told = json.loads((folder / JOURNAL).read_bytes())
        plan = Plan(**(told | {"terms": tuple(told["terms"])}))
    except FileNotFoundError:
        return None
    except (ValueError, TypeError, KeyError) as fault:
        raise StoreProblem(
            f"{folder / JOURNAL}, the journal of a `truerun forget` that was cut short, cannot be read: take it away "
            "and say `truerun forget` with the name again"
        ) from fault
    return _carry_out(folder, plan, now)


def terms_of(shop: Shop, tech: Tech) -> list[str]:
    """Everything that means this tech in the shop's files and logs, the longest first."""
    own = {plain(word) for word in (tech.key, tech.name, *tech.words) if word}
    mapped = {word for log in shop.logs for word, key in log.words.get("tech", {}).items() if plain(key) in own}
    return sorted({term for term in (tech.key, tech.name, *tech.words, *mapped) if term.strip()}, key=len, reverse=True)


def _shop_without(folder: Path, plan: Plan) -> tuple[str, Shop]:
    """shop.toml without the person, as text and as a shop; StoreProblem where it would be none."""
    text = (folder / "shop.toml").read_bytes().decode("utf-8-sig")
    tech = next((tech for tech in read_shop(folder / "shop.toml").techs if tech.key == plan.key and plan.key), None)
    try:
        new = shop_file_without(text, tech, plan.names)
        return new, checked_shop(tomllib.loads(new))
    except (ShopProblem, tomllib.TOMLDecodeError) as problem:
        raise StoreProblem(
            f"shop.toml could not be rewritten ({str(problem).splitlines()[0]}); take {plan.person!r} out of it by "
            "hand, then try again"
        ) from None


def _no_other_meaning(shop: Shop, terms: Sequence[str]) -> None:
    """StoreProblem where a term is also the key or word of something that is no person."""
    others = [
        item.key
        for group in (shop.stages, shop.characteristics, shop.models, shop.gauges, shop.faults)
        for item in group
    ]
    others += [word for group in (shop.models, shop.gauges, shop.faults) for item in group for word in item.words]
    others += [word for log in shop.logs for field, words in log.words.items() if field != "tech" for word in words]
    taken = {plain(other) for other in others} | {plain(family) for family in shop.families.values()}
    both = [term for term in terms if plain(term) in taken]
    if both:
        raise StoreProblem(
            f"{both[0]!r} is also the shop's word for something that is no person; rename one of the two in shop.toml "
            "first"
        )


def _free_code(shop: Shop, words: Sequence[str]) -> str:
    used = {word for tech in shop.techs for word in (tech.key, *tech.words)} | set(words)
    return next(code for number in range(1, 10_000) if (code := f"X{number:02d}") not in used)


def _techs_on_file(folder: Path) -> list[str]:
    """Every tech that a visit names, of two in a cell each by itself."""
    cells = open_snapshot(folder).table("visits", "tech")["tech"].unique().to_list()
    return sorted({*cells, *elsewhere.single_techs(cells)} - {""})


def _is_named(folder: Path, names: Names, words: Sequence[str]) -> bool:
    """Does any log, original or line of the book name somebody who is no tech of shop.toml?"""
    said = book.read(folder)
    if any(names.means(word) for word in (*words, *(each.name for each in people.everybody(folder)))) or any(
        names.out_of_name(name) != name for name in said["loads"]["name"]
    ):
        return True
    cells = [
        cell
        for table in said.values()
        for name, kind in table.schema.items()
        if kind == pl.String()
        for cell in table[name]
    ]
    if any(cell and names.out(cell) != cell for cell in cells):
        return True
    return any(without(data, names) != data for _, data in elsewhere.originals_in(folder))


def _rewrite_originals(folder: Path, names: Names) -> dict[str, str]:
    """Keep every original without the name; old SHA-256 to new. The old ones go once nobody names them any more."""
    renamed = {}
    for sha, data in elsewhere.originals_in(folder):
        new = without(data, names)
        if new != data:
            originals.keep(folder, new)
            renamed[sha] = originals.sha256(new)
    return renamed


def _rewrite_book(draft: Draft, names: Names, renamed: dict[str, str]) -> None:
    """Put new hashes and the code into every line of the book, of tables that a later version has made too."""
    connection = draft.connection
    log_ids = {originals.log_id(old): originals.log_id(new) for old, new in renamed.items()}
    told = connection.execute("SELECT name FROM book.sqlite_master WHERE type = 'table'").fetchall()
    for (table,) in told:
        columns = [column[0] for column in connection.execute(f'SELECT * FROM book."{table}" LIMIT 0').description]
        for rowid, *cells in connection.execute(f'SELECT rowid, * FROM book."{table}"').fetchall():
            new = {}
            for name, cell in zip(columns, cells, strict=True):
                if not isinstance(cell, str):
                    continue
                if name == "sha256":
                    made = renamed.get(cell, cell)
                elif name in (tables.LOG_ID, "replaces"):
                    made = log_ids.get(cell, cell)
                else:
                    made = names.out_of_name(cell) if name == "name" else names.out(cell)
                if made != cell:
                    new[name] = made
            if new:
                marks = ", ".join(f'"{name}" = ?' for name in new)
                connection.execute(f'UPDATE book."{table}" SET {marks} WHERE rowid = ?', (*new.values(), rowid))


def _no_older_versions(draft: Draft, n: int) -> None:
    """Only the newest version stays readable."""
    draft.connection.execute("DELETE FROM main.versions WHERE n < ?", (n,))
    for name in ledger.VERSIONED:
        draft.connection.execute(f"DELETE FROM main.{name} WHERE until IS NOT NULL")


def clean(folder: Path, shop: Shop) -> None:
    """Take out of the files what no version needs: originals that the book does not name, old Delta files and logs,
    free pages, rows of a log that was being read.
    """
    for waiting in (READING_IN, ARRIVING):
        shutil.rmtree(folder / waiting, ignore_errors=True)
    with ledger.writing(folder) as connection:
        named = set(book.lines(connection, "loads")["sha256"])
        for path in (folder / originals.FOLDER).glob("*"):
            if path.name.removesuffix(index.SUFFIX) not in named:
                path.unlink()
        found = ledger.newest(connection)
        for name, version in (found.tables if found else {}).items():
            if version is not None:
                Table(folder / "store" / name, version).forget_the_past()
        seals.note_files(connection, folder)
        kept_states.let_go(folder)
        kept_tables.let_go(folder)
        kept_texts.let_go(folder)
        worked_out.let_go(folder)  # under this lock: who opened the shop before adds nothing after it
    index.follow(folder, shop)
    for path in (folder / book.FILE, ledger.path_of(folder)):
        if path.exists():
            emptied(path)
            seals.seal(folder, path)

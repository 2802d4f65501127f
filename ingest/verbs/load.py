"""The verbs: load, unload, again. Each ends in one new version of the store for what it was given, or changes
nothing.
"""

import io
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path

import polars as pl

from ingest.reading.bounds import look_over, read_within
from ingest.reading.on_disk import Data
from ingest.reading.pieces import clear_old
from ingest.reading.reader import form_of
from ingest.reading.sheet import Progress
from ingest.reading.which_log import log_for
from ingest.shopfiles.shop import Shop, fingerprint, read_shop
from ingest.store import book, index, ledger, originals
from ingest.store.draft import Draft
from ingest.store.onfile import Entry
from ingest.store.problems import StoreProblem
from ingest.store.store import drafting, is_whole, log_called, pretending
from ingest.terms import tables
from ingest.verbs import backup
from ingest.verbs.ahead import Source, ahead
from ingest.verbs.decisions import Original, carried_over, standing_decisions
from ingest.verbs.from_originals import (
    READING,
    READING_IN,
    Came,
    bring_back,
    entries_of,
    keys_of,
    part_of,
    put_in,
    read_entry,
    take_out,
)
from ingest.verbs.loaded import Loaded, loaded_of, with_two_values
from ingest.verbs.sound import refuse_a_late_sheet, sound_shop, usable_shop

BATCH = 200_000  # readings and visits of the files that are committed together
PUT_BACK = "{name}: its original was gone or damaged and is put back"
_NOT_YET = 2**40  # `loaded` of a log that the book does not name yet: after all that it names


def load(
    folder: Path,
    files: Sequence[Path],
    *,
    check: bool = False,
    replaces: str | None = None,
    progress: Progress | None = None,
    now: datetime,
) -> list[Loaded]:
    """Load log files into a shop; what became of each, in the order given.

    check : say all, change nothing.  replaces : a log (file name or start of its hash) in whose place the one file
    comes.
    now : UTC; rows taken later are set aside.  Raises ShopProblem or StoreProblem, one line, where nothing can be
    loaded at all.
    """
    return load_data(
        folder,
        [(path.name, partial(_within, folder, path)) for path in files],
        check=check,
        replaces=replaces,
        progress=progress,
        now=now,
    )


def _within(folder: Path, path: Path) -> Data:
    """The bytes of a file, once it is seen that it may be a log; a long one is copied first, so that what is read and
    what is kept is one and the same, whatever becomes of the file.
    """
    shop = read_shop(folder / "shop.toml")
    return read_within(path, lambda name: form_of(name, shop), folder / READING_IN)


def load_data(
    folder: Path,
    sources: Sequence[Source],
    *,
    check: bool = False,
    replaces: str | None = None,
    progress: Progress | None = None,
    who: str = "",
    now: datetime,
) -> list[Loaded]:
    """As `load`, of files by name and bytes. Files are committed a good many rows at a time; each stands or falls by
    itself.
    """
    shop = sound_shop(folder, now=now)
    if replaces is not None and len(sources) != 1:
        raise StoreProblem(f"One file comes in the place of {replaces!r}; {len(sources)} were given")
    ensure(folder, progress=progress, now=now)
    clear_old(folder / READING_IN, now=now)
    said = book.Said(folder)
    became: dict[int, Loaded] = {}
    batch: list[Came] = []
    tell = _rising(progress)

    def one(place: int, name: str, data: Data) -> Came | Loaded:
        digest = originals.sha256(data) if isinstance(data, bytes) else data.digest
        entry = Entry(originals.log_id(digest), digest, name, _NOT_YET + place, now)
        if book.counts(folder, entry.log_id):
            put_back = not check and not originals.is_there(folder, digest)
            if put_back:
                originals.keep(folder, data)
            return Loaded(name, entry.log_id, "already loaded", notes=(PUT_BACK.format(name=name),) if put_back else ())
        if isinstance(data, bytes):  # what came by the browser was not looked over yet
            look_over(io.BytesIO(data), name, lambda it: form_of(it, shop))
        came = Came(place, *read_entry(folder, entry, data, shop, said, part_of(tell, place, len(sources), name)))
        refuse_a_late_sheet(came.sheet, name, now=now)
        return came

    def taking_in(place: int) -> Progress:
        rest = 1 - READING
        return lambda share, what: tell((place + READING + rest * share) / len(sources), f"{sources[place][0]}: {what}")

    commit = partial(_commit, folder, shop, check=check, replaces=replaces, who=who, now=now, tell=taking_in)
    for place, came in ahead(sources, one):
        if isinstance(came, Loaded):
            became[place] = came
            continue
        batch.append(came)
        if sum(came.sheet.size for came in batch) > BATCH:
            became |= commit(batch)
            batch = []
    if batch:
        tell((len(sources) - 1 + READING) / len(sources), "taking in what was read")
    became |= commit(batch)
    return [became[place] for place in range(len(sources))]


def _rising(progress: Progress | None) -> Progress:
    """A progress that never falls back, though files are read ahead of those that are taken in."""
    most = 0.0

    def tell(share: float, what: str) -> None:
        nonlocal most
        most = max(most, share)
        if progress:
            progress(most, what)

    return tell


def _commit(
    folder: Path,
    shop: Shop,
    batch: list[Came],
    *,
    check: bool,
    replaces: str | None,
    who: str,
    now: datetime,
    tell: Callable[[int], Progress],
) -> dict[int, Loaded]:
    """Bring files that were read into the store, as one version; `tell`: by place, how far a file is taken in."""
    if not batch:
        return {}
    became: dict[int, Loaded] = {}
    with pretending(folder) if check else drafting(folder, now) as draft:
        said = book.Said(folder)
        gone, replaced = "", None
        if replaces is not None:
            gone = log_called(draft.logs, replaces)
            replaced = keys_of(folder, shop, said, gone)
        fresh: list[Came] = []
        for came in batch:
            if came.entry.log_id in draft.logs["log_id"] or came.entry.log_id in {
                other.entry.log_id for other in fresh
            }:  # somebody was faster
                became[came.place] = Loaded(came.entry.name, came.entry.log_id, "already loaded")
            else:
                fresh.append(came)
        if gone:
            take_out(draft, folder, shop, said, gone)
        for came in fresh:
            if not check:
                # the note first: an original that no note names would be nobody's, were this the last that can be done
                index.note(folder, _coming(came.entry, shop, gone), sure=False)
                originals.keep(folder, came.data)
            draft.progress = tell(came.place)
            came, told = _with_decisions(draft, folder, shop, came, now)
            account = draft.add(came.entry, came.sheet, replaced)
            loaded = loaded_of(draft, account, [*came.sheet.notes, *told])
            became[came.place] = replace(loaded, columns=came.sheet.columns)
        bring_back(draft, folder, shop, said, fresh)
        became = dict(zip(became, with_two_values(draft, list(became.values())), strict=True))
        if fresh and not check:
            _enter(draft, folder, [came.entry for came in fresh], gone, now, who=who)
    if fresh and not check:
        index.follow(folder, shop, {came.entry.sha256 for came in fresh} | said_of(said, gone))
    return became


def _coming(entry: Entry, shop: Shop, gone: str) -> index.Noted:
    """The note on an original while its load is under way."""
    kind = log_for(entry.name, shop).name
    return index.Noted(entry.sha256, entry.name, kind, entry.at, 0, index.COMING, gone)


def said_of(said: dict[str, pl.DataFrame], log_id: str) -> set[str]:
    """The hash of the original of a log that the book names; nothing for ''."""
    return set(said["loads"].filter(pl.col("log_id") == log_id)["sha256"].to_list()) if log_id else set()


def _with_decisions(draft: Draft, folder: Path, shop: Shop, came: Came, now: datetime) -> tuple[Came, list[str]]:
    """A newer edition with what people decided about cells of the older ones, and what is to be said of it."""
    said = book.Said(folder)
    decided = pl.concat([table.select("log_id") for table in standing_decisions(said).values()])
    if decided.is_empty():
        return came, []
    older = [log_id for log_id in draft.older_editions(came.entry, came.sheet) if log_id in draft.logs["log_id"]]
    if decided.filter(pl.col("log_id").is_in(older)).is_empty():
        return came, []
    held = {log_id: _original(folder, draft.logs, log_id) for log_id in older}
    new = Original(came.entry.log_id, came.entry.name, came.data)
    over = carried_over(new, held, shop, said, folder / READING_IN)
    if over.is_empty():
        return came, []
    for name, lines in over.tables().items():
        for who, why, rows in lines:
            if draft.write:
                book.append(draft.connection, name, rows, now=now, who=who, why=why, schema="book")
            more = rows.with_columns(
                sequence=pl.lit(2**40, dtype=pl.Int64),
                at=pl.lit(now, dtype=tables.TIME),
                who=pl.lit(who),
                why=pl.lit(why),
            )
            said[name] = pl.concat([said[name], tables.shaped(more, book.SCHEMAS[name])])
    entry, _, sheet = read_entry(folder, came.entry, came.data, shop, said)
    return replace(came, entry=entry, sheet=sheet), over.notes


def _original(folder: Path, logs: pl.DataFrame, log_id: str) -> Original | None:
    """The file of a log as it came, None where it is no longer there."""
    name, sha = logs.filter(pl.col("log_id") == log_id).select("name", "sha256").row(0)
    try:
        return Original(log_id, name, originals.get(folder, sha))
    except (OSError, ValueError):
        return None


def _enter(draft: Draft, folder: Path, entries: Sequence[Entry], gone: str, now: datetime, *, who: str) -> None:
    """Write new logs into the book and end the version."""
    if gone:
        _unloaded(draft, folder, gone, now, "another file came in its place", who)
    rows = pl.DataFrame(
        {
            "log_id": [entry.log_id for entry in entries],
            "sha256": [entry.sha256 for entry in entries],
            "name": [entry.name for entry in entries],
            "what": "loaded",
            "replaces": gone,
        }
    )
    last = book.append(draft.connection, "loads", rows, now=now, who=who, schema="book")
    for place, entry in enumerate(entries):
        draft.connection.execute(
            "UPDATE main.logs SET loaded = ? WHERE log_id = ? AND until IS NULL",
            (last - len(entries) + 1 + place, entry.log_id),
        )
    what = f"loaded {entries[0].name}" + (f" and {len(entries) - 1} more" if len(entries) > 1 else "")
    draft.finish(what, now, fingerprint(folder), last)


def _unloaded(draft: Draft, folder: Path, log_id: str, now: datetime, why: str, who: str = "") -> int:
    """Write into the book that a log counts no longer."""
    line = (
        book.active_logs(book.loads(folder))
        .filter(pl.col("log_id") == log_id)
        .select("log_id", "sha256", "name", what=pl.lit("unloaded"))
    )
    return book.append(draft.connection, "loads", line, now=now, who=who, why=why, schema="book")


def ensure(folder: Path, *, progress: Progress | None = None, now: datetime) -> bool:
    """Make a missing or older store again from the originals; was there anything to do? A newer one raises
    StoreProblem.
    """
    if is_whole(folder):
        return False
    shop = usable_shop(folder)
    if ledger.path_of(folder).exists():
        backup.before("upgrade", folder, now=now)
    with drafting(folder, now) as draft:
        if draft.before is not None:  # somebody was faster
            return False
        said = book.read(folder)
        put_in(draft, folder, shop, said, entries_of(said), progress)
        draft.finish("made again from the originals", now, fingerprint(folder), book.last_sequence(folder))
    index.follow(folder, shop)
    return True


def unload(folder: Path, log: str, *, who: str = "", why: str = "", now: datetime) -> str:
    """Take a log out of the store (its original stays); its name. In the same version the rows come back that it had
    made "already held".

    log : a file name or the start of a hash.  Raises StoreProblem where no one log is meant.
    """
    shop = sound_shop(folder, now=now)
    ensure(folder, now=now)
    with ledger.reading(folder) as connection:
        log_called(ledger.held_rows(connection, "logs") if connection is not None else tables.empty(ledger.LOGS), log)
    backup.before("unload", folder, now=now)
    with drafting(folder, now) as draft:
        said = book.read(folder)
        log_id = log_called(draft.logs, log)
        name = str(draft.logs.filter(pl.col("log_id") == log_id)["name"].item())
        take_out(draft, folder, shop, said, log_id)
        draft.finish(f"unloaded {name}", now, fingerprint(folder), _unloaded(draft, folder, log_id, now, why, who))
    index.follow(folder, shop, said_of(said, log_id))
    return name

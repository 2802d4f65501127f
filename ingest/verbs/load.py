"""The verbs: load, unload, again. Each ends in one new version of the store for what it was given, or changes
nothing.
"""

import io
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

import polars as pl

from ingest.reading.bounds import look_over, read_within
from ingest.reading.corrections import marked
from ingest.reading.reader import form_of, log_for, read_log
from ingest.reading.sheet import Progress, Sheet
from ingest.reading.words import with_words
from ingest.shopfiles.shop import Shop, fingerprint, read_shop
from ingest.store import book, carried, index, ledger, originals
from ingest.store.draft import Draft
from ingest.store.editions import Told
from ingest.store.merge import KEY, with_key
from ingest.store.onfile import Entry
from ingest.store.problems import StoreProblem
from ingest.store.store import check_shop_files, drafting, is_whole, log_called, pretending
from ingest.store.whole import refuse_damage
from ingest.terms import tables
from ingest.terms.questions import FileProblem
from ingest.verbs import backup
from ingest.verbs.decisions import Original, carried_over, standing_decisions

READING = 0.6  # of the work of a file; the rest is taking it in
BATCH = 400_000  # readings and visits of the files that are committed together
AHEAD, SMALL = 4, 8_000_000  # files read ahead, each at most so many bytes
ACCOUNT = ("rows_read", "accepted", "changed", "already_held", "set_aside", "cells_set_aside", "passed_over")
CLOCKS_DIFFER = timedelta(days=1)  # between machines, before one of them is wrong
PUT_BACK = "{name}: its original was gone or damaged and is put back"
ROUNDS = 20  # of reading again what gave way; each settles more of it
UNREADABLE = "the file can no longer be read"
_NOT_YET = 2**40  # `loaded` of a log that the book does not name yet: after all that it names
Source = tuple[str, Callable[[], bytes]]  # file name, and what gives its bytes


@dataclass(frozen=True)
class Loaded:
    """What became of one file.

    rows_read = accepted + changed + already_held + set_aside; cells_set_aside and passed_over stand outside it.
    """

    name: str
    log_id: str = ""
    outcome: str = "loaded"  # loaded | already loaded | refused
    problem: str = ""  # why it was refused, one line
    rows_read: int = 0
    accepted: int = 0
    changed: int = 0
    already_held: int = 0
    set_aside: int = 0
    cells_set_aside: int = 0
    passed_over: int = 0
    questions: pl.DataFrame = field(default_factory=lambda: tables.empty(tables.SET_ASIDE))
    notes: tuple[str, ...] = ()
    two_values: pl.DataFrame = field(
        default_factory=lambda: tables.empty(carried.NAMED)
    )  # of its instruments; nothing is set aside for it
    columns: pl.DataFrame = field(default_factory=lambda: tables.empty(tables.COLUMNS))  # what each was taken for
    told: Told = field(default_factory=Told)  # what it is to the logs on file: a newer edition, an older one


@dataclass(frozen=True)
class _Came:
    """A file read, before it meets the store; its place among the files given."""

    place: int
    entry: Entry
    data: bytes
    sheet: Sheet


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


def _within(folder: Path, path: Path) -> bytes:
    """The bytes of a file, once it is seen that it may be a log."""
    shop = read_shop(folder / "shop.toml")
    return read_within(path, lambda name: form_of(name, shop))


def load_data(
    folder: Path,
    sources: Sequence[Source],
    *,
    check: bool = False,
    replaces: str | None = None,
    progress: Progress | None = None,
    now: datetime,
) -> list[Loaded]:
    """As `load`, of files by name and bytes. Files are committed a good many rows at a time; each stands or falls by
    itself.
    """
    shop = sound_shop(folder, now=now)
    if replaces is not None and len(sources) != 1:
        raise StoreProblem(f"One file comes in the place of {replaces!r}; {len(sources)} were given")
    ensure(folder, progress=progress, now=now)
    said = book.read(folder)
    known = set(book.active_logs(said["loads"])["log_id"])
    became: dict[int, Loaded] = {}
    batch: list[_Came] = []

    def one(place: int, name: str, data: bytes) -> _Came | Loaded:
        digest = originals.sha256(data)
        entry = Entry(originals.log_id(digest), digest, name, _NOT_YET + place, now)
        if entry.log_id in known:
            put_back = not check and not originals.is_there(folder, digest)
            if put_back:
                originals.keep(folder, data)
            return Loaded(name, entry.log_id, "already loaded", notes=(PUT_BACK.format(name=name),) if put_back else ())
        look_over(
            io.BytesIO(data), name, lambda it: form_of(it, shop)
        )  # what came by the browser was not looked over yet
        return _Came(place, *_read(entry, data, shop, said, _part(progress, place, len(sources), name)))

    for place, came in _ahead(sources, one):
        if isinstance(came, Loaded):
            became[place] = came
            continue
        batch.append(came)
        if sum(came.sheet.readings.height + came.sheet.visits.height for came in batch) > BATCH:
            became |= _commit(folder, shop, batch, check, replaces, now)
            batch = []
    if progress and batch:
        progress((len(sources) - 1 + READING) / len(sources), "taking in what was read")
    became |= _commit(folder, shop, batch, check, replaces, now)
    return [became[place] for place in range(len(sources))]


def _ahead(
    sources: Sequence[Source], one: Callable[[int, str, bytes], _Came | Loaded]
) -> Iterator[tuple[int, _Came | Loaded]]:
    """What `one` makes of each file, in order; small files are read by two threads while those before them are taken
    in.
    """
    waiting: deque[tuple[int, Future[_Came | Loaded]]] = deque()
    with ThreadPoolExecutor(2, thread_name_prefix="truerun-read") as readers:
        for place, (name, read) in enumerate(sources):
            try:
                data = read()
            except (OSError, FileProblem) as fault:
                said = (
                    str(fault).removeprefix(f"{name}: ")
                    if isinstance(fault, FileProblem)
                    else "this is a folder; wanted a log file"
                    if isinstance(fault, IsADirectoryError)
                    else f"could not be read ({fault.strerror or fault})"
                )
                refused: Future[_Came | Loaded] = Future()
                refused.set_result(Loaded(name, outcome="refused", problem=f"{name}: {said}"))
                waiting.append((place, refused))
                continue
            waiting.append((place, readers.submit(_or_refused, one, place, name, data)))
            while len(waiting) > (AHEAD if len(data) <= SMALL else 0):
                first, future = waiting.popleft()
                yield first, future.result()
        while waiting:
            first, future = waiting.popleft()
            yield first, future.result()


def _or_refused(one: Callable[[int, str, bytes], _Came | Loaded], place: int, name: str, data: bytes) -> _Came | Loaded:
    try:
        return one(place, name, data)
    except FileProblem as problem:
        return Loaded(name, outcome="refused", problem=str(problem))


def usable_shop(folder: Path) -> Shop:
    """The shop, all its files looked at; ShopProblem where one cannot be used."""
    check_shop_files(folder)
    return read_shop(folder / "shop.toml")


def sound_shop(folder: Path, *, now: datetime) -> Shop:
    """The shop for a verb that writes: StoreProblem, one line, where book or store are damaged, somebody else writes
    and does not end, or the clock stands before what was loaded already.
    """
    shop = usable_shop(folder)
    ledger.free(folder)
    refuse_damage(folder)
    latest = book.active_logs(book.loads(folder))["at"].max()
    if isinstance(latest, datetime) and now < latest - CLOCKS_DIFFER:
        raise StoreProblem(
            f"This machine's clock says {now:%Y-%m-%d %H:%M} UTC, but a log was loaded on {latest:%Y-%m-%d}: rows "
            "since then would be set aside as the future. Put the clock right; nothing was changed"
        )
    return shop


def _part(progress: Progress | None, place: int, count: int, name: str) -> Progress | None:
    """The progress of one thing of several."""
    if progress is None:
        return None
    return lambda share, what: progress((place + READING * share) / count, f"{name}: {what}")


def _read(
    entry: Entry, data: bytes, shop: Shop, said: dict[str, pl.DataFrame], progress: Progress | None = None
) -> tuple[Entry, bytes, Sheet]:
    """A log as the shop files and the book of today have it read."""
    shop = explained(shop, said)
    settled = book.standing_verdicts(said["settled"])
    mended = book.standing_corrections(said["corrections"]).filter(pl.col("log_id") == entry.log_id)
    limit = entry.judged_at or entry.at
    sheet = read_log(data, entry.name, shop, as_of_limit=limit, settled=settled, progress=progress)
    if mended.height:
        cells = {(line, column): value for line, column, value in mended.select("line", "column", "value").iter_rows()}
        sheet = _as_it_came(
            read_log(data, entry.name, shop, as_of_limit=limit, settled=settled, corrected=cells, progress=progress),
            sheet,
        )
    return replace(entry, kind=log_for(entry.name, shop).name if sheet.replaces else ""), data, sheet


def explained(shop: Shop, said: Mapping[str, pl.DataFrame]) -> Shop:
    """The shop with the words that the book explains."""
    return with_words(shop, book.standing_words(said["words"]).select("field", "word", "means").iter_rows())


def _as_it_came(sheet: Sheet, original: Sheet) -> Sheet:
    """A corrected log whose rows are still known by the text they came with, and whose changed readings are marked."""
    came = original.visits.select("line", "stage", came="text_hash").unique(["line", "stage"])
    visits = sheet.visits.join(came, on=["line", "stage"], how="left", maintain_order="left")
    visits = visits.with_columns(pl.coalesce("came", "text_hash").alias("text_hash")).drop("came")
    return replace(sheet, visits=visits, readings=marked(sheet.readings, original.readings))


def _commit(
    folder: Path, shop: Shop, batch: list[_Came], check: bool, replaces: str | None, now: datetime
) -> dict[int, Loaded]:
    """Bring files that were read into the store, as one version."""
    if not batch:
        return {}
    became: dict[int, Loaded] = {}
    with pretending(folder) if check else drafting(folder, now) as draft:
        said = book.read(folder)
        gone, replaced = "", None
        if replaces is not None:
            gone = log_called(draft.logs, replaces)
            replaced = _keys_of(folder, shop, said, gone)
        fresh: list[_Came] = []
        for came in batch:
            if came.entry.log_id in draft.logs["log_id"] or came.entry.log_id in {
                other.entry.log_id for other in fresh
            }:  # somebody was faster
                became[came.place] = Loaded(came.entry.name, came.entry.log_id, "already loaded")
            else:
                fresh.append(came)
        if gone:
            _take_out(draft, folder, shop, said, gone)
        for came in fresh:
            if not check:
                originals.keep(folder, came.data)
                index.note(folder, _coming(came.entry, shop, gone), sure=False)
            came, told = _with_decisions(draft, folder, shop, came, now)
            account = draft.add(came.entry, came.sheet, replaced)
            loaded = loaded_of(draft, account, [*came.sheet.notes, *told])
            became[came.place] = replace(loaded, columns=came.sheet.columns)
        bring_back(draft, folder, shop, said, fresh)
        became = dict(zip(became, with_two_values(draft, list(became.values())), strict=True))
        if fresh and not check:
            _enter(draft, folder, [came.entry for came in fresh], gone, now)
    if fresh and not check:
        index.follow(folder, shop, {came.entry.sha256 for came in fresh} | said_of(said, gone))
    return became


def _coming(entry: Entry, shop: Shop, gone: str) -> index.Noted:
    """The note on an original while its load is under way."""
    kind = log_for(entry.name, shop).name
    return index.Noted(entry.sha256, entry.name, kind, entry.at, 0, index.COMING, gone)


def said_of(said: dict[str, pl.DataFrame], log_id: str) -> set[str]:
    """The hash of the original of a log that the book names; nothing for ''."""
    return set(said["loads"].filter(pl.col("log_id") == log_id)["sha256"].to_list())


def loaded_of(draft: Draft, account: pl.DataFrame, notes: Sequence[str] = ()) -> Loaded:
    """The account of one log with its questions."""
    row = account.row(0, named=True)
    questions = ledger.held_rows(draft.connection, "set_aside", log_ids=[row["log_id"]])
    return Loaded(
        row["name"],
        row["log_id"],
        questions=questions,
        notes=tuple(notes),
        told=draft.told.get(row["log_id"], Told()),
        **{name: row[name] for name in ACCOUNT},
    )


def with_two_values(draft: Draft, files: Sequence[Loaded]) -> list[Loaded]:
    """What became of files, with the instruments of each of which all logs say two things where only one can hold."""
    found = draft.two_values([file.log_id for file in files if file.outcome == "loaded"])
    return [
        replace(file, two_values=found.filter((pl.col("log_id") == file.log_id) | (pl.col("other_log") == file.log_id)))
        for file in files
    ]


def _with_decisions(draft: Draft, folder: Path, shop: Shop, came: _Came, now: datetime) -> tuple[_Came, list[str]]:
    """A newer edition with what people decided about cells of the older ones, and what is to be said of it."""
    said = book.read(folder)
    decided = pl.concat([table.select("log_id") for table in standing_decisions(said).values()])
    if decided.is_empty():
        return came, []
    older = [log_id for log_id in draft.older_editions(came.entry, came.sheet) if log_id in draft.logs["log_id"]]
    if decided.filter(pl.col("log_id").is_in(older)).is_empty():
        return came, []
    held = {log_id: _original(folder, draft.logs, log_id) for log_id in older}
    over = carried_over(Original(came.entry.log_id, came.entry.name, came.data), held, shop, said)
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
    entry, _, sheet = _read(came.entry, came.data, shop, said)
    return replace(came, entry=entry, sheet=sheet), over.notes


def _original(folder: Path, logs: pl.DataFrame, log_id: str) -> Original | None:
    """The file of a log as it came, None where it is no longer there."""
    name, sha = logs.filter(pl.col("log_id") == log_id).select("name", "sha256").row(0)
    try:
        return Original(log_id, name, originals.fetch(folder, sha))
    except (OSError, ValueError):
        return None


def bring_back(
    draft: Draft, folder: Path, shop: Shop, said: dict[str, pl.DataFrame], fresh: Sequence[_Came] = ()
) -> None:
    """Read the logs again of which rows count now that counted nowhere, since what stood for them gave way."""
    here = {came.entry.log_id: came for came in fresh}
    for _ in range(ROUNDS):
        wanted, draft.wanted = draft.wanted, set()
        if not wanted:
            return
        draft.drop(sorted(wanted))
        _from_originals(draft, folder, shop, said, entries_of(said, wanted - here.keys()))
        for came in fresh:
            if came.entry.log_id in wanted:
                draft.add(came.entry, came.sheet)


def _enter(draft: Draft, folder: Path, entries: Sequence[Entry], gone: str, now: datetime) -> None:
    """Write new logs into the book and end the version."""
    if gone:
        _unloaded(draft, folder, gone, now, "another file came in its place")
    rows = pl.DataFrame(
        {
            "log_id": [entry.log_id for entry in entries],
            "sha256": [entry.sha256 for entry in entries],
            "name": [entry.name for entry in entries],
            "what": "loaded",
            "replaces": gone,
        }
    )
    last = book.append(draft.connection, "loads", rows, now=now, schema="book")
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
        book.active_logs(book.read(folder)["loads"])
        .filter(pl.col("log_id") == log_id)
        .select("log_id", "sha256", "name", what=pl.lit("unloaded"))
    )
    return book.append(draft.connection, "loads", line, now=now, who=who, why=why, schema="book")


def entries_of(said: dict[str, pl.DataFrame], log_ids: Iterable[str] | None = None) -> list[Entry]:
    """The logs that count, in the order they were loaded; all or some."""
    active = book.active_logs(said["loads"])
    if log_ids is not None:
        active = active.filter(pl.col("log_id").is_in(list(log_ids)))
    wanted = active.select("log_id", "sha256", "name", "sequence", "at", "replaces")
    return [
        Entry(log_id, sha, name, sequence, at, "", replaces)
        for log_id, sha, name, sequence, at, replaces in wanted.iter_rows()
    ]


def put_in(
    draft: Draft,
    folder: Path,
    shop: Shop,
    said: dict[str, pl.DataFrame],
    entries: Sequence[Entry],
    progress: Progress | None = None,
) -> dict[str, tuple[str, ...]]:
    """Read logs from their originals, under the shop files and the book of today, and put them in; what is to be asked
    once of each.
    """
    notes = _from_originals(draft, folder, shop, said, entries, progress)
    bring_back(draft, folder, shop, said)
    return notes


def _from_originals(
    draft: Draft,
    folder: Path,
    shop: Shop,
    said: dict[str, pl.DataFrame],
    entries: Sequence[Entry],
    progress: Progress | None = None,
) -> dict[str, tuple[str, ...]]:
    notes = {}
    for place, came in enumerate(entries):
        entry = replace(came, judged_at=max(came.at, draft.now)) if draft.now else came
        try:
            data = originals.fetch(folder, entry.sha256)
            read = _Came(place, *_read(entry, data, shop, said, _part(progress, place, len(entries), entry.name)))
        except (FileProblem, OSError, ValueError) as fault:
            read = _Came(place, entry, b"", _unreadable(entry, fault))
        replaced = _keys_of(folder, shop, said, entry.replaces) if entry.replaces else None
        draft.add(read.entry, read.sheet, replaced)
        notes[entry.log_id] = tuple(read.sheet.notes)
    return notes


def _unreadable(entry: Entry, fault: Exception) -> Sheet:
    """A log that can no longer be read is one question: nothing is lost in silence."""
    wanted = "the shop file as it was, or the original put back; then `truerun again`"
    reason = f"{UNREADABLE}: {' '.join(str(fault).split())}"
    question = pl.DataFrame(
        {"log_id": [entry.log_id], "name": [entry.name], "line": [0], "reason": [reason], "wanted": [wanted]}
    )
    none = {
        name: tables.empty(schema)
        for name, schema in (("visits", tables.VISITS), ("readings", tables.READINGS), ("faults", tables.FAULTS))
    }
    visits = none["visits"].with_columns(ordinal=pl.lit(0, dtype=pl.Int64), text_hash=pl.lit(0, dtype=pl.Int64))
    trials = tables.empty(tables.GAUGE_TRIALS)
    return Sheet(
        visits,
        none["readings"],
        none["faults"],
        trials,
        tables.shaped(question, tables.SET_ASIDE),
        0,
        0,
        1,
        0,
        [],
        False,
    )


def _keys_of(folder: Path, shop: Shop, said: dict[str, pl.DataFrame], log_id: str) -> pl.DataFrame | None:
    """KEY and text_hash of the visits of a log in whose place another came, None where it cannot be read any more."""
    line = said["loads"].filter((pl.col("log_id") == log_id) & (pl.col("what") == "loaded")).tail(1)
    if line.is_empty():
        return None
    sha, name, at = line.select("sha256", "name", "at").row(0)
    try:
        _, _, sheet = _read(Entry(log_id, sha, name, 0, at), originals.fetch(folder, sha), shop, said)
    except (FileProblem, OSError, ValueError):
        return None
    return with_key(sheet.visits.lazy()).select(*KEY, "text_hash").collect()


def _take_out(draft: Draft, folder: Path, shop: Shop, said: dict[str, pl.DataFrame], log_id: str) -> None:
    """Take a log out; the logs that share visits with it are read again, so that what it had made "already held" comes
    back.
    """
    near = ledger.neighbours(draft.connection, {log_id})
    draft.drop(sorted(near))
    put_in(draft, folder, shop, said, entries_of(said, near - {log_id}))


def read_again(
    draft: Draft,
    folder: Path,
    shop: Shop,
    said: dict[str, pl.DataFrame],
    log_ids: Iterable[str],
    progress: Progress | None = None,
) -> dict[str, tuple[str, ...]]:
    """Read some logs anew, with all that share visits with them."""
    near = ledger.neighbours(draft.connection, set(log_ids))
    draft.drop(sorted(near))
    return put_in(draft, folder, shop, said, entries_of(said, near), progress)


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
        _take_out(draft, folder, shop, said, log_id)
        draft.finish(f"unloaded {name}", now, fingerprint(folder), _unloaded(draft, folder, log_id, now, why, who))
    index.follow(folder, shop, said_of(said, log_id))
    return name

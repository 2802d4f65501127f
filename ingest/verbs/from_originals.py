"""Logs read from their originals, under the shop files and the book of today, into a draft and out of it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import polars as pl

from ingest.reading.corrections import marked
from ingest.reading.on_disk import Data
from ingest.reading.pieces import Frames, Pieces
from ingest.reading.reader import read_log
from ingest.reading.sheet import Progress, Sheet
from ingest.reading.which_log import log_for
from ingest.reading.words import with_words
from ingest.shopfiles.shop import Shop
from ingest.store import book, ledger, originals
from ingest.store.draft import Draft
from ingest.store.merge import KEY
from ingest.store.onfile import Entry
from ingest.terms import tables
from ingest.terms.questions import FileProblem

READING = 0.6  # of the work of a file; the rest is taking it in
ARRIVING = "store/arriving"  # where a large file stands that comes from a browser, until it is loaded
READING_IN = "store/reading"  # of the shop's folder: where rows of a long log wait
ROUNDS = 20  # of reading again what gave way; each settles more of it
UNREADABLE = "the file can no longer be read"


@dataclass(frozen=True)
class Came:
    """A file read, before it meets the store; its place among the files given."""

    place: int
    entry: Entry
    data: Data
    sheet: Sheet


def part_of(progress: Progress | None, place: int, count: int, name: str) -> Progress | None:
    """The progress of one thing of several."""
    if progress is None:
        return None
    return lambda share, what: progress((place + READING * share) / count, f"{name}: {what}")


def read_entry(
    folder: Path, entry: Entry, data: Data, shop: Shop, said: dict[str, pl.DataFrame], progress: Progress | None = None
) -> tuple[Entry, Data, Sheet]:
    """A log as the shop files and the book of today have it read; of a long one the rows wait in the store's folder."""
    shop = explained(shop, said)
    settled = book.standing_verdicts(said["settled"])
    mended = book.standing_corrections(said["corrections"]).filter(pl.col("log_id") == entry.log_id)
    limit = entry.judged_at or entry.at
    reading = partial(
        read_log,
        data,
        entry.name,
        shop,
        as_of_limit=limit,
        settled=settled,
        progress=progress,
        on_disk=folder / READING_IN,
    )
    sheet = reading()
    if mended.height:
        cells = {(line, column): value for line, column, value in mended.select("line", "column", "value").iter_rows()}
        sheet = _as_it_came(reading(corrected=cells), sheet, mended["line"])
    return replace(entry, kind=log_for(entry.name, shop).name if sheet.replaces else ""), data, sheet


def explained(shop: Shop, said: Mapping[str, pl.DataFrame]) -> Shop:
    """The shop with the words that the book explains."""
    return with_words(shop, book.standing_words(said["words"]).select("field", "word", "means").iter_rows())


def _as_it_came(sheet: Sheet, original: Sheet, lines: pl.Series) -> Sheet:
    """A corrected log whose rows are still known by the text they came with, and whose changed readings are marked.

    Both are read in the same pieces; only what stands on a corrected line may have come to stand in another.
    """
    if sheet.pieces is None or original.pieces is None:
        rows = _marked(sheet.whole(), [original.whole()])
        return replace(sheet, visits=rows["visits"], readings=rows["readings"], faults=rows["faults"], pieces=None)
    moved, made = original.rows_of(lines), Pieces(sheet.pieces.root)
    for place, (mended, came) in enumerate(zip(sheet.parts(), original.parts(), strict=True)):
        rows = _marked(mended, [came, moved])
        made.add(rows["visits"], [rows["readings"]], rows["faults"], sheet.pieces.table_of(place))
    return replace(sheet, pieces=made)


def _marked(mended: Frames, before: Sequence[Frames]) -> Frames:
    came = pl.concat([frames["visits"].select("line", "stage", came="text_hash") for frames in before])
    visits = mended["visits"].join(
        came.unique(["line", "stage"], keep="first"), on=["line", "stage"], how="left", maintain_order="left"
    )
    visits = visits.with_columns(pl.coalesce("came", "text_hash").alias("text_hash")).drop("came")
    readings = pl.concat([frames["readings"] for frames in before])
    return mended | {"visits": visits, "readings": marked(mended["readings"], readings)}


def bring_back(
    draft: Draft, folder: Path, shop: Shop, said: dict[str, pl.DataFrame], fresh: Sequence[Came] = ()
) -> None:
    """Read the logs again of which rows count now that counted nowhere, since what stood for them gave way."""
    here = {came.entry.log_id: came for came in fresh}
    for _ in range(ROUNDS):
        wanted, draft.wanted = draft.wanted, set()
        if not wanted:
            return
        draft.drop(sorted(wanted), again=True)
        _from_originals(draft, folder, shop, said, entries_of(said, wanted - here.keys()))
        for came in sorted(fresh, key=lambda one: one.sheet.covers[:1]):  # of a cut visit the earlier part stands
            if came.entry.log_id in wanted:
                draft.add(came.entry, came.sheet)


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
            data = originals.get(folder, entry.sha256)
            read = Came(
                place, *read_entry(folder, entry, data, shop, said, part_of(progress, place, len(entries), entry.name))
            )
        except (FileProblem, OSError, ValueError) as fault:
            read = Came(place, entry, b"", _unreadable(entry, fault))
        replaced = keys_of(folder, shop, said, entry.replaces) if entry.replaces else None
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


def keys_of(folder: Path, shop: Shop, said: dict[str, pl.DataFrame], log_id: str) -> pl.DataFrame | None:
    """KEY and text_hash of the visits of a log in whose place another came, None where it cannot be read any more."""
    line = said["loads"].filter((pl.col("log_id") == log_id) & (pl.col("what") == "loaded")).tail(1)
    if line.is_empty():
        return None
    sha, name, at = line.select("sha256", "name", "at").row(0)
    try:
        _, _, sheet = read_entry(folder, Entry(log_id, sha, name, 0, at), originals.get(folder, sha), shop, said)
    except (FileProblem, OSError, ValueError):
        return None
    return sheet.keyed().select(*KEY, "text_hash")


def take_out(draft: Draft, folder: Path, shop: Shop, said: dict[str, pl.DataFrame], log_id: str) -> None:
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

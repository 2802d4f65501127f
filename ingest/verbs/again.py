"""`again`: open questions are tried anew; `again --all` reads every original under today's shop files and says what
changes before it is kept.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from ingest.reading.sheet import Progress
from ingest.shopfiles.shop import fingerprint
from ingest.store import book, index, ledger
from ingest.store.delta import KEPT, Table
from ingest.store.draft import Draft
from ingest.store.store import drafting
from ingest.verbs import backup
from ingest.verbs.from_originals import entries_of, put_in, read_again
from ingest.verbs.load import ensure
from ingest.verbs.loaded import ACCOUNT, Loaded, loaded_of, with_two_values
from ingest.verbs.sound import sound_shop


@dataclass(frozen=True)
class Change:
    """What reading one log anew changes; nothing: all numbers agree."""

    name: str
    log_id: str
    before: dict[str, int]  # the account, as of `Loaded`
    after: dict[str, int]
    came: dict[str, int]  # rows of visits, readings and faults that were not held so before
    went: dict[str, int]  # rows that were held and are no longer

    @property
    def is_one(self) -> bool:
        """Does anything change?"""
        return self.before != self.after or any(self.came.values()) or any(self.went.values())

    @property
    def leaves_nothing(self) -> bool:
        """Did the log hold something of which nothing would be left?"""
        held = ("accepted", "changed", "already_held")
        return sum(self.before[name] for name in held) > 0 and sum(self.after[name] for name in held) == 0


class NotAgreed(Exception):
    """Somebody has seen what would change, and does not want it."""


def again(folder: Path, *, progress: Progress | None = None, now: datetime) -> list[Loaded]:
    """Read the logs with open questions anew, under today's shop files; what became of each. Nothing open: no new
    version.
    """
    shop = sound_shop(folder, now=now)
    ensure(folder, now=now)
    with drafting(folder, now) as draft:
        asked = ledger.held_rows(draft.connection, "set_aside")["log_id"].unique().to_list()
        waiting = [entry.log_id for entry in entries_of(book.read(folder), asked)]
        if not waiting:
            return []
        notes = read_again(draft, folder, shop, book.read(folder), waiting, progress)
        draft.finish("open questions tried again", now, fingerprint(folder), book.last_sequence(folder))
        accounts = [draft.logs.filter(pl.col("log_id") == log_id) for log_id in waiting]
        became = [
            loaded_of(draft, account, notes.get(log_id, ())) for log_id, account in zip(waiting, accounts, strict=True)
        ]
        return with_two_values(draft, became)


def again_all(
    folder: Path,
    agree: Callable[[list[Change]], bool],
    *,
    progress: Progress | None = None,
    now: datetime,
    kept: bool = False,
) -> list[Change]:
    """Read every original anew; what changed, log by log.

    agree : is asked with what would change; where it says no, NotAgreed is raised and nothing is changed.
    kept : somebody has made the backup already.
    """
    shop = sound_shop(folder, now=now)
    if ensure(folder, progress=progress, now=now):
        return []
    if not kept:
        backup.before("again", folder, now=now)
    with drafting(folder, now) as draft:
        said = book.read(folder)
        before = draft.logs
        draft.drop(sorted(before["log_id"].to_list()))
        put_in(draft, folder, shop, said, entries_of(said), progress)
        draft.flush()
        changes = [change for change in _changes(draft, before) if change.is_one]
        if not agree(changes):
            raise NotAgreed
        draft.finish("every original read again", now, fingerprint(folder), book.last_sequence(folder))
    index.follow(folder, shop)
    return changes


def _changes(draft: Draft, before: pl.DataFrame) -> list[Change]:
    came = {name: _counts(draft, name, new=True) for name in ledger.DELTA}
    went = {name: _counts(draft, name, new=False) for name in ledger.DELTA}
    old = {row["log_id"]: row for row in before.iter_rows(named=True)}
    out = []
    for row in draft.logs.sort("loaded").iter_rows(named=True):
        log_id = row["log_id"]
        account = {name: row[name] for name in ACCOUNT}
        was = {name: old[log_id][name] for name in ACCOUNT} if log_id in old else dict.fromkeys(ACCOUNT, 0)
        out.append(
            Change(
                row["name"],
                log_id,
                was,
                account,
                {k: v.get(log_id, 0) for k, v in came.items()},
                {k: v.get(log_id, 0) for k, v in went.items()},
            )
        )
    return out


def _counts(draft: Draft, name: str, *, new: bool) -> dict[str, int]:
    """Rows by log that are in the new table and not in the old one, or the other way about."""
    now = draft.stored[name]
    was = Table(now.path, draft.before.tables[name] if draft.before else None)
    one, other = (now, was) if new else (was, now)
    if one.version is None:
        return {}
    rows = one.scan()
    if other.version is not None:
        rows = rows.join(other.scan(), on=list(KEPT[name]), how="anti", nulls_equal=True)
    return dict(rows.group_by("log_id").len().collect().iter_rows())

"""The way in as a stranger walks it: `new --answers FILE --yes`, load, and what the store then holds of the truth."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl

from ingest.beginning.answers import checked_answers
from ingest.beginning.new import Proposal, propose, write
from ingest.store.snapshot import Snapshot
from ingest.store.store import open_snapshot
from ingest.verbs.load import load
from tests.ingest.strangers.truth import Agreement, Key, Stranger, agreement

NOW = datetime(2027, 6, 1, tzinfo=UTC)
KEYS = {"nut": "nut_height", "head": "head_tension"}  # the program's keys for what the truth calls otherwise


@dataclass(frozen=True)
class Walked:
    """What came of it."""

    proposal: Proposal
    snapshot: Snapshot
    readings: Agreement
    send_backs: set[tuple[str, str, str]]  # true but not stored, or stored but not true
    accounts: list[str]


def walk(stranger: Stranger, folder: Path) -> Walked:
    """A stranger's sheets from nothing to a store."""
    files = list(stranger.files.items())
    proposal = propose(files, said=checked_answers(tomllib.loads(stranger.answers)))
    write(folder, proposal)
    sheets = folder.parent / "sheets"
    sheets.mkdir()
    for name, data in files:
        (sheets / name).write_bytes(data)
    came = load(folder, [sheets / name for name, _ in files], now=NOW)
    accounts = [f"{each.name}: {each.outcome} {each.problem}, set aside {each.set_aside} rows" for each in came]
    snapshot = open_snapshot(folder)
    held = agreement(stranger.truth, _readings(snapshot))
    visits = snapshot.table("visits", "serial", "stage", "outcome", "sent_back_to")
    back = set(visits.filter(pl.col("outcome") == "send back").select("serial", "stage", "sent_back_to").rows())
    return Walked(proposal, snapshot, held, set(stranger.truth.send_backs) ^ back, accounts)


def _readings(snapshot: Snapshot) -> list[tuple[Key, float]]:
    zone = ZoneInfo(snapshot.shop.shop.timezone)
    table = snapshot.table("readings", "serial", "stage", "taken_at", "characteristic", "position", "moment", "value")
    out = []
    for serial, stage, at, what, position, moment, value in table.iter_rows():
        key = (serial, stage, at.astimezone(zone).date().isoformat(), KEYS.get(what, what), position, moment)
        out.append((key, value))
    return out

"""Tablets at benches: enrolled by a code that the manager's screen shows, for one bench, and taken away again."""

import secrets
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path

from ingest.access import file
from ingest.access.people import LONGEST, AccessProblem

LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"  # none that looks like another
LENGTH, LASTS = 8, 900.0  # letters of a code, seconds it holds


@dataclass(frozen=True)
class Tablet:
    """A tablet that was enrolled."""

    id: int
    name: str
    stage: str
    made_by: str
    enrolled_at: str  # UTC, as text
    revoked_at: str  # '' while it may be used
    seen_at: str
    waiting: int  # cards that it holds and could not send, as it last told
    clock_off: float  # seconds its clock stands ahead


def new_code(folder: Path, name: str, stage: str, who: str, *, now: datetime) -> str:
    """A code that enrols one tablet for one bench, once, within a quarter of an hour."""
    name = " ".join(name.split())
    if not name or len(name) > LONGEST or not name.isprintable():
        raise AccessProblem(f"a tablet's name is one line of at most {LONGEST} characters")
    code = "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
    with file.writing(folder) as connection:
        connection.execute("DELETE FROM codes WHERE until < ?", (now.timestamp(),))
        connection.execute(
            "INSERT INTO codes VALUES (?, ?, ?, ?, ?)", (_kept(code), name, stage, who, now.timestamp() + LASTS)
        )
    return code


def enrol(folder: Path, code: str, *, now: datetime) -> Tablet | None:
    """Take a code in; the tablet it stands for, None where it is none, was used, or is too old."""
    said = _kept("".join(letter for letter in code.upper() if letter in LETTERS))
    with file.writing(folder) as connection:
        row = connection.execute("SELECT name, stage, made_by, until FROM codes WHERE code = ?", (said,)).fetchone()
        connection.execute("DELETE FROM codes WHERE code = ?", (said,))
        if row is None or row[3] < now.timestamp():
            return None
        at = now.isoformat(timespec="seconds")
        made = connection.execute(
            "INSERT INTO tablets (name, stage, made_by, enrolled_at, revoked_at, seen_at, waiting, clock_off) "
            "VALUES (?, ?, ?, ?, '', ?, 0, 0)",
            (row[0], row[1], row[2], at, at),
        )
        return Tablet(int(made.lastrowid or 0), row[0], row[1], row[2], at, "", at, 0, 0.0)


def revoke(folder: Path, number: int, *, now: datetime) -> None:
    """Take a tablet's right away; whatever it has open ends with that."""
    with file.writing(folder) as connection:
        at = now.isoformat(timespec="seconds")
        connection.execute("UPDATE tablets SET revoked_at = ? WHERE id = ? AND revoked_at = ''", (at, number))
        connection.execute("DELETE FROM sessions WHERE tablet = ?", (number,))


def tell(folder: Path, number: int, waiting: int, clock_off: float, *, now: datetime) -> None:
    """Keep what a tablet says of itself: cards that wait on it, seconds its clock stands ahead."""
    with file.writing(folder) as connection:
        connection.execute(
            "UPDATE tablets SET waiting = ?, clock_off = ?, seen_at = ? WHERE id = ?",
            (waiting, clock_off, now.isoformat(timespec="seconds"), number),
        )


def enrolled(folder: Path) -> list[Tablet]:
    """Every tablet that may be used, the one enrolled last first."""
    with file.reading(folder) as connection:
        if connection is None:
            return []
        rows = connection.execute(
            "SELECT id, name, stage, made_by, enrolled_at, revoked_at, seen_at, waiting, clock_off FROM tablets "
            "WHERE revoked_at = '' ORDER BY id DESC"
        ).fetchall()
    return [Tablet(*row) for row in rows]


def _kept(code: str) -> bytes:
    return sha256(code.encode()).digest()

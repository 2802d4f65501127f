"""What is signed in now: a person in a browser, or a tablet at a bench. A session ends by itself, by signing out, and
with the person or the tablet.

The browser holds 256 random bits; the file holds their hash. Source: OWASP Application Security Verification Standard
4.0.3, chapter V3.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path

from ingest.access import file
from ingest.access.people import BENCH, key_of

IDLE, WHOLE = 2 * 3600.0, 12 * 3600.0  # seconds of a person's session: without a request, and in all
TABLET_IDLE = 30 * 86_400.0  # of a tablet that nobody has switched on
SEEN_EVERY = 60.0  # seconds between two notes that a session is in use


@dataclass(frozen=True)
class Signed:
    """Who is behind a request."""

    name: str
    role: str
    tech: str = ""  # of shop.toml, of somebody at a bench
    tablet: int = 0  # its number, of a tablet
    stage: str = ""  # the one bench of a tablet


def begin(folder: Path, name: str, *, now: datetime, tablet: int = 0) -> str:
    """A new session of a person (or of a tablet, whose `name` is ''); the token that its browser holds."""
    token, at = secrets.token_urlsafe(32), now.timestamp()
    with file.writing(folder) as connection:
        connection.execute("DELETE FROM sessions WHERE tablet = 0 AND begun < ?", (at - WHOLE,))
        person = key_of(name) if not tablet else ""
        connection.execute("INSERT INTO sessions VALUES (?, ?, ?, ?, ?)", (_kept(token), person, tablet, at, at))
    return token


def look(folder: Path, token: str, *, now: datetime) -> Signed | None:
    """Whose session it is; None where it is none, has ended, or its person or tablet is gone."""
    if not 40 <= len(token) <= 60:
        return None
    at = now.timestamp()
    with file.reading(folder) as connection:
        if connection is None:
            return None
        row = connection.execute(
            "SELECT s.begun, s.seen, s.tablet, p.name, p.role, p.tech, t.name, t.stage FROM sessions s "
            "LEFT JOIN people p ON p.key = s.person LEFT JOIN tablets t ON t.id = s.tablet AND t.revoked_at = '' "
            "WHERE s.token = ?",
            (_kept(token),),
        ).fetchone()
    if row is None:
        return None
    begun, seen, tablet, name, role, tech, tablet_name, stage = row
    idle, whole = (TABLET_IDLE, None) if tablet else (IDLE, WHOLE)
    if at - seen > idle or (whole and at - begun > whole):
        return None
    if (tablet and tablet_name is None) or (not tablet and name is None):
        return None
    if at - seen > SEEN_EVERY:
        with file.writing(folder) as connection:
            connection.execute("UPDATE sessions SET seen = ? WHERE token = ?", (at, _kept(token)))
            connection.execute(
                "UPDATE tablets SET seen_at = ? WHERE id = ?", (now.isoformat(timespec="seconds"), tablet)
            )
    return Signed(tablet_name, BENCH, "", tablet, stage) if tablet else Signed(name, role, tech)


def end(folder: Path, token: str) -> None:
    """Sign out."""
    with file.writing(folder) as connection:
        connection.execute("DELETE FROM sessions WHERE token = ?", (_kept(token),))


def end_all(folder: Path, name: str, *, but: str = "") -> int:
    """End whatever a person has open, but for one token; how many."""
    with file.writing(folder) as connection:
        gone = connection.execute("DELETE FROM sessions WHERE person = ? AND token != ?", (key_of(name), _kept(but)))
        return int(gone.rowcount)


def drop_all(folder: Path) -> None:
    """End every session, as after a restore."""
    if (folder / file.FILE).exists():
        with file.writing(folder) as connection:
            connection.execute("DELETE FROM sessions")


def _kept(token: str) -> bytes:
    return sha256(token.encode()).digest()

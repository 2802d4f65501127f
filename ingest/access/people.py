"""People who may sign in: a name, a role, a password, and where figures of their own are meant the tech they are."""

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from ingest.access import file, passwords
from ingest.terms.problems import Problem

MANAGER, TRAINER, BENCH, GUEST = "manager", "trainer", "bench", "guest"
ROLES = {  # what each may, in words
    MANAGER: "everything",
    TRAINER: "all pages, target cards and signing off, entries in the book; no loads, no decisions on limits or weeks",
    BENCH: "Card, and figures of one's own",
    GUEST: "Week, without people",
}
LONGEST = 60  # characters of a name


class AccessProblem(Problem):
    """What somebody asked of the list of people cannot be done, in one line."""


@dataclass(frozen=True)
class Person:
    """Somebody who may sign in."""

    name: str
    role: str
    tech: str  # of shop.toml, '' of nobody who works at a bench
    made_at: str  # UTC, as text
    signed_in_at: str  # '' where never


def key_of(name: str) -> str:
    """One name whatever its spaces and capitals."""
    return " ".join(name.split()).casefold()


def add(folder: Path, name: str, role: str, password: str, *, tech: str = "", now: datetime) -> Person:
    """Let somebody sign in; AccessProblem where that cannot be: a role, a name or a password that is none."""
    name = " ".join(name.split())
    if not name or len(name) > LONGEST or not name.isprintable():
        raise AccessProblem(f"a name is one line of at most {LONGEST} characters")
    if role not in ROLES:
        raise AccessProblem(f"{role!r} is no role; wanted one of {', '.join(ROLES)}")
    if role == BENCH and not tech:
        raise AccessProblem("somebody at a bench sees figures of their own: say which tech of shop.toml with --tech")
    secret = secret_of(password, name, folder.resolve().name)
    told = Person(name, role, tech, now.isoformat(timespec="seconds"), "")
    with file.writing(folder) as connection:
        if connection.execute("SELECT 1 FROM people WHERE key = ?", (key_of(name),)).fetchone():
            raise AccessProblem(f"{name} may sign in already; take them off the list first: truerun people remove")
        connection.execute(
            "INSERT INTO people VALUES (?, ?, ?, ?, ?, ?, ?)",
            (key_of(name), told.name, told.role, told.tech, secret, told.made_at, ""),
        )
    return told


def secret_of(password: str, *about: str) -> bytes:
    """What is kept of a new password; AccessProblem, saying why, where it is not taken."""
    why = passwords.wrong(password, *about)
    if why:
        raise AccessProblem(f"this password is not taken: {why}")
    return passwords.hashed(password)


def remove(folder: Path, name: str) -> Person:
    """Take somebody off the list; whatever they have open ends with that."""
    with file.reading(folder) as connection:
        found = None if connection is None else _of(connection, name)
    if found is None:
        raise AccessProblem(f"nobody called {name!r} may sign in; `truerun people list` says who may")
    with file.writing(folder) as connection:
        connection.execute("DELETE FROM sessions WHERE person = ?", (key_of(name),))
        connection.execute("DELETE FROM people WHERE key = ?", (key_of(name),))
    return found


def everybody(folder: Path) -> list[Person]:
    """Who may sign in, by name."""
    with file.reading(folder) as connection:
        if connection is None:
            return []
        rows = connection.execute("SELECT name, role, tech, made_at, signed_in_at FROM people ORDER BY key").fetchall()
    return [Person(*row) for row in rows]


def signing_in(folder: Path, name: str, password: str, *, now: datetime) -> Person | None:
    """Whoever it is, where name and password fit; None, after as long, where they do not."""
    with file.reading(folder) as connection:
        row = None if connection is None else connection.execute(
            "SELECT secret FROM people WHERE key = ?", (key_of(name),)
        ).fetchone()  # fmt: skip
        found = None if connection is None else _of(connection, name)
    if not passwords.fits(row[0] if row else None, password):
        return None
    with file.writing(folder) as connection:
        at = now.isoformat(timespec="seconds")
        connection.execute("UPDATE people SET signed_in_at = ? WHERE key = ?", (at, key_of(name)))
    return found


def new_password(folder: Path, name: str, password: str) -> None:
    """Put another password in the place of one; whatever else they have open is ended by `sessions.end_all`."""
    secret = secret_of(password, name, folder.resolve().name)
    with file.writing(folder) as connection:
        connection.execute("UPDATE people SET secret = ? WHERE key = ?", (secret, key_of(name)))


def forget(folder: Path, means: Callable[[str], bool]) -> int:
    """Take everybody off the list whose name or tech is meant (`means`: a word -> is it the person?); how many."""
    gone = [each for each in everybody(folder) if means(each.name) or (each.tech and means(each.tech))]
    for each in gone:
        remove(folder, each.name)
    return len(gone)


def _of(connection: sqlite3.Connection, name: str) -> Person | None:
    row = connection.execute(
        "SELECT name, role, tech, made_at, signed_in_at FROM people WHERE key = ?", (key_of(name),)
    ).fetchone()
    return Person(*row) if row else None

"""The trail: who did or read what, and when. A line stands for good but for `forget`, which takes a name out of it."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from ingest.access import file

READ = "read figures on people"  # what of a line that says whose figures were looked at
ONCE = timedelta(minutes=10)  # the same look twice within it is one line
EVERYBODY = "*"  # about: figures that show all techs side by side
AT_THE_MACHINE = "at the command line"  # who: nobody signs in there
LONGEST = 300  # characters of what a line is about


@dataclass(frozen=True)
class Line:
    """One line of the trail."""

    at: datetime
    who: str
    role: str
    what: str
    about: str


def note(folder: Path, who: str, role: str, what: str, about: str = "", *, now: datetime) -> None:
    """Write one line."""
    with file.writing(folder) as connection:
        connection.execute(
            "INSERT INTO trail (at, who, role, what, about) VALUES (?, ?, ?, ?, ?)",
            (_text(now), who, role, what, about[:LONGEST]),
        )


def note_reading(folder: Path, who: str, role: str, tech: str, where: str, *, now: datetime) -> None:
    """Write that somebody looked at figures of a tech, or of EVERYBODY, once in a while for the same look."""
    about = f"{tech}: {where}"
    with file.reading(folder) as connection:
        before = None if connection is None else connection.execute(
            "SELECT 1 FROM trail WHERE what = ? AND about = ? AND who = ? AND at > ?",
            (READ, about, who, _text(now - ONCE)),
        ).fetchone()  # fmt: skip
    if before is None:
        note(folder, who, role, READ, about, now=now)


def newest(folder: Path, count: int = 200) -> list[Line]:
    """The last lines, newest first."""
    return _lines(folder, "ORDER BY id DESC LIMIT ?", (count,))


def readings_of(folder: Path, tech: str, count: int = 200) -> list[Line]:
    """Who looked at figures of a tech, newest first; those who looked at all techs side by side among them."""
    rest = "WHERE what = ? AND (about LIKE ? ESCAPE '\\' OR about LIKE '*:%') ORDER BY id DESC LIMIT ?"
    like = "".join(f"\\{letter}" if letter in "\\%_" else letter for letter in tech)
    return _lines(folder, rest, (READ, f"{like}:%", count))


def _lines(folder: Path, rest: str, values: tuple[object, ...]) -> list[Line]:
    with file.reading(folder) as connection:
        if connection is None:
            return []
        rows = connection.execute(f"SELECT at, who, role, what, about FROM trail {rest}", values).fetchall()
    return [Line(datetime.fromisoformat(at), *told) for at, *told in rows]


def _text(at: datetime) -> str:
    return at.isoformat(timespec="seconds")

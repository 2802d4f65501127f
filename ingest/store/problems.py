"""What is wrong with a shop's folder or a target, in one line for a person: damage, a full disk, somebody else at
work.
"""

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

import polars as pl
from deltalake.exceptions import DeltaError

from ingest.terms.problems import Problem

SECRET = ("key", "secret", "token", "sas", "password", "credential")  # in names of options that are told to nobody
LOOK = "`truerun check` says what is damaged and what to type"


class StoreProblem(Problem):
    """A store that cannot be used as it is: one line with what is wrong and what to do."""


class Busy(StoreProblem):
    """Somebody else writes in the shop at this moment; nothing was changed."""


def busy(folder: Path) -> Busy:
    """The line for whoever has waited long enough."""
    return Busy(
        f"Somebody else is writing in {folder} (a load, or another program that holds book.sqlite or "
        "store/ledger.sqlite); nothing was changed: try again when it has ended"
    )


def damaged(what: str, how: object) -> StoreProblem:
    """The line for a part of the shop that is not as it was written."""
    return StoreProblem(f"{what} is damaged ({first_line(how)}); {LOOK}")


def first_line(fault: object) -> str:
    """What a fault says, without the lines for programmers."""
    return " ".join(str(fault).strip().split("\n", 1)[0].split()) or type(fault).__name__


def of_database(fault: sqlite3.Error, folder: Path, what: str) -> StoreProblem:
    """What SQLite says of a database, as a person reads it."""
    text = str(fault)
    if "locked" in text or "busy" in text:
        return busy(folder)
    if isinstance(fault, sqlite3.OperationalError) and (
        "disk I/O" in text or "full" in text or "unable to open" in text or "readonly" in text
    ):
        return StoreProblem(
            f"{folder} could not be written ({text}); nothing was changed. Is the folder writable, the disk not full?"
        )
    return damaged(what, fault)


@contextmanager
def reading_of(folder: Path, what: str) -> Iterator[None]:
    """Whatever goes wrong while a part of the shop is read, said in one line; only round work that writes nothing."""
    try:
        yield
    except sqlite3.Error as fault:
        raise of_database(fault, folder, what) from fault
    except (DeltaError, pl.exceptions.PolarsError, OSError) as fault:
        raise damaged(what, fault) from fault
    except BaseException as fault:
        if not is_panic(fault):
            raise
        raise damaged(what, fault) from None


def is_panic(fault: BaseException) -> bool:
    """Has a library given up on bytes that make no sense? Polars then raises what is no Exception."""
    return type(fault).__name__ == "PanicException"


def bare(said: str, options: Mapping[str, str]) -> str:
    """What was said without what opens a store: some put a signature or a token into the address they complain of."""
    for name, value in options.items():
        if any(word in name.lower() for word in SECRET):
            parts = [value, *(each.partition("=")[2] for each in value.split("&"))]
            for part in (*parts, *map(quote, parts), *(quote(each, safe="") for each in parts)):
                said = said.replace(part, "...") if len(part) > 7 else said
    return said


def reason(fault: BaseException) -> str:
    """The last thing that a chain of the library's errors says, without its drawing, or the first."""
    lines = [line.replace("\x1b[31m", "").replace("\x1b[0m", "").strip(" ↳") for line in str(fault).splitlines()]
    said = [line for line in lines if line]
    if len(said) < 2:
        return first_line(fault)
    return f"{said[0]}: {said[-1]}"

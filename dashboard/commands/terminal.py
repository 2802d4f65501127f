"""What every command shares: the clock, a line said at once, a bar on a terminal, the options that come again, a
problem a person can put right.
"""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ingest.terms.problems import Problem

if TYPE_CHECKING:
    from ingest.reading.sheet import Progress
    from ingest.store.snapshot import Snapshot

ShopFolder = Annotated[Path, typer.Option("--shop", metavar="DIR", help="The shop's folder, where shop.toml is.")]
Who = Annotated[str, typer.Option("--who", help="Who decides this.")]
Why = Annotated[str, typer.Option("--why", help="Why, in a few words; it stands in the book.")]
LogName = Annotated[str, typer.Argument(metavar="LOG", help="Its file name, or the start of its hash.")]
HERE = Path("shop")


class UserProblem(Problem):
    """Something the person at the keyboard can put right, in one line."""


def say(text: str) -> None:
    """One line for whoever waits for it, at once."""
    typer.echo(text)
    sys.stdout.flush()


def now() -> datetime:
    """The clock, read in one place only: everything else is told the time."""
    return datetime.now(UTC)


@contextmanager
def progress_bar(title: str) -> Iterator["Progress | None"]:
    """A bar on a terminal, nothing in a pipe."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=1.0)
        yield lambda share, what: bar.update(task, completed=share, description=f"{title}: {what}"[:70])


def opened(shop: Path, as_of: datetime | None = None) -> "Snapshot":
    """The shop as it stands, its store made again where that is needed."""
    from ingest.store.store import open_snapshot
    from ingest.verbs.load import ensure

    with progress_bar("Making the store again") as progress:
        ensure(shop, progress=progress, now=now())
    return open_snapshot(shop, as_of=as_of)


def end_of(shop: Path, day: str | None) -> datetime | None:
    """The last moment of a day by the shop's clock."""
    if day is None:
        return None
    from analysis.studies.story.calendar import last_moment
    from ingest.shopfiles.shop import read_shop

    return last_moment(day_of(day), read_shop(shop / "shop.toml"))


def day_of(text: str) -> date:
    """A day as typed: YYYY-MM-DD."""
    try:
        return datetime.strptime(text, "%Y-%m-%d").date()
    except ValueError:
        raise UserProblem(f"{text!r} is no date; wanted one such as 2026-03-27") from None

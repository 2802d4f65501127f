"""What every command shares: the clock, a line said at once, a bar on a terminal, the options that come again, a
problem a person can put right.
"""

import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dashboard import numbers
from ingest.terms.problems import Problem

if TYPE_CHECKING:
    from ingest.reading.sheet import Progress
    from ingest.store.snapshot import Snapshot

ShopFolder = Annotated[Path, typer.Option("--shop", metavar="DIR", help="The shop's folder, where shop.toml is.")]
Who = Annotated[str, typer.Option("--who", help="Who decides this.")]
Why = Annotated[str, typer.Option("--why", help="Why, in a few words; it stands in the book.")]
LogName = Annotated[str, typer.Argument(metavar="LOG", help="Its file name, or the start of its hash.")]
HERE = Path("shop")
LARGE = 4_000_000  # bytes of logs that take longer than a moment


class UserProblem(Problem):
    """Something the person at the keyboard can put right, in one line."""


def _places_of_shop(words: Sequence[str]) -> range:
    """Which words of a command line name the shop: `--shop DIR` or `--shop=DIR`, the first of them."""
    for place, word in enumerate(words):
        if word == "--shop" and place + 1 < len(words):
            return range(place, place + 2)
        if word.startswith("--shop="):
            return range(place, place + 1)
    return range(0)


def shop_in(words: Sequence[str]) -> Path | None:
    """The folder that --shop names."""
    places = _places_of_shop(words)
    return Path(words[places[-1]].removeprefix("--shop=")) if places else None


def without_shop(words: Sequence[str]) -> list[str]:
    """A command line without the option that names the shop."""
    places = _places_of_shop(words)
    return [word for place, word in enumerate(words) if place not in places]


def say(text: str) -> None:
    """One line for whoever waits for it, at once."""
    typer.echo(text)
    sys.stdout.flush()


def now() -> datetime:
    """The clock, read in one place only: everything else is told the time."""
    return datetime.now(UTC)


def silent_lines(snapshot: "Snapshot") -> list[str]:
    """Weeks that are over by the clock and of which nothing was read, a line each."""
    from analysis.studies.week.silent import awaited
    from dashboard.sentences.silent import asked_of

    rows = awaited(snapshot, today=now().astimezone(snapshot.shop.zone).date())
    return [f"{short}{rest}" for short, rest in asked_of(rows)]


class Lines:
    """Progress as lines on the error channel: one after `first` seconds, then one every few."""

    EVERY = 5.0

    def __init__(self, title: str, first: float) -> None:
        self.first, self.title, self.begun, self.ended = first, title, time.monotonic(), threading.Event()
        self.share, self.what = 0.0, "beginning"

    def note(self, share: float, what: str) -> None:
        """How far it is."""
        self.share, self.what = share, what

    def tell(self) -> None:
        """A line now and then until it has ended."""
        wait = self.first
        while not self.ended.wait(wait):
            wait, past = self.EVERY, time.monotonic() - self.begun
            typer.echo(
                f"{self.title}: {self.what}, {100 * self.share:.0f} % done{numbers.time_left(self.share, past)}",
                err=True,
            )


@contextmanager
def progress_bar(title: str, size: int = 0) -> Iterator["Progress | None"]:
    """A bar on a terminal; in a pipe a line now and then, from the first second on where `size` (bytes) is large. Both
    say what is left.
    """
    if not sys.stderr.isatty():
        lines = Lines(title, 1.0 if size > LARGE else 10.0)
        teller = threading.Thread(target=lines.tell, daemon=True)
        teller.start()
        try:
            yield lines.note
        finally:
            lines.ended.set()
            teller.join()
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
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
